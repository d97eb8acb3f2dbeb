"""From the choice to the page: outlets by name, actions at visits, needs; each plan replays clean."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from scheduler.planning.planner import Settings, make_plan
from scheduler.planning.record import Plan
from scheduler.yard.agenda import DueNeed
from scheduler.yard.models import HouseLoad, Machine, Outlet
from tests.planning.replay_samples import (
    make_agenda,
    make_bank,
    make_machine,
    make_need,
    make_suns,
    make_yard,
)

MADE_AT = dt.datetime(2027, 6, 9, 5, 0, tzinfo=dt.UTC)
EAST, WEST = Outlet(name="east", kind="ac"), Outlet(name="west", kind="ac")
TIMER = Outlet(name="east", kind="ac", timer=True)


def plan_for(
    *machines: Machine,
    needs: dict[str, Sequence[DueNeed]],
    outlets: Sequence[Outlet] = (EAST,),
    visits: Sequence[int] = (0,),
    sun_w: Sequence[float] = (0.0,),
    bank: dict[str, Any] | None = None,
    **yard: Any,
) -> Plan:
    """The plan for six hours, which its replay confirms."""
    there = make_yard(*machines, outlets=outlets, bank=make_bank(**(bank or {"level_pct": 90.0})), **yard)
    agenda = make_agenda(there, 6, visits=visits, needs=needs)
    plan = make_plan(there, agenda, make_suns(agenda, sun_w), Settings(), made_at=MADE_AT)
    assert plan.replay is not None
    assert plan.replay.violations == ()
    return plan


def actions(plan: Plan) -> list[tuple[int, str, str, str, tuple[int, int] | None]]:
    return [
        (visit.edge, kind, action.machine, action.outlet, action.timer)
        for visit in plan.visits
        for kind, done in (("plug", visit.plug), ("unplug", visit.unplug))
        for action in done
    ]


def test_machines_in_outlets_that_are_alike_get_one_each() -> None:
    full = {"mower": [make_need(6, 3000.0)], "cart": [make_need(6, 3000.0)]}
    plan = plan_for(make_machine(), make_machine("cart"), needs=full, outlets=[EAST, WEST])
    assert {machine.outlet[0] for machine in plan.machines} == {"east", "west"}
    assert all(need.ready for machine in plan.machines for need in machine.needs)


def test_a_timer_is_told_from_the_hour_it_goes_on_to_the_hour_it_goes_off_and_set_anew_without_a_pull() -> (
    None
):
    # The bank is at its reserve and takes in next to nothing: only the second and the fifth hour's sun is left.
    plan = plan_for(
        make_machine(),
        needs={"mower": [make_need(6, 2000.0)]},
        outlets=[TIMER],
        visits=(0, 3),
        sun_w=(0.0, 500.0, 0.0, 0.0, 500.0, 0.0),
        bank={"level_pct": 10.0, "charge_max_w": 1.0},
    )
    assert plan.machines[0].needs[0].ready
    assert actions(plan) == [(0, "plug", "mower", "east", (1, 2)), (3, "plug", "mower", "east", (4, 5))]


def test_who_is_found_in_an_outlet_is_not_told_to_be_plugged_in_nor_who_is_taken_out_to_be_pulled() -> None:
    work = {"mower": [make_need(3, 2500.0, work_wh=1000.0, back=6)]}
    plan = plan_for(make_machine(outlet="east"), needs=work, visits=(0, 3))
    assert plan.machines[0].needs[0].ready
    assert plan.machines[0].outlet == ("east", "east", "east", None, None, None)
    assert actions(plan) == []


def test_needs_on_one_edge_are_judged_by_what_the_ones_before_leave() -> None:
    needs = [
        make_need(2, 2000.0, work_wh=600.0),
        make_need(2, 1400.0, work_wh=300.0),
        make_need(2, 1200.0),
    ]
    planned = plan_for(make_machine(), needs={"mower": needs}).machines[0].needs
    assert [(round(need.have_wh), need.ready) for need in planned] == [
        (2000, True),
        (1400, True),
        (1100, False),
    ]


def test_a_need_is_told_as_ready_only_if_it_is_met() -> None:
    for need_wh, ready in ((2000.0, True), (2001.0, False)):
        planned = plan_for(make_machine(), needs={"mower": [make_need(2, need_wh)]}).machines[0].needs[0]
        assert (round(planned.have_wh), planned.ready) == (2000, ready)


def test_what_is_always_on_is_planned_in_every_hour() -> None:
    lamp = HouseLoad(name="lamp", watts=40.0, always_on=True)
    plan = plan_for(make_machine(), needs={}, house_loads=[lamp])
    assert plan.house_loads[0].wall_wh.tolist() == [40.0] * 6
