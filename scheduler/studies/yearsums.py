"""What remains of a year when many are compared: how often each machine was ready, by month, and a few sums."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.studies.yearrecord import Readiness, YearLived
from scheduler.yard.models import Priority

#: Of the years, so many lie within an interval, as many below it as above.
INTERVAL_FRACTION = 0.8


@dataclass(frozen=True)
class MonthCount:
    """Readiness of one machine for needs of one class in one calendar month."""

    machine: str
    priority: Priority
    month: int
    readiness: Readiness


@dataclass(frozen=True)
class YearSums:
    """One year, summed up.

    Attributes
    ----------
    number : int
        As of `YearSettings`.
    counts : tuple of MonthCount
    sun_wh, curtailed_wh, residual_wh : float
    at_reserve_h, below_reserve_h, ac_off_h, misplugged_h : float
    unproven_plans : int
    """

    number: int
    counts: tuple[MonthCount, ...]
    sun_wh: float
    curtailed_wh: float
    residual_wh: float
    at_reserve_h: float
    below_reserve_h: float
    ac_off_h: float
    misplugged_h: float
    unproven_plans: int

    @classmethod
    def of(cls, year: YearLived, number: int) -> YearSums:
        """Sum up a year."""
        needs = defaultdict(list)
        for day in year.days:
            for need in day.needs:
                needs[need.machine, need.priority, day.date.month].append(need)
        return cls(
            number=number,
            counts=tuple(MonthCount(*key, Readiness.of(group)) for key, group in needs.items()),
            sun_wh=year.total(lambda day: day.sun_wh),
            curtailed_wh=year.total(lambda day: day.curtailed_wh),
            residual_wh=year.residual_wh,
            at_reserve_h=year.total(lambda day: day.at_reserve_h),
            below_reserve_h=year.total(lambda day: day.below_reserve_h),
            ac_off_h=year.total(lambda day: day.ac_off_h),
            misplugged_h=year.total(lambda day: day.misplugged_h),
            unproven_plans=sum(day.unproven_plans for day in year.days),
        )

    def readiness(
        self, priority: Priority | None = None, machine: str | None = None, month: int | None = None
    ) -> Readiness:
        """Return how often machines were ready, all or those of a class, a machine, a calendar month."""
        counted = [
            count.readiness
            for count in self.counts
            if priority in (None, count.priority)
            and machine in (None, count.machine)
            and month in (None, count.month)
        ]
        return Readiness(
            sum(one.ready for one in counted),
            sum(one.asked for one in counted),
            sum(one.short_wh for one in counted),
        )


@dataclass(frozen=True)
class Interval:
    """Where a figure lies in 8 years of 10, and in all that were lived; fractions."""

    low_fraction: float
    high_fraction: float
    least_fraction: float
    most_fraction: float


def readiness_interval(
    years: Sequence[YearSums],
    priority: Priority | None = None,
    machine: str | None = None,
    month: int | None = None,
) -> Interval:
    """Return the interval of a readiness over at least one year; arguments as of `YearSums.readiness`."""
    fractions = [year.readiness(priority, machine, month).fraction for year in years]
    outside = (1.0 - INTERVAL_FRACTION) / 2.0
    low, high = np.quantile(fractions, [outside, 1.0 - outside])
    return Interval(float(low), float(high), min(fractions), max(fractions))
