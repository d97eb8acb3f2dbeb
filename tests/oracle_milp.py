"""The best that any hand could do in a yard, by a network model of its own for scipy's HiGHS.

Each machine is a network (`tests/oracle_network.py`) through which one unit flows; bank, inverter and outlets couple
the arcs. The house alone is the same model with no machine plugged in by anybody.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.oracle_network import Arc, Node, machine_arcs
from tests.oracle_physics import (
    CONTINUOUS_H,
    SAME_WH,
    Best,
    Case,
    Flags,
    Floats,
    allowed_wh,
    house_always_w,
    load_named,
)

#: What scipy calls a model in which not all rows can hold.
INFEASIBLE = 2


@dataclass(frozen=True)
class House:
    """What the house alone does, where that breaks a rule: a plan does no worse (R3 to R5).

    Attributes
    ----------
    duty : mapping of str to ndarray of bool, or None
        When the duty loads run; None where that is up for choice.
    allowed_wh : ndarray, shape (n_steps + 1,)
        The lowest level allowed on each edge.
    unserved_wh, demand_wh, peak_w : ndarray, shape (n_steps,)
        What the house asks of the bank in vain, in stored energy; what it takes from the bank's side; its AC watts.
    """

    duty: Mapping[str, Flags] | None
    allowed_wh: Floats
    unserved_wh: Floats
    demand_wh: Floats
    peak_w: Floats


@dataclass
class Model:
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
        result = self._solve(cost, time_limit_s)
        if result.status != 0:
            raise RuntimeError(result.message)
        return float(result.fun)

    def is_possible(self, time_limit_s: float) -> bool:
        """Whether all rows can hold at once.

        Raises
        ------
        RuntimeError
            If HiGHS finds no answer in time.
        """
        result = self._solve({}, time_limit_s)
        if result.status not in {0, INFEASIBLE}:
            raise RuntimeError(result.message)
        return bool(result.status == 0)

    def _solve(self, cost: dict[int, float], time_limit_s: float) -> Any:
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        entries = [
            (row, col, value) for row, (terms, _, _) in enumerate(self.rows) for col, value in terms.items()
        ]
        rows, cols, values = zip(*entries, strict=True)
        matrix = csr_array((values, (rows, cols)), shape=(len(self.rows), len(self.integer)))
        objective = np.zeros(len(self.integer))
        objective[list(cost)] = list(cost.values())
        return milp(
            objective,
            integrality=np.array(self.integer),
            bounds=Bounds(np.array(self.lower), np.array(self.upper)),
            constraints=LinearConstraint(
                matrix, [low for _, low, _ in self.rows], [up for _, _, up in self.rows]
            ),
            options={"time_limit": time_limit_s, "mip_rel_gap": 0.0},
        )


def best_by_network(
    case: Case,
    slack_wh: float = 0.0,
    *,
    needs_only: bool = False,
    time_limit_s: float = 120.0,
    house: House | None = None,
) -> Best:
    """Find the lexicographic best of all plans; R4 is eased by `slack_wh`.

    With `needs_only` the solving ends with the needs met; the later aims are then NaN. Without a `house` it holds, or
    breaks nothing but R4.

    Raises
    ------
    RuntimeError
        If HiGHS does not prove an aim in time.
    TooMany
        If a machine's network is too large.
    """
    house = free_house(case, allowed_wh(case)) if house is None else house
    model = Model()
    arcs = [arc for index in range(len(case.yard.machines)) for arc in machine_arcs(case, index)]
    columns = [model.column(0, 1, integer=True) for _ in arcs]
    duties = add_yard(case, model, arcs, columns, house)
    end_level = add_bank(case, model, arcs, columns, duties, house, slack_wh)
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


def free_house(case: Case, allowed: Floats) -> House:
    """A house that breaks no rule, or none but R4."""
    nothing = np.zeros(case.agenda.grid.n_steps)
    return House(None, allowed, nothing, nothing, nothing)


# ---- the rows ------------------------------------------------------------------------------------


def add_yard(
    case: Case, model: Model, arcs: list[Arc], columns: list[int], house: House
) -> list[tuple[str, dict[int, int]]]:
    """R5, R6, R10 and R11; returns the duty loads' columns."""
    _add_flow(case, model, arcs, columns)
    _add_outlets(case, model, arcs, columns)
    duties = add_house(case, model, house.duty)
    add_inverter(case, model, arcs, columns, duties, house)
    return duties


def _add_flow(case: Case, model: Model, arcs: list[Arc], columns: list[int]) -> None:
    """One unit from each machine's first node to its last visit."""
    balance: dict[tuple[int, Node], dict[int, float]] = defaultdict(dict)
    for arc, column in zip(arcs, columns, strict=True):
        balance[arc.machine, arc.tail][column] = 1.0
        balance[arc.machine, arc.head][column] = -1.0
    for (_, (edge, *_)), terms in balance.items():
        if edge == 0:
            model.row(terms, 1.0, 1.0)
        elif edge < case.agenda.grid.n_steps:
            model.row(terms, 0.0, 0.0)


def _add_outlets(case: Case, model: Model, arcs: list[Arc], columns: list[int]) -> None:
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
    # What is over before anybody could change it counts with the house.
    given = min(case.agenda.visits, default=case.agenda.grid.n_steps)
    for outlet in range(len(case.yard.outlets)):
        for first in range(max(0, given - size + 1), case.agenda.grid.n_steps - size + 1):
            window: dict[int, float] = defaultdict(float)
            for step in range(first, first + size):
                for column, value in over.get((outlet, step), {}).items():
                    window[column] += value
            if window:
                model.row(window, upper=size - 1.0)


def add_house(
    case: Case, model: Model, fixed: Mapping[str, Flags] | None
) -> list[tuple[str, dict[int, int]]]:
    """R11: a binary for each duty load and step of its window; returns (load, {step: column})."""
    duties = []
    for window in case.agenda.duties:
        if fixed is not None:
            runs = [(step, float(fixed[window.load][step])) for step in range(window.first, window.last)]
            duties.append((window.load, {step: model.column(on, on) for step, on in runs}))
            continue
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


def add_inverter(
    case: Case,
    model: Model,
    arcs: list[Arc],
    columns: list[int],
    duties: list[tuple[str, dict[int, int]]],
    house: House,
) -> None:
    """R5: continuous watts, and surge watts beside each motor that runs; never less than the house alone takes."""
    inverter, always_w = case.yard.inverter, house_always_w(case)
    peaks = _drawn(arcs, columns, "peak_w", _supplies(case), "ac")
    for step in range(case.agenda.grid.n_steps):
        running: dict[int, float] = dict(peaks.get(step, {}))
        for name, on in duties:
            if step in on:
                running[on[step]] = load_named(case.yard, name).watts
        if not running:
            continue
        own_w = float(house.peak_w[step])
        loose = max(inverter.continuous_w, own_w) - always_w
        model.row(running, upper=loose)
        for load in case.yard.house_loads:
            if load.surge_w is None:
                continue
            tight = max(inverter.surge_limit_w - load.surge_w + load.watts, own_w) - always_w
            on = next((on[step] for name, on in duties if name == load.name and step in on), None)
            if load.always_on:
                model.row(running, upper=tight)
            elif on is not None and tight < loose:
                # Only while it runs; while it does not, the row is as loose as that of the continuous watts.
                model.row({**running, on: running[on] + loose - tight}, upper=loose)


def add_bank(
    case: Case,
    model: Model,
    arcs: list[Arc],
    columns: list[int],
    duties: list[tuple[str, dict[int, int]]],
    house: House,
    slack_wh: float,
) -> int:
    """R3 under both suns, R4 under the dull one; returns the column of the likely end level."""
    grid, bank = case.agenda.grid, case.yard.bank
    draws = bank_draws(case, model, arcs, columns, duties)
    if bank.discharge_max_w is not None:
        for step, (draw, fixed) in enumerate(draws):
            most = max((bank.discharge_max_w + case.suns.dull_w[step]) * grid.step_h, house.demand_wh[step])
            model.row(draw, upper=float(most - fixed))
    nothing = np.full(grid.n_steps + 1, -math.inf)
    spared = [(draw, fixed, float(wh)) for (draw, fixed), wh in zip(draws, house.unserved_wh, strict=True)]
    add_levels(case, model, case.suns.dull_w, spared, house.allowed_wh - slack_wh)
    unspared = [(draw, fixed, 0.0) for draw, fixed in draws]
    return add_levels(case, model, case.suns.likely_w, unspared, nothing)


def bank_draws(
    case: Case,
    model: Model,
    arcs: list[Arc],
    columns: list[int],
    duties: list[tuple[str, dict[int, int]]],
) -> list[tuple[dict[int, float], float]]:
    """By step: what inverter and DC ports take from the bank's side, as terms and a fixed part [Wh] (R5)."""
    grid, inverter, always_w = case.agenda.grid, case.yard.inverter, house_always_w(case)
    ac = _drawn(arcs, columns, "wall_wh", _supplies(case), "ac")
    dc = _drawn(arcs, columns, "wall_wh", _supplies(case), "dc")
    idle_wh = inverter.idle_w * grid.step_h
    draws = []
    for step in range(grid.n_steps):
        ac_terms = dict(ac.get(step, {}))
        for name, on in duties:
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


def add_levels(
    case: Case,
    model: Model,
    sun_w: Floats,
    draws: list[tuple[dict[int, float], float, float]],
    least_wh: Floats,
) -> int:
    """R3: the level may be less than physics gives, never more; returns the column of the last edge.

    With each draw goes what of it is not taken from the bank.
    """
    grid, bank = case.agenda.grid, case.yard.bank
    start = bank.level_pct / 100.0 * bank.capacity_wh
    before = model.column(start, start)
    for step, (draw, fixed, unserved) in enumerate(draws):
        after = model.column(float(least_wh[step + 1]), bank.capacity_wh)
        gain = {after: 1.0, before: -1.0}
        spare = float(sun_w[step]) * grid.step_h - fixed
        # What is stored is the lesser of the two: a concave function of what is left over.
        for slope in (bank.charge_efficiency, 1.0 / bank.discharge_efficiency):
            terms = {**gain, **{column: value * slope for column, value in draw.items()}}
            model.row(terms, upper=spare * slope + unserved)
        if bank.charge_max_w is not None:
            model.row(gain, upper=bank.charge_max_w * grid.step_h * bank.charge_efficiency)
        before = after
    return before
