"""What ``sunroster compare`` does, free of the command line: from a logbook to verdicts on each interval."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.weather import choose_weather, day_of
from scheduler.logbook.readings import logbook_path, read_logbook
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.logbook.expectation import Expectation, Reading
    from scheduler.logbook.history import DayPast
    from scheduler.logbook.learning import Learned
    from scheduler.logbook.verdicts import Interval
    from scheduler.planning.record import Plan
    from scheduler.sun.weather import Weather

#: Days of readings that are compared unless something else is asked for.
DAYS = 7

#: Days of readings that are learned from unless something else is asked for.
LEARN_DAYS = 56


@dataclass(frozen=True)
class CompareRequest:
    """What was asked for on the command line; `now` is the clock, in UTC."""

    fleet: Path
    now: dt.datetime
    weather: Path | None = None
    plans: tuple[Path, ...] = ()
    days: int | None = None


@dataclass(frozen=True)
class Comparison:
    """A yard's readings against what was expected, and what to tell beside."""

    yard: Yard
    expected: Expectation
    readings: tuple[Reading, ...]
    intervals: tuple[Interval, ...]
    days: tuple[DayPast, ...]
    summary: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Lesson:
    """What was learned, and the changed lines of the fleet file as a diff."""

    learned: Learned
    diff: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Gathered:
    """What a comparison starts from."""

    yard: Yard
    expected: Expectation
    readings: tuple[Reading, ...]
    plans: tuple[Plan, ...]
    first_charge_pct: dict[str, float]
    notes: tuple[str, ...]


def compare_yard(request: CompareRequest) -> Comparison:
    """Judge every interval between two readings of the bank.

    Raises
    ------
    FleetFileError, WeatherFileError, LogbookError, SavedPlanError
        With every mistake of the file.
    UsageError
        If the bank was read less than twice.
    """
    from scheduler.logbook.history import by_month, days_past, summary
    from scheduler.logbook.verdicts import judge

    found = gather(request, request.days or DAYS)
    intervals = judge(found.expected, found.readings, found.first_charge_pct)
    days = days_past(found.expected, found.plans)
    told, months = summary(days, intervals), by_month(days, intervals, found.yard.site.zone)
    return Comparison(
        found.yard, found.expected, found.readings, tuple(intervals), tuple(days), told, (*months, *found.notes)
    )


def learn_yard(request: CompareRequest) -> Lesson:
    """Learn the yard's figures from a fortnight of readings or more; errors as of `compare_yard`."""
    from scheduler.logbook.learning import learn
    from scheduler.logbook.proposal import propose

    found = gather(request, request.days or LEARN_DAYS)
    learned = learn(found.expected, found.readings, found.first_charge_pct)
    text = request.fleet.read_text(encoding="utf-8-sig")
    return Lesson(learned, propose(found.yard, learned, text, request.fleet.name), found.notes)


def gather(request: CompareRequest, days: int) -> Gathered:
    """Read the files and work out what was expected; errors as of `compare_yard`."""
    from scheduler.logbook.chargers import charge_at_first
    from scheduler.logbook.expecting import expect, gather_readings
    from scheduler.logbook.savedplan import read_saved_plan

    yard = read_yard(request.fleet)
    log = read_logbook(logbook_path(request.fleet), yard.site)
    plans = sorted((read_saved_plan(path, yard.site) for path in request.plans), key=lambda plan: plan.grid.start)
    since = log.standing[-1].time - dt.timedelta(days=days) if log.standing else None
    readings = gather_readings(log, yard.site, since)
    weather = choose_weather(yard, request.fleet, request.weather, None, day_of(request.now, yard))
    readings, left_out = _within(readings, weather)
    readings, about_sky = _told_once(readings, weather)
    expected = expect(yard, readings, weather, plans, suns_of_plans=request.weather is None)
    first_charge_pct = charge_at_first(yard, plans, readings[0].at)
    notes = (*log.problems, *left_out, *about_sky, *weather.notes, *_about_plans(expected))
    return Gathered(yard, expected, tuple(readings), tuple(plans), first_charge_pct, notes)


def _told_once(readings: Sequence[Reading], weather: Weather) -> tuple[list[Reading], tuple[str, ...]]:
    """Leave what was seen of the sky aside where a file already tells the weather of these very days."""
    if weather.begins is None or not any(one.skies for one in readings):
        return list(readings), ()
    told = "the words for the sky in the logbook are left aside: --weather tells the same sky, and it counts once"
    return [replace(one, skies=()) for one in readings], (told,)


def _within(readings: Sequence[Reading], weather: Weather) -> tuple[list[Reading], tuple[str, ...]]:
    """Leave out what was read outside a forecast's time."""
    begins, ends = weather.begins, weather.ends
    kept = [
        one for one in readings if (begins is None or one.at >= begins) and (ends is None or one.at <= ends)
    ]
    left_out = len(readings) - len(kept)
    return kept, (f"{left_out} readings outside the weather's time are left out",) if left_out else ()


def _about_plans(expected: Expectation) -> tuple[str, ...]:
    if not expected.unsure_wh.any():
        return ()
    return (
        "where no plan was given and machines were not noted nobody knows what was plugged in, so little can be said; "
        "give the plan that hung on the door, such as --plan door.json",
    )
