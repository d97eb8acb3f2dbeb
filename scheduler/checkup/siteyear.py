"""The typical year as the check-up needs it: each hour's air, shed, cells, and what the panels could give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.sun.arraypower import Air, Radiation, array_power_w, cell_temp_c, plane_irradiance_w_m2
from scheduler.sun.ongrid import step_middles
from scheduler.sun.shed import shed_climate
from scheduler.sun.skies import sun_path
from scheduler.sun.typicalyear import NOMINAL_YEAR, TypicalYear
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.models import Array, Site, Yard


@dataclass(frozen=True)
class ArrayYear:
    """One array over the year, in front of its controller's input.

    Attributes
    ----------
    panels_w : ndarray, shape (n_hours,)
        What the panels could give, heat, shade and losses taken off, nothing clipped [W].
    cells_c : ndarray, shape (n_hours,)
        Temperature of the cells [C].
    """

    panels_w: FloatArray
    cells_c: FloatArray


@dataclass(frozen=True)
class SiteYear:
    """A typical year at the yard, hour by hour from 1 January 00:00 standard time, shape (n_hours,) each.

    Attributes
    ----------
    source : str
        In words.
    month : ndarray of int
        1 to 12.
    air_c : ndarray
        Air outside [C].
    shed_c : ndarray
        Air in the shed, the house's own heat in it where the fleet file lets it count [C].
    sun_up : ndarray of bool
        Whether the sun stands above the horizon in the middle of the hour.
    arrays : tuple of ArrayYear
        In the order of the fleet file.
    """

    source: str
    month: NDArray[np.intp]
    air_c: FloatArray
    shed_c: FloatArray
    sun_up: NDArray[np.bool_]
    arrays: tuple[ArrayYear, ...]


def build_site_year(yard: Yard, year: TypicalYear) -> SiteYear:
    """Work the year out for a yard (R2, R8)."""
    table = year.by_start_utc()
    hours = pd.DatetimeIndex(table.index)
    grid = Grid(hours[0].to_pydatetime(), 60, len(table), yard.site.zone)
    sun = sun_path(yard.site, step_middles(grid))
    columns = {str(name): table[name].to_numpy(dtype=float) for name in table.columns}
    sky = Radiation(columns["ghi_w_m2"], columns["dni_w_m2"], columns["dhi_w_m2"])
    air = Air(columns["temp_c"], columns["wind_m_s"])

    def of_array(array: Array) -> ArrayYear:
        unlimited = array.model_copy(update={"input_limit_w": None})
        plane_w_m2 = plane_irradiance_w_m2(array.tilt_deg, array.azimuth_deg, sun, sky)
        return ArrayYear(
            array_power_w(unlimited, grid, sun, sky, air), cell_temp_c(array.mounting, plane_w_m2, air)
        )

    return SiteYear(
        source=year.source,
        month=pd.date_range(f"{NOMINAL_YEAR}-01-01", periods=len(table), freq="h").month.to_numpy(),
        air_c=air.temp_c,
        shed_c=shed_climate(yard, table).temp_c,
        sun_up=sun.zenith_seen_deg < 90.0,
        arrays=tuple(of_array(array) for array in yard.arrays),
    )


def record_low_c(site: Site, year: SiteYear | None) -> float | None:
    """Coldest air at the panels [C]: the fleet file's figure, else the year's coldest hour; None without both."""
    if site.record_low_c is not None:
        return site.record_low_c
    return None if year is None else float(year.air_c.min())
