"""The worst month's design days, lived for a week each: a first answer within seconds.

The design day has the sun of the worst month: the clearness that 9, 5 and 1 days in 10 around its middle exceed, in
the clear sky's shape, and the mean temperature of those days by the hour. A week of nothing but such days is lived,
each forecast as it comes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np

from scheduler.studies.changes import changed_yard
from scheduler.studies.fitting import Fit, judge_fit
from scheduler.studies.typicalsuns import TypicalSuns
from scheduler.studies.year import PreparedYear, YearSettings, for_number, live_prepared, prepare_year
from scheduler.studies.yearrecord import YearLived
from scheduler.sun.typicalyear import NOMINAL_YEAR, YEAR_DAYS, TypicalYear
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Machine, Yard

#: A design week; it begins on a Monday, so that every weekday's needs come once.
WEEK_DAYS = 7

#: What share of the days around the month's middle each sun's day is brighter than.
QUANTILES = {"dull": 0.1, "likely": 0.5, "bright": 0.9}

#: Days on either side of the month's middle that are looked at.
LIKE_DAYS = 15


class Certain:
    """The spread of a forecast that is never wrong."""

    def dull_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Return the forecast itself."""
        return likely_fraction

    def bright_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Return the forecast itself."""
        return likely_fraction


@dataclass(frozen=True)
class DesignWeek:
    """A week of one kind of day, without and with the new machines.

    Attributes
    ----------
    sun : str
        dull, likely or bright.
    month : int
    clearness_fraction : float
        The day's irradiance over the clear sky's.
    sun_wh : float
        What the arrays can give on such a day [Wh].
    fit : Fit
    """

    sun: str
    month: int
    clearness_fraction: float
    sun_wh: float
    fit: Fit


def study_design_weeks(
    yard: Yard,
    newcomers: Sequence[Machine],
    weather: TypicalYear,
    settings: YearSettings,
    month: int,
    pool: Executor,
) -> tuple[DesignWeek, ...]:
    """Live a week of dull, of likely and of bright design days of a month, without and with new machines."""
    week = replace(settings, first_day=first_monday(settings.first_day.year, month), n_days=WEEK_DAYS)
    joined = changed_yard(yard, machines=(*yard.machines, *newcomers))
    with_them = prepare_year(joined, weather, week)
    step_minutes = with_them.agenda.whole.grid.step_minutes
    without = prepare_year(yard, weather, replace(week, step_minutes=step_minutes))
    names = [machine.name for machine in newcomers]
    lives = {
        sun: [
            pool.submit(live_prepared, on_design_days(prepared, month, quantile))
            for prepared in (without, with_them)
        ]
        for sun, quantile in QUANTILES.items()
    }
    weeks = []
    for sun, pair in lives.items():
        before, after = (future.result() for future in pair)
        clearness = design_clearness(without.suns, month, QUANTILES[sun])
        weeks.append(DesignWeek(sun, month, clearness, _mean_sun_wh(before), judge_fit(before, after, names)))
    return tuple(weeks)


def first_monday(year: int, month: int) -> dt.date:
    """Return the first Monday of a month."""
    first = dt.date(year, month, 1)
    return first + dt.timedelta(days=-first.weekday() % WEEK_DAYS)


def design_clearness(suns: TypicalSuns, month: int, quantile: float) -> float:
    """Clearness that all but `quantile` of the days around the middle of a month exceed."""
    return float(np.quantile(suns.clearness_fraction[_days_like(month)], quantile))


def on_design_days(prepared: PreparedYear, month: int, quantile: float) -> PreparedYear:
    """Return the same year with nothing but a month's design day in it, and forecasts that know it."""
    suns, middle = prepared.suns, _middle_of(month)
    clearness = np.array([design_clearness(suns, month, quantile)])
    day_w = suns.power_w(np.array([middle]), clearness)
    temp_c = suns.shed_temp_c[_days_like(month)].mean(axis=0)
    always = replace(
        suns,
        true_w=np.tile(day_w, (YEAR_DAYS, 1)),
        rungs_w=np.repeat(suns.rungs_w[:, middle : middle + 1], YEAR_DAYS, axis=1),
        clearness_fraction=np.full(YEAR_DAYS, clearness[0]),
        ghi_wh_m2=np.full(YEAR_DAYS, suns.ghi_wh_m2[middle]),
        shed_temp_c=np.tile(temp_c, (YEAR_DAYS, 1)),
        drying_h={name: _mean_day(run_h, month) for name, run_h in suns.drying_h.items()},
    )
    return for_number(replace(prepared, suns=always, spread=Certain()), prepared.settings.number)


def _mean_day(run_h: Sequence[float], month: int) -> tuple[float, ...]:
    """The mean of the days around the middle of a month, on every day [h]."""
    return (float(np.take(run_h, _days_like(month)).mean()),) * YEAR_DAYS


def _middle_of(month: int) -> int:
    return dt.date(NOMINAL_YEAR, month, 15).timetuple().tm_yday - 1


def _days_like(month: int) -> np.ndarray:
    return (_middle_of(month) + np.arange(-LIKE_DAYS, LIKE_DAYS + 1)) % YEAR_DAYS


def _mean_sun_wh(lived: YearLived) -> float:
    return lived.total(lambda day: day.sun_wh) / len(lived.days)
