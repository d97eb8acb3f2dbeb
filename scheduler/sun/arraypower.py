"""R2: from the weather on a grid to the power of an array behind its charge controller."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np

from scheduler.sun.skies import SunPath
from scheduler.timegrid import FloatArray, Grid, moment_on_clock
from scheduler.units import fraction_from_pct
from scheduler.yard.models import Array, Mounting, Shade

#: What the ground before the panels throws back: grass and soil, the usual assumption.
ALBEDO = 0.2

#: King et al. name the build, the fleet file the mounting.
_SAPM_BUILD: dict[Mounting, str] = {
    "open_rack": "open_rack_glass_polymer",
    "close_roof": "close_mount_glass_glass",
    "insulated_back": "insulated_back_glass_polymer",
}


@dataclass(frozen=True)
class Radiation:
    """Step means of the three components [W/m2]: global horizontal, direct normal, diffuse horizontal."""

    ghi_w_m2: FloatArray
    dni_w_m2: FloatArray
    dhi_w_m2: FloatArray


@dataclass(frozen=True)
class Air:
    """Step means of what cools the panels."""

    temp_c: FloatArray
    wind_m_s: FloatArray


def complete_radiation(
    sun: SunPath, ghi_w_m2: FloatArray, dni_w_m2: FloatArray | None = None, dhi_w_m2: FloatArray | None = None
) -> Radiation:
    """Find the components that are not known, with the sun at mid-step.

    One missing is closed by ``GHI = DNI cos(zenith) + DHI``; with both missing, DISC splits the global
    irradiance. Where closure gives no direct sun that can be (sun within 2 degrees of the horizon, diffuse
    above global), all of it is diffuse.

    Raises
    ------
    ValueError
        If anything given is not a number.

    References
    ----------
    E. L. Maxwell, SERI/TR-215-3087 (1987).
    """
    for name, given in (("ghi", ghi_w_m2), ("dni", dni_w_m2), ("dhi", dhi_w_m2)):
        _check_finite(name, given)
    if dni_w_m2 is None and dhi_w_m2 is not None:
        return _find_direct(sun, ghi_w_m2, dhi_w_m2)
    if dni_w_m2 is None:
        dni_w_m2 = _disc_dni_w_m2(sun, ghi_w_m2)
    if dhi_w_m2 is None:
        level_w_m2 = dni_w_m2 * np.maximum(np.cos(np.radians(sun.zenith_seen_deg)), 0.0)
        dhi_w_m2 = np.maximum(ghi_w_m2 - level_w_m2, 0.0)
    return Radiation(ghi_w_m2, dni_w_m2, dhi_w_m2)


def _check_finite(name: str, values: FloatArray | None) -> None:
    if values is not None and not np.isfinite(values).all():
        msg = f"{name}: a value is not a number"
        raise ValueError(msg)


def _disc_dni_w_m2(sun: SunPath, ghi_w_m2: FloatArray) -> FloatArray:
    from pvlib import irradiance

    split = irradiance.disc(ghi_w_m2, sun.zenith_deg, sun.moments.dayofyear.to_numpy())
    dni_w_m2: FloatArray = np.asarray(split["dni"], dtype=float)
    return dni_w_m2


def _find_direct(sun: SunPath, ghi_w_m2: FloatArray, dhi_w_m2: FloatArray) -> Radiation:
    from pvlib import irradiance

    closed = irradiance.complete_irradiance(sun.zenith_seen_deg, ghi=ghi_w_m2, dhi=dhi_w_m2)
    dni_w_m2 = closed["dni"].to_numpy()
    sensible = np.isfinite(dni_w_m2) & (dni_w_m2 <= sun.extra_normal_w_m2)
    return Radiation(ghi_w_m2, np.where(sensible, dni_w_m2, 0.0), np.where(sensible, dhi_w_m2, ghi_w_m2))


def plane_irradiance_w_m2(tilt_deg: float, azimuth_deg: float, sun: SunPath, sky: Radiation) -> FloatArray:
    """Irradiance on a tilted plane by Hay and Davies [W/m2].

    Never more than outside the atmosphere facing the sun: the model's ratio of beam on plane and level
    grows without bound as the sun sets.

    References
    ----------
    J. E. Hay, J. A. Davies, Proc. First Canadian Solar Radiation Data Workshop (1980) 59.
    """
    from pvlib import irradiance

    parts = irradiance.get_total_irradiance(
        tilt_deg,
        azimuth_deg,
        sun.zenith_seen_deg,
        sun.azimuth_deg,
        dni=sky.dni_w_m2,
        ghi=sky.ghi_w_m2,
        dhi=sky.dhi_w_m2,
        dni_extra=sun.extra_normal_w_m2,
        albedo=ALBEDO,
        model="haydavies",
    )
    plane_w_m2: FloatArray = np.minimum(parts["poa_global"], sun.extra_normal_w_m2)
    return plane_w_m2


def cell_temp_c(mounting: Mounting, plane_w_m2: FloatArray, air: Air) -> FloatArray:
    """Cell temperature for the mounting [C].

    Notes
    -----
    ``Tm = E exp(a + b v) + Ta`` and ``Tc = Tm + E / 1000 dT``: the Sandia array performance model.

    References
    ----------
    D. L. King, W. E. Boyson, J. A. Kratochvil, SAND2004-3535, Table 1.
    """
    from pvlib import temperature

    build = temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"][_SAPM_BUILD[mounting]]
    cells_c: FloatArray = temperature.sapm_cell(plane_w_m2, air.temp_c, air.wind_m_s, **build)
    return cells_c


def dc_power_w(array: Array, plane_w_m2: FloatArray, cells_c: FloatArray) -> FloatArray:
    """Power of the panels before shade and the controller [W].

    Notes
    -----
    ``P = P_rated E / 1000 (1 + gamma (Tc - 25)) (1 - losses)``, losses multiplied and not added.

    References
    ----------
    A. P. Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014).
    """
    from pvlib import pvsystem

    gamma_per_c = fraction_from_pct(array.temp_coeff_pct_per_c)
    lossless_w: FloatArray = pvsystem.pvwatts_dc(plane_w_m2, cells_c, array.rated_w, gamma_per_c)
    return np.maximum(lossless_w * (1.0 - array.loss_fraction), 0.0)


def unshaded_fraction(shades: tuple[Shade, ...], grid: Grid) -> FloatArray:
    """Return what the shade windows leave of each step's sun, in proportion where they touch part of it."""
    kept = np.ones(grid.n_steps)
    step_s = grid.step.total_seconds()
    starts_s = np.arange(grid.n_steps) * step_s
    days = sorted({grid.local(edge).date() for edge in range(grid.n_steps + 1)})
    for shade in shades:
        shaded_s = np.zeros(grid.n_steps)
        for day in days:
            window = (moment_on_clock(day, minute, grid.zone) - grid.start for minute in shade.between)
            first_s, last_s = (edge.total_seconds() for edge in window)
            shaded_s += np.maximum(np.minimum(starts_s + step_s, last_s) - np.maximum(starts_s, first_s), 0.0)
        kept *= 1.0 - fraction_from_pct(shade.lost_pct) * shaded_s / step_s
    return kept


def array_power_w(array: Array, grid: Grid, sun: SunPath, sky: Radiation, air: Air) -> FloatArray:
    """Mean power of one array in each step, behind its charge controller [W] (R2).

    Parameters
    ----------
    array : Array
    grid : Grid
    sun : SunPath, shape (n_steps,)
        At mid-step.
    sky : Radiation, shape (n_steps,)
    air : Air, shape (n_steps,)

    Raises
    ------
    ValueError
        If anything in the weather is not a number.
    """
    plane_w_m2 = plane_irradiance_w_m2(array.tilt_deg, array.azimuth_deg, sun, sky)
    panels_w = dc_power_w(array, plane_w_m2, cell_temp_c(array.mounting, plane_w_m2, air))
    _check_finite(array.name, panels_w)
    unclipped_w = panels_w * unshaded_fraction(array.shade, grid)
    return unclipped_w if array.input_limit_w is None else np.minimum(unclipped_w, array.input_limit_w)


def arrays_power_w(
    arrays: tuple[Array, ...], grid: Grid, sun: SunPath, sky: Radiation, air: Air
) -> FloatArray:
    """Mean power of all arrays together in each step [W] (R2)."""
    each = (array_power_w(array, grid, sun, sky, air) for array in arrays)
    return reduce(np.add, each, np.zeros(grid.n_steps))
