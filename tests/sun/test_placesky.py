from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.placesky import LEAST_FRACTION, MOST_FRACTION, PlaceSky, usual_clearness
from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.yard.models import Site

STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
START = dt.datetime(2027, 6, 8, 20, tzinfo=dt.UTC)
JULY, JANUARY = np.array([197]), np.array([14])


def test_the_usual_clearness_falls_with_latitude_and_is_higher_in_summer_on_either_side():
    assert usual_clearness(26.0, JULY) > usual_clearness(41.0, JULY) > usual_clearness(55.0, JULY)
    assert usual_clearness(41.0, JULY) > usual_clearness(41.0, JANUARY)
    assert usual_clearness(-41.0, JULY) == pytest.approx(usual_clearness(41.0, JANUARY), abs=0.002)


@pytest.mark.parametrize("latitude", [-90.0, -30.0, 0.0, 10.0, 70.0, 90.0])
def test_beyond_the_places_of_the_fit_it_stays_between_their_ends(latitude):
    clearness = usual_clearness(latitude, np.arange(1, 366))
    assert ((clearness >= LEAST_FRACTION) & (clearness <= MOST_FRACTION)).all()


def test_the_likely_sun_is_the_clear_skys_times_the_usual_clearness():
    hours = PlaceSky(STORE).hours(START, START + dt.timedelta(hours=24))
    index = pd.DatetimeIndex(hours.index)
    usual = usual_clearness(36.1, index.dayofyear.to_numpy())
    assert hours["ghi_w_m2"].to_numpy() == pytest.approx(usual * clear_ghi_w_m2(STORE, index))
    assert hours["ghi_dull_w_m2"].sum() < 0.65 * hours["ghi_w_m2"].sum()
    assert hours["ghi_bright_w_m2"].sum() > 1.15 * hours["ghi_w_m2"].sum()


@pytest.mark.parametrize("zone", ["America/New_York", "Asia/Kolkata", "Pacific/Kiritimati"])
@pytest.mark.parametrize("minutes", [0, 45])
def test_the_hours_are_those_that_touch_the_time(zone, minutes):
    start = START + dt.timedelta(minutes=minutes)
    hours = PlaceSky(STORE.model_copy(update={"timezone": zone})).hours(start, start + dt.timedelta(hours=30))
    assert hours.index[0] == START
    assert len(hours) == 30 + (minutes > 0)
    assert not hours.isna().to_numpy().any()


def test_the_days_ahead_are_no_wider_than_the_first():
    hours = PlaceSky(STORE).hours(START, START + dt.timedelta(days=5))
    kept = hours["ghi_dull_w_m2"].to_numpy()[20::24] / hours["ghi_w_m2"].to_numpy()[20::24]
    assert kept == pytest.approx(kept[0], abs=0.01)


def test_it_is_said_to_be_poor_and_what_would_be_better():
    sky = PlaceSky(STORE)
    assert sky.source == "a poor guess from 36 degrees of latitude and the season alone"
    assert any("--sky" in note and "--weather" in note for note in sky.notes)
    assert any("20 C" in note for note in sky.notes)
