"""The suns mean what they say, judged out of sample on three climates; the benchmark prints the whole table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.spread import spread_factors
from tests.benchmarks.calibration import (
    LEFT_OUT_DAYS,
    array_energy,
    day_ahead_error,
    judge,
    made_up_forecasts,
    pinball,
    plain_suns,
    same_month,
    source_suns,
    typical_suns,
    word_of,
)
from tests.benchmarks.climates import Climate, climates

NAMES = ("Greensboro", "Miami", "Sand Point")


@pytest.fixture(params=NAMES)
def climate(request: pytest.FixtureRequest) -> Climate:
    return next(known for known in climates() if known.name == request.param)


def test_the_pinball_loss_is_least_at_the_quantile():
    truth = np.arange(1.0, 101.0)
    losses = [pinball(truth, np.full(100, said), 0.1) for said in (5.0, 10.5, 20.0, 50.0)]
    assert losses.index(min(losses)) == 1


def test_dull_and_bright_of_the_typical_year_are_beaten_as_often_as_they_say_over_the_year_and_each_quarter(climate):
    assert judge(climate.ghi_w_m2.sum(axis=1), typical_suns(climate)).within


def test_they_are_too_on_a_tilted_array_with_all_that_stands_between(climate):
    truth = climate.year.by_start_utc()
    truth = truth.assign(ghi_dull_w_m2=truth["ghi_w_m2"], ghi_bright_w_m2=truth["ghi_w_m2"])
    said = pd.concat([climate.year.suns_of_day(day, LEFT_OUT_DAYS) for day in range(365)])
    assert judge(array_energy(climate, truth)[1], array_energy(climate, said)).within


def test_the_typical_year_loses_less_than_plain_quantiles_of_the_month_or_of_31_days(climate):
    daily = climate.ghi_w_m2.sum(axis=1)
    own = judge(daily, typical_suns(climate)).loss_pct
    assert own < judge(daily, plain_suns(climate, same_month)).loss_pct
    assert own < judge(daily, plain_suns(climate, lambda day: climate.year.distance_days(day) <= 15)).loss_pct


def test_the_plain_quantiles_themselves_do_not_mean_what_they_say(climate):
    plain = plain_suns(climate, same_month)
    assert not judge(climate.ghi_w_m2.sum(axis=1), plain).within


def test_made_up_forecasts_are_as_far_off_as_they_should_be_and_without_bias(climate):
    said = made_up_forecasts(climate.clearness, day_ahead_error(climate))
    off = said - climate.clearness
    assert np.sqrt(np.mean(off**2)) == pytest.approx(day_ahead_error(climate), rel=0.01)
    for low, high in ((0.3, 0.6), (0.6, 0.8), (0.8, 1.0)):
        assert abs(off[(said > low) & (said <= high)].mean()) < 0.02


@pytest.mark.parametrize("source", ["irradiance", "cloud"])
def test_dull_and_bright_around_made_up_forecasts_are_beaten_as_often_as_they_say(climate, source):
    said = made_up_forecasts(climate.clearness, day_ahead_error(climate))
    judged = judge(climate.clearness, source_suns(word_of(said) if source == "cloud" else said, source))
    assert 87.0 <= judged.dull_pct <= 93.0
    assert 7.0 <= judged.bright_pct <= 13.0


def test_a_guess_from_the_place_is_wider_than_a_forecast(climate):
    said = np.minimum(climate.clearness, 1.0)
    dull, _, bright = spread_factors(said, np.ones(1), "place")
    sure_dull, _, sure_bright = spread_factors(said, np.ones(1), "irradiance")
    assert (dull <= sure_dull).all()
    assert (bright >= sure_bright).all()
