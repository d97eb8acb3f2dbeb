"""R4, R5 and R11 of the house alone, against sums done by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from scheduler.charging.places import group_outlets
from scheduler.charging.reach import build_network
from scheduler.planning.house import HouseAlone, house_alone, sunniest_duty, worst_start_w
from scheduler.yard.agenda import Agenda, DutyWindow
from scheduler.yard.models import HouseLoad, Outlet, Yard
from tests.planning.replay_samples import (
    make_agenda,
    make_bank,
    make_inverter,
    make_machine,
    make_suns,
    make_yard,
)

FRIDGE = HouseLoad(name="fridge", watts=100.0, surge_w=900.0, always_on=True)
DRYER = HouseLoad(name="dryer", watts=300.0, surge_w=700.0, hours_per_day=2.0)


def alone(yard: Yard, agenda: Agenda, dull_w: list[float], **duty: list[bool]) -> HouseAlone:
    suns = make_suns(agenda, dull_w)
    places = group_outlets(yard.outlets, yard.machines)
    networks = [build_network(machine, agenda, places, suns.shed_temp_c) for machine in yard.machines]
    return house_alone(yard, agenda, suns, networks, {name: np.array(run) for name, run in duty.items()})


def low_bank(**changes: Any) -> Any:
    return make_bank(**{"level_pct": 12.0, "reserve_pct": 10.0, **changes})


def test_a_plan_may_go_to_the_reserve_or_as_low_as_the_house_goes_alone() -> None:
    yard = make_yard(house_loads=[FRIDGE], bank=low_bank())
    house = alone(yard, make_agenda(yard, 4), [0.0, 0.0, 0.0, 300.0])
    assert house.level_wh == pytest.approx([1200.0, 1100.0, 1000.0, 900.0, 1100.0])
    assert house.allowed_wh == pytest.approx([1000.0, 1000.0, 1000.0, 900.0, 1000.0])
    assert not house.holds
    assert alone(yard, make_agenda(yard, 2), [0.0, 0.0]).holds


def test_the_house_lives_under_the_dull_sun() -> None:
    # The likely sun is half as strong again and would carry it.
    yard = make_yard(house_loads=[FRIDGE], bank=low_bank(level_pct=10.0))
    assert alone(yard, make_agenda(yard, 1), [100.0]).holds
    assert not alone(yard, make_agenda(yard, 1), [80.0]).holds


def test_duty_loads_draw_their_watts_where_they_run() -> None:
    yard = make_yard(house_loads=[FRIDGE, DRYER], inverter=make_inverter(efficiency_pct=50.0, idle_w=10.0))
    house = alone(yard, make_agenda(yard, 3), [0.0], dryer=[False, True, True])
    assert house.peak_w == pytest.approx([100.0, 400.0, 400.0])
    assert house.demand_w == pytest.approx([210.0, 810.0, 810.0])


def test_what_is_plugged_in_counts_with_the_house_until_the_first_visit_alone() -> None:
    outlets = (Outlet(name="east", kind="ac"), Outlet(name="port", kind="dc"))
    cart = make_machine("cart", supply="dc", outlet="port", charger_w=200.0)
    yard = make_yard(
        make_machine(outlet="east"), cart, outlets=outlets, inverter=make_inverter(efficiency_pct=50.0)
    )
    house = alone(yard, make_agenda(yard, 3, visits=(2,)), [0.0])
    assert house.peak_w == pytest.approx([500.0, 500.0, 0.0])
    assert house.demand_w == pytest.approx([1200.0, 1200.0, 0.0])


def test_one_motor_starts_at_a_time_any_of_those_that_run() -> None:
    yard = make_yard(house_loads=[FRIDGE, DRYER])
    running_w = np.array([100.0, 400.0])
    started_w = worst_start_w(yard, {"dryer": np.array([False, True])}, running_w)
    # The fridge adds 800 W as it starts, the dryer 400 W.
    assert started_w == pytest.approx([900.0, 1200.0])
    dryer = make_yard(house_loads=[DRYER])
    assert worst_start_w(dryer, {"dryer": np.array([False, True])}, running_w) == pytest.approx(
        [100.0, 800.0]
    )


@pytest.mark.parametrize(
    ("continuous_w", "surge_w", "holds"),
    [(400.0, 1200.0, True), (399.0, 1200.0, False), (400.0, 1199.0, False)],
)
def test_the_house_alone_holds_within_the_inverters_watts(
    continuous_w: float, surge_w: float, holds: bool
) -> None:
    inverter = make_inverter(continuous_w=continuous_w, surge_w=surge_w)
    yard = make_yard(house_loads=[FRIDGE, DRYER], inverter=inverter)
    assert alone(yard, make_agenda(yard, 2), [0.0], dryer=[False, True]).holds is holds


def test_a_duty_load_first_runs_its_hours_in_one_block_where_the_dull_sun_is_strongest_the_later_of_equals() -> (
    None
):
    yard = make_yard(house_loads=[DRYER])
    agenda = make_agenda(yard, 8, duties=[DutyWindow("dryer", 1, 7, 2, 1)])
    duty = sunniest_duty(yard, agenda, np.array([900.0, 0.0, 100.0, 200.0, 100.0, 0.0, 0.0, 900.0]))
    assert duty["dryer"].tolist() == [False, False, False, True, True, False, False, False]
