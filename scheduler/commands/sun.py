"""What ``sunroster sun`` does, free of the command line: from a fleet file and a weather to the days to come."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.weather import check_begun, choose_weather, day_of, parse_start
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
    """What was asked for on the command line; `now` is the clock, in UTC."""

    fleet: Path
    now: dt.datetime
    weather: Path | None = None
    sky: str | None = None
    start: str | None = None
    days: int = 3


def look_out(request: SunRequest) -> Outlook:
    """Work out the next days' sun.

    Raises
    ------
    FleetFileError, WeatherFileError
        With every mistake of the file.
    UsageError
        For flags that do not go together.
    """
    from scheduler.sun.outlook import build_outlook
    from scheduler.sun.suns import build_suns

    yard = read_yard(request.fleet)
    start = parse_start(request.start, request.now, yard)
    today = day_of(request.now if start is None else start, yard)
    weather = choose_weather(yard, request.fleet, request.weather, request.sky, today)
    grid, cut_short = _grid(request, start, weather, yard)
    suns = build_suns(yard, grid, weather)
    return build_outlook(yard, suns, (*cut_short, *weather.notes))


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
