"""What chargers drew, by the plans on the door and by what machines showed; work is taken after a display is read."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from scheduler.charging.curve import ChargeCurve
from scheduler.logbook.chargers import charge_at_first, chargers_by_plans
from scheduler.logbook.expectation import Reading
from scheduler.logbook.spells import charge_path_wh
from scheduler.planning.record import Plan
from scheduler.timegrid import Grid
from tests.logbook.test_expecting import at, expected_of, idle_yard
from tests.sheet import sample

PLAIN = ChargeCurve(capacity_wh=1000.0, charger_w=100.0, efficiency=0.8, taper_from=1.0)


def test_work_is_taken_after_the_display_that_is_read_as_it_leaves() -> None:
    plugged, work_wh = np.array([False, False, True]), np.array([300.0, 0.0, 100.0])
    held_wh, drawn_wh = charge_path_wh(PLAIN, 500.0, plugged, work_wh, 1.0)
    # Read at 500, leaves and comes back with 200; read at 200 before the second outing, then an hour's charge on 100.
    assert held_wh.tolist() == [500.0, 200.0, 200.0, 180.0]
    assert drawn_wh.tolist() == [0.0, 0.0, pytest.approx(100.0)]


def test_a_battery_that_is_full_before_it_works_takes_no_more() -> None:
    plugged, work_wh = np.array([True, True, True]), np.array([0.0, 0.0, 500.0])
    held_wh, drawn_wh = charge_path_wh(PLAIN, 960.0, plugged, work_wh, 1.0)
    assert held_wh.tolist() == pytest.approx([960.0, 1000.0, 1000.0, 580.0])
    assert drawn_wh.tolist() == pytest.approx([50.0, 0.0, 100.0])


def test_an_expected_display_goes_through_charge_and_work_in_their_order() -> None:
    expected = expected_of(idle_yard(), [Reading(at(13), 60.0), Reading(at(18), 60.0)])
    machine, steps = expected.yard.machines[0], slice(0, 3)
    wall_wh, work_wh = expected.wall_wh.copy(), expected.work_wh.copy()
    wall_wh[steps, 0] = 0.2 * machine.capacity_wh / machine.charger_efficiency
    work_wh[2, 0], work_wh[3, 0] = 0.5 * machine.capacity_wh, 0.9 * machine.capacity_wh
    known = replace(expected, wall_wh=wall_wh, work_wh=work_wh)
    # 90 % is full after the first step, works off 50, and has 70 after the third; what is due on that edge comes later.
    assert known.charge_after_pct(0, 0, 3, 90.0) == pytest.approx(70.0)
    assert known.charge_after_pct(0, 0, 3, 90.0, works=False) == pytest.approx(40.0)


def field_expected(plans: tuple[Plan, ...], **shown_pct: float) -> tuple[float, ...]:
    """What each of the sample's chargers draws if one machine's display is noted as the plan begins [Wh]."""
    first, last = plans[0].grid.start, plans[0].grid.end
    noted = {name.replace("_", " "): pct for name, pct in shown_pct.items()}
    readings = [Reading(first, 50.0, noted), Reading(last, 50.0)]
    return tuple(expected_of(sample.field_yard(), readings, plans).wall_wh.sum(axis=0))


def test_a_machine_that_was_noted_full_draws_nothing_whatever_the_plan_thought() -> None:
    plan = sample.field_plan()
    by_plan = field_expected((plan,))
    hungry = int(np.argmax(by_plan))
    name = sample.field_yard().machines[hungry].name
    drawn = field_expected((plan,), **{name.replace(" ", "_"): 100.0})
    works = any(need.work_wh for need in sample.field_yard().machines[hungry].needs)
    assert drawn[hungry] < by_plan[hungry] if works else drawn[hungry] == 0.0
    assert np.delete(drawn, hungry) == pytest.approx(np.delete(by_plan, hungry))


def test_a_machine_that_was_noted_as_the_plan_has_it_draws_what_the_plan_has() -> None:
    plan, yard = sample.field_plan(), sample.field_yard()
    held = charge_at_first(yard, (plan,), plan.grid.start)
    by_plan = field_expected((plan,))
    drawn = field_expected((plan,), **{name.replace(" ", "_"): pct for name, pct in held.items()})
    assert drawn == pytest.approx(by_plan, rel=0.02, abs=5.0)


def test_a_plan_that_was_taken_down_does_not_come_back_when_the_next_ends() -> None:
    plan, yard = sample.field_plan(), sample.field_yard()
    half = plan.grid.n_steps // 2
    short = plan.grid
    later = replace(
        plan,
        grid=Grid(short.edge(2), short.step_minutes, half, short.zone),
        machines=tuple(
            replace(
                one,
                plugged=one.plugged[:half] & False,
                wall_wh=0.0 * one.wall_wh[:half],
                charge_wh=one.charge_wh[: half + 1],
            )
            for one in plan.machines
        ),
    )
    grid = Grid(plan.grid.start, 15, int((plan.grid.end - plan.grid.start) / dt.timedelta(minutes=15)), plan.grid.zone)
    found = chargers_by_plans(yard, grid, (plan, later))
    begins, ends = (int((moment - grid.start) / grid.step) for moment in (later.grid.start, later.grid.end))
    assert set(found.plan[:begins]) == {0}
    assert set(found.plan[begins:ends]) == {1}
    assert not found.covered[ends:].any()
    assert found.wall_wh[begins:].sum() == 0.0


def test_what_a_plans_machine_draws_that_the_fleet_file_does_not_know_is_expected_all_the_same() -> None:
    plan, yard = sample.field_plan(), sample.field_yard()
    renamed = tuple(one.model_copy(update={"name": f"new {one.name}"}) for one in yard.machines)
    grid = plan.grid
    found = chargers_by_plans(yard.model_copy(update={"machines": renamed}), grid, (plan,))
    assert found.wall_wh.sum() == 0.0
    assert found.others_wh == pytest.approx(sum(machine.wall_wh for machine in plan.machines))


def worked_day(*readings: Reading) -> tuple[float, float]:
    """What the cart drew [Wh], and for how much of the time nobody knows."""
    expected = expected_of(idle_yard(), list(readings))
    return float(expected.wall_wh.sum()), float((expected.unsure_wh > 0.0).mean())


def test_a_machine_that_worked_and_shows_the_same_again_was_charged() -> None:
    machine = idle_yard().machines[0]
    evening, next_evening = (Reading(at(18, day), 60.0, {"cart": 70.0}) for day in (8, 9))
    drawn_wh, unsure = worked_day(evening, next_evening)
    (need,) = machine.needs
    assert drawn_wh * machine.charger_efficiency == pytest.approx(need.work_wh, rel=0.01)
    assert unsure == 0.0


def test_when_it_was_charged_is_unsure_if_the_bank_was_read_in_between() -> None:
    evening, next_evening = (Reading(at(18, day), 60.0, {"cart": 70.0}) for day in (8, 9))
    assert worked_day(evening, Reading(at(12, 9), 60.0), next_evening)[1] == 1.0


def test_a_machine_that_fell_more_than_its_work_leaves_unsure_what_it_was_charged() -> None:
    assert worked_day(Reading(at(13), 60.0, {"cart": 90.0}), Reading(at(18), 60.0, {"cart": 40.0})) == (0.0, 1.0)


def test_a_machine_that_shows_the_same_and_did_not_work_drew_nothing() -> None:
    assert worked_day(Reading(at(13), 60.0, {"cart": 90.0}), Reading(at(18), 60.0, {"cart": 90.0})) == (0.0, 0.0)
