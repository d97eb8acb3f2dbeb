from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.spread import (
    DAY_CEILING_FRACTION,
    WINDOW_DAYS,
    days_after,
    season_weights,
    spread_factors,
    spread_hours,
    weighted_quantiles,
)

SOURCES = ("irradiance", "cloud", "place")
CLEARNESS = np.linspace(0.0, 1.2, 61)


@pytest.mark.parametrize("source", SOURCES)
def test_dull_and_bright_enclose_what_is_said_and_rise_with_it(source):
    dull, likely, bright = spread_factors(CLEARNESS, np.ones(1), source)
    assert (dull <= 1.0).all()
    assert (likely == 1.0).all()
    assert (bright >= 1.0).all()
    for factor in (dull, bright):
        assert (np.diff(factor * CLEARNESS) >= -1e-12).all()


def test_a_clear_day_is_surer_than_a_half_clouded_one():
    dull, _, bright = spread_factors(np.array([0.55, 1.0]), np.ones(1), "irradiance")
    width = (bright - dull) * np.array([0.55, 1.0])
    assert width[1] < 0.6 * width[0]


def test_an_overcast_day_is_surer_than_a_half_clouded_one():
    dull, _, bright = spread_factors(np.array([0.2, 0.55]), np.ones(1), "irradiance")
    width = (bright - dull) * np.array([0.2, 0.55])
    assert width[0] < 0.75 * width[1]


def test_the_less_is_known_the_wider():
    widths = [np.ptp([f[0] for f in spread_factors(np.array([0.6]), np.ones(1), source)]) for source in SOURCES]
    assert widths == sorted(widths)
    assert len(set(widths)) == 3


def test_further_days_are_wider_but_never_wider_than_knowing_nothing():
    leads = np.arange(0.0, 40.0)
    dull = spread_factors(np.full(40, 0.6), leads, "irradiance")[0]
    nothing = spread_factors(np.full(40, 0.6), leads, "place")[0]
    assert dull[0] == dull[1]
    assert (np.diff(dull[1:6]) < 0.0).all()
    assert dull[-1] == pytest.approx(nothing[0])
    assert np.ptp(nothing) == 0.0


def test_the_error_grows_as_published_from_the_first_day_to_the_third():
    # The width stands for the error: 36 % of the mean on the first day, 46 % on the third.
    width = [np.ptp([f[0] for f in spread_factors(np.array([0.6]), np.array([lead]), "irradiance")]) for lead in (1, 3)]
    assert width[1] / width[0] == pytest.approx(46 / 36, rel=0.05)


def test_no_sun_has_no_spread():
    dull, _, bright = spread_factors(np.zeros(1), np.ones(1), "irradiance")
    assert dull[0] == bright[0] == 1.0


def hours_of_two_days() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    clear = np.tile([0.0, 200.0, 800.0, 400.0], 2)
    likely = clear * np.array([1.0, 0.9, 0.3, 0.5, 1.0, 1.0, 1.0, 1.0])
    return likely, clear, np.repeat([0, 1], 4)


def test_a_dull_day_is_dull_in_all_its_hours_alike():
    likely, clear, day = hours_of_two_days()
    dull, _ = spread_hours(likely, clear, day, "irradiance")
    kept = dull[likely > 0.0] / likely[likely > 0.0]
    assert np.ptp(kept[:3]) == pytest.approx(0.0)
    assert np.ptp(kept[3:]) == pytest.approx(0.0)
    assert kept[0] < kept[3]


def test_a_bright_day_has_the_factors_total_and_brightens_most_where_it_is_dullest():
    likely, clear, day = hours_of_two_days()
    _, bright = spread_hours(likely, clear, day, "irradiance")
    clearness = np.array([likely[:4].sum() / clear[:4].sum(), 1.0])
    factor = spread_factors(clearness, np.array([0.0, 1.0]), "irradiance")[2]
    assert bright[:4].sum() == pytest.approx(factor[0] * likely[:4].sum())
    assert bright[4:].sum() == pytest.approx(factor[1] * likely[4:].sum())
    assert (bright <= DAY_CEILING_FRACTION * clear + 1e-9).all()
    gained = (bright - likely)[1:4] / clear[1:4]
    assert gained[1] > gained[2] > gained[0] > 0.0


def test_a_night_is_no_day_to_be_judged():
    dull, bright = spread_hours(np.zeros(5), np.zeros(5), np.zeros(5, dtype=int), "place")
    assert not dull.any()
    assert not bright.any()


def test_days_are_counted_on_the_sites_clock():
    hours = pd.date_range("2027-06-08T02:00Z", periods=28, freq="h")
    counted = days_after(dt.date(2027, 6, 8), hours, ZoneInfo("America/New_York"))
    # 02:00 UTC is still the day before, which counts with the first; the second begins at 04:00 UTC on the 9th.
    assert counted.tolist() == [0] * 26 + [1] * 2


def test_with_equal_weights_the_kth_of_n_stands_at_k_over_n_and_one():
    values = np.array([5.0, 1.0, 9.0, 3.0, 7.0, 2.0, 8.0, 4.0, 6.0])
    found = weighted_quantiles(values, np.ones(9), np.array([0.1, 0.5, 0.9, 0.25]))
    assert found == pytest.approx([1.0, 5.0, 9.0, 2.5])


def test_a_value_of_twice_the_weight_counts_as_two():
    one = weighted_quantiles(np.array([1.0, 2.0, 3.0]), np.array([1.0, 1.0, 6.0]), np.array([0.5]))
    assert one[0] > 2.5
    assert weighted_quantiles(np.array([4.0]), np.array([2.0]), np.array([0.1, 0.9])).tolist() == [4.0, 4.0]


def test_the_seasons_weights_fall_to_nothing_at_the_windows_end():
    weights = season_weights(np.array([0.0, 30.0, float(WINDOW_DAYS), WINDOW_DAYS + 1.0, 180.0]))
    assert weights[0] == 1.0
    assert weights[0] > weights[1] > weights[2] > 0.0
    assert not weights[3:].any()


@pytest.mark.parametrize("clearness", [0.2, 0.5, 0.8, 1.0, 1.05, 1.1])
def test_the_less_is_known_the_duller_dull_and_the_brighter_bright_up_to_the_clearest_sky(clearness):
    dull, _, bright = spread_factors(np.full(8, clearness), np.arange(1.0, 9.0), "irradiance")
    # At the ends the distribution is cut off; what that moves is a thousandth of the clear sky.
    assert (np.diff(clearness * dull) <= 0.002).all()
    assert (np.diff(clearness * bright) >= -0.002).all()
