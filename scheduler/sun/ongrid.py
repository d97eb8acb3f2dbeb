"""Hourly weather brought onto a plan's grid by way of quarter hours, each hour's energy kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.sun.skies import QUARTERS_PER_HOUR, quarter_middles, sun_path
from scheduler.timegrid import QUARTER, FloatArray, Grid
from scheduler.yard.models import Site


@dataclass(frozen=True)
class HoursOnGrid:
    """How some hours lie under a grid, and how the sun shares each hour out among its quarters.

    Attributes
    ----------
    first_quarter, n_steps, quarters_per_step : int
        The grid's start counted in quarters from the first hour's, and its steps.
    level_share, beam_share : ndarray, shape (n_hours, 4)
        How much stronger than the hour's mean each quarter is: on the level, and facing the sun.
    """

    first_quarter: int
    n_steps: int
    quarters_per_step: int
    level_share: FloatArray
    beam_share: FloatArray

    def level(self, hourly_w_m2: FloatArray) -> FloatArray:
        """Step means of global or diffuse horizontal irradiance [W/m2].

        The clearness index, irradiance over that outside the atmosphere, is held through the hour.
        """
        return self._step_means(hourly_w_m2[:, None] * self.level_share)

    def beam(self, hourly_w_m2: FloatArray) -> FloatArray:
        """Step means of direct normal irradiance, held while the sun is up in the hour [W/m2]."""
        return self._step_means(hourly_w_m2[:, None] * self.beam_share)

    def air(self, hourly: FloatArray) -> FloatArray:
        """Step means of what does not follow the sun: temperature, wind."""
        return self._step_means(np.repeat(hourly[:, None], QUARTERS_PER_HOUR, axis=1))

    def _step_means(self, by_quarter: FloatArray) -> FloatArray:
        last_quarter = self.first_quarter + self.n_steps * self.quarters_per_step
        used = by_quarter.ravel()[self.first_quarter : last_quarter]
        means: FloatArray = used.reshape(self.n_steps, self.quarters_per_step).mean(axis=1)
        return means


def lay_on_grid(site: Site, hours: pd.DatetimeIndex, grid: Grid) -> HoursOnGrid:
    """Lay consecutive hours, named by their starts in UTC, under a grid.

    Raises
    ------
    ValueError
        If the hours do not follow each other, do not cover the grid or do not begin on its quarter hours.
    """
    first_quarter, rest = divmod(grid.start - hours[0].to_pydatetime(), QUARTER)
    n_quarters = (grid.end - grid.start) // QUARTER
    in_order = bool((hours[1:] - hours[:-1] == dt.timedelta(hours=1)).all())
    covered = 0 <= first_quarter <= len(hours) * QUARTERS_PER_HOUR - n_quarters
    if rest or not in_order or not covered:
        msg = f"hours from {hours[0]} to {hours[-1]} do not carry a grid from {grid.start} to {grid.end}"
        raise ValueError(msg)
    level = sun_path(site, quarter_middles(hours)).extra_horizontal_w_m2.reshape(-1, QUARTERS_PER_HOUR)
    return HoursOnGrid(
        first_quarter=first_quarter,
        n_steps=grid.n_steps,
        quarters_per_step=grid.step // QUARTER,
        level_share=_shares(level),
        beam_share=_shares((level > 0.0).astype(float)),
    )


def _shares(by_quarter: FloatArray) -> FloatArray:
    """Each quarter over its hour's mean; even shares where the sun is down at every quarter's middle."""
    mean = by_quarter.mean(axis=1, keepdims=True)
    shares: FloatArray = np.divide(by_quarter, mean, out=np.ones_like(by_quarter), where=mean > 0.0)
    return shares


def step_middles(grid: Grid) -> pd.DatetimeIndex:
    """Return the middle of each step, in UTC."""
    return pd.date_range(grid.start + grid.step / 2, periods=grid.n_steps, freq=grid.step)
