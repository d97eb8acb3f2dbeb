"""The worst week of a year: when, and what was the matter."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from scheduler.studies.yearrecord import DayLived, Readiness, YearLived

WEEK_DAYS = 7


@dataclass(frozen=True)
class Week:
    """Seven days on end, or fewer where no more were lived.

    Attributes
    ----------
    first, last : date
    readiness, must : Readiness
        Of all needs, and of those of class must.
    unready : tuple of str
        Machines that were not ready, the most often first.
    sun_wh, usual_sun_wh : float
        Sun a day in this week, and over the whole year [Wh].
    curtailed_wh : float
        Of it a day, what found no room [Wh].
    hours : float
        That the week has [h].
    at_reserve_h, ac_off_h, outside_window_h : float
        As of `DayLived`.
    """

    first: dt.date
    last: dt.date
    readiness: Readiness
    must: Readiness
    unready: tuple[str, ...]
    sun_wh: float
    usual_sun_wh: float
    curtailed_wh: float
    hours: float
    at_reserve_h: float
    ac_off_h: float
    outside_window_h: float


def worst_week(year: YearLived) -> Week | None:
    """Find the seven days with the most needs not met, must before the others, then the most energy missing."""
    weeks = [year.days[at : at + WEEK_DAYS] for at in range(max(1, len(year.days) - WEEK_DAYS + 1))]
    return None if not year.days else _described(max(weeks, key=_badness), year)


def _badness(days: tuple[DayLived, ...]) -> tuple[int, int, float]:
    unmet = [need for day in days for need in day.needs if not need.ready]
    return sum(need.priority == "must" for need in unmet), len(unmet), sum(need.short_wh for need in unmet)


def _described(days: tuple[DayLived, ...], year: YearLived) -> Week:
    needs = [need for day in days for need in day.needs]
    missed = [need.machine for need in needs if not need.ready]
    return Week(
        first=days[0].date,
        last=days[-1].date,
        readiness=Readiness.of(needs),
        must=Readiness.of(need for need in needs if need.priority == "must"),
        unready=tuple(sorted(set(missed), key=lambda name: (-missed.count(name), year.machines.index(name)))),
        sun_wh=sum(day.sun_wh for day in days) / len(days),
        usual_sun_wh=year.total(lambda day: day.sun_wh) / len(year.days),
        curtailed_wh=sum(day.curtailed_wh for day in days) / len(days),
        hours=sum(day.hours for day in days),
        at_reserve_h=sum(day.at_reserve_h for day in days),
        ac_off_h=sum(day.ac_off_h for day in days),
        outside_window_h=sum(day.outside_window_h for day in days),
    )
