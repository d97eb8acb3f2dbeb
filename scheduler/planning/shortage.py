"""R4 and R11 where the house alone cannot be carried: run its duty loads so that the shortage is least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from scheduler.charging.routes import Network
from scheduler.planning.asking import choice_from
from scheduler.planning.house import HouseAlone, found_demand_w, house_alone, sunniest_duty
from scheduler.planning.model import Case, ChoiceModel, Term, add_demand, add_duty
from scheduler.planning.solve import solve_cbc
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.units import kwh_from_wh
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Yard

_LIMIT_S = 5.0
_UNSERVED_COSTS = (
    1000.0  # a kWh that the bank cannot give at all, against one that it gives below the reserve
)


def fare_alone(yard: Yard, agenda: Agenda, suns: ThreeSuns, networks: Sequence[Network]) -> HouseAlone:
    """How the house fares by itself; where it cannot hold, with its duty loads run as it fares best."""
    alone = house_alone(yard, agenda, suns, networks, sunniest_duty(yard, agenda, suns.dull_w))
    if alone.holds or not agenda.duties:
        return alone
    duty = _least_short(yard, agenda, suns, networks, alone)
    if duty is None:
        return alone
    better = house_alone(yard, agenda, suns, networks, duty)
    return min(alone, better, key=lambda house: _shortage_wh(yard, house))


def _shortage_wh(yard: Yard, house: HouseAlone) -> float:
    short = np.clip(yard.bank.reserve_wh - house.level_wh, 0.0, None).sum()
    return float(short + _UNSERVED_COSTS * house.unserved_wh.sum())


def _least_short(
    yard: Yard, agenda: Agenda, suns: ThreeSuns, networks: Sequence[Network], alone: HouseAlone
) -> dict[str, np.ndarray] | None:
    """Schedule of the duty loads with the least sum of what is missing to the reserve; None without an answer."""
    import pulp

    case = Case(yard, agenda, suns, (), (), replace(alone, holds=True))
    model = ChoiceModel(case, pulp.LpProblem("house", pulp.LpMinimize))
    add_duty(model)
    add_demand(model)
    short = _add_bank_that_may_fail(model, suns.dull_w - found_demand_w(yard, agenda, networks))
    model.problem.setObjective(pulp.LpAffineExpression(short))
    answer = solve_cbc(model.problem, _LIMIT_S)
    return choice_from(model, answer.values)[1].duty if answer.is_usable else None


def _add_bank_that_may_fail(model: ChoiceModel, sun_w: FloatArray) -> list[Term]:
    """R3 with what is missing to the reserve, and what is not served at all, as costs."""
    bank, step_h = model.case.yard.bank, model.case.agenda.grid.step_h
    capacity, reserve = kwh_from_wh(bank.capacity_wh), kwh_from_wh(bank.reserve_wh)
    level = model.variable("l_000", kwh_from_wh(bank.level_wh), kwh_from_wh(bank.level_wh))
    costs: list[Term] = []
    for step, demand in enumerate(model.demand):
        following = model.variable(f"l_{step + 1:03d}", 0.0, capacity)
        missing = model.variable(f"m_{step + 1:03d}", 0.0, None)
        unserved = model.variable(f"n_{step + 1:03d}", 0.0, None)
        costs += [(missing, 1.0), (unserved, _UNSERVED_COSTS)]
        for name, factor in (("in", bank.charge_efficiency), ("out", 1.0 / bank.discharge_efficiency)):
            terms = [(following, 1.0), (level, -1.0), (demand, factor * step_h), (unserved, -1.0)]
            model.add(terms, -1, factor * step_h * sun_w[step] / 1000.0, f"{name}_{step:03d}")
        model.add([(following, 1.0), (missing, 1.0)], 1, reserve, f"short_{step:03d}")
        level = following
    return costs
