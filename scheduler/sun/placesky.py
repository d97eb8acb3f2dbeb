"""The sun where nothing is known but the place and the season: a poor guess, for a yard without any weather."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.sun.forecast import HOUR, MISSING_TEMP_C, MISSING_WIND_M_S
from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.spread import days_after, spread_hours
from scheduler.timegrid import FloatArray, floor_to
from scheduler.yard.models import Site

#: Clearness at the equator, what the square of the latitude takes from it at 45 degrees, and its rise from the year's
#: mean to high summer: fitted by eye to five typical years in North America between 26 and 55 N (Miami, Greensboro,
#: Newark, Chicago, Sand Point; NREL).
EQUATOR_FRACTION, LATITUDE_LOSS_FRACTION, SUMMER_GAIN_FRACTION = 0.90, 0.245, 0.04

#: The fit says nothing beyond its places: the clearness stays between those of its clearest and its dullest.
LEAST_FRACTION, MOST_FRACTION = 0.50, 0.82

#: Day of the year around which it is clearest in the north.
_MIDSUMMER_DAY = 197


@dataclass(frozen=True)
class PlaceSky:
    """Clear sky times the usual clearness of the latitude and the month."""

    site: Site

    @property
    def source(self) -> str:
        """In words, for the page."""
        return f"a poor guess from {abs(self.site.latitude):.0f} degrees of latitude and the season alone"

    @property
    def begins(self) -> None:
        """Any date will do."""
        return

    @property
    def ends(self) -> None:
        """Any date will do."""
        return

    @property
    def notes(self) -> tuple[str, ...]:
        """What had to be assumed, for the reader."""
        return (
            "no forecast and no typical year: the sun is a poor guess from latitude and season; say how the sky will "
            "be (--sky), give a forecast (--weather), or name a typical year in the fleet file",
            f"no temperature is known: {MISSING_TEMP_C:g} C is taken for panels and shed",
        )

    def hours(self, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Weather of the hours that touch the time from `start` to `end`; see `Weather`."""
        first_day = start.astimezone(self.site.zone)
        whole_start = floor_to(first_day.replace(hour=0, minute=0).astimezone(dt.UTC), HOUR)
        hours = pd.date_range(whole_start, end + dt.timedelta(days=1), freq="h")
        clear = clear_ghi_w_m2(self.site, hours)
        likely = usual_clearness(self.site.latitude, hours.dayofyear.to_numpy()) * clear
        # Nothing is said ahead of any day, so no day is further ahead than another; they are numbered to be parted.
        dull, bright = spread_hours(likely, clear, days_after(first_day.date(), hours, self.site.zone), "place")
        weather = pd.DataFrame(
            {
                "ghi_w_m2": likely,
                "ghi_dull_w_m2": dull,
                "ghi_bright_w_m2": bright,
                "temp_c": MISSING_TEMP_C,
                "wind_m_s": MISSING_WIND_M_S,
            },
            index=hours,
        )
        first = (start - whole_start) // HOUR
        last = -((whole_start - end) // HOUR)
        return weather.iloc[first:last]


def usual_clearness(latitude_deg: float, day_of_year: np.ndarray) -> FloatArray:
    """Return the usual share of the clear sky's irradiance that days at a latitude bring.

    Notes
    -----
    ``k = 0.90 - 0.245 (latitude / 45)^2 + 0.04 cos(2 pi (day - 197) / 365)``, the season turned round in the south,
    between 0.50 and 0.82. Places at one latitude differ by more than the formula does: deserts and coasts.
    ``python -m tests.benchmarks.calibration place`` shows how far off it is.
    """
    season = np.cos(2.0 * np.pi * (day_of_year - _MIDSUMMER_DAY) / 365.0) * np.sign(latitude_deg)
    fraction = EQUATOR_FRACTION - LATITUDE_LOSS_FRACTION * (latitude_deg / 45.0) ** 2
    clearness: FloatArray = np.clip(fraction + SUMMER_GAIN_FRACTION * season, LEAST_FRACTION, MOST_FRACTION)
    return clearness
