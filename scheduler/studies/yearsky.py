"""The sun of one year that is lived: what comes, and what the forecast of each evening before says."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from scheduler.studies.forecasts import ClearnessForecast, Spread, forecast_clearness
from scheduler.studies.resampling import IntArray, days_in_order, days_resampled
from scheduler.studies.typicalsuns import TypicalSuns
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray, Grid

DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class YearSky:
    """Series over the steps of a year's grid, shape (n_steps,).

    Attributes
    ----------
    typical_day : ndarray of int
        Which day of the typical year's weather a step has.
    true_w : ndarray
        What the arrays can give under the sun that comes [W].
    dull_w, likely_w, bright_w : ndarray
        The same as forecast the evening before [W].
    shed_temp_c : ndarray
    forecast : ClearnessForecast
        Of each day.
    source : str
    """

    typical_day: IntArray
    true_w: FloatArray
    dull_w: FloatArray
    likely_w: FloatArray
    bright_w: FloatArray
    shed_temp_c: FloatArray
    forecast: ClearnessForecast
    source: str

    def forecast_suns(self, grid: Grid, first: int) -> ThreeSuns:
        """Return the three suns of a plan that begins on an edge of the year's."""
        part = slice(first, first + grid.n_steps)
        return ThreeSuns(
            grid,
            self.dull_w[part],
            self.likely_w[part],
            self.bright_w[part],
            self.shed_temp_c[part],
            self.source,
        )


def draw_sky(suns: TypicalSuns, grid: Grid, spread: Spread, seed: int, number: int) -> YearSky:
    """Draw a year.

    Parameters
    ----------
    suns : TypicalSuns
    grid : Grid
        Of the year.
    spread : Spread
    seed, number : int
        Year 0 has the typical year's days in their order, any other number days drawn for it. The same seed and
        number give the same days and forecasts, whatever stands in the yard and whoever draws them.
    """
    dates, lead = _dates(suns, grid)
    days = _draw_days(dates, seed, number)
    for_forecasts = _random(seed, number, 1)
    of_days = suns.clearness_fraction[days]
    forecast = forecast_clearness(of_days, suns.clearness_fraction, spread, for_forecasts)
    part = slice(lead, lead + grid.n_steps)
    likely_w = suns.power_w(days, forecast.likely_fraction).ravel()[part]
    return YearSky(
        typical_day=np.repeat(days, suns.true_w.shape[1])[part],
        true_w=suns.true_w[days].ravel()[part],
        dull_w=np.minimum(suns.power_w(days, forecast.dull_fraction).ravel()[part], likely_w),
        likely_w=likely_w,
        bright_w=np.maximum(suns.power_w(days, forecast.bright_fraction).ravel()[part], likely_w),
        shed_temp_c=suns.shed_temp_c[days].ravel()[part],
        forecast=forecast,
        source=suns.source,
    )


def drying_hours(suns: TypicalSuns, grid: Grid, seed: int, number: int) -> dict[str, dict[dt.date, float]]:
    """How long each load with a wanted humidity is to run on each day of a drawn year [h]."""
    dates, _ = _dates(suns, grid)
    days = _draw_days(dates, seed, number)
    return {
        name: {date: run_h[day] for date, day in zip(dates, days, strict=True)}
        for name, run_h in suns.drying_h.items()
    }


def _draw_days(dates: list[dt.date], seed: int, number: int) -> IntArray:
    return days_resampled(dates, _random(seed, number, 0)) if number else days_in_order(dates)


def _random(seed: int, number: int, part: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(number, part)))


def _dates(suns: TypicalSuns, grid: Grid) -> tuple[list[dt.date], int]:
    """Return the days, as the typical year counts them, that a grid touches, and the steps before it on the first."""
    begin, end = (moment + suns.utc_offset for moment in (grid.start, grid.end))
    midnight = begin.replace(hour=0, minute=0)
    n_days = -((midnight - end) // DAY)
    return [(midnight + number * DAY).date() for number in range(n_days)], (begin - midnight) // grid.step
