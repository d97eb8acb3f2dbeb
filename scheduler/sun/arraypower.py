"""R2: from the weather on a grid to the power of an array behind its charge controller."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from scheduler.sun.shading import beam_seen_fraction, clean_fraction, sky_seen_fraction, unshaded_fractions
from scheduler.sun.skies import SunPath
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import fraction_from_pct
from scheduler.yard.arrays import places_by_input, shared_input_limit_w
from scheduler.yard.models import Array, Mounting

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


@dataclass(frozen=True)
class PlaneLight:
    """Step means of what falls on a plane [W/m2].

    Attributes
    ----------
    beam_w_m2 : ndarray
        From the sun's own direction, the bright ring around it included.
    sky_w_m2 : ndarray
        From the rest of the sky, taken as equally bright everywhere.
    ground_w_m2 : ndarray
        Thrown back by the ground.
    """

    beam_w_m2: FloatArray
    sky_w_m2: FloatArray
    ground_w_m2: FloatArray

    @property
    def total_w_m2(self) -> FloatArray:
        """All of it together [W/m2]."""
        return self.beam_w_m2 + self.sky_w_m2 + self.ground_w_m2

    def times(self, beam: FloatArray, sky: FloatArray | float, ground: FloatArray | float) -> PlaneLight:
        """Return what is left when each part is multiplied by a fraction."""
        return PlaneLight(self.beam_w_m2 * beam, self.sky_w_m2 * sky, self.ground_w_m2 * ground)


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


def plane_light(tilt_deg: float, azimuth_deg: float, sun: SunPath, sky: Radiation) -> PlaneLight:
    """Light on a tilted plane by Hay and Davies, in its parts.

    Together never more than outside the atmosphere facing the sun: the model's ratio of beam on plane and level
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
        diffuse_components=True,
    )
    light = PlaneLight(
        beam_w_m2=parts["poa_direct"] + parts["poa_circumsolar"],
        sky_w_m2=parts["poa_isotropic"],
        ground_w_m2=parts["poa_ground_diffuse"],
    )
    total_w_m2 = light.total_w_m2
    too_much = total_w_m2 > sun.extra_normal_w_m2
    most = np.divide(sun.extra_normal_w_m2, total_w_m2, out=np.ones_like(total_w_m2), where=too_much)
    return light.times(most, most, most)


def plane_irradiance_w_m2(tilt_deg: float, azimuth_deg: float, sun: SunPath, sky: Radiation) -> FloatArray:
    """Irradiance on a tilted plane with nothing before it [W/m2]; see `plane_light`."""
    return plane_light(tilt_deg, azimuth_deg, sun, sky).total_w_m2


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
    """Power of the panels before the controller [W].

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


def panels_power_w(array: Array, grid: Grid, sun: SunPath, sky: Radiation, air: Air) -> FloatArray:
    """Mean power of one array in each step, before its charge controller [W] (R2).

    A horizon takes the beam while the sun is behind it, and its part of the sky; passing shade and dirt take
    their share of what is left.

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
    light = plane_light(array.tilt_deg, array.azimuth_deg, sun, sky)
    if array.horizon_deg:
        sky_seen = sky_seen_fraction(array.tilt_deg, array.azimuth_deg, array.horizon_deg)
        light = light.times(beam_seen_fraction(array.horizon_deg, sun), sky_seen, 1.0)
    cells_c = cell_temp_c(array.mounting, light.total_w_m2, air)
    # A passing shadow takes some panels and leaves the others as warm as they were; so does dirt.
    kept = unshaded_fractions(array.shade, grid)
    clean = clean_fraction(array.soiling_pct, grid)
    used_w_m2 = light.times(kept.beam_fraction, kept.sky_fraction, kept.sky_fraction).total_w_m2 * clean
    panels_w = dc_power_w(array, used_w_m2, cells_c)
    _check_finite(array.name, panels_w)
    return panels_w


def array_power_w(array: Array, grid: Grid, sun: SunPath, sky: Radiation, air: Air) -> FloatArray:
    """Mean power of one array by itself in each step, behind its charge controller [W] (R2); see `panels_power_w`."""
    return behind_inputs_w((array,), (panels_power_w(array, grid, sun, sky, air),))


def behind_inputs_w(arrays: Sequence[Array], panels_w: Sequence[FloatArray]) -> FloatArray:
    """Mean power of all arrays together in each step, behind their controllers' inputs [W] (R2).

    Parameters
    ----------
    arrays : sequence of Array
        Those on the same input are clipped together, at the smallest of their limits.
    panels_w : sequence of ndarray, shape (n_steps,)
        What the panels of each could give [W].
    """
    each = []
    for places in places_by_input(arrays):
        together_w = reduce(np.add, (panels_w[place] for place in places))
        each.append(np.minimum(together_w, shared_input_limit_w([arrays[place] for place in places])))
    power_w: FloatArray = reduce(np.add, each)
    return power_w


def arrays_power_w(
    arrays: tuple[Array, ...], grid: Grid, sun: SunPath, sky: Radiation, air: Air
) -> FloatArray:
    """Mean power of all arrays together in each step, shared inputs clipped once [W] (R2)."""
    return behind_inputs_w(arrays, [panels_power_w(array, grid, sun, sky, air) for array in arrays])
