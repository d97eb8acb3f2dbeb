"""Properties that any schedule must have, whatever the figures (identities).

ID-03: an outlet, a panel, or bank capacity more never lowers the optimum of a day, if it has no draw of its own.
ID-05: a relaxation's bound is at least the optimum (for what is to be made large).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from scheduler.planning.foresight import Leave, bound_needs
from scheduler.planning.planner import Settings, draw_up_plan
from scheduler.planning.record import AimStatus
from scheduler.sun.suns import ThreeSuns
from scheduler.yard.models import PRIORITIES, Bank
from tests.oracle_physics import Case, allowed_wh
from tests.random_yards import START, show, tiny_case

SEEDS = range(700, 716)


def met(case: Case) -> tuple[int, ...]:
    """Needs met by class at the planner's optimum."""
    plan = draw_up_plan(case.yard, case.agenda, case.suns, Settings(), made_at=START)
    assert all(aim.status is AimStatus.PROVEN for aim in plan.aims if "needs met" in aim.name)
    needs = [need.priority for machine in plan.machines for need in machine.needs if need.ready]
    return tuple(needs.count(priority) for priority in PRIORITIES)


def with_an_outlet(case: Case) -> Case:
    more = case.yard.outlets[0].model_copy(update={"name": "one more"})
    return replace(case, yard=case.yard.model_copy(update={"outlets": (*case.yard.outlets, more)}))


def with_a_panel(case: Case) -> Case:
    """Half as many panels again, which shine in proportion."""
    suns = case.suns
    brighter = ThreeSuns(
        suns.grid, 1.5 * suns.dull_w, 1.5 * suns.likely_w, 1.5 * suns.bright_w, suns.shed_temp_c, suns.source
    )
    return replace(case, suns=brighter)


def with_a_module(case: Case) -> Case:
    """A module of the same kind as the bank, as full as it, so that reserve and level keep their percent."""
    bank: Bank = case.yard.bank
    larger = bank.model_copy(update={"modules_wh": (*bank.modules_wh, bank.modules_wh[0])})
    return replace(case, yard=case.yard.model_copy(update={"bank": larger}))


#: What is added, whether the bank is nearly at its reserve, and the days: some of them are the better for it.
ADDED = [
    *((with_an_outlet, False, seed) for seed in (*range(700, 710), 726, 741)),
    *((with_a_panel, True, seed) for seed in range(700, 712)),
    *((with_a_module, False, seed) for seed in range(700, 712)),
]


@pytest.mark.parametrize(("add", "short", "seed"), ADDED)
def test_more_of_anything_never_lowers_the_optimum_of_a_day(
    add: Callable[[Case], Case], short: bool, seed: int
) -> None:
    case = tiny_case(seed, short=short)
    assert met(add(case)) >= met(case), show(case)


@pytest.mark.parametrize(
    ("add", "short", "seed"),
    [(with_an_outlet, False, 726), (with_a_panel, True, 701), (with_a_module, False, 701)],
)
def test_more_of_it_raises_the_optimum_of_some_day(
    add: Callable[[Case], Case], short: bool, seed: int
) -> None:
    """Else the test before this one would say nothing."""
    case = tiny_case(seed, short=short)
    assert met(add(case)) > met(case), show(case)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_relaxations_bound_is_no_less_than_the_optimum(seed: int) -> None:
    case = tiny_case(seed)
    leave = Leave(floor_wh=allowed_wh(case))
    bound = bound_needs(case.yard, case.agenda, case.suns.dull_w, case.suns.shed_temp_c, leave)
    assert tuple(bound.met_most.values()) >= met(case), show(case)
    assert bound.met_most_altogether >= sum(met(case)), show(case)
