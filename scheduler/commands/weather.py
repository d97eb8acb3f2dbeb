"""What the commands that look ahead have in common: which weather a yard's sun is taken from, and when they begin."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.errors import UsageError
from scheduler.timegrid import on_clock
from scheduler.yard.clock import check_clock, parse_minute_of_day, parse_moment
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.sun.weather import Weather


def choose_weather(yard: Yard, fleet: Path, weather: Path | None, sky: str | None, today: dt.date) -> Weather:
    """Take the best weather there is.

    A file that was given; words for the sky, over a typical year or, without one, over a guess; the fleet file's
    typical year; a poor guess from the place and the season.

    Parameters
    ----------
    yard : Yard
    fleet : Path
        Of the fleet file, from which the path to its typical year counts.
    weather : Path or None
        File given by hand.
    sky : str or None
        Words given by hand.
    today : date
        What the words mean by today.

    Raises
    ------
    UsageError
        For words that cannot be understood, or words besides a forecast.
    WeatherFileError
        With every mistake of a file.
    """
    from scheduler.sun.placesky import PlaceSky
    from scheduler.sun.skyterms import parse_sky
    from scheduler.sun.skywords import SkyWords
    from scheduler.sun.weather import read_weather

    spells = None if sky is None else parse_sky(sky, today, yard.site)
    path = weather
    if path is None and yard.site.typical_year is not None:
        path = fleet.parent / yard.site.typical_year
    base: Weather = PlaceSky(yard.site) if path is None else read_weather(path, yard.site)
    if sky is None or spells is None:
        return base
    if base.begins is not None:
        msg = f"--sky besides the forecast {path}: leave one of them out, or give a typical year with --weather"
        raise UsageError(msg)
    return SkyWords(yard.site, sky, today, spells, base)


def parse_start(text: str | None, now: dt.datetime, yard: Yard) -> dt.datetime | None:
    """Moment in UTC of a date and time, or a time of today, on the site's clock; None of None.

    Raises
    ------
    UsageError
        If it is neither.
    """
    if text is None:
        check_clock(now, "--from")
        return None
    try:
        minute = parse_minute_of_day(text)
    except ValueError:
        try:
            return on_clock(parse_moment(text), yard.site.zone)
        except ValueError as fault:
            msg = f'--from "{text}": {fault}, or a time such as "06:00"'
            raise UsageError(msg) from fault
    check_clock(now, "--from")
    today = now.astimezone(yard.site.zone).date()
    midnight = dt.datetime.combine(today, dt.time())
    return on_clock(midnight + dt.timedelta(minutes=minute), yard.site.zone)


def day_of(moment: dt.datetime, yard: Yard) -> dt.date:
    """Date of a moment on the site's clock."""
    return moment.astimezone(yard.site.zone).date()


def check_begun(weather: Weather, start: dt.datetime, what: str, yard: Yard) -> None:
    """Stop what would begin before its weather.

    Raises
    ------
    UsageError
    """
    if weather.begins is None or weather.begins <= start:
        return
    begins, local = (moment.astimezone(yard.site.zone) for moment in (weather.begins, start))
    msg = (
        f"{what} would begin at {local:%a %d %b %H:%M}, the weather only at {begins:%a %d %b %H:%M}: "
        f'give --from "{begins:%Y-%m-%d %H:%M}" or an older forecast'
    )
    raise UsageError(msg)
