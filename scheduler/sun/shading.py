"""R2: what stands between the sky and an array: a horizon, passing shade, dirt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.sun.skies import SunPath
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import fraction_from_pct
from scheduler.yard.models import Shade

#: Azimuth and elevation of what stands there, azimuths rising; straight lines between [deg].
Horizon = tuple[tuple[float, float], ...]

#: The sun is followed this often within a step, so that it does not set behind a tree at full hours only.
_LOOKS_PER_STEP = 12

_AZIMUTHS_DEG = np.arange(0.5, 360.0)


def horizon_at_deg(horizon: Horizon, azimuth_deg: FloatArray) -> FloatArray:
    """Elevation of the horizon in a direction [deg]."""
    azimuths, elevations = zip(*horizon, strict=True)
    height: FloatArray = np.interp(azimuth_deg, azimuths, elevations, period=360.0)
    return height


def beam_seen_fraction(horizon: Horizon, sun: SunPath) -> FloatArray:
    """Fraction of each step's daylight in which the sun stands clear of the horizon, shape (n_steps,).

    Parameters
    ----------
    horizon : Horizon
    sun : SunPath, shape (n_steps,)
        At the middles of steps that follow each other; between them it is taken to move evenly.
    """
    steps = np.arange(len(sun.azimuth_deg))
    looks = (np.arange(len(steps) * _LOOKS_PER_STEP) + 0.5) / _LOOKS_PER_STEP - 0.5
    azimuth_deg = np.interp(looks, steps, np.unwrap(sun.azimuth_deg, period=360.0))
    elevation_deg = np.interp(looks, steps, 90.0 - sun.zenith_seen_deg)
    is_up = (elevation_deg > 0.0).reshape(-1, _LOOKS_PER_STEP)
    is_clear = (elevation_deg > horizon_at_deg(horizon, azimuth_deg)).reshape(-1, _LOOKS_PER_STEP)
    up = is_up.sum(axis=1)
    seen: FloatArray = np.divide((is_up & is_clear).sum(axis=1), up, out=np.ones(len(steps)), where=up > 0)
    return seen


def sky_seen_fraction(tilt_deg: float, azimuth_deg: float, horizon: Horizon) -> float:
    """Fraction of the light of an even sky that reaches a plane over the horizon.

    Notes
    -----
    With H the angle from straight up down to the horizon in direction phi, and no further down than the plane
    itself sees, ``V = 1 / (2 pi) integral of cos S sin^2 H + sin S cos(phi - A) (H - sin H cos H) d phi`` for a
    plane of slope S that looks to A, here summed over 360 directions; over that without a horizon, which is
    ``(1 + cos S) / 2``. What stands before the sky is taken as dark.

    References
    ----------
    J. Dozier, J. Frew, IEEE Trans. Geoscience and Remote Sensing 28 (1990) 963, equation 7b,
    doi:10.1109/36.58986. For the flat horizon B. Y. H. Liu, R. C. Jordan, Solar Energy 7 (1963) 53.
    """
    tilt = np.radians(tilt_deg)
    facing = np.cos(np.radians(_AZIMUTHS_DEG - azimuth_deg))
    # Behind its own back the plane sees the sky only above its edge.
    own_edge = np.maximum(np.arctan2(-facing * np.sin(tilt), np.cos(tilt)), 0.0)

    def seen(elevation: FloatArray) -> float:
        from_top = np.pi / 2.0 - np.maximum(elevation, own_edge)
        level = np.cos(tilt) * np.sin(from_top) ** 2
        slanted = np.sin(tilt) * facing * (from_top - np.sin(from_top) * np.cos(from_top))
        return float((level + slanted).sum())

    return seen(np.radians(horizon_at_deg(horizon, _AZIMUTHS_DEG))) / seen(np.zeros_like(own_edge))


@dataclass(frozen=True)
class Unshaded:
    """What passing shade leaves of each step's beam, and of its light from sky and ground."""

    beam_fraction: FloatArray
    sky_fraction: FloatArray


def unshaded_fractions(shades: tuple[Shade, ...], grid: Grid) -> Unshaded:
    """Return what the shade windows leave of each step, in proportion where they touch part of it."""
    beam, sky = np.ones(grid.n_steps), np.ones(grid.n_steps)
    for shade in shades:
        inside = grid.fraction_between(*shade.between)
        sky_lost_pct = shade.lost_pct if shade.sky_lost_pct is None else shade.sky_lost_pct
        beam = beam * (1.0 - fraction_from_pct(shade.lost_pct) * inside)
        sky = sky * (1.0 - fraction_from_pct(sky_lost_pct) * inside)
    return Unshaded(beam, sky)


def clean_fraction(soiling_pct: tuple[float, ...] | None, grid: Grid) -> FloatArray:
    """Return what the month's dirt lets through in each step; dirt dims beam and sky alike."""
    if soiling_pct is None:
        return np.ones(grid.n_steps)
    months = np.array([grid.local(step).month for step in range(grid.n_steps)])
    clean: FloatArray = 1.0 - np.array([fraction_from_pct(pct) for pct in soiling_pct])[months - 1]
    return clean
