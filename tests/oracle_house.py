"""What the house alone does to a yard, by the oracle's own model: if it holds, or what it leaves (R3 to R5).

It is the yard with no machine plugged in by anybody.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from tests.oracle_milp import House, Model, add_bank, add_house, add_inverter, free_house
from tests.oracle_network import Arc, machine_arcs
from tests.oracle_physics import (
    Case,
    Flags,
    Floats,
    bank_draw_wh,
    charging,
    duty_ways,
    forced_on,
    house_always_w,
    load_named,
)

#: What the bank cannot give at all, against what it gives below its reserve.
UNSERVED_WEIGHT = 1000.0


def house_of(case: Case, duty: Mapping[str, Flags], time_limit_s: float = 60.0) -> House:
    """What the house alone leaves: all that the rules allow, or if it holds in no way what this schedule leaves."""
    if can_hold(case, time_limit_s):
        return free_house(case, np.full(case.agenda.grid.n_steps + 1, case.yard.bank.reserve_wh))
    grid, nothing = case.agenda.grid, np.zeros(case.agenda.grid.n_steps)
    house_w = np.full(grid.n_steps, house_always_w(case))
    for name, on in duty.items():
        house_w = house_w + load_named(case.yard, name).watts * on
    found = [(machine, charging(case, machine, forced_on(case, machine))) for machine in case.yard.machines]
    peak_w = house_w + sum((charge.peak_w for machine, charge in found if machine.supply == "ac"), nothing)
    demand_wh = _demand_wh(case, house_w)
    level_wh, unserved_wh = _drain(case, demand_wh)
    return House(duty, np.minimum(level_wh, case.yard.bank.reserve_wh), unserved_wh, demand_wh, peak_w)


def _demand_wh(case: Case, house_w: Floats) -> Floats:
    """What the house takes from the bank's side in each step, the last axis, what is plugged in already among it."""
    nothing = np.zeros(case.agenda.grid.n_steps)
    found = [(machine, charging(case, machine, forced_on(case, machine))) for machine in case.yard.machines]
    ac = sum((charge.wall_wh for machine, charge in found if machine.supply == "ac"), nothing)
    dc = sum((charge.wall_wh for machine, charge in found if machine.supply == "dc"), nothing)
    return bank_draw_wh(case, ac + house_w * case.agenda.grid.step_h, dc)


def _drain(case: Case, demand_wh: Floats) -> tuple[Floats, Floats]:
    """Level on every edge, the last axis, and what is asked of the bank in vain, under the dull sun (R3)."""
    bank, step_h = case.yard.bank, case.agenda.grid.step_h
    most_in, most_out = (
        math.inf if limit_w is None else limit_w * step_h for limit_w in (bank.charge_max_w, bank.discharge_max_w)
    )
    level = np.full((*demand_wh.shape[:-1], demand_wh.shape[-1] + 1), bank.level_pct / 100.0 * bank.capacity_wh)
    unserved = np.zeros_like(demand_wh)
    for step in range(demand_wh.shape[-1]):
        net = case.suns.dull_w[step] * step_h - demand_wh[..., step]
        asked = np.maximum(-net, 0.0) / bank.discharge_efficiency
        given = np.minimum(np.minimum(asked, most_out / bank.discharge_efficiency), level[..., step])
        stored = np.minimum(np.maximum(net, 0.0), most_in) * bank.charge_efficiency
        level[..., step + 1] = np.minimum(level[..., step] - given + stored, bank.capacity_wh)
        unserved[..., step] = asked - given
    return level, unserved


def shortage_wh(case: Case, duty: Mapping[str, Flags]) -> float:
    """What the house lacks to the reserve over all edges; a thousand times what it is not served, or trips [Wh]."""
    on = {name: runs[np.newaxis] for name, runs in duty.items()}
    return float(_shortages_wh(case, on).min())


def _shortages_wh(case: Case, on: Mapping[str, Flags]) -> Floats:
    """Of many schedules, one a row."""
    inverter, step_h = case.yard.inverter, case.agenda.grid.step_h
    nothing = np.zeros(case.agenda.grid.n_steps)
    house_w, extra_w = np.full((1, len(nothing)), house_always_w(case)), np.zeros((1, len(nothing)))
    for load in case.yard.house_loads:
        runs = on.get(load.name, np.ones(1, dtype=bool))
        house_w = house_w if load.always_on else house_w + load.watts * runs
        extra_w = np.maximum(extra_w, (load.start_w - load.watts) * runs)
    level_wh, unserved_wh = _drain(case, _demand_wh(case, house_w))
    lacks = np.maximum(0.0, case.yard.bank.reserve_wh - level_wh).sum(axis=-1)
    found = [(machine, charging(case, machine, forced_on(case, machine))) for machine in case.yard.machines]
    peak_w = house_w + sum((charge.peak_w for machine, charge in found if machine.supply == "ac"), nothing)
    over_w = np.maximum(peak_w - inverter.continuous_w, peak_w + extra_w - inverter.surge_limit_w)
    trips_wh = step_h * np.maximum(0.0, over_w).sum(axis=-1)
    return np.asarray(lacks + UNSERVED_WEIGHT * (unserved_wh.sum(axis=-1) + trips_wh))


def least_shortage_wh(case: Case, most: int = 20_000) -> float | None:
    """The least shortage of all schedules of the duty loads, by trying them; None where they are more than `most`."""
    n_steps = case.agenda.grid.n_steps
    loads = [load.name for load in case.yard.house_loads if not load.always_on]
    on = {name: np.zeros((1, n_steps), dtype=bool) for name in loads}
    for window in case.agenda.duties:
        tried = len(on[window.load])
        if math.comb(window.last - window.first, window.on_steps) * tried > most * 20:
            return None
        ways = np.array(duty_ways(window, n_steps))
        if len(ways) * tried > most:
            return None
        on = {name: np.repeat(runs, len(ways), axis=0) for name, runs in on.items()}
        on[window.load] |= np.tile(ways, (tried, 1))
    return float(_shortages_wh(case, on).min())


def can_hold(case: Case, time_limit_s: float = 60.0) -> bool:
    """Whether the house alone keeps R3 to R5 with some schedule of its duty loads."""
    if case.yard.bank.level_pct < case.yard.bank.reserve_pct:
        return False
    house = free_house(case, np.full(case.agenda.grid.n_steps + 1, case.yard.bank.reserve_wh))
    model = Model()
    arcs = _left_alone(case)
    columns = [model.column(1, 1) for _ in arcs]
    duties = add_house(case, model, None)
    add_inverter(case, model, arcs, columns, duties, house)
    add_bank(case, model, arcs, columns, duties, house, 1e-6)
    return model.is_possible(time_limit_s)


def _left_alone(case: Case) -> list[Arc]:
    """What is plugged in when the plan begins, until the first visit, and nothing after it."""
    first_visit = min(case.agenda.visits, default=case.agenda.grid.n_steps)
    arcs = (arc for index in range(len(case.yard.machines)) for arc in machine_arcs(case, index, given_only=True))
    return [arc for arc in arcs if arc.first < first_visit]
