"""What ``sunroster sun`` does, free of the command line: from a fleet file and a weather to the days to come."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.weather import check_begun, choose_weather, day_of, parse_start
from scheduler.errors import FetchError, UsageError
from scheduler.timegrid import Grid, ceil_to, moment_on_clock, next_full_step
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.sun.outlook import Outlook
    from scheduler.sun.weather import Weather

STEP_MINUTES = 30
STEP = dt.timedelta(minutes=STEP_MINUTES)


@dataclass(frozen=True)
class SunRequest:
    """What was asked for on the command line; `now` is the clock, in UTC.

    With `fetch` a forecast is fetched into `folder`; where that fails, `sky` and the fleet file's typical year serve.
    """

    fleet: Path
    now: dt.datetime
    weather: Path | None = None
    sky: str | None = None
    start: str | None = None
    days: int = 3
    fetch: bool = False
    contact: str | None = None
    folder: Path = Path("forecasts")


def look_out(request: SunRequest) -> Outlook:
    """Work out the next days' sun.

    Raises
    ------
    FleetFileError, WeatherFileError
        With every mistake of the file.
    UsageError
        For flags that do not go together, or a fetch without a contact.
    OutputError
        If a fetched forecast cannot be written.
    """
    from scheduler.sun.outlook import build_outlook
    from scheduler.sun.shed import climate_notes, drying_over
    from scheduler.sun.suns import build_suns

    yard = read_yard(request.fleet)
    request, told, is_given = _with_fetched(request, yard) if request.fetch else (request, "", False)
    start = parse_start(request.start, request.now, yard)
    today = day_of(request.now if start is None else start, yard)
    weather = choose_weather(yard, request.fleet, request.weather, request.sky, today)
    grid, cut_short = _grid(request, start, weather, yard)
    suns = build_suns(yard, grid, weather)
    fetching = (
        told
        if is_given
        else f"used in place of a fetched forecast: {suns.source}. {told[:1].upper()}{told[1:]}"
    )
    climate = climate_notes(yard, grid, suns.shed_temp_c, drying_over(yard, weather, grid))
    return build_outlook(yard, suns, (*([fetching] if told else []), *cut_short, *weather.notes, *climate))


def _with_fetched(request: SunRequest, yard: Yard) -> tuple[SunRequest, str, bool]:
    """Return the request with the forecast to use, what to tell of it, and whether the service gave it.

    Without an answer that is one fetched earlier, if it still serves.
    """
    from scheduler.sun.fetch import fetch_forecast

    if request.weather is not None:
        msg = f"--fetch besides --weather {request.weather}: leave one of them out"
        raise UsageError(msg)
    try:
        fetched = fetch_forecast(yard.site, request.contact, request.folder, now=request.now)
    except FetchError as fault:
        path, told, is_given = fault.saved, str(fault), False
    else:
        path, told, is_given = fetched.path, fetched.told, True
    return (request if path is None else replace(request, weather=path, sky=None)), told, is_given


def _grid(
    request: SunRequest, start: dt.datetime | None, weather: Weather, yard: Yard
) -> tuple[Grid, tuple[str, ...]]:
    """Steps from the start to the end of the last day, no further than the weather; a note where that is less."""
    if start is not None:
        first = ceil_to(start, STEP)
        check_begun(weather, first, "the outlook", yard)
    else:
        first = next_full_step(request.now, STEP_MINUTES, yard.site.zone)
        if weather.begins is not None and weather.begins > first:
            first = weather.begins
    wanted = moment_on_clock(day_of(first, yard) + dt.timedelta(days=request.days), 0, yard.site.zone)
    last = wanted if weather.ends is None else min(wanted, weather.ends)
    # A forecast that has ended says so itself, when it is asked for an hour beyond its end.
    grid = Grid(first, STEP_MINUTES, max((last - first) // STEP, 1), yard.site.zone)
    short = f"the forecast ends {grid.local(grid.n_steps):%a %H:%M}, before the days asked for"
    return grid, (short,) if last < wanted else ()
