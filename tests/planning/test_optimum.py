"""The planner's choice against the best that any hand could do, aim by aim (design rules R3 to R12).

Values are compared, never plans: equally good plans are many. What a plan reaches is worked out from its
plugs by the oracle's own physics, and what the plan says of itself must agree with that.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from scheduler.planning.planner import Settings, make_plan
from scheduler.planning.record import AimStatus, Plan
from tests.oracle_bruteforce import TooBig, best_by_trying_everything
from tests.oracle_milp import best_by_network
from tests.oracle_physics import MET_WH, Best, Case, bank_draw_wh, bank_levels_wh, charging
from tests.random_yards import medium_case, show, tiny_case

MADE_AT = dt.datetime(2027, 6, 9, 5, 0, tzinfo=dt.UTC)

#: R4 is eased by this much for the oracle: where a level lies on the reserve, rounding shall not decide [Wh].
ON_THE_RESERVE_WH = 0.01
#: Shortfall and end level of plan and oracle: solver rounding over a plan [Wh].
SAME_WH = 0.05
#: Charge curves of plan and oracle, each with its own closed form [Wh].
SAME_CHARGE_WH = 0.01


def reached_by(case: Case, plan: Plan) -> Best:
    """Work out what the plan's plugs bring, by the oracle's physics."""
    met = {"must": 0, "should": 0, "could": 0}
    shortfall = 0.0
    for machine, planned in zip(case.yard.machines, plan.machines, strict=True):
        assert planned.name == machine.name
        charge = charging(case, machine, planned.plugged)
        np.testing.assert_allclose(planned.charge_wh, charge.stored_wh, atol=SAME_CHARGE_WH)
        np.testing.assert_allclose(planned.wall_wh, charge.wall_wh, atol=SAME_CHARGE_WH)
        for need, have in zip(case.agenda.needs[machine.name], charge.have_wh, strict=True):
            if have >= need.need_wh - MET_WH:
                met[need.priority] += 1
            else:
                shortfall += need.need_wh - have
        assert [need.ready for need in planned.needs] == [
            have >= need.need_wh - MET_WH
            for need, have in zip(case.agenda.needs[machine.name], charge.have_wh, strict=True)
        ]
    changes = sum(len(visit.plug) + len(visit.unplug) for visit in plan.visits)
    return Best(met["must"], met["should"], met["could"], shortfall, changes, end_level(case, plan))


def end_level(case: Case, plan: Plan) -> float:
    """Bank level at the end under the likely sun, from what the plan's machines and house loads draw [Wh]."""
    ac, dc = np.zeros(case.agenda.grid.n_steps), np.zeros(case.agenda.grid.n_steps)
    for machine, planned in zip(case.yard.machines, plan.machines, strict=True):
        if machine.supply == "ac":
            ac = ac + planned.wall_wh
        else:
            dc = dc + planned.wall_wh
    for load in plan.house_loads:
        ac = ac + load.wall_wh
    levels, _ = bank_levels_wh(case, case.suns.likely_w, bank_draw_wh(case, ac, dc))
    np.testing.assert_allclose(plan.bank.level_wh["likely"], levels, atol=SAME_WH)
    return float(levels[-1])


def best_of(case: Case) -> Best:
    """Try everything, or where that is too much ask the network model, which is as exact."""
    try:
        return best_by_trying_everything(case, ON_THE_RESERVE_WH)
    except TooBig:
        return best_by_network(case, ON_THE_RESERVE_WH)


def assert_as_good(case: Case, best: Best) -> None:
    plan = make_plan(case.yard, case.agenda, case.suns, Settings(), made_at=MADE_AT)
    reached = reached_by(case, plan)
    story = f"\nplanner {reached}\noracle  {best}\naims {plan.aims}\n{show(case)}\n{told(plan)}"
    assert plan.replay is not None
    assert plan.replay.violations == (), story
    assert all(aim.status is AimStatus.PROVEN for aim in plan.aims), story
    assert (reached.must, reached.should, reached.could) == (best.must, best.should, best.could), story
    assert reached.shortfall_wh == pytest.approx(best.shortfall_wh, abs=SAME_WH), story
    assert reached.plug_changes == best.plug_changes, story
    assert reached.end_level_wh == pytest.approx(best.end_level_wh, abs=SAME_WH), story


def told(plan: Plan) -> str:
    """Tell where each machine stands in each step, `*` where its outlet is on."""
    lines = []
    for machine in plan.machines:
        steps = (
            f"{outlet or '-'}{'*' if on else ''}"
            for outlet, on in zip(machine.outlet, machine.plugged, strict=True)
        )
        lines.append(f"{machine.name}: {' '.join(steps)}")
    return "\n".join(lines)


@pytest.mark.parametrize("seed", range(100, 140))
def test_no_hand_does_better_in_a_tiny_yard(seed: int) -> None:
    case = tiny_case(seed)
    assert_as_good(case, best_of(case))


@pytest.mark.parametrize("seed", range(200, 212))
def test_no_hand_and_no_duty_schedule_does_better(seed: int) -> None:
    case = tiny_case(seed, duty=True)
    assert_as_good(case, best_of(case))


@pytest.mark.parametrize("seed", range(300, 312))
def test_no_hand_does_better_with_a_timer(seed: int) -> None:
    case = tiny_case(seed, timers=True)
    assert_as_good(case, best_of(case))


@pytest.mark.parametrize("seed", range(400, 408))
def test_no_hand_does_better_where_the_bank_is_nearly_at_its_reserve(seed: int) -> None:
    case = tiny_case(seed, short=True)
    assert_as_good(case, best_of(case))


@pytest.mark.parametrize("seed", range(500, 506))
def test_no_hand_does_better_in_a_medium_yard(seed: int) -> None:
    case = medium_case(seed, hours=36, machines=7)
    assert_as_good(case, best_by_network(case, ON_THE_RESERVE_WH))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(600, 630))
def test_no_hand_does_better_in_a_larger_yard_over_two_days(seed: int) -> None:
    case = medium_case(seed, hours=48, machines=10)
    assert_as_good(case, best_by_network(case, ON_THE_RESERVE_WH))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1000, 1300))
def test_no_hand_does_better_in_many_tiny_yards(seed: int) -> None:
    case = tiny_case(seed, timers=seed % 4 == 0, duty=seed % 4 == 1, short=seed % 8 == 2)
    assert_as_good(case, best_of(case))
