"""R2 for every day of a typical year at once: what the sun brings, and what a forecast of any clearness would say.

A day's *clearness* is its global irradiance over the clear sky's. A forecast says how clear a day will be and not
in which hour the clouds come: its sun is the clear sky's by the hour, times the clearness. The array's power under
such a sun is worked out once for a ladder of clearnesses and read off between the rungs, so that thousands of
forecasts cost no more than one.
"""

from __future__ import annotations

import datetime as dt
from calendar import isleap
from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.sun.arraypower import Air, arrays_power_w, complete_radiation
from scheduler.sun.drying import run_hours
from scheduler.sun.ongrid import lay_on_grid, step_middles
from scheduler.sun.shed import shed_climate
from scheduler.sun.skies import SunPath, clear_ghi_w_m2, sun_path
from scheduler.sun.typicalyear import HOURS_PER_DAY, NOMINAL_YEAR, YEAR_DAYS, TypicalYear
from scheduler.timegrid import FloatArray, Grid, moment_on_clock
from scheduler.yard.models import Yard

#: Clearness from rung to rung of the ladder; halving it moves no day's energy by more than two thousandths.
RUNG_FRACTION = 0.05


@dataclass(frozen=True)
class TypicalSuns:
    """Each day of a typical year, 0 for 1 January; `n` steps a day from the midnight that holds on 1 January.

    Attributes
    ----------
    step_minutes : int
    utc_offset : timedelta
        What the site's clock is ahead of UTC on 1 January: its days begin so much before UTC's.
    true_w : ndarray, shape (365, n)
        Mean power of all arrays in each step under the year's own sun [W].
    rungs_w : ndarray, shape (n_rungs, 365, n)
        The same under a sky of a clearness of 0, 0.05, 0.1, ... [W].
    clearness_fraction : ndarray, shape (365,)
        Of the year's own days; 1 where the sun does not rise.
    ghi_wh_m2 : ndarray, shape (365,)
        Global horizontal irradiance of each day [Wh/m2].
    shed_temp_c : ndarray, shape (365, n)
        Mean temperature of the shed [C].
    drying_h : dict of str to tuple of float
        By the name of each load with a wanted humidity, how long it is to run on each day [h].
    source : str
        In words.
    """

    step_minutes: int
    utc_offset: dt.timedelta
    true_w: FloatArray
    rungs_w: FloatArray
    clearness_fraction: FloatArray
    ghi_wh_m2: FloatArray
    shed_temp_c: FloatArray
    drying_h: dict[str, tuple[float, ...]]
    source: str

    def power_w(self, days: np.ndarray, clearness_fraction: FloatArray) -> FloatArray:
        """Array power of some days under a sky of a clearness each, shape (n_days, n) [W]."""
        rung = np.clip(clearness_fraction / RUNG_FRACTION, 0.0, len(self.rungs_w) - 1.0)
        below = np.minimum(rung.astype(int), len(self.rungs_w) - 2)
        share = (rung - below)[:, np.newaxis]
        between: FloatArray = (1.0 - share) * self.rungs_w[below, days] + share * self.rungs_w[
            below + 1, days
        ]
        return between


def prepare_suns(yard: Yard, weather: TypicalYear, step_minutes: int, calendar_year: int) -> TypicalSuns:
    """Work out the array's power for a whole typical year.

    Parameters
    ----------
    yard : Yard
    weather : TypicalYear
    step_minutes : int
    calendar_year : int
        Whose clock changes hold for shade; a leap year's are those of the year after.
    """
    year = calendar_year + isleap(calendar_year)
    start = moment_on_clock(dt.date(year, 1, 1), 0, yard.site.zone)
    n_steps = YEAR_DAYS * HOURS_PER_DAY * 60 // step_minutes
    grid = Grid(start, step_minutes, n_steps, yard.site.zone)
    hours = _hours_around(weather, year)
    index = pd.DatetimeIndex(hours.index)
    on_grid = lay_on_grid(yard.site, index, grid)
    hourly = {str(name): hours[name].to_numpy(dtype=float) for name in hours.columns}
    sun = sun_path(yard.site, step_middles(grid))
    air = Air(on_grid.air(hourly["temp_c"]), on_grid.air(hourly["wind_m_s"]))
    clear_w_m2 = on_grid.level(clear_ghi_w_m2(yard.site, index))
    ghi_w_m2 = on_grid.level(hourly["ghi_w_m2"])
    sky = complete_radiation(
        sun, ghi_w_m2, on_grid.beam(hourly["dni_w_m2"]), on_grid.level(hourly["dhi_w_m2"])
    )
    climate = shed_climate(yard, hours)
    by_day = (YEAR_DAYS, -1)
    ghi_wh_m2 = grid.energy_wh(ghi_w_m2).reshape(by_day).sum(axis=1)
    clear_wh_m2 = grid.energy_wh(clear_w_m2).reshape(by_day).sum(axis=1)
    clearness = np.divide(ghi_wh_m2, clear_wh_m2, out=np.ones(YEAR_DAYS), where=clear_wh_m2 > 0.0)
    rungs = RUNG_FRACTION * np.arange(int(clearness.max() / RUNG_FRACTION) + 2)
    return TypicalSuns(
        step_minutes=step_minutes,
        utc_offset=dt.datetime(year, 1, 1, tzinfo=dt.UTC) - start,
        true_w=arrays_power_w(yard.arrays, grid, sun, sky, air).reshape(by_day),
        rungs_w=np.stack(
            [_rung_w(yard, grid, sun, air, rung * clear_w_m2).reshape(by_day) for rung in rungs]
        ),
        clearness_fraction=clearness,
        ghi_wh_m2=ghi_wh_m2,
        shed_temp_c=on_grid.air(climate.temp_c).reshape(by_day),
        drying_h={
            name: tuple(days[dt.date(year, 1, 1) + dt.timedelta(days=day)] for day in range(YEAR_DAYS))
            for name, days in run_hours(climate.drying).items()
        },
        source=weather.source,
    )


def _rung_w(yard: Yard, grid: Grid, sun: SunPath, air: Air, ghi_w_m2: FloatArray) -> FloatArray:
    return arrays_power_w(yard.arrays, grid, sun, complete_radiation(sun, ghi_w_m2), air)


def _hours_around(weather: TypicalYear, year: int) -> pd.DataFrame:
    """Return the typical year's hours moved to a calendar year, with a day more on either side."""
    own = weather.by_start_utc()
    shift = pd.Timestamp(year, 1, 1) - pd.Timestamp(NOMINAL_YEAR, 1, 1)
    around = pd.concat([own.iloc[-HOURS_PER_DAY:], own, own.iloc[:HOURS_PER_DAY]])
    first = pd.DatetimeIndex(own.index)[0] + shift - pd.Timedelta(days=1)
    return around.set_axis(pd.date_range(first, periods=len(around), freq="h"), axis=0)
