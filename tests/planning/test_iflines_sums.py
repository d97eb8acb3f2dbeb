"""If lines of yards so small that their figures are sums done by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from scheduler.planning.planner import Settings, draw_up_plan
from scheduler.yard.agenda import DueNeed
from scheduler.yard.models import HouseLoad, Machine, Outlet
from tests.planning.replay_samples import (
    make_agenda,
    make_bank,
    make_inverter,
    make_machine,
    make_need,
    make_suns,
    make_yard,
)

MADE_AT = dt.datetime(2027, 6, 9, 5, 0, tzinfo=dt.UTC)
EAST, WEST = Outlet(name="east", kind="ac"), Outlet(name="west", kind="ac")


def lines(
    *machines: Machine,
    needs: dict[str, Sequence[DueNeed]] | None = None,
    sun_w: Sequence[float] = (980.0, 0.0, 0.0, 0.0, 0.0),
    temp_c: Sequence[float] = (20.0,),
    outlets: Sequence[Outlet] = (EAST, WEST),
    bright: float = 2.0,
    visits: Sequence[int] = (1,),
    bank: dict[str, Any] | None = None,
    **yard: Any,
) -> list[tuple[int, int, str]]:
    """Edge, percent and machine of each if line over five hours.

    The bank holds 5000 Wh of 10 kWh and keeps 4500. The dull sun of the first hour makes that 5980 Wh, the bright
    one, `bright` times as strong, 6960. Who is plugged in at the visit charges for four hours; each machine wants
    more than there is.
    """
    there = make_yard(
        *machines, outlets=outlets, bank=make_bank(**{"reserve_pct": 45.0, **(bank or {})}), **yard
    )
    wanted = {machine.name: [make_need(5, machine.capacity_wh)] for machine in machines}
    agenda = make_agenda(there, 5, visits=visits, needs={**wanted, **(needs or {})})
    suns = make_suns(agenda, sun_w, temp_c)
    suns = replace(suns, bright_w=bright * suns.dull_w)
    plan = draw_up_plan(there, agenda, suns, Settings(), made_at=MADE_AT)
    return [(visit.edge, line.bank_pct, line.machine) for visit in plan.visits for line in visit.if_at_least]


def test_a_line_asks_for_the_reserve_and_all_that_it_adds() -> None:
    # 4500 and four hours of 500 W.
    assert lines(make_machine()) == [(1, 65, "mower")]


def test_a_line_asks_for_the_banks_and_the_inverters_losses_and_knows_the_chargers() -> None:
    assert lines(make_machine(), bank={"discharge_efficiency_pct": 90.0}) == [(1, 68, "mower")]
    assert lines(make_machine(), inverter=make_inverter(efficiency_pct=90.0)) == [(1, 68, "mower")]
    assert lines(make_machine(charger_efficiency_pct=60.0)) == [(1, 65, "mower")]


def test_a_line_is_rounded_up() -> None:
    assert lines(make_machine(charger_w=500.0 + 2.4)) == [(1, 66, "mower")]


def test_a_line_counts_what_the_dull_sun_brings_less_what_is_lost() -> None:
    sun_w = (980.0, 0.0, 0.0, 0.0, 400.0)
    assert lines(make_machine(), sun_w=sun_w) == [(1, 61, "mower")]
    # 900 W in the third hour charge the bank by 400 W, of which 320 stay.
    sun_w = (800.0, 0.0, 900.0, 0.0, 0.0)
    assert lines(make_machine(), sun_w=sun_w, bank={"charge_efficiency_pct": 80.0}) == [(1, 57, "mower")]


def test_a_line_holds_the_reserve_on_every_edge_and_not_at_the_end_alone() -> None:
    # The last hour's sun makes up for 1000 Wh, but the bank is at its reserve before.
    assert lines(make_machine(), sun_w=(980.0, 0.0, 0.0, 0.0, 1500.0)) == [(1, 60, "mower")]


def test_the_second_line_asks_for_what_the_first_adds_too() -> None:
    two = make_machine(), make_machine("cart", charger_w=400.0)
    assert lines(*two, bright=4.0) == [(1, 65, "mower"), (1, 81, "cart")]


def test_a_line_keeps_the_banks_discharge_limit() -> None:
    assert lines(make_machine(), bank={"discharge_max_w": 500.0}) == [(1, 65, "mower")]
    assert lines(make_machine(), bank={"discharge_max_w": 499.0}) == []


def test_a_line_keeps_the_inverters_watts_running_and_while_a_motor_starts() -> None:
    for continuous_w, told in ((500.0, [(1, 65, "mower")]), (499.0, [])):
        inverter = make_inverter(continuous_w=continuous_w, surge_w=2000.0)
        assert lines(make_machine(), inverter=inverter) == told
    pump = HouseLoad(name="pump", watts=1.0, surge_w=300.0, always_on=True)
    for surge_w, told in ((800.0, [(1, 66, "mower")]), (799.0, [])):
        inverter = make_inverter(continuous_w=700.0, surge_w=surge_w)
        assert lines(make_machine(), house_loads=[pump], inverter=inverter) == told


def test_a_line_is_out_of_its_outlet_before_three_hours_above_80_percent() -> None:
    breaker = Outlet(name="east", kind="ac", breaker_a=10.0, volts=60.0)
    assert lines(make_machine(charger_w=500.0), outlets=[breaker]) == []
    assert lines(make_machine(charger_w=480.0), outlets=[breaker]) == [(1, 65, "mower")]


def test_a_line_does_not_go_on_where_another_machine_was_above_80_percent() -> None:
    breaker = Outlet(name="east", kind="ac", breaker_a=10.0, volts=60.0)
    # The cart charges for two hours and leaves at the visit at which the mower could follow it.
    cart = make_machine("cart", battery_wh=2000.0, charge_pct=50.0, taper_from_pct=100.0)
    needs = {"cart": [make_need(3, 2000.0, work_wh=2000.0, back=5)]}
    for charger_w, told in ((480.0, [(3, 55, "mower")]), (481.0, [])):
        mower = make_machine(charger_w=charger_w)
        assert lines(mower, cart, needs=needs, visits=(1, 3), outlets=[breaker]) == told


def test_no_two_lines_share_an_outlet_and_none_takes_what_the_plan_needs() -> None:
    two = make_machine(), make_machine("cart", charger_w=400.0)
    assert lines(*two, bright=4.0, outlets=[EAST]) == [(1, 65, "mower")]
    # 100 W are sure.
    assert lines(make_machine(), make_machine("cart", charger_w=100.0), bright=4.0, outlets=[EAST]) == []
    assert lines(make_machine(), make_machine("cart", charger_w=100.0), bright=4.0) == [(1, 69, "mower")]


def test_no_line_is_given_for_the_cold_and_who_protects_itself_draws_nothing_in_it() -> None:
    cold = (20.0, 20.0, 20.0, -5.0, 20.0)
    assert lines(make_machine(), temp_c=cold) == []
    assert lines(make_machine(self_protecting=True), temp_c=cold) == [(1, 60, "mower")]
    assert lines(make_machine(), temp_c=(20.0, 20.0, 20.0, 46.0, 20.0)) == []


def test_a_line_ends_where_its_machine_is_taken_out() -> None:
    away = {"mower": [make_need(3, 5000.0, work_wh=100.0, back=5)]}
    assert lines(make_machine(), needs=away, sun_w=(480.0, 0.0, 0.0, 0.0, 0.0)) == [(1, 55, "mower")]


def test_a_line_fills_again_what_work_in_the_yard_takes() -> None:
    # 1000 Wh to full by the need, which takes 1000, which then are filled again.
    mower = make_machine(battery_wh=2000.0, charge_pct=50.0, taper_from_pct=100.0)
    twice = {"mower": [make_need(3, 2000.0, work_wh=1000.0), make_need(5, 2000.0)]}
    assert lines(mower, needs=twice) == [(1, 65, "mower")]


def test_a_line_leaves_what_a_later_visit_must_see_for_its_sure_lines() -> None:
    # The cart charges 406 Wh from the second visit on, if the bank then shows 50 %, for 4906 Wh are wanted.
    cart = make_machine("cart", charger_w=203.0)
    needs = {"cart": [DueNeed(5, 5, 1406.0, 0.0, "must")]}
    mower = make_machine(charger_w=480.0)
    found = lines(mower, cart, needs=needs, visits=(1, 3), sun_w=(860.0, 0.0, 0.0, 0.0, 0.0))
    assert found == [(1, 60, "mower"), (3, 59, "mower")]
