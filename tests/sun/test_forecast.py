from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scheduler.errors import WeatherFileError
from scheduler.sun.forecast import MISSING_TEMP_C, MISSING_WIND_M_S, Forecast
from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.spread import DAY_CEILING_FRACTION, spread_factors
from scheduler.yard.models import Site

STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
BEGINS = dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC)
ENDS = BEGINS + dt.timedelta(hours=24)


def day_of(**columns: float | np.ndarray) -> Forecast:
    index = pd.date_range(BEGINS, periods=24, freq="h")
    return Forecast(Path("three.csv"), STORE, pd.DataFrame(columns, index=index))


def clear() -> np.ndarray:
    return clear_ghi_w_m2(STORE, pd.date_range(BEGINS, periods=24, freq="h"))


def test_the_hours_asked_for_are_those_that_touch_the_time():
    forecast = day_of(ghi_w_m2=0.0)
    hours = forecast.hours(BEGINS + dt.timedelta(minutes=90), BEGINS + dt.timedelta(minutes=195))
    assert hours.index[0] == BEGINS + dt.timedelta(hours=1)
    assert hours.index[-1] == BEGINS + dt.timedelta(hours=3)
    assert len(forecast.hours(BEGINS, ENDS)) == 24


@pytest.mark.parametrize("early_min", [-15, 15])
def test_a_forecast_that_does_not_reach_so_far_says_what_it_covers(early_min):
    shift = dt.timedelta(minutes=early_min)
    with pytest.raises(
        WeatherFileError, match=r"covers Wed 09 Jun 2027 00:00 to Thu 10 Jun 2027 00:00.*newer forecast"
    ):
        day_of(ghi_w_m2=0.0).hours(BEGINS + shift, ENDS + shift)


def test_the_files_own_spread_is_used_as_it_is():
    hours = day_of(ghi_w_m2=100.0, ghi_dull_w_m2=60.0, ghi_bright_w_m2=150.0).hours(BEGINS, ENDS)
    assert set(hours["ghi_dull_w_m2"]) == {60.0}
    assert set(hours["ghi_bright_w_m2"]) == {150.0}


def test_without_a_spread_a_day_is_dull_and_bright_as_a_whole():
    likely = 0.6 * clear()
    hours = day_of(ghi_w_m2=likely).hours(BEGINS, ENDS)
    dull, _, bright = spread_factors(np.array([0.6]), np.ones(1), "irradiance")
    assert hours["ghi_dull_w_m2"].to_numpy() == pytest.approx(dull[0] * likely)
    assert hours["ghi_bright_w_m2"].sum() == pytest.approx(bright[0] * likely.sum())
    assert (hours["ghi_bright_w_m2"] <= DAY_CEILING_FRACTION * clear() + 1e-9).all()


def test_a_plan_that_begins_at_noon_has_the_same_afternoon():
    forecast = day_of(ghi_w_m2=np.where(np.arange(24) < 12, 0.9, 0.3) * clear())
    whole, afternoon = forecast.hours(BEGINS, ENDS), forecast.hours(BEGINS + dt.timedelta(hours=12), ENDS)
    pd.testing.assert_frame_equal(whole.iloc[12:], afternoon)


def test_the_days_after_tomorrow_are_less_sure():
    index = pd.date_range(BEGINS, periods=96, freq="h")
    clear_w_m2 = clear_ghi_w_m2(STORE, index)
    forecast = Forecast(Path("four.csv"), STORE, pd.DataFrame({"ghi_w_m2": 0.7 * clear_w_m2}, index=index))
    hours = forecast.hours(BEGINS, BEGINS + dt.timedelta(hours=96))
    kept = hours["ghi_dull_w_m2"].to_numpy()[12::24] / hours["ghi_w_m2"].to_numpy()[12::24]
    assert kept[0] == pytest.approx(kept[1], abs=1e-9)
    assert kept[1] > kept[2] > kept[3]


def test_cloud_tells_less_surely_than_irradiance():
    said = day_of(ghi_w_m2=0.7 * clear()).hours(BEGINS, ENDS)
    covered = day_of(cloud_pct=100.0 * (0.3 / 0.75) ** (1 / 3.4)).hours(BEGINS, ENDS)
    assert covered["ghi_w_m2"].sum() == pytest.approx(said["ghi_w_m2"].sum())
    assert covered["ghi_dull_w_m2"].sum() < said["ghi_dull_w_m2"].sum()
    assert covered["ghi_bright_w_m2"].sum() > said["ghi_bright_w_m2"].sum()


def test_a_clear_forecast_is_surer_than_a_cloudy_one():
    def kept(cloudiness: float) -> float:
        hours = day_of(ghi_w_m2=(1 - cloudiness) * clear()).hours(BEGINS, ENDS)
        return float(hours["ghi_dull_w_m2"].sum() / hours["ghi_w_m2"].sum())

    assert kept(0.0) > kept(0.3) > kept(0.6)


def test_a_likely_sun_above_every_sky_is_its_own_bright_sun():
    likely = 1.1 * clear()
    hours = day_of(ghi_w_m2=likely).hours(BEGINS, ENDS)
    assert hours["ghi_bright_w_m2"].to_numpy() == pytest.approx(likely)


def test_half_a_spread_is_filled_up():
    hours = day_of(ghi_w_m2=0.6 * clear(), ghi_dull_w_m2=0.1 * clear()).hours(BEGINS, ENDS)
    assert hours["ghi_dull_w_m2"].to_numpy() == pytest.approx(0.1 * clear())
    assert (hours["ghi_bright_w_m2"] >= hours["ghi_w_m2"]).all()


def test_cloud_alone_becomes_irradiance_by_kasten_and_czeplak():
    forecast = day_of(cloud_pct=50.0)
    assert forecast.hours(BEGINS, ENDS)["ghi_w_m2"].to_numpy() == pytest.approx((1 - 0.75 * 0.5**3.4) * clear())
    assert any("cloud only" in note for note in forecast.notes)


def test_a_spread_that_does_not_enclose_the_cloud_rule_gives_way_to_it():
    hours = day_of(cloud_pct=100.0, ghi_dull_w_m2=0.5 * clear(), ghi_bright_w_m2=0.6 * clear()).hours(
        BEGINS, ENDS
    )
    assert hours["ghi_dull_w_m2"].to_numpy() == pytest.approx(0.25 * clear())
    hours = day_of(cloud_pct=0.0, ghi_dull_w_m2=0.5 * clear(), ghi_bright_w_m2=0.6 * clear()).hours(
        BEGINS, ENDS
    )
    assert hours["ghi_bright_w_m2"].to_numpy() == pytest.approx(clear())


def test_direct_and_diffuse_alone_close_to_the_global():
    up = np.where(clear() > 0.0, 1.0, 0.0)
    hours = day_of(dni_w_m2=500.0 * up, dhi_w_m2=100.0 * up).hours(BEGINS, ENDS)
    # Noon of 9 June at 36.1 N: the sun's height is 90 - 36.1 + 22.9 degrees.
    assert hours["ghi_w_m2"].max() == pytest.approx(100.0 + 500.0 * np.sin(np.radians(76.8)), rel=0.01)
    assert set(hours["dni_w_m2"]) == {0.0, 500.0}


def test_missing_air_is_filled_on_the_hot_side_and_the_temperature_told():
    forecast = day_of(ghi_w_m2=0.0)
    hours = forecast.hours(BEGINS, ENDS)
    assert set(hours["temp_c"]) == {MISSING_TEMP_C}
    assert set(hours["wind_m_s"]) == {MISSING_WIND_M_S}
    assert any("temp_c" in note for note in forecast.notes)
    assert not any("temp_c" in note for note in day_of(ghi_w_m2=0.0, temp_c=4.0).notes)


def test_humidity_is_handed_on_where_the_file_has_it():
    hours = day_of(ghi_w_m2=0.0, rh_pct=np.arange(24.0)).hours(BEGINS, ENDS)
    assert hours["rh_pct"].tolist() == list(range(24))
    assert "rh_pct" not in day_of(ghi_w_m2=0.0).hours(BEGINS, ENDS)


def test_a_full_forecast_needs_no_notes():
    full = day_of(ghi_w_m2=0.0, ghi_dull_w_m2=0.0, ghi_bright_w_m2=0.0, temp_c=20.0)
    assert full.notes == ()
    assert full.source == "forecast file three.csv"
