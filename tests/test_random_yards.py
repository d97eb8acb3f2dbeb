"""The random yards are worth planning: each rule decides what is best in some of them."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from typing import Any

import pytest

from scheduler.yard.models import Machine, Outlet, Yard
from tests.oracle_milp import best_by_network
from tests.oracle_physics import Best, Case
from tests.random_yards import tiny_case

SEEDS = range(100, 140)


@functools.cache
def best_of(seed: int) -> Best:
    return best_by_network(tiny_case(seed))


def bank(**update: object) -> Callable[[Yard], Yard]:
    return lambda yard: yard.model_copy(update={"bank": yard.bank.model_copy(update=update)})


def inverter(**update: object) -> Callable[[Yard], Yard]:
    return lambda yard: yard.model_copy(update={"inverter": yard.inverter.model_copy(update=update)})


def machines(**update: object) -> Callable[[Yard], Yard]:
    def ease(machine: Machine) -> Machine:
        return machine.model_copy(update=update)

    return lambda yard: yard.model_copy(
        update={"machines": tuple(ease(machine) for machine in yard.machines)}
    )


def outlets(change: Callable[[Outlet], dict[str, Any]]) -> Callable[[Yard], Yard]:
    def ease(outlet: Outlet) -> Outlet:
        return outlet.model_copy(update=change(outlet))

    return lambda yard: yard.model_copy(update={"outlets": tuple(ease(outlet) for outlet in yard.outlets)})


def no_surge(yard: Yard) -> Yard:
    loads = tuple(load.model_copy(update={"surge_w": None}) for load in yard.house_loads)
    return yard.model_copy(update={"house_loads": loads})


EASINGS: dict[str, Callable[[Yard], Yard]] = {
    "R3 charge limit": bank(charge_max_w=None),
    "R3 losses": bank(charge_efficiency_pct=100.0, discharge_efficiency_pct=100.0),
    "R4": bank(reserve_pct=0.0),
    "R5 continuous watts": inverter(continuous_w=9000.0, surge_w=9000.0),
    "R5 surge watts": no_surge,
    "R5 idle draw": inverter(idle_w=0.0),
    "R6 breaker": outlets(lambda _: {"breaker_a": None}),
    # The same watts, but for as long as one likes.
    "R6 three hours": outlets(
        lambda outlet: {"breaker_a": None, "max_w": None if outlet.breaker_a is None else outlet.limit_w}
    ),
    "R7 taper": machines(taper_from_pct=100.0),
    "R8": machines(charge_temp_c=(-90.0, 90.0)),
}


@pytest.mark.parametrize("rule", EASINGS)
def test_each_rule_decides_what_is_best_in_some_tiny_yard(rule: str) -> None:
    def decides(seed: int) -> bool:
        case = tiny_case(seed)
        eased = best_by_network(Case(EASINGS[rule](case.yard), case.agenda, case.suns))
        return dataclasses.astuple(eased) != pytest.approx(dataclasses.astuple(best_of(seed)), abs=0.1)

    assert any(decides(seed) for seed in SEEDS)
