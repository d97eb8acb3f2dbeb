"""The best that any hand could do in a medium yard, by a network model of its own for scipy's HiGHS.

What the visits before mean for a machine lies in its charge and in where it stands, so each machine is a
network: a node is (visit, charge, outlet), an arc is "until the next visit in this outlet" or "in none",
worked out exactly by the oracle's physics. One unit flows through each network; bank, inverter and outlets
couple the arcs. No timers.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.yard.agenda import DueNeed
from scheduler.yard.models import PRIORITIES, Machine
from tests.oracle_physics import (
    CONTINUOUS_H,
    MET_WH,
    SAME_WH,
    Best,
    Case,
    Charging,
    Flags,
    Floats,
    allowed_wh,
    charging,
    house_always_w,
    load_named,
    may_stand_in,
    outside_window,
    over_whole_steps,
)

#: A machine's place in its network: the visit's edge, its charge [Wh], the outlet it is in (-1 for none).
Node = tuple[int, float, int]


@dataclass(frozen=True)
class Arc:
    """One machine from one visit to the next."""

    machine: int
    tail: Node
    head: Node
    outlet: int
    first: int
    changes: int
    wall_wh: Floats
    peak_w: Floats
    over: Flags
    met: tuple[int, int, int]
    shortfall_wh: float


# ---- the networks ------------------------------------------------------------------------------------------


def machine_arcs(case: Case, index: int) -> list[Arc]:
    """All arcs of one machine that can be reached from its first charge."""
    machine = case.yard.machines[index]
    n_steps = case.agenda.grid.n_steps
    edges = sorted({0, *case.agenda.visits, n_steps})
    names = [outlet.name for outlet in case.yard.outlets]
    standing = -1 if machine.outlet is None else names.index(machine.outlet)
    arcs: list[Arc] = []
    layer: set[Node] = {(0, round(machine.charge_wh, 6), standing)}
    for first, last in itertools.pairwise(edges):
        leaving = [
            _arc(case, index, node, outlet, (first, last))
            for node in sorted(layer)
            for outlet in _places(case, machine, first, node[2])
        ]
        allowed = [arc for arc in leaving if arc is not None]
        arcs += allowed
        layer = {arc.head for arc in allowed}
    return arcs


def _places(case: Case, machine: Machine, first: int, standing: int) -> list[int]:
    if first not in case.agenda.visits:
        return [standing]
    if case.agenda.away[machine.name][first]:
        return [-1]
    fitting = [index for index, outlet in enumerate(case.yard.outlets) if may_stand_in(machine, outlet)]
    return [-1, *fitting]


def _arc(case: Case, index: int, tail: Node, outlet: int, span: tuple[int, int]) -> Arc | None:
    """Charge one machine through one span between visits; None where R8 forbids it."""
    machine, (first, last) = case.yard.machines[index], span
    n_steps, away = case.agenda.grid.n_steps, case.agenda.away[machine.name]
    gone = np.flatnonzero(away[first : last + 1])
    on = np.zeros(n_steps, dtype=bool)
    if outlet >= 0:
        on[first : first + int(gone[0]) if len(gone) else last] = True
    if not machine.self_protecting and (on & outside_window(machine, case.suns)).any():
        return None
    due = [need for need in case.agenda.needs[machine.name] if _falls_in(need.edge, span)]
    charge = _from_here(case, machine, due, on, tail[1])
    over = np.zeros(n_steps, dtype=bool)
    if outlet >= 0:
        over = over_whole_steps(case, machine, charge, case.yard.outlets[outlet])
    met = dict.fromkeys(PRIORITIES, 0)
    shortfall = 0.0
    for need, have in zip(due, charge.have_wh, strict=True):
        if have >= need.need_wh - MET_WH:
            met[need.priority] += 1
        else:
            shortfall += need.need_wh - have
    moved = outlet != tail[2]
    return Arc(
        machine=index,
        tail=tail,
        head=(last, round(float(charge.stored_wh[last]), 6), -1 if len(gone) else outlet),
        outlet=outlet,
        first=first,
        changes=int(moved and tail[2] >= 0) + int(moved and outlet >= 0),
        wall_wh=charge.wall_wh[first:last],
        peak_w=charge.peak_w[first:last],
        over=over[first:last],
        met=(met["must"], met["should"], met["could"]),
        shortfall_wh=shortfall,
    )


def _falls_in(edge: int, span: tuple[int, int]) -> bool:
    """A need belongs to the span that ends at it, so that what leaves a span is already after the work."""
    return span[0] < edge <= span[1] or (edge == 0 and span[0] == 0)


def _from_here(case: Case, machine: Machine, due: list[DueNeed], on: Flags, stored_wh: float) -> Charging:
    """Follow the machine from this charge on, through these needs alone."""
    here = machine.model_copy(update={"charge_pct": 100.0 * stored_wh / machine.capacity_wh})
    part = dataclasses.replace(case.agenda, needs={machine.name: tuple(due)})
    return charging(Case(case.yard, part, case.suns), here, on)


# ---- the model ---------------------------------------------------------------------------------------------


@dataclass
class _Model:
    """Rows and columns as they grow; every row reads lower <= sum <= upper."""

    integer: list[int] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    rows: list[tuple[dict[int, float], float, float]] = field(default_factory=list)

    def column(self, lower: float, upper: float, *, integer: bool = False) -> int:
        self.lower.append(lower)
        self.upper.append(upper)
        self.integer.append(int(integer))
        return len(self.integer) - 1

    def row(self, terms: dict[int, float], lower: float = -math.inf, upper: float = math.inf) -> None:
        self.rows.append((dict(terms), lower, upper))

    def minimum(self, cost: dict[int, float], time_limit_s: float) -> float:
        """Solve to proven optimality.

        Raises
        ------
        RuntimeError
            If HiGHS proves no optimum in time.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        entries = [
            (row, col, value) for row, (terms, _, _) in enumerate(self.rows) for col, value in terms.items()
        ]
        rows, cols, values = zip(*entries, strict=True)
        matrix = csr_array((values, (rows, cols)), shape=(len(self.rows), len(self.integer)))
        objective = np.zeros(len(self.integer))
        objective[list(cost)] = list(cost.values())
        result = milp(
            objective,
            integrality=np.array(self.integer),
            bounds=Bounds(np.array(self.lower), np.array(self.upper)),
            constraints=LinearConstraint(
                matrix, [low for _, low, _ in self.rows], [up for _, _, up in self.rows]
            ),
            options={"time_limit": time_limit_s, "mip_rel_gap": 0.0},
        )
        if result.status != 0:
            raise RuntimeError(result.message)
        return float(result.fun)


def best_by_network(
    case: Case, slack_wh: float = 0.0, *, needs_only: bool = False, time_limit_s: float = 120.0
) -> Best:
    """Find the lexicographic best of all plans; R4 is eased by `slack_wh`.

    With `needs_only` the solving ends with the needs met; the later aims are then NaN.
    """
    assert not any(outlet.timer for outlet in case.yard.outlets), "this oracle knows no timers"
    model = _Model()
    arcs = [arc for index in range(len(case.yard.machines)) for arc in machine_arcs(case, index)]
    columns = [model.column(0, 1, integer=True) for _ in arcs]
    _add_flow(case, model, arcs, columns)
    _add_outlets(case, model, arcs, columns)
    house = _add_house(case, model)
    _add_inverter(case, model, arcs, columns, house)
    end_level = _add_bank(case, model, arcs, columns, house, slack_wh)
    pairs = list(zip(arcs, columns, strict=True))
    aims = [({column: -float(arc.met[index]) for arc, column in pairs}, 0.5) for index in range(3)]
    if not needs_only:
        aims += [
            ({column: arc.shortfall_wh for arc, column in pairs}, SAME_WH),
            ({column: float(arc.changes) for arc, column in pairs}, 0.5),
            ({end_level: -1.0}, 0.0),
        ]
    values = [math.nan] * 6
    for index, (cost, ease) in enumerate(aims):
        values[index] = model.minimum(cost, time_limit_s)
        model.row(cost, upper=values[index] + ease)
    must, should, could = (round(-value) for value in values[:3])
    changes = values[4] if needs_only else round(values[4])
    return Best(must, should, could, values[3], changes, -values[5])


def _add_flow(case: Case, model: _Model, arcs: list[Arc], columns: list[int]) -> None:
    """One unit from each machine's first node to its last visit."""
    balance: dict[tuple[int, Node], dict[int, float]] = defaultdict(dict)
    for arc, column in zip(arcs, columns, strict=True):
        balance[arc.machine, arc.tail][column] = 1.0
        balance[arc.machine, arc.head][column] = -1.0
    for (_, (edge, _, _)), terms in balance.items():
        if edge == 0:
            model.row(terms, 1.0, 1.0)
        elif edge < case.agenda.grid.n_steps:
            model.row(terms, 0.0, 0.0)


def _add_outlets(case: Case, model: _Model, arcs: list[Arc], columns: list[int]) -> None:
    """R6: one machine an outlet between visits, and the breaker's 3 hours."""
    users: dict[tuple[int, int], dict[int, float]] = defaultdict(dict)
    over: dict[tuple[int, int], dict[int, float]] = defaultdict(dict)
    for arc, column in zip(arcs, columns, strict=True):
        if arc.outlet >= 0:
            users[arc.outlet, arc.first][column] = 1.0
            for step in np.flatnonzero(arc.over).tolist():
                over[arc.outlet, arc.first + step][column] = 1.0
    for terms in users.values():
        model.row(terms, upper=1.0)
    size = round(CONTINUOUS_H / case.agenda.grid.step_h)
    for outlet in range(len(case.yard.outlets)):
        for first in range(case.agenda.grid.n_steps - size + 1):
            window: dict[int, float] = defaultdict(float)
            for step in range(first, first + size):
                for column, value in over.get((outlet, step), {}).items():
                    window[column] += value
            if window:
                model.row(window, upper=size - 1.0)


def _add_house(case: Case, model: _Model) -> list[tuple[str, dict[int, int]]]:
    """R11: a binary for each duty load and step of its window; returns (load, {step: column})."""
    duties = []
    for window in case.agenda.duties:
        on = {step: model.column(0, 1, integer=True) for step in range(window.first, window.last)}
        model.row(dict.fromkeys(on.values(), 1.0), window.on_steps, window.on_steps)
        for step, column in on.items():
            # Once on, on for the least block; too near the window's end it may not start at all.
            before = {on[step - 1]: 1.0} if step > window.first else {}
            for later in range(step + 1, step + window.min_steps):
                if later in on:
                    model.row({on[later]: 1.0, column: -1.0, **before}, lower=0.0)
                else:
                    model.row({column: -1.0, **before}, lower=0.0)
        duties.append((window.load, on))
    return duties


def _drawn(
    arcs: list[Arc], columns: list[int], what: str, supply: dict[int, str], kind: str
) -> dict[int, dict[int, float]]:
    """By step: what each arc draws in it."""
    terms: dict[int, dict[int, float]] = defaultdict(dict)
    for arc, column in zip(arcs, columns, strict=True):
        if supply[arc.machine] == kind:
            values: NDArray[np.float64] = getattr(arc, what)
            for step in np.flatnonzero(values):
                terms[arc.first + int(step)][column] = float(values[step])
    return terms


def _supplies(case: Case) -> dict[int, str]:
    return {index: machine.supply for index, machine in enumerate(case.yard.machines)}


def _add_inverter(
    case: Case, model: _Model, arcs: list[Arc], columns: list[int], house: list[tuple[str, dict[int, int]]]
) -> None:
    """R5: continuous watts, and surge watts beside each motor that runs."""
    inverter, always_w = case.yard.inverter, house_always_w(case)
    peaks = _drawn(arcs, columns, "peak_w", _supplies(case), "ac")
    for step in range(case.agenda.grid.n_steps):
        running: dict[int, float] = dict(peaks.get(step, {}))
        for name, on in house:
            if step in on:
                running[on[step]] = load_named(case.yard, name).watts
        if running:
            model.row(running, upper=inverter.continuous_w - always_w)
        for load in case.yard.house_loads:
            if load.always_on and load.surge_w is not None and running:
                model.row(running, upper=inverter.surge_limit_w - load.surge_w - (always_w - load.watts))
        for name, on in house:
            load = load_named(case.yard, name)
            if step in on and load.surge_w is not None:
                others = {column: value for column, value in running.items() if column != on[step]}
                loose = inverter.continuous_w - always_w
                tight = inverter.surge_limit_w - load.surge_w - always_w
                if tight < loose:
                    model.row({**others, on[step]: loose - tight}, upper=loose)


def _add_bank(
    case: Case,
    model: _Model,
    arcs: list[Arc],
    columns: list[int],
    house: list[tuple[str, dict[int, int]]],
    slack_wh: float,
) -> int:
    """R3 under both suns, R4 under the dull one; returns the column of the likely end level."""
    grid, bank = case.agenda.grid, case.yard.bank
    draws = _bank_draws(case, model, arcs, columns, house)
    allowed = allowed_wh(case) - slack_wh
    nothing = np.full(grid.n_steps + 1, -math.inf)
    if bank.discharge_max_w is not None:
        for step, (draw, fixed) in enumerate(draws):
            spare = (bank.discharge_max_w + case.suns.dull_w[step]) * grid.step_h - fixed
            model.row(draw, upper=float(spare))
    _add_levels(case, model, case.suns.dull_w, draws, allowed)
    return _add_levels(case, model, case.suns.likely_w, draws, nothing)


def _bank_draws(
    case: Case,
    model: _Model,
    arcs: list[Arc],
    columns: list[int],
    house: list[tuple[str, dict[int, int]]],
) -> list[tuple[dict[int, float], float]]:
    """By step: what inverter and DC ports take from the bank's side, as terms and a fixed part [Wh] (R5)."""
    grid, inverter, always_w = case.agenda.grid, case.yard.inverter, house_always_w(case)
    ac = _drawn(arcs, columns, "wall_wh", _supplies(case), "ac")
    dc = _drawn(arcs, columns, "wall_wh", _supplies(case), "dc")
    idle_wh = inverter.idle_w * grid.step_h
    draws = []
    for step in range(grid.n_steps):
        ac_terms = dict(ac.get(step, {}))
        for name, on in house:
            if step in on:
                ac_terms[on[step]] = load_named(case.yard, name).watts * grid.step_h
        draw = {column: value / inverter.efficiency for column, value in ac_terms.items()}
        draw.update(dc.get(step, {}))
        fixed = always_w * grid.step_h / inverter.efficiency
        if inverter.off_when_unused and not always_w:
            runs = model.column(0, 1, integer=True)
            draw[runs] = idle_wh
            for column in ac_terms:
                model.row({runs: 1.0, column: -1.0}, lower=0.0)
        else:
            fixed += idle_wh
        draws.append((draw, fixed))
    return draws


def _add_levels(
    case: Case, model: _Model, sun_w: Floats, draws: list[tuple[dict[int, float], float]], least_wh: Floats
) -> int:
    """R3: the level may be less than physics gives, never more; returns the column of the last edge."""
    grid, bank = case.agenda.grid, case.yard.bank
    start = bank.level_pct / 100.0 * bank.capacity_wh
    before = model.column(start, start)
    for step, (draw, fixed) in enumerate(draws):
        after = model.column(float(least_wh[step + 1]), bank.capacity_wh)
        gain = {after: 1.0, before: -1.0}
        spare = float(sun_w[step]) * grid.step_h - fixed
        # What is stored is the lesser of the two: a concave function of what is left over.
        for slope in (bank.charge_efficiency, 1.0 / bank.discharge_efficiency):
            model.row(
                {**gain, **{column: value * slope for column, value in draw.items()}}, upper=spare * slope
            )
        if bank.charge_max_w is not None:
            model.row(gain, upper=bank.charge_max_w * grid.step_h * bank.charge_efficiency)
        before = after
    return before
