"""What the forecast of the evening before would have said of a day whose sun is known.

The error model, stated: a forecast names how clear the next day will be (the likely sun) and, by the spread that the
program gives to forecasts, a dull and a bright sun that 9 days and 1 day in 10 are sunnier than. Where a day falls
within its own forecast is drawn: a standard normal number `z`, for which the dull sun stands at ``z = -1.28``, the
likely at 0 and the bright at 1.28, in straight lines between and beyond. The forecast is the one in which the day
that came lies at its `z`. So over many draws 1 day in 10 is duller than its dull sun and 1 in 10 brighter than its
bright one, whatever the spread, as far as forecasts reach: none is duller than the year's dullest day or clearer
than its clearest. Days are drawn one by one: a bad forecast says nothing about the next.

The temperature is forecast without error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from scheduler.sun.spread import spread_factors
from scheduler.timegrid import FloatArray

#: Standard normal number that 1 day in 10 falls short of, turned positive.
TENTH_Z = 1.2815515655446004

#: The spread is read off a ladder of so many forecasts, in straight lines between them.
_N_RUNGS = 401

_HALVINGS = 40


class Spread(Protocol):
    """How far the dull and the bright sun lie from a forecast; neither may fall as the likely sun rises."""

    def dull_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Clearness that 9 days in 10 with this forecast exceed."""
        ...

    def bright_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Clearness that 1 day in 10 with this forecast exceeds."""
        ...


@dataclass(frozen=True)
class DefaultSpread:
    """The spread that the program gives to a forecast of irradiance a day ahead."""

    def dull_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Clearness that 9 days in 10 with this forecast exceed."""
        dull, _, _ = spread_factors(likely_fraction, np.ones_like(likely_fraction), "irradiance")
        return likely_fraction * dull

    def bright_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        """Clearness that 1 day in 10 with this forecast exceeds."""
        _, _, bright = spread_factors(likely_fraction, np.ones_like(likely_fraction), "irradiance")
        return likely_fraction * bright


@dataclass(frozen=True)
class ClearnessForecast:
    """Clearness of each day as forecast the evening before, arrays of shape (n_days,)."""

    dull_fraction: FloatArray
    likely_fraction: FloatArray
    bright_fraction: FloatArray


def forecast_clearness(
    true_fraction: FloatArray, among_fraction: FloatArray, spread: Spread, random: np.random.Generator
) -> ClearnessForecast:
    """Draw what the forecasts would have said.

    Parameters
    ----------
    true_fraction : ndarray, shape (n_days,)
        Clearness of the days that came.
    among_fraction : ndarray
        Clearness of all days of the year: no forecast goes beyond them.
    spread : Spread
    random : Generator
        One normal number a day is drawn, whatever the days are.
    """
    z = random.standard_normal(len(true_fraction))
    rungs = np.linspace(float(among_fraction.min()), float(among_fraction.max()), _N_RUNGS)
    dull, bright = np.minimum(spread.dull_fraction(rungs), rungs), np.maximum(spread.bright_fraction(rungs), rungs)
    low, high = np.full(len(z), rungs[0]), np.full(len(z), rungs[-1])
    for _ in range(_HALVINGS):
        likely = 0.5 * (low + high)
        end = np.where(z < 0.0, np.interp(likely, rungs, dull), np.interp(likely, rungs, bright))
        too_low = likely + np.abs(z) / TENTH_Z * (end - likely) < true_fraction
        low, high = np.where(too_low, likely, low), np.where(too_low, high, likely)
    likely = 0.5 * (low + high)
    return ClearnessForecast(np.interp(likely, rungs, dull), likely, np.interp(likely, rungs, bright))
