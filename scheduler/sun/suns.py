"""The three suns of a plan: array power and shed temperature on its grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scheduler.timegrid import FloatArray, Grid

if TYPE_CHECKING:
    from scheduler.sun.weather import Weather
    from scheduler.yard.models import Yard


@dataclass(frozen=True)
class ThreeSuns:
    """What the sun may bring, after clipping (R2).

    Attributes
    ----------
    grid : Grid
    dull_w, likely_w, bright_w : ndarray, shape (n_steps,)
        Mean power of all arrays together in each step [W]; dull <= likely <= bright everywhere.
    shed_temp_c : ndarray, shape (n_steps,)
        Mean temperature of the shed [C].
    source : str
        Where the figures come from, in words for the page.
    """

    grid: Grid
    dull_w: FloatArray
    likely_w: FloatArray
    bright_w: FloatArray
    shed_temp_c: FloatArray
    source: str

    def __post_init__(self) -> None:
        for name in ("dull_w", "likely_w", "bright_w", "shed_temp_c"):
            series = getattr(self, name)
            if series.shape != (self.grid.n_steps,) or not np.isfinite(series).all():
                msg = f"{name}: wanted {self.grid.n_steps} finite numbers"
                raise ValueError(msg)

    @property
    def by_name(self) -> dict[str, FloatArray]:
        """Array power by the sun's name [W]."""
        return {"dull": self.dull_w, "likely": self.likely_w, "bright": self.bright_w}


def build_suns(yard: Yard, grid: Grid, weather: Weather) -> ThreeSuns:
    """Turn the weather into array power under each sun and the shed's temperature (R2).

    The likely sun uses the direct and diffuse irradiance that the weather has; the dull and the bright sun
    have only their global irradiance, which is split. Where the split turns the order round in a step (a
    plane turned from the sun may gain from a duller sky), the likely sun's power stands.

    Raises
    ------
    WeatherFileError
        If the weather does not reach over the grid.
    """
    import pandas as pd

    from scheduler.sun.arraypower import Air, arrays_power_w, complete_radiation
    from scheduler.sun.ongrid import lay_on_grid, step_middles
    from scheduler.sun.shed import shed_climate
    from scheduler.sun.skies import sun_path

    hours = weather.hours(grid.start, grid.end)
    hourly = {str(name): hours[name].to_numpy(dtype=float) for name in hours.columns}
    on_grid = lay_on_grid(yard.site, pd.DatetimeIndex(hours.index), grid)
    sun = sun_path(yard.site, step_middles(grid))
    air = Air(on_grid.air(hourly["temp_c"]), on_grid.air(hourly["wind_m_s"]))

    def power_w(ghi: str, dni: str | None = None, dhi: str | None = None) -> FloatArray:
        sky = complete_radiation(
            sun,
            on_grid.level(hourly[ghi]),
            on_grid.beam(hourly[dni]) if dni in hourly else None,
            on_grid.level(hourly[dhi]) if dhi in hourly else None,
        )
        return arrays_power_w(yard.arrays, grid, sun, sky, air)

    likely_w = power_w("ghi_w_m2", "dni_w_m2", "dhi_w_m2")
    return ThreeSuns(
        grid=grid,
        dull_w=np.minimum(power_w("ghi_dull_w_m2"), likely_w),
        likely_w=likely_w,
        bright_w=np.maximum(power_w("ghi_bright_w_m2"), likely_w),
        shed_temp_c=on_grid.air(shed_climate(yard, hours).temp_c),
        source=_source(weather, grid),
    )


def clear_power_w(yard: Yard, grid: Grid) -> FloatArray:
    """Power of all arrays in each step under a sky without cloud, shape (n_steps,) [W].

    Air at 20 C and a light wind: words for a sky, which this is to judge, are far coarser than what air changes.
    """
    import pandas as pd

    from scheduler.sun.arraypower import Air, arrays_power_w, complete_radiation
    from scheduler.sun.ongrid import lay_on_grid, step_middles
    from scheduler.sun.skies import clear_ghi_w_m2, sun_path

    hours = pd.date_range(
        pd.Timestamp(grid.start).floor("h") - pd.Timedelta(hours=1), pd.Timestamp(grid.end).ceil("h"), freq="h"
    )
    on_grid = lay_on_grid(yard.site, hours, grid)
    sun = sun_path(yard.site, step_middles(grid))
    sky = complete_radiation(sun, on_grid.level(clear_ghi_w_m2(yard.site, hours)))
    usual = np.ones(grid.n_steps)
    return arrays_power_w(yard.arrays, grid, sun, sky, Air(20.0 * usual, 2.0 * usual))


def _source(weather: Weather, grid: Grid) -> str:
    if weather.begins is not None:
        return weather.source
    first = grid.local(0)
    return f"{weather.source}, days around {first.day} {first:%B}"
