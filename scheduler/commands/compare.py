"""What ``sunroster compare`` does, free of the command line: from a logbook to verdicts on each interval."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.weather import choose_weather, day_of
from scheduler.errors import UsageError
from scheduler.logbook.readings import Logbook, logbook_path, read_logbook
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.logbook.expectation import Expectation, Reading
    from scheduler.logbook.history import DayPast
    from scheduler.logbook.learned import Learned
    from scheduler.logbook.proposal import Proposal
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
    """What was learned, and what would change in the fleet file."""

    learned: Learned
    proposal: Proposal
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
    return Lesson(learned, propose(found.yard, learned, request.fleet), found.notes)


def gather(request: CompareRequest, days: int) -> Gathered:
    """Read the files and work out what was expected; errors as of `compare_yard`."""
    from scheduler.logbook.chargers import charge_at_first
    from scheduler.logbook.expecting import expect, gather_readings
    from scheduler.logbook.savedplan import read_saved_plan
    from scheduler.logbook.strangers import unreadable_lines
    from scheduler.logbook.stretch import about_clock, stretch_of, too_few

    yard = read_yard(request.fleet)
    log = read_logbook(logbook_path(request.fleet), yard.site)
    hung = [(path.name, read_saved_plan(path, yard)) for path in request.plans]
    plans = sorted((plan for _, plan in hung), key=lambda plan: plan.grid.start)
    stretch = stretch_of(log, request.now, days)
    readings = gather_readings(stretch.log, yard.site, stretch.since)
    if _times_of_bank(readings) < 2:
        raise UsageError(too_few(stretch, request.fleet, yard.site))
    weather = choose_weather(yard, request.fleet, request.weather, None, day_of(request.now, yard))
    readings, left_out = _within(readings, weather)
    if _times_of_bank(readings) < 2:
        msg = f"{'; '.join(left_out)}; nothing to compare is left: give --weather of the days that were read"
        raise UsageError(msg)
    readings, about_sky = _told_once(readings, weather)
    expected = expect(yard, readings, weather, plans, suns_of_plans=request.weather is None)
    first_charge_pct = charge_at_first(yard, plans, readings[0].at)
    unread = unreadable_lines(log, f"the logbook {log.path.name},")
    about_log = (*_strangers(stretch.recent, hung, yard), *unread, *about_clock(stretch, yard.site))
    notes = (*about_log, *left_out, *about_sky, *weather.notes, *_about_plans(expected))
    return Gathered(yard, expected, tuple(readings), tuple(plans), first_charge_pct, notes)


def _strangers(log: Logbook, hung: Sequence[tuple[str, Plan]], yard: Yard) -> Iterator[str]:
    """Name the machines of the logbook and of the plans, by their files' names, that the fleet file does not have."""
    from scheduler.logbook.strangers import strangers_in_log, strangers_in_plan

    yield from strangers_in_log(log, yard)
    for file, plan in hung:
        yield from strangers_in_plan(plan, file, yard, "what it draws there is counted all the same")


def _times_of_bank(readings: Sequence[Reading]) -> int:
    return sum(one.bank_pct is not None for one in readings)


def _told_once(readings: Sequence[Reading], weather: Weather) -> tuple[list[Reading], tuple[str, ...]]:
    """Leave what was seen of the sky aside where a file already tells the weather of these very days."""
    if weather.begins is None or not any(one.skies for one in readings):
        return list(readings), ()
    told = "the words for the sky in the logbook are left aside: --weather tells the same sky, and it counts once"
    return [replace(one, skies=()) for one in readings], (told,)


def _within(readings: Sequence[Reading], weather: Weather) -> tuple[list[Reading], tuple[str, ...]]:
    """Leave out what was read outside a forecast's time."""
    from scheduler.sheet.words import counted

    begins, ends = weather.begins, weather.ends
    kept = [
        one for one in readings if (begins is None or one.at >= begins) and (ends is None or one.at <= ends)
    ]
    left_out = len(readings) - len(kept)
    return kept, (f"outside the weather's time, and left out: {counted(left_out, 'reading')}",) if left_out else ()


def _about_plans(expected: Expectation) -> tuple[str, ...]:
    if not expected.unsure_wh.any():
        return ()
    return (
        "where no plan was given and machines were not noted nobody knows what was plugged in, so little can be said; "
        "give the plan that hung on the door, such as --plan door.json",
    )
