"""Where the sun stands, and what a sky of a given cloudiness lets through, at the yard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.timegrid import FloatArray
from scheduler.yard.models import Site

QUARTERS_PER_HOUR = 4

#: What stays of the clear sky's global irradiance under a full cover of cloud.
OVERCAST_FRACTION = 0.35


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
    ``ghi = ghi_clear (0.35 + 0.65 (1 - cloud))``: linear in the cloud cover. Cloud models differ widely: at
    half cover others leave 65 to 93 % where this one leaves 67.5 %.

    References
    ----------
    D. P. Larson, L. Nonnenmacher, C. F. M. Coimbra, Renewable Energy 91 (2016) 11.
    """
    return clear_w_m2 * (OVERCAST_FRACTION + (1.0 - OVERCAST_FRACTION) * (1.0 - cloud_fraction))
