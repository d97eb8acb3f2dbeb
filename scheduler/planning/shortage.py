"""R3 to R5 and R11 where the house alone is hard to carry: run its duty loads so that the shortage is least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from scheduler.charging.routes import Network
from scheduler.planning.asking import choice_from
from scheduler.planning.bank import discharge_limit_w
from scheduler.planning.house import HouseAlone, found_demand_w, found_peak_w, house_alone, sunniest_duty
from scheduler.planning.model import Case, ChoiceModel, Term, add_demand, add_duty
from scheduler.planning.record import Aim, AimStatus
from scheduler.planning.solve import Solution, SolveStatus, solve_cbc
from scheduler.planning.stages import proof_slack
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import kwh_from_wh
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Yard

#: What the search for the least shortage may take [s]; `Aim` "house's shortage" tells how far it came.
LIMIT_S = 5.0
_UNSERVED_COSTS = (
    1000.0  # a kWh that the bank cannot give at all, against one that it gives below the reserve
)
_OVERLOAD_COSTS = 1000.0  # an hour of a kW above what the inverter stands, against the same


def fare_alone(yard: Yard, agenda: Agenda, suns: ThreeSuns, networks: Sequence[Network]) -> HouseAlone:
    """How the house fares by itself; where it cannot hold, with its duty loads run as it fares best."""
    alone = house_alone(yard, agenda, suns, networks, sunniest_duty(yard, agenda, suns.dull_w))
    if alone.holds or not agenda.duties:
        return alone
    answer, model = _least_short(yard, agenda, suns, networks, alone)
    found = [alone]
    if answer.is_usable:
        duty = choice_from(model, answer.values)[1].duty
        found.append(house_alone(yard, agenda, suns, networks, duty))
    best = min(found, key=lambda house: _shortage_wh(yard, agenda.grid, house))
    return replace(best, aim=_aim(kwh_from_wh(_shortage_wh(yard, agenda.grid, best)), answer))


def _aim(reached_kwh: float, answer: Solution) -> Aim:
    """How near the best the schedule is: kWh missing to the reserve, summed over the steps, what is worse as costs."""
    name, seconds = "house's shortage", answer.seconds
    if answer.bound is None:
        return Aim(name, reached_kwh, AimStatus.TIME_LIMIT, None, seconds)
    missed_kwh = reached_kwh - answer.bound
    if answer.status is SolveStatus.PROVEN or missed_kwh <= proof_slack(reached_kwh):
        return Aim(name, reached_kwh, AimStatus.PROVEN, 0.0, seconds)
    return Aim(name, reached_kwh, AimStatus.GAP, missed_kwh / reached_kwh, seconds)


def _shortage_wh(yard: Yard, grid: Grid, house: HouseAlone) -> float:
    short = np.clip(yard.bank.reserve_wh - house.level_wh, 0.0, None).sum()
    running_w = house.peak_w - yard.inverter.continuous_w
    starting_w = house.start_peak_w - yard.inverter.surge_limit_w
    over_wh = grid.energy_wh(np.clip(np.maximum(running_w, starting_w), 0.0, None)).sum()
    return float(short + _UNSERVED_COSTS * house.unserved_wh.sum() + _OVERLOAD_COSTS * over_wh)


def _least_short(
    yard: Yard, agenda: Agenda, suns: ThreeSuns, networks: Sequence[Network], alone: HouseAlone
) -> tuple[Solution, ChoiceModel]:
    """Seek the schedule of the duty loads with the least sum of what is missing and what is too much."""
    import pulp

    case = Case(yard, agenda, suns, (), (), replace(alone, holds=True))
    model = ChoiceModel(case, pulp.LpProblem("house", pulp.LpMinimize))
    add_duty(model)
    add_demand(model)
    short = _add_bank_that_may_fail(model, suns.dull_w - found_demand_w(yard, agenda, networks))
    short += _add_inverter_that_may_fail(model, found_peak_w(agenda, networks))
    model.problem.setObjective(pulp.LpAffineExpression(short))
    return solve_cbc(model.problem, LIMIT_S), model


def _add_bank_that_may_fail(model: ChoiceModel, sun_w: FloatArray) -> list[Term]:
    """R3 with what is missing to the reserve, and what is not served at all, as costs."""
    bank, step_h = model.case.yard.bank, model.case.agenda.grid.step_h
    capacity, reserve = kwh_from_wh(bank.capacity_wh), kwh_from_wh(bank.reserve_wh)
    most_out_w, out_h = discharge_limit_w(bank), step_h / bank.discharge_efficiency
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
        if np.isfinite(most_out_w):
            # What is beyond the discharge limit is not served either.
            terms = [(demand, out_h), (unserved, -1.0)]
            model.add(terms, -1, out_h * (sun_w[step] + most_out_w) / 1000.0, f"most_out_{step:03d}")
        model.add([(following, 1.0), (missing, 1.0)], 1, reserve, f"short_{step:03d}")
        level = following
    return costs


def _add_inverter_that_may_fail(model: ChoiceModel, found_w: FloatArray) -> list[Term]:
    """R5 with what is too much, running or while a motor starts, as costs; `found_w` is what is plugged in already."""
    yard, grid = model.case.yard, model.case.agenda.grid
    loads = {load.name: load for load in yard.house_loads}
    costs: list[Term] = []
    for step in range(grid.n_steps):
        over = model.variable(f"o_{step:03d}", 0.0, None)
        costs.append((over, _OVERLOAD_COSTS * grid.step_h))
        on = {name: run for (name, at), run in model.duty.items() if at == step}
        fixed_w = found_w[step] + yard.always_on_w
        running: list[Term] = [(run, loads[name].watts / 1000.0) for name, run in on.items()]
        rows = [(running, yard.inverter.continuous_w - fixed_w)]
        for motor in (load for load in yard.house_loads if load.start_w > load.watts):
            extra_w, spare_w = motor.start_w - motor.watts, yard.inverter.surge_limit_w - fixed_w
            if motor.always_on:
                rows.append((running, spare_w - extra_w))
            elif motor.name in on:
                others = [(run, factor) for run, factor in running if run is not on[motor.name]]
                rows.append(([*others, (on[motor.name], motor.start_w / 1000.0)], spare_w))
        for number, (terms, most_w) in enumerate(rows):
            model.add([*terms, (over, -1.0)], -1, most_w / 1000.0, f"over_{number:02d}_{step:03d}")
    return costs
