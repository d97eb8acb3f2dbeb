"""The error model of forecasts: calibrated whatever the spread, seeded, and within what the year has seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from scheduler.studies.forecasts import DefaultSpread, Spread, forecast_clearness
from scheduler.timegrid import FloatArray


@dataclass(frozen=True)
class Wide:
    """A spread of its own kind, far from the default."""

    def dull_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        return 0.6 * likely_fraction

    def bright_fraction(self, likely_fraction: FloatArray) -> FloatArray:
        return 1.1 * likely_fraction


#: So clear in the middle that no forecast meets the ends.
MIDDLING = np.full(20_000, 0.55)
ENDS = np.array([0.02, 1.4])


@pytest.mark.parametrize("spread", [Wide(), DefaultSpread()], ids=["wide", "default"])
def test_one_day_in_ten_is_duller_than_dull_and_one_brighter_than_bright(spread: Spread) -> None:
    told = forecast_clearness(MIDDLING, ENDS, spread, np.random.default_rng(3))
    sampling = 4 * np.sqrt(0.1 * 0.9 / len(MIDDLING))
    assert np.mean(told.dull_fraction > MIDDLING) == pytest.approx(0.1, abs=sampling)
    assert np.mean(told.bright_fraction < MIDDLING) == pytest.approx(0.1, abs=sampling)
    assert np.mean(told.likely_fraction < MIDDLING) == pytest.approx(0.5, abs=2 * sampling)
    assert (told.dull_fraction <= told.likely_fraction).all()
    assert (told.likely_fraction <= told.bright_fraction).all()


def test_no_forecast_goes_beyond_the_years_dullest_and_clearest_day() -> None:
    among = np.linspace(0.2, 1.0, 50)
    told = forecast_clearness(np.repeat(among, 40), among, Wide(), np.random.default_rng(1))
    assert told.likely_fraction.min() >= 0.2 - 1e-9
    assert told.likely_fraction.max() <= 1.0 + 1e-9


def test_what_is_drawn_for_a_day_does_not_depend_on_the_others() -> None:
    days = np.linspace(0.3, 0.9, 30)
    other = days.copy()
    other[7] = 0.5
    one = forecast_clearness(days, ENDS, Wide(), np.random.default_rng(5)).likely_fraction
    two = forecast_clearness(other, ENDS, Wide(), np.random.default_rng(5)).likely_fraction
    assert np.flatnonzero(one != two).tolist() == [7]
