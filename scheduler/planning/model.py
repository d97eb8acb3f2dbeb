"""The choice among patterns as a mixed-integer model: one binary a pattern, rows for R3 to R6 and R11.

Energies are in kWh and powers in kW here, so that coefficients stay within a few powers of ten of each other.
The bank needs one level an edge and no charge or discharge variables: with efficiencies at most 1 the next
level is the smaller of two lines in the net power, so two rows bound it from above (R3), and since more is never
worse for R4 the true level is reached wherever it matters.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from scheduler.charging.patterns import PatternTable
from scheduler.charging.pieces import PieceTable
from scheduler.charging.places import Place
from scheduler.planning.bank import charge_limit_w, discharge_limit_w
from scheduler.planning.house import HouseAlone
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.units import CONTINUOUS_H, kwh_from_wh
from scheduler.yard.agenda import Agenda, DutyWindow
from scheduler.yard.models import HouseLoad, Yard

if TYPE_CHECKING:
    import pulp

Term = tuple[Any, float]  #: a variable and its coefficient


@dataclass(frozen=True)
class Case:
    """Everything the choice is made from.

    `tables` holds the patterns of each machine, in the yard's order. Where there are too many to list, the table
    holds only those looked at so far, and `parts` by the machine's number the pieces that they are made of.
    """

    yard: Yard
    agenda: Agenda
    suns: ThreeSuns
    places: tuple[Place, ...]
    tables: tuple[PatternTable, ...]
    house: HouseAlone
    parts: Mapping[int, PieceTable] = field(default_factory=dict)

    @property
    def offers(self) -> tuple[PatternTable | PieceTable, ...]:
        """What the model chooses from: each machine's patterns, or the pieces of them."""
        return tuple(self.parts.get(number, table) for number, table in enumerate(self.tables))


@dataclass
class ChoiceModel:
    """The model under construction and, once built, what the aims are made of.

    Attributes
    ----------
    problem : pulp.LpProblem
    picks : list of list of variable
        For each machine, one binary a pattern, or a piece of one.
    duty : dict
        By load name and step, the binary that says it runs.
    demand : list of variable
        Mean draw on the bank's side in each step [kW].
    easing : variable or None
        What the bank is given more at the start, where it is asked what that would do [kWh].
    """

    case: Case
    problem: pulp.LpProblem
    picks: list[list[Any]] = field(default_factory=list)
    duty: dict[tuple[str, int], Any] = field(default_factory=dict)
    demand: list[Any] = field(default_factory=list)
    easing: Any = None

    def add(self, terms: Sequence[Term], sense: int, rhs: float, name: str) -> None:
        """Add a row: the sum of `terms`, <= (-1), = (0) or >= (1), `rhs`."""
        import pulp

        row = pulp.LpConstraint(pulp.LpAffineExpression(list(terms)), sense, name, float(rhs))
        self.problem.addConstraint(row)

    def variable(self, name: str, low: float | None, high: float | None, binary: bool = False) -> Any:
        """Add a variable; binaries have bounds 0 and 1."""
        import pulp

        return self.problem.add_variable(name, low, high, pulp.LpBinary if binary else pulp.LpContinuous)

    def pick_terms(self, values: Sequence[FloatArray]) -> list[Term]:
        """Sum over all patterns of a value each: `values` holds an array a machine, zeros left out."""
        return [
            (self.picks[number][row], float(value[row]))
            for number, value in enumerate(values)
            for row in np.flatnonzero(value)
        ]


def build_choice(case: Case, eases_bank: bool = False) -> ChoiceModel:
    """Build the model with the bank under the dull sun; without an objective.

    With `eases_bank` the bank holds more at the start, by a variable to be kept small; then it must carry the
    house too, since more in the bank raises what the house alone leaves.
    """
    import pulp

    model = ChoiceModel(case, pulp.LpProblem("choice", pulp.LpMinimize))
    if eases_bank:
        model.easing = model.variable("easing", 0.0, None)
    _add_picks(model)
    add_duty(model)
    add_demand(model)
    _add_sockets(model)
    _add_inverter(model)
    allowed_wh, unserved_wh = case.house.allowed_wh, case.house.unserved_wh
    if eases_bank:
        allowed_wh = np.full_like(allowed_wh, case.yard.bank.reserve_wh)
        unserved_wh = np.zeros_like(unserved_wh)
    add_bank(model, "dull", case.suns.dull_w, allowed_wh, unserved_wh)
    return model


def _add_picks(model: ChoiceModel) -> None:
    for number, offer in enumerate(model.case.offers):
        picks = [model.variable(f"x_{number:03d}_{row:05d}", 0, 1, binary=True) for row in range(len(offer))]
        model.picks.append(picks)
        if isinstance(offer, PieceTable):
            _add_flow(model, number, offer, picks)
        else:
            model.add([(pick, 1.0) for pick in picks], 0, 1.0, f"one_{number:03d}")


def _add_flow(model: ChoiceModel, number: int, pieces: PieceTable, picks: list[Any]) -> None:
    """One way begins; as many pieces begin at every other node as end there."""
    at_node: dict[tuple[int, int], list[Term]] = {}
    for pick, first, last in zip(picks, pieces.first, pieces.last, strict=True):
        at_node.setdefault(first, []).append((pick, 1.0))
        if last[0] < model.case.agenda.grid.n_steps:
            at_node.setdefault(last, []).append((pick, -1.0))
    for row, (node, terms) in enumerate(at_node.items()):
        model.add(terms, 0, float(node == (0, 0)), f"flow_{number:03d}_{row:05d}")


def add_duty(model: ChoiceModel) -> None:
    """R11: each window's steps, in blocks no shorter than their minimum (after Rajan and Takriti 2005)."""
    case = model.case
    if not case.house.holds:
        return  # the house is run as it fares best; its schedule is a constant then
    for number, window in enumerate(case.agenda.duties):
        steps = range(window.first, window.last)
        runs = {step: model.variable(f"u_{number:02d}_{step:03d}", 0, 1, binary=True) for step in steps}
        for step, run in runs.items():
            model.duty[window.load, step] = run
        model.add([(run, 1.0) for run in runs.values()], 0, window.on_steps, f"duty_{number:02d}")
        if window.min_steps > 1:
            _add_blocks(model, number, window, runs)


def _add_blocks(model: ChoiceModel, number: int, window: DutyWindow, runs: dict[int, Any]) -> None:
    starts = {}
    for step, run in runs.items():
        last_start = window.last - window.min_steps
        starts[step] = model.variable(f"v_{number:02d}_{step:03d}", 0, 1 if step <= last_start else 0)
        rising: list[Term] = [(run, 1.0), (starts[step], -1.0)]
        if step - 1 in runs:
            rising.append((runs[step - 1], -1.0))
        model.add(rising, -1, 0.0, f"start_{number:02d}_{step:03d}")
        begun = [(starts[s], 1.0) for s in range(max(window.first, step - window.min_steps + 1), step + 1)]
        model.add([*begun, (run, -1.0)], -1, 0.0, f"block_{number:02d}_{step:03d}")


def _duty_terms(model: ChoiceModel, step: int, watts_of: Any) -> list[Term]:
    return [
        (model.duty[load.name, step], watts_of(load))
        for load in model.case.yard.house_loads
        if (load.name, step) in model.duty
    ]


def _house_w(case: Case, step: int) -> float:
    """AC watts of the house that are not up for choice in a step [W]."""
    if case.house.holds:
        return case.yard.always_on_w
    fixed = sum(
        load.watts
        for load in case.yard.house_loads
        if not load.always_on and case.house.duty[load.name][step]
    )
    return case.yard.always_on_w + fixed


def add_demand(model: ChoiceModel) -> None:
    """Define the draw on the bank's side in each step (R5: efficiency, idle)."""
    case, inverter = model.case, model.case.yard.inverter
    shares = [
        1.0 / inverter.efficiency if table.network.machine.supply == "ac" else 1.0 for table in case.offers
    ]
    sleeps = inverter.off_when_unused and not case.yard.always_on_w
    for step in range(case.agenda.grid.n_steps):
        drawn = [
            case.agenda.grid.power_w(table.wall_wh[:, step]) * share / 1000.0
            for table, share in zip(case.offers, shares, strict=True)
        ]
        terms = model.pick_terms(drawn)
        terms += _duty_terms(model, step, lambda load: load.watts / inverter.efficiency / 1000.0)
        most_kw = sum(float(kw.max(initial=0.0)) for kw in drawn)
        most_kw += (_house_w(case, step) + _duty_w(case, step)) / inverter.efficiency / 1000.0
        # The upper limit never binds; with one, every price gives a bound.
        demand = model.variable(f"d_{step:03d}", 0, most_kw + inverter.idle_w / 1000.0 + 1e-3)
        model.demand.append(demand)
        fixed_kw = _house_w(case, step) / inverter.efficiency / 1000.0
        if sleeps:
            terms += _awake_terms(model, step)
        else:
            fixed_kw += inverter.idle_w / 1000.0
        model.add([*terms, (demand, -1.0)], 0, -fixed_kw, f"demand_{step:03d}")


def _awake_terms(model: ChoiceModel, step: int) -> list[Term]:
    """R5: idle draw only in steps in which some AC load runs."""
    case = model.case
    awake = model.variable(f"w_{step:03d}", 1 if _house_w(case, step) else 0, 1)
    for number, table in enumerate(case.offers):
        drawing = table.wall_wh[:, step] > 0
        if table.network.machine.supply == "ac" and drawing.any():
            terms: list[Term] = [(model.picks[number][row], 1.0) for row in np.flatnonzero(drawing)]
            model.add([*terms, (awake, -1.0)], -1, 0.0, f"awake_{number:03d}_{step:03d}")
    for run, _ in _duty_terms(model, step, lambda load: 1.0):
        model.add([(run, 1.0), (awake, -1.0)], -1, 0.0, f"awake_{run.name}_{step:03d}")
    return [(awake, case.yard.inverter.idle_w / 1000.0)]


def _distinct_steps(columns: Sequence[FloatArray]) -> Iterable[int]:
    """Return the steps whose rows over all patterns differ from those of the steps before."""
    if not columns:
        return ()
    stacked = np.concatenate(columns, axis=0)
    _, first = np.unique(stacked, axis=1, return_index=True)
    return sorted(int(step) for step in first)


def _add_sockets(model: ChoiceModel) -> None:
    """R6: no more machines than sockets in a place, and the 3-hour rule where it may bind."""
    case = model.case
    for number, place in enumerate(case.places):
        inside = [(table.place == number).astype(float) for table in case.offers]
        for step in _distinct_steps(inside):
            if sum(part[:, step].any() for part in inside) <= place.sockets:
                continue
            terms = model.pick_terms([part[:, step] for part in inside])
            model.add(terms, -1, place.sockets, f"sockets_{number:02d}_{step:03d}")
        _add_three_hours(model, number, inside)


def _add_three_hours(model: ChoiceModel, number: int, inside: Sequence[FloatArray]) -> None:
    """R6: a run of steps hot from end to end must be shorter than 3 h.

    A charger's draw never rises within a step and plugs change on edges only, so a run above 80 % begins on an
    edge, and it lasts 3 h exactly when all the steps of 3 h are hot throughout.
    """
    run = round(CONTINUOUS_H / model.case.agenda.grid.step_h)
    first = first_long_run(model.case.agenda, run)
    hot = [table.hot * part for table, part in zip(model.case.offers, inside, strict=True)]
    for step in range(first, model.case.agenda.grid.n_steps - run + 1):
        counts = [part[:, step : step + run].sum(axis=1) for part in hot]
        hottest = [part[:, step : step + run].max(axis=0, initial=0.0).sum() for part in hot]
        if sum(hottest) >= run:
            model.add(model.pick_terms(counts), -1, run - 1, f"hot_{number:02d}_{step:03d}")


def first_long_run(agenda: Agenda, run_steps: int) -> int:
    """First step from which a run above 80 % counts: one that is over by the first visit nobody could end (R6, R10)."""
    return max(0, min(agenda.visits, default=agenda.grid.n_steps) - run_steps + 1)


def _add_inverter(model: ChoiceModel) -> None:
    """R5: running watts within the continuous limit, and any motor's start within the surge limit."""
    case, inverter = model.case, model.case.yard.inverter
    peaks = [
        table.peak_w if table.network.machine.supply == "ac" else np.zeros_like(table.peak_w)
        for table in case.offers
    ]
    motors = [load for load in case.yard.house_loads if load.start_w > load.watts]
    for step in range(case.agenda.grid.n_steps):
        most_w = sum(peak[:, step].max(initial=0.0) for peak in peaks)
        if not most_w and not model.duty:
            continue
        terms = model.pick_terms([peak[:, step] / 1000.0 for peak in peaks])
        terms += _duty_terms(model, step, lambda load: load.watts / 1000.0)
        house_w = _house_w(case, step)
        limit_w = max(inverter.continuous_w, case.house.peak_w[step])
        if most_w + house_w + _duty_w(case, step) > limit_w:
            model.add(terms, -1, (limit_w - house_w) / 1000.0, f"running_{step:03d}")
        for number, motor in enumerate(motors):
            _add_start(model, step, number, motor, terms, house_w)


def _duty_w(case: Case, step: int) -> float:
    """AC watts that the duty loads up for choice may add in a step [W]."""
    if not case.house.holds:
        return 0.0
    open_now = {window.load for window in case.agenda.duties if window.first <= step < window.last}
    return sum(load.watts for load in case.yard.house_loads if load.name in open_now)


def _add_start(
    model: ChoiceModel, step: int, number: int, motor: HouseLoad, terms: list[Term], house_w: float
) -> None:
    """R5: the motor may start at any moment of a step in which it runs."""
    case = model.case
    run = model.duty.get((motor.name, step))
    runs_fixed = motor.always_on or (not case.house.holds and bool(case.house.duty[motor.name][step]))
    extra_w = motor.start_w - motor.watts
    limit_w = max(case.yard.inverter.surge_limit_w, case.house.start_peak_w[step])
    if run is not None:
        # The motor's own running watts stand among the terms already; a variable may stand there only once.
        others = [(variable, factor) for variable, factor in terms if variable is not run]
        whole = [*others, (run, motor.start_w / 1000.0)]
        model.add(whole, -1, (limit_w - house_w) / 1000.0, f"surge_{number:02d}_{step:03d}")
    elif runs_fixed:
        model.add(terms, -1, (limit_w - house_w - extra_w) / 1000.0, f"surge_{number:02d}_{step:03d}")


def add_bank(
    model: ChoiceModel, sun: str, sun_w: FloatArray, allowed_wh: FloatArray, unserved_wh: FloatArray
) -> Any:
    """R3 and R4: the bank's level on every edge under one sun; returns the last level's variable [kWh].

    What the house asks in vain (`unserved_wh`) is not taken from the bank.
    """
    case, bank = model.case, model.case.yard.bank
    step_h = case.agenda.grid.step_h
    into, out = step_h * bank.charge_efficiency, step_h / bank.discharge_efficiency
    capacity = kwh_from_wh(bank.capacity_wh)
    most_in, most_out = charge_limit_w(bank) / 1000.0, discharge_limit_w(bank) / 1000.0
    start_kwh = kwh_from_wh(bank.level_wh)
    level = model.variable(f"l_{sun}_000", start_kwh, start_kwh if model.easing is None else capacity)
    if model.easing is not None:
        model.add([(level, 1.0), (model.easing, -1.0)], 0, start_kwh, f"start_{sun}")
    for step, demand in enumerate(model.demand):
        sun_kw = sun_w[step] / 1000.0
        low = kwh_from_wh(allowed_wh[step + 1])
        following = model.variable(f"l_{sun}_{step + 1:03d}", low, capacity)
        change: list[Term] = [(following, 1.0), (level, -1.0)]
        spare = kwh_from_wh(unserved_wh[step])
        model.add([*change, (demand, into)], -1, into * sun_kw + spare, f"in_{sun}_{step:03d}")
        model.add([*change, (demand, out)], -1, out * sun_kw + spare, f"out_{sun}_{step:03d}")
        if sun_kw > most_in:
            model.add(change, -1, most_in * into, f"most_in_{sun}_{step:03d}")
        if np.isfinite(most_out):
            most = max(sun_kw + most_out, case.house.demand_w[step] / 1000.0)
            model.add([(demand, 1.0)], -1, most, f"most_out_{sun}_{step:03d}")
        level = following
    return level
