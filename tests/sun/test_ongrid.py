from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.ongrid import lay_on_grid, step_middles
from scheduler.sun.skies import sun_path
from scheduler.timegrid import Grid
from scheduler.yard.models import Site

STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
KOLKATA = Site(latitude=22.57, longitude=88.36, timezone="Asia/Kolkata")
START = dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC)
HOURS = pd.date_range(START, periods=24, freq="h")
LONG = pd.date_range(START - dt.timedelta(hours=6), periods=60, freq="h")
#: Uneven from hour to hour, with sun from 06 to 21 on the clock.
GHI = np.zeros(24)
GHI[6:21] = [17, 165, 367, 563, 626, 316, 351, 830, 774, 395, 137, 99, 90, 58, 5]


def grid(step_minutes: int, start: dt.datetime = START, hours: float = 24.0) -> Grid:
    return Grid(start, step_minutes, int(hours * 60 / step_minutes), ZoneInfo("America/New_York"))


@pytest.mark.parametrize("step_minutes", [60, 30, 15])
def test_each_hour_keeps_its_energy(step_minutes):
    on_grid = lay_on_grid(STORE, HOURS, grid(step_minutes))
    for share in (on_grid.level, on_grid.beam, on_grid.air):
        assert share(GHI).reshape(24, -1).mean(axis=1) == pytest.approx(GHI)


def test_a_morning_hour_brightens_through_its_quarters():
    quarters = lay_on_grid(STORE, HOURS, grid(15)).level(np.full(24, 300.0)).reshape(24, 4)
    assert (np.diff(quarters[8]) > 0.0).all()
    assert (np.diff(quarters[18]) < 0.0).all()


def test_clearness_is_held_through_the_hour():
    on_quarters = lay_on_grid(STORE, HOURS, grid(15)).level(GHI).reshape(24, 4)
    above = sun_path(STORE, step_middles(grid(15))).extra_horizontal_w_m2.reshape(24, 4)
    clearness = on_quarters[8:18] / above[8:18]
    assert clearness == pytest.approx(np.repeat(clearness[:, :1], 4, axis=1))


def test_sun_before_sunrise_is_given_to_the_quarters_after_it():
    # The sun rises at 06:05 on the clock; the hour from 05 has none, the one from 06 nearly all of it.
    late = pd.date_range(START + dt.timedelta(minutes=30), periods=24, freq="h")
    quarters = lay_on_grid(STORE, late, grid(15, START + dt.timedelta(minutes=30)))
    assert quarters.level(np.full(24, 10.0))[4 * 5 : 4 * 6].tolist() == pytest.approx(
        [0, 0, 10 * 4 * 0.2, 32], abs=8
    )
    assert quarters.beam(np.full(24, 10.0))[4 * 5 : 4 * 6].tolist() == pytest.approx([0, 0, 20, 20])


def test_irradiance_given_for_a_night_hour_is_kept_evenly():
    # Twilight, or a sunrise between two quarters' middles: little, but none is lost.
    night = np.zeros(24)
    night[1] = 4.0
    assert lay_on_grid(STORE, HOURS, grid(15)).level(night)[4:8].tolist() == [4.0] * 4


def test_a_grid_off_the_hour_takes_from_both_hours():
    shifted = grid(60, START + dt.timedelta(minutes=30), 23)
    by_half_hours = lay_on_grid(STORE, HOURS, grid(30)).level(GHI)
    assert lay_on_grid(STORE, HOURS, shifted).level(GHI) == pytest.approx(
        by_half_hours[1:47].reshape(23, 2).mean(axis=1)
    )
    assert lay_on_grid(STORE, HOURS, shifted).air(GHI) == pytest.approx((GHI[:-1] + GHI[1:]) / 2.0)


def test_hours_of_a_half_hour_zone_carry_a_grid_on_that_zones_hours():
    start = dt.datetime(2027, 6, 9, 18, 30, tzinfo=dt.UTC)  # midnight in Kolkata
    local_hours = pd.date_range(start, periods=24, freq="h")
    utc_hours = pd.date_range(start - dt.timedelta(minutes=30), periods=25, freq="h")
    india = Grid(start, 60, 24, ZoneInfo("Asia/Kolkata"))
    by_local = lay_on_grid(KOLKATA, local_hours, india).level(GHI)
    assert by_local == pytest.approx(GHI)
    smooth_utc, smooth_local = (
        sun_path(KOLKATA, hours + pd.Timedelta(minutes=30)).extra_horizontal_w_m2
        for hours in (utc_hours, local_hours)
    )
    by_utc = lay_on_grid(KOLKATA, utc_hours, india).level(0.6 * smooth_utc)
    assert by_utc == pytest.approx(0.6 * smooth_local, abs=25.0)
    assert by_utc.sum() == pytest.approx(0.6 * smooth_local.sum(), rel=0.002)


@pytest.mark.parametrize(
    ("hours", "start"),
    [
        (HOURS, START - dt.timedelta(minutes=15)),
        (HOURS, START + dt.timedelta(minutes=15)),
        (LONG - pd.Timedelta(minutes=5), START),
        (LONG.delete(12), START),
        (LONG.delete(12).insert(0, LONG[12]), LONG[12].to_pydatetime()),
    ],
    ids=["before", "after", "off the quarter", "gap", "out of order"],
)
def test_hours_that_do_not_carry_the_grid_are_refused(hours, start):
    with pytest.raises(ValueError, match="do not carry a grid"):
        lay_on_grid(STORE, hours, grid(60, start))


def test_steps_are_seen_at_their_middle():
    assert step_middles(grid(30))[0] == START + dt.timedelta(minutes=15)
    assert len(step_middles(grid(30))) == 48
