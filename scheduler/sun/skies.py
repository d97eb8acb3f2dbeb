"""Where the sun stands, and what a sky of a given cloudiness lets through, at the yard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.timegrid import FloatArray
from scheduler.yard.models import Site

QUARTERS_PER_HOUR = 4


#: Share of the clear sky's global irradiance that a full cover of cloud takes, and how late a growing one does.
OVERCAST_LOSS_FRACTION = 0.75
COVER_EXPONENT = 3.4


@dataclass(frozen=True)
class SunPath:
    """The sun's place at some moments.

    Attributes
    ----------
    moments : DatetimeIndex
        In UTC.
    zenith_deg, zenith_seen_deg : ndarray
        Angle from straight up without and with refraction [deg].
    azimuth_deg : ndarray
        Clockwise from north [deg].
    extra_normal_w_m2 : ndarray
        Irradiance outside the atmosphere, facing the sun [W/m2].
    """

    moments: pd.DatetimeIndex
    zenith_deg: FloatArray
    zenith_seen_deg: FloatArray
    azimuth_deg: FloatArray
    extra_normal_w_m2: FloatArray

    @property
    def extra_horizontal_w_m2(self) -> FloatArray:
        """Irradiance outside the atmosphere on the level; 0 while the sun is down [W/m2]."""
        return self.extra_normal_w_m2 * np.maximum(np.cos(np.radians(self.zenith_deg)), 0.0)


def sun_path(site: Site, moments: pd.DatetimeIndex) -> SunPath:
    """Return where the sun stands at `moments`.

    Notes
    -----
    Position by the solar position algorithm, irradiance outside the atmosphere by Spencer's series with a
    solar constant of 1366.1 W/m2, both through pvlib; refraction for 12 C and the pressure of the altitude.

    References
    ----------
    I. Reda, A. Andreas, NREL/TP-560-34302 (2008). J. W. Spencer, Search 2 (1971) 172.
    """
    from pvlib import irradiance, solarposition

    place = solarposition.get_solarposition(moments, site.latitude, site.longitude, altitude=site.elevation_m)
    return SunPath(
        moments,
        place["zenith"].to_numpy(),
        place["apparent_zenith"].to_numpy(),
        place["azimuth"].to_numpy(),
        irradiance.get_extra_radiation(moments, method="spencer").to_numpy(),
    )


def quarter_middles(hours: pd.DatetimeIndex) -> pd.DatetimeIndex:
    """Return the middles of the four quarters of each hour, in order; `hours` are starts."""
    middles_min = 60.0 / QUARTERS_PER_HOUR * (np.arange(QUARTERS_PER_HOUR) + 0.5)
    return hours.repeat(QUARTERS_PER_HOUR) + pd.to_timedelta(np.tile(middles_min, len(hours)), unit="min")


def hourly_mean(by_quarter: FloatArray) -> FloatArray:
    """Return the mean of each four quarters."""
    mean: FloatArray = by_quarter.reshape(-1, QUARTERS_PER_HOUR).mean(axis=1)
    return mean


def above_day_wh_m2(latitude_deg: float, day_of_year: NDArray[np.intp]) -> FloatArray:
    """Return the irradiation of whole days outside the atmosphere, on the level [Wh/m2].

    Notes
    -----
    ``H = 24 / pi G (cos(phi) cos(delta) sin(w) + w sin(phi) sin(delta))`` with the sunset hour angle
    ``cos(w) = -tan(phi) tan(delta)``; declination and irradiance by Spencer's series through pvlib. Days count from
    1. Much quicker than adding up `sun_path` over a year.

    References
    ----------
    J. A. Duffie, W. A. Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3.
    """
    from pvlib import irradiance, solarposition

    declination = solarposition.declination_spencer71(day_of_year)
    normal_w_m2 = irradiance.get_extra_radiation(day_of_year, method="spencer")
    latitude = np.radians(latitude_deg)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    level = np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    level += sunset * np.sin(latitude) * np.sin(declination)
    day_wh_m2: FloatArray = np.maximum(24.0 / np.pi * normal_w_m2 * level, 0.0)
    return day_wh_m2


def clear_ghi_w_m2(site: Site, hours: pd.DatetimeIndex) -> FloatArray:
    """Return the mean global horizontal irradiance of each hour under a clear sky [W/m2].

    Notes
    -----
    Ineichen and Perez with pvlib's own table of Linke turbidity by month and place.

    References
    ----------
    P. Ineichen, R. Perez, Solar Energy 73 (2002) 151, doi:10.1016/S0038-092X(02)00045-2.
    """
    from pvlib.location import Location

    place = Location(site.latitude, site.longitude, tz="UTC", altitude=site.elevation_m)
    clear = place.get_clearsky(quarter_middles(hours), model="ineichen")
    return hourly_mean(clear["ghi"].to_numpy())


def clouded_ghi_w_m2(clear_w_m2: FloatArray, cloud_fraction: FloatArray) -> FloatArray:
    """Return the global horizontal irradiance that a cover of cloud leaves of the clear sky's [W/m2].

    Notes
    -----
    ``ghi = ghi_clear (1 - 0.75 N^3.4)`` with `N` the part of the sky that is covered, or the oktas over 8. The clear
    sky is pvlib's Ineichen and Perez; direct and diffuse follow by pvlib's DISC, as for any global irradiance. On
    the typical years that carry cloud it is nearer than the straight line ``0.35 + 0.65 (1 - N)`` of Larson and
    others (2016) and than pvlib's `campbell_norman` with a transmittance of ``0.75 (1 - N)``:
    ``python -m tests.benchmarks.calibration cloud`` prints all three. It is made for what an observer calls covered;
    where thin high cloud counts in full it is too dark, by some 10 %.

    References
    ----------
    F. Kasten, G. Czeplak, Solar Energy 24 (1980) 177, doi:10.1016/0038-092X(80)90391-6.
    """
    return clear_w_m2 * (1.0 - OVERCAST_LOSS_FRACTION * cloud_fraction**COVER_EXPONENT)
