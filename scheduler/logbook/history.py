"""The last weeks day by day: what went to machines, which needs were met, how often the bank was as expected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from zoneinfo import ZoneInfo

from scheduler.logbook.expectation import Expectation
from scheduler.logbook.verdicts import Interval
from scheduler.planning.record import Plan


@dataclass(frozen=True)
class DayPast:
    """A local day.

    Attributes
    ----------
    date : date
    machines_wh : float
        What went to machines at the wall, by the plans, else by machines' readings [Wh].
    asked, ready : int
        Needs of the plans that hung on the door, and how many of them were met by plan.
    """

    date: dt.date
    machines_wh: float
    asked: int
    ready: int


def days_past(expected: Expectation, plans: Sequence[Plan]) -> list[DayPast]:
    """Sum up each day of an expectation; a need in two plans counts once, as the later has it."""
    grid = expected.grid
    drawn_wh: dict[dt.date, float] = {}
    for step in range(grid.n_steps):
        date = grid.local(step).date()
        drawn_wh[date] = drawn_wh.get(date, 0.0) + float(expected.wall_wh[step].sum())
    needs = {
        (machine.name, plan.grid.edge(need.edge)): need.ready
        for plan in plans
        for machine in plan.machines
        for need in machine.needs
        if grid.start <= plan.grid.edge(need.edge) <= grid.end
    }
    days = []
    for date, machines_wh in drawn_wh.items():
        met = [ready for (_, moment), ready in needs.items() if moment.astimezone(grid.zone).date() == date]
        days.append(DayPast(date, machines_wh, len(met), sum(met)))
    return days


def by_month(days: Sequence[DayPast], intervals: Sequence[Interval], zone: ZoneInfo) -> tuple[str, ...]:
    """Say each calendar month in a sentence, if the days are of more than one; a month without readings is left out."""
    months = [list(group) for _, group in groupby(days, lambda day: (day.date.year, day.date.month))]
    if len(months) < 2:
        return ()
    told = []
    for month in months:
        first, last = month[0].date, month[-1].date
        read = [one for one in intervals if first <= one.until.astimezone(zone).date() <= last]
        if read:
            told.append(summary(month, read))
    return tuple(told)


def summary(days: Sequence[DayPast], intervals: Sequence[Interval]) -> str:
    """Say the days in one sentence: readings as expected, needs met, energy to machines."""
    first, last = days[0].date, days[-1].date
    sound = sum(one.is_sound for one in intervals)
    asked, ready = sum(day.asked for day in days), sum(day.ready for day in days)
    total_kwh = sum(day.machines_wh for day in days) / 1000.0
    needs = f", {ready} of {asked} needs ready by plan" if asked else ""
    return (
        f"{first.day} {first:%b} to {last.day} {last:%b}: {sound} of {len(intervals)} readings as they should be"
        f"{needs}, {total_kwh:.1f} kWh to machines"
    )
