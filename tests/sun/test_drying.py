"""How long a dehumidifier runs, against days worked out by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.sun.drying import DryDay, dry_days, drying_notes, run_hours
from scheduler.timegrid import Grid
from scheduler.yard.models import HouseLoad

ZONE = ZoneInfo("America/New_York")
DATE = dt.date(2027, 6, 9)
DAY = Grid(dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC), 60, 24, ZONE)
WARM = np.full(24, 25.0)
HUMID = np.full(24, 80.0)


def dryer(**changes: Any) -> HouseLoad:
    plain = {"name": "dryer", "watts": 300.0, "wanted_rh_pct": 50.0, "room_m3": 33.2}
    return HouseLoad(**(plain | changes))


def day(load: HouseLoad, shed_c=WARM, air_c=WARM, rh_pct=HUMID, grid: Grid = DAY) -> DryDay:
    return dry_days(load, grid, shed_c, air_c, rh_pct)[DATE]


def test_a_humid_day_is_that_worked_out_by_hand():
    found = day(dryer())
    # 18.43 - 11.52 = 6.91 g/m3 in half of 33.2 m3 an hour, 24 hours: 2.753 litres; 0.39 litres an hour.
    assert found.water_litres == pytest.approx(2.753, abs=0.005)
    assert found.needed_h == pytest.approx(7.06, abs=0.02)
    assert found.run_h == found.needed_h
    assert found.damp_rh_pct == pytest.approx(80.0)
    assert found.dew_point_c == pytest.approx(21.31, abs=0.03)
    # Half of the hours take out half of the water.
    assert found.rh_pct_after(found.needed_h / 2.0) == pytest.approx(65.0)
    assert found.rh_pct_after(0.0) == pytest.approx(80.0)
    assert found.rh_pct_after(20.0) == pytest.approx(50.0)


def test_twice_the_room_or_the_draught_asks_for_twice_the_hours_and_a_better_machine_for_fewer():
    plain = day(dryer()).needed_h
    assert day(dryer(room_m3=66.4)).needed_h == pytest.approx(2.0 * plain)
    assert day(dryer(air_changes_per_h=1.0)).needed_h == pytest.approx(2.0 * plain)
    assert day(dryer(litres_per_kwh=2.6)).needed_h == pytest.approx(plain / 2.0)
    assert day(dryer(watts=600.0)).needed_h == pytest.approx(plain / 2.0)


def test_a_warmer_shed_is_drier_by_itself():
    # 2535.8 Pa outside are 59.72 % of the 4246 Pa that air holds at 30 C; 9.72 % of its 30.35 g/m3 are too much.
    found = day(dryer(), shed_c=np.full(24, 30.0))
    assert found.damp_rh_pct == pytest.approx(59.72, abs=0.02)
    assert found.needed_h == pytest.approx(7.06 * 0.0972 * 30.35 / 6.91, abs=0.02)


def test_a_shed_below_the_dew_point_is_wet_and_what_condenses_must_go_too():
    found = day(dryer(), shed_c=np.full(24, 15.0))
    assert found.damp_rh_pct == 100.0
    # 2535.8 Pa are 148.7 % of the 1705.5 Pa at 15 C; 98.7 % of 12.83 g/m3 in 398.4 m3 a day.
    assert found.water_litres == pytest.approx(0.987 * 12.83 * 398.4 / 1000.0, abs=0.01)


def test_dry_hours_neither_ask_for_anything_nor_pay_for_the_others():
    half = np.where(np.arange(24) < 12, 80.0, 20.0)
    found = day(dryer(), rh_pct=half)
    assert found.needed_h == pytest.approx(day(dryer()).needed_h / 2.0)
    # The damp hours are told, not their mean with the dry ones: 80 % without it, 65 % with half of its hours.
    assert found.damp_rh_pct == pytest.approx(80.0)
    assert found.rh_pct_after(found.needed_h / 2.0) == pytest.approx(65.0)


def test_a_dry_day_asks_for_nothing_whatever_the_shortest_run():
    found = day(dryer(min_block_h=2.0), rh_pct=np.full(24, 45.0))
    assert (found.needed_h, found.run_h, found.water_litres) == (0.0, 0.0, 0.0)
    assert found.rh_pct_after(0.0) == pytest.approx(45.0)


def test_it_runs_no_shorter_than_its_shortest_run_and_no_longer_than_its_window():
    assert day(dryer(room_m3=3.0, min_block_h=2.0)).run_h == 2.0
    found = day(dryer(window=("10:00", "15:00")))
    assert found.run_h == 5.0
    # 5 of 7.06 hours: 80 - 30 x 5 / 7.06
    assert found.rh_pct_after(found.run_h) == pytest.approx(58.75, abs=0.1)


def test_a_day_that_is_known_in_part_stands_for_its_whole():
    part = Grid(DAY.start + dt.timedelta(hours=18), 60, 6, ZONE)
    assert day(dryer(), WARM[:6], WARM[:6], HUMID[:6], part).needed_h == pytest.approx(day(dryer()).needed_h)


def test_days_are_those_of_the_sites_clock():
    two = Grid(DAY.start - dt.timedelta(hours=2), 60, 27, ZONE)
    found = dry_days(dryer(), two, np.full(27, 25.0), np.full(27, 25.0), np.full(27, 80.0))
    assert list(found) == [dt.date(2027, 6, 8), DATE, dt.date(2027, 6, 10)]
    assert run_hours({"dryer": found})["dryer"][DATE] == found[DATE].run_h


def test_without_humidity_the_days_lowest_temperature_is_its_dew_point():
    air = 20.0 + 5.0 * np.cos(2.0 * np.pi * np.arange(24) / 24.0)
    by_rule = day(dryer(), WARM, air, None)
    # 1705.5 Pa of 3169.7 at 25 C
    assert by_rule.damp_rh_pct == pytest.approx(53.81, abs=0.02)
    assert by_rule.dew_point_c == pytest.approx(15.0, abs=0.1)
    assert "dew point outside 15 C, guessed from the coldest hour" in told(by_rule)[0]


def told(found: DryDay) -> list[str]:
    return list(drying_notes({"dryer": {DATE: found}}, DATE, DATE))


def test_the_note_says_what_is_needed_and_what_less_would_mean():
    assert told(day(dryer())) == [
        "dryer, Wed 09 Jun: 7.1 h for 50 % (2.8 litres, dew point outside 21 C); "
        "with half of them the damp hours have 65 %, with none 80 %"
    ]


def test_the_note_says_what_a_short_window_leaves():
    (note,) = told(day(dryer(window=("10:00", "15:00"))))
    assert "7.1 h needed for 50 %" in note
    assert "its window has 5 h: the damp hours have 59 %, with none 80 %" in note


def test_a_day_without_hours_and_one_too_cold_for_a_compressor_are_told():
    assert "no hours needed for 50 %" in told(day(dryer(), rh_pct=np.full(24, 40.0)))[0]
    cold = np.full(24, 4.0)
    assert "below 5 C it ices up" in told(day(dryer(), cold, cold, HUMID))[1]
    assert len(told(replace(day(dryer(), cold, cold, HUMID), coldest_c=5.0))) == 1


def test_only_the_plans_own_days_are_told():
    found = {"dryer": {DATE - dt.timedelta(days=1): day(dryer()), DATE: day(dryer())}}
    assert len(list(drying_notes(found, DATE, DATE))) == 1
