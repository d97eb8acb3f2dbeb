from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Site

SLIM = Path(__file__).parents[2] / "forecasts" / "greensboro-tmy3.csv"
STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
EST = dt.timezone(dt.timedelta(hours=-5))


@pytest.fixture(scope="module")
def year() -> TypicalYear:
    read = read_weather(SLIM, STORE)
    assert isinstance(read, TypicalYear)
    return read


def numbered_year() -> TypicalYear:
    """A year whose days carry their number, 1 to 365, as irradiance at noon."""
    ghi = np.zeros((365, 24))
    ghi[:, 12] = np.arange(1.0, 366.0)
    table = pd.DataFrame(
        {name: ghi.ravel() for name in ("ghi_w_m2", "dni_w_m2", "dhi_w_m2", "temp_c", "wind_m_s")}
    )
    return TypicalYear("numbers", 0.0, -5.0, table)


def day(year: TypicalYear, *date: int) -> pd.DataFrame:
    start = dt.datetime(*date, tzinfo=EST)  # type: ignore[arg-type]
    return year.hours(start, start + dt.timedelta(days=1))


def days_like(year: TypicalYear, *date: int) -> set[int]:
    noon = year.days_like(dt.date(*date))["ghi_w_m2"].to_numpy().reshape(-1, 24)[:, 12]
    return {int(number) for number in noon}


def test_days_like_a_date_are_those_within_fifteen_days():
    assert days_like(numbered_year(), 2027, 6, 9) == set(range(160 - 15, 160 + 16))


def test_the_window_runs_over_the_turn_of_the_year():
    assert days_like(numbered_year(), 2027, 1, 3) == {*range(353, 366), *range(1, 19)}
    assert days_like(numbered_year(), 2027, 12, 31) == {*range(350, 366), *range(1, 16)}


def test_leap_years_shift_nothing():
    around_first_of_march = days_like(numbered_year(), 2027, 3, 1)
    assert days_like(numbered_year(), 2028, 3, 1) == around_first_of_march
    assert days_like(numbered_year(), 2028, 2, 29) == days_like(numbered_year(), 2028, 2, 28)
    assert days_like(numbered_year(), 2028, 12, 31) == days_like(numbered_year(), 2027, 12, 31)


@pytest.mark.parametrize("date", [(2027, 1, 3), (2027, 4, 10), (2028, 2, 29), (2027, 6, 9), (2027, 10, 20)])
def test_one_day_in_ten_is_duller_than_dull_and_one_brighter_than_bright(year, date):
    totals = year.days_like(dt.date(*date))["ghi_w_m2"].to_numpy().reshape(-1, 24).sum(axis=1)
    suns = day(year, *date)
    dull, bright = suns["ghi_dull_w_m2"].sum(), suns["ghi_bright_w_m2"].sum()
    # Of 31 days three; days may tie with the quantile.
    assert (totals < dull - 0.5).sum() <= 3 <= (totals < dull + 0.5).sum()
    assert (totals > bright + 0.5).sum() <= 3 <= (totals > bright - 0.5).sum()
    assert suns["ghi_w_m2"].sum() == pytest.approx(np.median(totals))


def test_suns_keep_the_shape_of_days_and_not_of_hours(year):
    # Hour by hour the dull quantile would add up to far less than a dull day brings.
    by_day = year.days_like(dt.date(2027, 6, 9))["ghi_w_m2"].to_numpy().reshape(-1, 24)
    assert np.quantile(by_day, 0.1, axis=0).sum() < 0.85 * day(year, 2027, 6, 9)["ghi_dull_w_m2"].sum()


def test_each_sun_has_the_shape_of_days_of_its_own_rank():
    ghi = np.zeros((365, 24))
    ghi[::3, 8], ghi[1::3, 12], ghi[2::3, 16] = (
        100.0,
        200.0,
        300.0,
    )  # dull mornings, middling noons, bright evenings
    table = pd.DataFrame({name: ghi.ravel() for name in numbered_year().table})
    suns = day(TypicalYear("shapes", 0.0, -5.0, table), 2027, 6, 9)
    lit = [np.flatnonzero(suns[name]).tolist() for name in ("ghi_dull_w_m2", "ghi_w_m2", "ghi_bright_w_m2")]
    assert lit == [[8], [12], [16]]


def test_the_likely_suns_components_still_close(year):
    suns = day(year, 2027, 6, 9)
    assert (suns["dhi_w_m2"] <= suns["ghi_w_m2"] + 1.0).all()
    assert suns["dni_w_m2"].max() < 1000.0
    assert suns["dhi_w_m2"].sum() < suns["ghi_w_m2"].sum()


def test_air_is_that_of_the_days_around_the_median(year):
    june, january = day(year, 2027, 6, 9), day(year, 2027, 1, 9)
    assert 15.0 < june["temp_c"].mean() < 30.0
    assert -10.0 < january["temp_c"].mean() < 10.0
    assert june["temp_c"].idxmax().tz_convert(EST).hour in range(12, 19)


def test_hours_are_named_in_utc_and_mapped_by_the_files_standard_time():
    start = dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC)  # 23:00 of 8 June, standard time
    hours = numbered_year().hours(start, start + dt.timedelta(hours=26))
    assert hours.index[0] == start
    assert len(hours) == 26
    lit = hours["ghi_w_m2"] > 0.0
    assert list(hours.index[lit]) == [pd.Timestamp("2027-06-09T17:00Z")]


def test_hours_cover_starts_and_ends_between_full_hours():
    start = dt.datetime(2027, 6, 9, 16, 45, tzinfo=dt.UTC)
    hours = numbered_year().hours(start, start + dt.timedelta(minutes=30))
    assert list(hours.index) == [pd.Timestamp("2027-06-09T16:00Z"), pd.Timestamp("2027-06-09T17:00Z")]


@pytest.mark.parametrize(
    "start", [dt.datetime(2027, 3, 14, 5, tzinfo=dt.UTC), dt.datetime(2027, 11, 7, 4, tzinfo=dt.UTC)]
)
def test_days_of_23_and_25_hours_have_no_gap(year, start):
    hours = year.hours(start, start + dt.timedelta(hours=48))
    assert len(hours) == 48
    assert (hours.index[1:] - hours.index[:-1] == pd.Timedelta(hours=1)).all()
    assert not hours.isna().to_numpy().any()


def test_a_month_of_polar_night_stays_dark():
    dark = TypicalYear("dark", 0.0, 1.0, numbered_year().table * 0.0)
    hours = dark.hours(dt.datetime(2027, 1, 1, tzinfo=dt.UTC), dt.datetime(2027, 1, 3, tzinfo=dt.UTC))
    assert not hours[["ghi_w_m2", "ghi_dull_w_m2", "ghi_bright_w_m2"]].to_numpy().any()
    assert not hours.isna().to_numpy().any()
