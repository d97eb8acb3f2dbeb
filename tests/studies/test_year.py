"""Days lived on end: energy that adds up, seeds that hold, and what carries over from day to day."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from scheduler.studies.keepers import PlanningKeeper, yard_as_found
from scheduler.studies.year import YearWalk, live_prepared, live_year, prepare_year
from scheduler.studies.yearrecord import YearLived
from scheduler.yard.models import Bank, HouseLoad
from tests.studies.small_year import a_week_in_may, days_from, greensboro, machine, plot


@cache
def week() -> YearLived:
    return live_prepared(a_week_in_may())


def test_every_watt_hour_of_the_year_is_accounted_for() -> None:
    year = week()
    assert abs(year.residual_wh) < 1e-6
    for day, before in zip(year.days[1:], year.days, strict=False):
        assert abs(replace(year, days=(day,), start_level_wh=before.level_wh).residual_wh) < 1e-6


def test_what_goes_into_a_battery_comes_out_or_stays() -> None:
    year = week()
    for at, one in enumerate(a_week_in_may().yard.machines):
        stored = sum(day.machines_wh[at] for day in year.days) * one.charger_efficiency
        worked = sum(day.work_wh[at] for day in year.days)
        assert year.days[-1].charge_wh[at] - year.start_charge_wh[at] == pytest.approx(
            stored - worked, abs=1e-6
        )


def test_every_need_comes_due_and_every_hour_is_lived() -> None:
    year = week()
    assert year.readiness().asked == 7 * 3
    assert [day.date for day in year.days] == [dt.date(2027, 5, 3) + dt.timedelta(days=n) for n in range(7)]
    assert sum(day.hours for day in year.days) == 7 * 24


def test_days_with_clock_changes_have_23_and_25_hours() -> None:
    for month, day, hours in ((3, 13, [24, 23]), (11, 6, [24, 25])):
        year = live_year(plot(machines=(machine("cart"),)), greensboro(), days_from(month, day, 2))
        assert [one.hours for one in year.days] == hours


def test_the_same_seed_gives_the_same_year_and_another_seed_other_forecasts() -> None:
    again = live_prepared(prepare_year(plot(), greensboro(), days_from(5, 3, 7)))
    assert again == week()
    other = live_year(plot(), greensboro(), days_from(5, 3, 3, seed=1))
    assert [day.sun_wh for day in other.days] == [day.sun_wh for day in week().days[:3]]
    assert [day.likely_wh for day in other.days] != [day.likely_wh for day in week().days[:3]]


def test_another_yard_has_the_same_days_and_forecasts() -> None:
    settings = days_from(5, 3, 3, number=4)
    one = live_year(plot(), greensboro(), settings)
    two = live_year(plot(machines=(machine("cart"), machine("new"))), greensboro(), settings)
    for name in ("typical_day", "sun_wh", "dull_wh", "likely_wh", "bright_wh"):
        assert [getattr(day, name) for day in one.days] == [getattr(day, name) for day in two.days]


def test_a_year_left_and_taken_up_again_is_the_same_to_the_last_digit() -> None:
    walk = YearWalk.begun(a_week_in_may())
    for _ in range(3):
        walk.go_on()
    mark = walk.bookmark()
    later = YearWalk.begun(a_week_in_may(), at=mark)
    while not later.is_done:
        later.go_on()
    assert later.lived() == week()
    assert mark == walk.bookmark(), "the bookmark has moved along"


def test_a_plan_begins_with_the_yard_as_it_stands() -> None:
    walk = YearWalk.begun(a_week_in_may())
    walk.go_on()
    state = walk.bookmark().state
    found = yard_as_found(a_week_in_may().yard, state)
    assert found.bank.level_wh == pytest.approx(state.level_wh)
    assert [one.charge_wh for one in found.machines] == pytest.approx(state.charge_wh)
    assert [one.outlet for one in found.machines] == state.outlet


def test_a_duty_load_runs_its_hours_each_day_though_plans_cut_its_window() -> None:
    """Three hours between 20:00 and 04:00; plans are made at 18:00, and one at the first midnight."""
    prepared = prepare_year(plot(visits={"times": ["21:00"]}), greensboro(), days_from(5, 3, 5))
    walk = YearWalk.begun(prepared)
    while not walk.is_done:
        walk.go_on()
    fan = prepared.yard.house_loads[1]
    ran_h = sum(day.house_wh[1] for day in walk.lived().days) / fan.watts
    windows = [duty for duty in prepared.agenda.whole.duties if duty.last <= prepared.agenda.last]
    assert ran_h == pytest.approx(sum(duty.on_steps for duty in windows), abs=3)


def test_no_plan_leaves_a_machine_plugged_in_through_frost() -> None:
    year = live_year(plot(), greensboro(), days_from(1, 4, 3))
    assert year.total(lambda day: day.outside_window_h) > 24
    assert year.total(lambda day: day.misplugged_h) == 0


@pytest.mark.parametrize("comes", ["dull_w", "likely_w", "bright_w"])
def test_as_long_as_the_sun_is_no_worse_than_dull_the_bank_stays_above_its_reserve(comes: str) -> None:
    """R4, all through some short days of November in a yard where energy is scarce."""
    fridge = HouseLoad(name="fridge", watts=10.0, always_on=True)
    tight = plot(bank=Bank(modules_wh=(2000.0,), reserve_pct=25.0, level_pct=60.0), house_loads=(fridge,))
    prepared = prepare_year(tight, greensboro(), days_from(11, 15, 6, seed=2))
    drawn = YearWalk.begun(prepared)
    sky = replace(drawn.sky, true_w=getattr(drawn.sky, comes))
    keeper = PlanningKeeper(prepared.yard, prepared.agenda, sky, 48.0, 10.0)
    walk = YearWalk(prepared, sky, keeper)
    while not walk.is_done:
        walk.go_on()
    year = walk.lived()
    assert min(day.lowest_wh for day in year.days) >= year.reserve_wh - 1e-3 * year.bank_capacity_wh
    assert year.readiness().fraction < 1.0, "no energy was scarce"


def test_a_bank_without_sun_or_charge_leaves_machines_unready_and_says_by_how_much() -> None:
    poor = plot(bank=Bank(modules_wh=(300.0,), reserve_pct=25.0, level_pct=25.0))
    year = live_year(poor, greensboro(), days_from(12, 1, 3))
    readiness = year.readiness()
    assert readiness.fraction < 0.5
    assert readiness.short_wh == pytest.approx(sum(need.short_wh for need in year.needs()))
    assert readiness.short_wh > 0


def test_readiness_by_class_machine_and_month_adds_up() -> None:
    year = week()
    asked = [year.readiness(priority=priority).asked for priority in ("must", "should", "could")]
    assert sum(asked) == year.readiness().asked
    assert sum(year.readiness(machine=name).ready for name in year.machines) == year.readiness().ready
    assert sum(year.readiness(month=month).asked for month in year.months) == year.readiness().asked
    assert year.readiness(month=6).fraction == 1.0


def test_the_sun_of_a_step_is_that_of_its_own_day() -> None:
    prepared = a_week_in_may()
    sky = YearWalk.begun(prepared).sky
    noon = prepared.agenda.whole.grid.index_of(dt.datetime(2027, 5, 5, 17, tzinfo=dt.UTC))
    day_of_year = dt.date(2027, 5, 5).timetuple().tm_yday - 1
    assert sky.typical_day[noon] == day_of_year
    assert sky.true_w[noon] == prepared.suns.true_w[day_of_year, 12]
    night = prepared.agenda.whole.grid.index_of(dt.datetime(2027, 5, 6, 6, tzinfo=dt.UTC))
    assert np.all(sky.true_w[night - 1 : night + 1] == 0.0)


def test_what_runs_against_humidity_follows_from_the_days_drawn() -> None:
    drier = HouseLoad(
        name="drier", watts=200.0, wanted_rh_pct=60.0, room_m3=80.0, air_changes_per_h=0.5, litres_per_kwh=1.2
    )
    yard = plot(machines=(machine("cart"),), house_loads=(drier,))
    prepared = prepare_year(yard, greensboro(), days_from(7, 5, 3))
    for number in (0, 2):
        year = live_prepared(prepared, number)
        wanted_h = [prepared.suns.drying_h["drier"][day.typical_day] for day in year.days]
        ran_h = [day.house_wh[0] / drier.watts for day in year.days]
        assert len(set(wanted_h)) > 1
        assert ran_h == [math.ceil(hours) for hours in wanted_h]
