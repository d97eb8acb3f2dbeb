"""R11 and R12: for each a plan that just keeps it and a sibling that just breaks it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from scheduler.planning.record import MachinePlan, Plan
from scheduler.planning.replay import replay_plan
from scheduler.yard.agenda import Agenda, DutyWindow
from scheduler.yard.models import HouseLoad, Machine, Outlet, Yard
from tests.planning.replay_samples import (
    found,
    make_agenda,
    make_machine,
    make_need,
    make_plan,
    make_suns,
    make_yard,
    plug,
    replay,
    visit,
)


def lamp(watts: float) -> HouseLoad:
    return HouseLoad(name="lamp", watts=watts, always_on=True)


EVERYWHERE = (Outlet(name="east", kind="ac"), Outlet(name="west", kind="ac"))


# R11


FAN = HouseLoad(name="fan", watts=200.0, hours_per_day=3.0)


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([2, 3, 4, 5], []),
        ([1, 2, 4, 5], []),
        ([1, 2, 3, 4, 5], [("R11", 1, 0.5)]),
        ([2, 3, 4], [("R11", 1, 0.5)]),
        ([1, 3, 4, 5], [("R11", 1, 0.5)]),
        ([2, 3, 4, 5, 7, 8], [("R11", 7, 1.0)]),
        ([3, 4, 5, 6], [("R11", 1, 0.5), ("R11", 6, 0.5)]),
    ],
)
def test_r11_a_duty_load_runs_its_hours_in_its_window_in_blocks(
    steps: list[int], expected: list[Any]
) -> None:
    # Half-hour steps; 2 h in steps 1 to 5, in blocks of an hour.
    yard = make_yard(house_loads=[FAN])
    agenda = make_agenda(yard, 10, step_minutes=30, duties=[DutyWindow("fan", 1, 6, 4, 2)])
    assert found(replay(yard, agenda, house_on={"fan": steps})) == expected


def test_r11_each_window_has_its_own_hours_and_blocks() -> None:
    yard = make_yard(house_loads=[FAN])
    agenda = make_agenda(yard, 8, duties=[DutyWindow("fan", 0, 4, 2, 2), DutyWindow("fan", 4, 8, 2, 2)])
    assert found(replay(yard, agenda, house_on={"fan": [2, 3, 4, 5]})) == []
    # Three hours on end, but the block in the second window is one hour, and so is what runs there.
    assert found(replay(yard, agenda, house_on={"fan": [2, 3, 4]})) == [("R11", 4, 1.0), ("R11", 4, 1.0)]


def bend_load(plan: Plan, step: int, wall_wh: float) -> Plan:
    load = plan.house_loads[0]
    series = load.wall_wh.copy()
    series[step] = wall_wh
    return replace(plan, house_loads=(replace(load, wall_wh=series),))


@pytest.mark.parametrize(
    ("wall_wh", "expected"),
    [(45.0, []), (0.0, [("R11", 2, 45.0)]), (44.9, [("R11", 2, 0.1)]), (45.1, [("R11", 2, 0.1)])],
)
def test_r11_always_on_loads_always_draw_their_watts(wall_wh: float, expected: list[Any]) -> None:
    yard = make_yard(house_loads=[lamp(90.0)])
    agenda = make_agenda(yard, 4, step_minutes=30)
    plan = bend_load(make_plan(yard, agenda, make_suns(agenda)), 2, wall_wh)
    assert found(replay_plan(yard, agenda, plan.suns, plan)) == expected


def test_r11_a_duty_load_that_runs_draws_its_watts() -> None:
    yard = make_yard(house_loads=[FAN])
    agenda = make_agenda(yard, 4, duties=[DutyWindow("fan", 0, 4, 2, 1)])
    plan = bend_load(make_plan(yard, agenda, make_suns(agenda), house_on={"fan": [1, 2]}), 2, 150.0)
    assert found(replay_plan(yard, agenda, plan.suns, plan)) == [("R11", 2, 50.0)]


# R12


def needing(need_wh: float) -> tuple[Yard, Agenda, Plan]:
    """Return a plan that has 2000 Wh of the need at edge 2; the tolerance is 25 Wh."""
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, needs={"mower": [make_need(2, need_wh)]})
    return yard, agenda, make_plan(yard, agenda, make_suns(agenda), [visit(0, [plug()])])


def bend_need(plan: Plan, **changes: Any) -> Plan:
    return bend_machine(plan, needs=(replace(plan.machines[0].needs[0], **changes),))


def bend_machine(plan: Plan, **changes: Any) -> Plan:
    machine: MachinePlan = replace(plan.machines[0], **changes)
    return replace(plan, machines=(machine, *plan.machines[1:]))


@pytest.mark.parametrize(
    ("need_wh", "claim", "expected"),
    [
        (2000.0, {}, []),
        (2300.0, {}, []),  # not ready, and says so
        (2024.0, {"ready": True, "have_wh": 2024.0}, []),
        (2026.0, {"ready": True, "have_wh": 2026.0}, [("R12", 2, 26.0)]),
        (2026.0, {"ready": True, "have_wh": 2100.0}, [("R12", 2, 26.0)]),
        (1000.0, {"have_wh": 2024.0}, []),
        (1000.0, {"have_wh": 2026.0}, [("R12", 2, 26.0)]),
        (1000.0, {"have_wh": 1974.0}, [("R12", 2, 26.0)]),
        (2000.0, {"ready": False}, [("R12", 2, 0.0)]),
        (2010.0, {"ready": True}, [("R12", 2, 10.0)]),
    ],
)
def test_r12_ready_means_that_the_battery_holds_what_is_needed(
    need_wh: float, claim: Mapping[str, Any], expected: list[Any]
) -> None:
    yard, agenda, plan = needing(need_wh)
    bent = bend_need(plan, **claim)
    assert found(replay_plan(yard, agenda, plan.suns, bent)) == expected


def test_r12_a_thousandth_of_a_watt_hour_is_rounding() -> None:
    yard, agenda, plan = needing(2000.0)
    for have_wh, expected in ((1999.9991, []), (1999.9989, [("R12", 2, 0.0011)])):
        bent = bend_need(plan, have_wh=have_wh, ready=True)
        assert found(replay_plan(yard, agenda, plan.suns, bent)) == expected


@pytest.mark.parametrize(
    ("changes", "edge"), [({"edge": 1}, 1), ({"need_wh": 1900.0}, 2), ({"priority": "must"}, 2)]
)
def test_r12_the_plans_needs_are_the_agendas(changes: Mapping[str, Any], edge: int) -> None:
    yard, agenda, plan = needing(2000.0)
    assert found(replay_plan(yard, agenda, plan.suns, bend_need(plan, **changes))) == [("R12", edge, 0.0)]
    without = bend_machine(plan, needs=())
    assert found(replay_plan(yard, agenda, plan.suns, without)) == [("R12", 2, 1.0)]


def test_machines_in_another_order_are_found_by_their_names() -> None:
    machines: tuple[Machine, ...] = (make_machine(), make_machine("cart", charger_w=300.0))
    yard = make_yard(*machines, outlets=EVERYWHERE)
    agenda = make_agenda(yard, 4)
    plan = make_plan(yard, agenda, make_suns(agenda), [visit(0, [plug(), plug("cart", "west")])])
    turned = replace(plan, machines=plan.machines[::-1])
    assert found(replay_plan(yard, agenda, plan.suns, turned)) == []
