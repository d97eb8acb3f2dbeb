from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.typicalyear import TypicalYear, day_of_year
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
    return TypicalYear("numbers", 0.0, -5.0, table, 36.1)


def day(year: TypicalYear, *date: int) -> pd.DataFrame:
    start = dt.datetime(*date, tzinfo=EST)  # type: ignore[arg-type]
    return year.hours(start, start + dt.timedelta(days=1))


@pytest.mark.parametrize(("date", "number"), [((2027, 1, 1), 0), ((2027, 3, 1), 59), ((2027, 12, 31), 364)])
def test_leap_years_shift_nothing(date, number):
    assert day_of_year(dt.date(*date)) == number
    assert day_of_year(dt.date(2028, *date[1:])) == number
    assert day_of_year(dt.date(2028, 2, 29)) == 58


def test_distance_runs_over_the_turn_of_the_year(year):
    assert year.distance_days(1)[[0, 1, 3, 364, 183]].tolist() == [1.0, 0.0, 2.0, 2.0, 182.0]


def test_near_days_tell_more_than_far_ones_and_days_beyond_the_window_nothing():
    clear = numbered_year()
    index = np.full(365, 0.4)
    index[100 - 10 : 100 + 11] = 0.7
    ghi = np.zeros((365, 24))
    ghi[:, 12] = index * clear.above_wh_m2
    near = TypicalYear("near", 0.0, -5.0, clear.table.assign(ghi_w_m2=ghi.ravel()), 36.1)
    share = [near.quantiles_of_day(day)[2] / clear.above_wh_m2[day] for day in (100, 140, 170)]
    assert share == pytest.approx([0.7, 0.7, 0.4], abs=0.01)
    assert near.quantiles_of_day(100)[1] / clear.above_wh_m2[100] == pytest.approx(0.4, abs=0.01)


def test_the_sun_follows_the_date_and_not_the_window():
    # Far north the sun doubles within a month; the same clearness all year must bring each date its own sun.
    north = TypicalYear("north", 0.0, -9.0, numbered_year().table, 60.0)
    ghi = np.zeros((365, 24))
    ghi[:, 12] = 0.5 * north.above_wh_m2
    same = TypicalYear("same", 0.0, -9.0, north.table.assign(ghi_w_m2=ghi.ravel()), 60.0)
    for day_number in (30, 60, 200):
        assert same.quantiles_of_day(day_number) == pytest.approx(np.full(3, 0.5 * same.above_wh_m2[day_number]))


def test_a_day_judged_by_others_has_no_say_itself(year):
    extreme = year.table.copy()
    extreme.loc[24 * 159 : 24 * 160 - 1, "ghi_w_m2"] = 0.0
    changed = TypicalYear("changed", 0.0, -5.0, extreme, 36.1)
    assert changed.quantiles_of_day(159, 0) == pytest.approx(year.quantiles_of_day(159, 0))
    assert changed.quantiles_of_day(159)[0] < year.quantiles_of_day(159)[0]


@pytest.mark.parametrize("date", [(2027, 1, 3), (2027, 4, 10), (2028, 2, 29), (2027, 6, 9), (2027, 10, 20)])
def test_the_suns_of_a_date_add_up_to_its_quantiles(year, date):
    suns = day(year, *date)
    totals = year.quantiles_of_day(day_of_year(dt.date(*date)))
    assert suns[["ghi_dull_w_m2", "ghi_w_m2", "ghi_bright_w_m2"]].sum().to_numpy() == pytest.approx(totals)


def test_suns_keep_the_shape_of_days_and_not_of_hours(year):
    # Hour by hour the dull quantile would add up to far less than a dull day brings.
    by_day = year.table["ghi_w_m2"].to_numpy().reshape(365, 24)[159 - 15 : 159 + 16]
    assert np.quantile(by_day, 0.1, axis=0).sum() < 0.85 * day(year, 2027, 6, 9)["ghi_dull_w_m2"].sum()


def test_each_sun_has_the_shape_of_days_of_its_own_rank():
    ghi = np.zeros((365, 24))
    ghi[::3, 8], ghi[1::3, 12], ghi[2::3, 16] = (
        100.0,
        200.0,
        300.0,
    )  # dull mornings, middling noons, bright evenings
    table = pd.DataFrame({name: ghi.ravel() for name in numbered_year().table})
    suns = day(TypicalYear("shapes", 0.0, -5.0, table, 36.1), 2027, 6, 9)
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
    dark = TypicalYear("dark", 0.0, 1.0, numbered_year().table * 0.0, 78.0)
    hours = dark.hours(dt.datetime(2027, 1, 1, tzinfo=dt.UTC), dt.datetime(2027, 1, 3, tzinfo=dt.UTC))
    assert not hours[["ghi_w_m2", "ghi_dull_w_m2", "ghi_bright_w_m2"]].to_numpy().any()
    assert not hours.isna().to_numpy().any()
