"""How far a day strays from what its source says of it: the model of the dull and the bright sun, and its figures.

A day's clearness is its global irradiance over that of the clear sky. Around what a source says, the clearness of the
day that comes is taken as beta distributed between the dullest and the clearest that days are, with what the source
says as its mean: surest near either end, least sure at half. A day is dull or bright as a whole, for cloud lasts for
hours. ``python -m tests.benchmarks.calibration`` fits and checks the figures.
"""

from __future__ import annotations

import datetime as dt
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.timegrid import FloatArray

#: What a day's sun is told by: a forecast of irradiance, one of cloud, or nothing but the place and the season.
Source = Literal["irradiance", "cloud", "place"]

DULL_QUANTILE = 0.1
LIKELY_QUANTILE = 0.5
BRIGHT_QUANTILE = 0.9

#: No day is duller or clearer than these shares of the clear sky's irradiance (fitted; the dullest of three years'
#: days had 0.18, the clearest 1.14 at a place whose clear sky is taken too dark).
DAY_FLOOR_FRACTION, DAY_CEILING_FRACTION = 0.10, 1.07

#: How closely days keep to what was said of them a day ahead: the beta distribution's two parameters together. Fitted
#: to forecasts made up from three typical years that are half as far off as tomorrow like today, which is what the
#: best of 34 sites' day-ahead forecasts are: R. Perez and others, Solar Energy 94 (2013) 305. The place alone is
#: taken wider than the 3.5 of the fit, for other places.
CONCENTRATION: dict[Source, float] = {"irradiance": 10.75, "cloud": 8.5, "place": 3.0}

#: The error's growth with each further day: 36 % of the mean on the first day, 46 % on the third in E. Lorenz and
#: others, IEEE J. Sel. Topics Appl. Earth Obs. 2 (2009) 2 (from memory).
ERROR_GROWTH_PER_DAY = 0.13

#: Neither parameter of the beta distribution is less: nearer to an end most days would lie on it, and the less were
#: known the surer they would seem.
LEAST_PARAMETER = 0.4


def spread_factors(
    clearness_fraction: FloatArray, lead_days: FloatArray, source: Source
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """By what the sun of a day is multiplied to be dull, likely and bright.

    Parameters
    ----------
    clearness_fraction : ndarray
        What the source says of the day: global irradiance over that of the clear sky.
    lead_days : ndarray
        How many days ahead it says so; the day itself counts as one ahead.
    source : Source

    Returns
    -------
    tuple of ndarray
        At most 1, 1, and at least 1. Times the clearness, none falls as the clearness rises; a clearness of 0 has
        factors of 1.

    Notes
    -----
    ``(k - floor) / (ceiling - floor) ~ Beta(m c, (1 - m) c)`` with ``m`` where the source's clearness lies between
    floor and ceiling. The variance is proportional to ``m (1 - m) / (1 + c)``; with the days ahead it grows as
    ``(1 + 0.13)^(2 (lead - 1))``, but no wider than where nothing is known but the place.
    """
    from scipy.special import betaincinv

    growth = (1.0 + ERROR_GROWTH_PER_DAY) ** (2.0 * np.maximum(np.asarray(lead_days, float) - 1.0, 0.0))
    together = np.maximum((1.0 + CONCENTRATION[source]) / growth - 1.0, CONCENTRATION["place"])
    width = DAY_CEILING_FRACTION - DAY_FLOOR_FRACTION
    end = LEAST_PARAMETER / together
    mean = np.clip((clearness_fraction - DAY_FLOOR_FRACTION) / width, end, 1.0 - end)

    def factor(quantile: float) -> FloatArray:
        clearness = DAY_FLOOR_FRACTION + width * betaincinv(mean * together, (1.0 - mean) * together, quantile)
        lit = np.asarray(clearness_fraction) > 0.0
        by: FloatArray = np.divide(clearness, clearness_fraction, out=np.ones_like(mean), where=lit)
        return by

    dull, bright = np.minimum(factor(DULL_QUANTILE), 1.0), np.maximum(factor(BRIGHT_QUANTILE), 1.0)
    return dull, np.ones_like(dull), bright


def days_after(first: dt.date, hours: pd.DatetimeIndex, zone: ZoneInfo) -> NDArray[np.intp]:
    """How many days after `first` each hour falls on the clock of a zone; what is before it counts with it."""
    number = [hour.toordinal() - first.toordinal() for hour in hours.tz_convert(zone)]
    return np.maximum(np.array(number, dtype=np.intp), 0)


def spread_hours(
    likely_w_m2: FloatArray, clear_w_m2: FloatArray, days_ahead: NDArray[np.intp], source: Source
) -> tuple[FloatArray, FloatArray]:
    """Dull and bright global irradiance of hours whose likely one is known [W/m2].

    Parameters
    ----------
    likely_w_m2, clear_w_m2 : ndarray, shape (n_hours,)
        Of what is said, and of the clear sky.
    days_ahead : ndarray of int, shape (n_hours,)
        How many days ahead it is said, from 0 on; days that are there in part are judged by that part.
    source : Source

    Returns
    -------
    tuple of ndarray
        The dull sun is the likely one times the day's factor in every hour. The bright sun closes the same share of
        every hour's gap to the ceiling, so that a clear hour of a cloudy day is not brightened beyond any sky.
    """
    said, clear = np.bincount(days_ahead, likely_w_m2), np.bincount(days_ahead, clear_w_m2)
    clearness = np.divide(said, clear, out=np.zeros(len(said)), where=clear > 0.0)
    dull, _, bright = spread_factors(clearness, np.arange(len(said), dtype=float), source)
    room_w_m2 = np.maximum(DAY_CEILING_FRACTION * clear_w_m2 - likely_w_m2, 0.0)
    room = np.bincount(days_ahead, room_w_m2)
    share = np.divide((bright - 1.0) * said, room, out=np.zeros(len(said)), where=room > 0.0)
    return likely_w_m2 * dull[days_ahead], likely_w_m2 + np.minimum(share, 1.0)[days_ahead] * room_w_m2


#: Days on either side of a date whose clearness tells of it; nearer ones weigh more (fitted).
WINDOW_DAYS = 60


def season_weights(distance_days: FloatArray, window_days: int = WINDOW_DAYS) -> FloatArray:
    """Weight of days so far from a date: ``1 - (d / (window + 1))^2``, 0 beyond it (Epanechnikov's kernel)."""
    return np.maximum(1.0 - (distance_days / (window_days + 1.0)) ** 2, 0.0)


def weighted_quantiles(values: FloatArray, weights: FloatArray, quantiles: FloatArray) -> FloatArray:
    """Quantiles of a population of which some values, weighted, are a sample.

    Notes
    -----
    Each value stands at the middle of its weight; positions are drawn together by ``n / (n + 1)`` with Kish's
    effective number ``n = (sum w)^2 / sum w^2``, so that with equal weights the k-th of n values stands at
    ``k / (n + 1)``, as Weibull has it: a further value is below the least of n once in n + 1 times.

    References
    ----------
    L. Kish, Survey Sampling (1965) (from memory). W. Weibull, Ing. Vetensk. Akad. Handl. 151 (1939) (from memory).
    """
    order = np.argsort(values, kind="stable")
    sorted_weights = weights[order]
    total = sorted_weights.sum()
    n_effective = total**2 / (sorted_weights**2).sum()
    middle = (np.cumsum(sorted_weights) - 0.5 * sorted_weights) / total
    position = 0.5 + (middle - 0.5) * n_effective / (n_effective + 1.0)
    found: FloatArray = np.interp(quantiles, position, values[order])
    return found
