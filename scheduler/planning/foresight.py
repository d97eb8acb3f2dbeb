"""What nobody could better: the most needs met with the whole future known, by one linear programme.

The programme knows the true sun of every step from the start. It keeps R3 (both losses, both limits), R4 or a level
lower than that if it is told so, R5 and R6 on means, R8, R9, R11's hours and R12, and it eases what makes the true
problem hard, always to the better, so that its optimum is an upper bound on what any plan and any hand can reach:

- a charger may draw anything up to its rated watts in every slot, with no taper (R7);
- a machine may stand in an outlet for a fraction of the time, and move between visits (R6, R10); it is charged
  only after a visit that it was there for, and not between two visits if it is too cold or hot there to stay in
  an outlet without a timer (R8);
- a need may be met by a fraction; what is left of an unready machine's charge is the most it could be (R9, R12);
- duty loads run for fractions of a slot, in no blocks (R11); motors start one at a time, as in R5, but on means;
- steps between two moments that matter are one slot: losses and limits hold on the slot's means.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import floor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.charging.routes import BoolArray
from scheduler.planning.bank import charge_limit_w, discharge_limit_w
from scheduler.planning.linear import LinearModel, solve_linear
from scheduler.timegrid import FloatArray
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import PRIORITIES, Machine, Outlet, Priority, Yard

#: What a solver's rounding may take off a count before it is cut to whole needs.
_COUNT_ROUNDING = 1e-4


@dataclass(frozen=True)
class Foresight:
    """The bound.

    Attributes
    ----------
    asked : dict of str to int
        Needs by class.
    met_most : dict of str to int
        In the classes' order: no way of running the yard meets more must needs; none that meets so many must
        needs meets more should needs; and so on.
    met_most_altogether : int
        No way of running the yard meets more needs, whatever their class.
    unserved_wh : float
        What the house went without, at the least that can be, or as told [Wh].
    """

    asked: dict[Priority, int]
    met_most: dict[Priority, int]
    met_most_altogether: int
    unserved_wh: float


@dataclass(frozen=True)
class Leave:
    """What a lived year was allowed that a plan is not, so that the bound holds for it too.

    Attributes
    ----------
    floor_wh : float or ndarray, shape (n_steps + 1,)
        The bank may go as low as this [Wh].
    unserved_wh : float, optional
        The house may go without so much energy on the bank's side [Wh]; without a figure the least that can be.
    """

    floor_wh: float | FloatArray
    unserved_wh: float | None = None


def bound_needs(
    yard: Yard, agenda: Agenda, sun_w: FloatArray, shed_temp_c: FloatArray, leave: Leave | None = None
) -> Foresight:
    """Work out how many needs could be met at most by whoever knew the sun.

    Parameters
    ----------
    yard : Yard
        As it stands when the time begins.
    agenda : Agenda
        Of the whole time, a year for instance.
    sun_w, shed_temp_c : ndarray, shape (n_steps,)
        The true sun [W], and the shed's temperature [C].
    leave : Leave, optional
        Without it the bank stays at or above its reserve.

    Raises
    ------
    RuntimeError
        If the solver does not prove its answer.
    """
    frame = _Frame(yard, agenda, sun_w, shed_temp_c, leave or Leave(yard.bank.reserve_wh))
    model = LinearModel()
    parts = _build(frame, model)
    unserved_wh = frame.leave.unserved_wh
    if unserved_wh is None:
        unserved_wh = max(solve_linear(model, parts.unserved), 0.0)
    # A hair's room, so that the next programmes do not fail by the rounding of this one.
    model.add_row(-np.inf, unserved_wh * (1.0 + 1e-7) + 0.01, parts.unserved)
    everything = [(column, -1.0) for columns in parts.met.values() for column in columns]
    altogether = -solve_linear(model, everything) if everything else 0.0
    asked = {priority: len(parts.met[priority]) for priority in PRIORITIES}
    met_most: dict[Priority, int] = {}
    for priority in PRIORITIES:
        columns = [(column, -1.0) for column in parts.met[priority]]
        most = -solve_linear(model, columns) if columns else 0.0
        met_most[priority] = floor(most + _COUNT_ROUNDING)
        # Plans that meet as many whole needs as can be stay in, so the classes after it are bounded for them.
        model.add_row(met_most[priority] - _COUNT_ROUNDING, np.inf, [(column, 1.0) for column, _ in columns])
    return Foresight(asked, met_most, floor(altogether + _COUNT_ROUNDING), unserved_wh)


class _Frame:
    """The time cut into slots, and what holds in each."""

    def __init__(
        self, yard: Yard, agenda: Agenda, sun_w: FloatArray, shed_temp_c: FloatArray, leave: Leave
    ) -> None:
        grid = agenda.grid
        self.yard, self.agenda, self.leave = yard, agenda, leave
        self.edges = slot_edges(agenda, sun_w)
        self.hours = np.diff(self.edges) * grid.step_h
        self.sun_wh = self.summed(grid.energy_wh(sun_w))
        floors = np.broadcast_to(np.asarray(leave.floor_wh, dtype=float), (grid.n_steps + 1,))
        self.floor_wh = floors[self.edges]
        self.present_h = {
            machine.name: self.summed(chargeable(yard, machine, agenda, shed_temp_c) * grid.step_h)
            for machine in yard.machines
        }

    @property
    def n_slots(self) -> int:
        return len(self.hours)

    def summed(self, by_step: NDArray[Any]) -> FloatArray:
        """By slot what is given by step."""
        total: FloatArray = np.add.reduceat(np.asarray(by_step, dtype=float), self.edges[:-1])
        return total


def slot_edges(agenda: Agenda, sun_w: FloatArray) -> np.ndarray:
    """Edges at which something happens: visits, needs, returns, ends of windows, dawn and dusk."""
    n_steps = agenda.grid.n_steps
    marks = {0, n_steps, *agenda.visits}
    for needs in agenda.needs.values():
        marks.update(edge for need in needs for edge in (need.edge, need.return_edge))
    for duty in agenda.duties:
        marks.update((duty.first, duty.last))
    marks.update((np.flatnonzero(np.diff(sun_w > 0.0)) + 1).tolist())
    return np.array(sorted(marks))


def chargeable(yard: Yard, machine: Machine, agenda: Agenda, shed_temp_c: FloatArray) -> BoolArray:
    """Steps in which the machine may draw at all (R8 to R10), a superset for every plan."""
    low, high = machine.charge_temp_c
    mild = (shed_temp_c >= low) & (shed_temp_c <= high)
    there = ~agenda.away[machine.name]
    takers = [outlet for outlet in yard.outlets if _takes(outlet, machine)]
    must_stay = not machine.self_protecting and not any(outlet.timer for outlet in takers)
    may = np.zeros(agenda.grid.n_steps, dtype=bool)
    first_visit = min(agenda.visits, default=agenda.grid.n_steps)
    in_outlet = machine.outlet is not None
    for begin, end in _between_visits(agenda):
        span = slice(begin, end)
        here = np.logical_and.accumulate(
            there[span]
        )  # until somebody takes it out; back, it waits for a visit
        visited = begin in agenda.visits or (in_outlet and begin < first_visit)
        if visited and (not must_stay or begin < first_visit or bool(mild[span][here].all())):
            may[span] = here
    return may & mild & bool(takers or in_outlet)


def _between_visits(agenda: Agenda) -> Iterator[tuple[int, int]]:
    marks = sorted({0, *agenda.visits, agenda.grid.n_steps})
    yield from pairwise(marks)


def _takes(outlet: Outlet, machine: Machine) -> bool:
    return outlet.kind == machine.supply and machine.charger_w <= outlet.limit_w


@dataclass
class _Parts:
    """Columns that the objectives speak of, and what each slot takes on AC and DC."""

    unserved: list[tuple[int, float]] = field(default_factory=list)
    met: dict[Priority, list[int]] = field(default_factory=lambda: {name: [] for name in PRIORITIES})
    #: By slot: column and factor of what is drawn at the wall [Wh].
    ac: list[list[tuple[int, float]]] = field(default_factory=list)
    dc: list[list[tuple[int, float]]] = field(default_factory=list)
    #: By slot: motors that run for a part of it, as (column, Wh to extra starting watts).
    starts: list[list[list[tuple[int, float]]]] = field(default_factory=list)


def _build(frame: _Frame, model: LinearModel) -> _Parts:
    parts = _Parts(
        ac=[[] for _ in frame.hours], dc=[[] for _ in frame.hours], starts=[[] for _ in frame.hours]
    )
    drawn = {machine.name: _add_machine(frame, model, parts, machine) for machine in frame.yard.machines}
    _add_duties(frame, model, parts)
    _add_sockets(frame, model, drawn)
    _add_inverter(frame, model, parts)
    _add_bank(frame, model, parts)
    return parts


def _add_machine(frame: _Frame, model: LinearModel, parts: _Parts, machine: Machine) -> dict[int, int]:
    """Draws by slot, and what becomes of each need; slots after the last need do not matter.

    A need has a met part and an unmet part of one: ``have = held + lacking`` with ``need met <= held <= capacity
    met`` and ``lacking <= need (1 - met)``; after the work there is left at most ``held - work met`` and the
    straight line from nothing to what a just unready machine comes home with, ``lacking (need - work) / need``.
    A need that its machine could not meet with all the energy there is has no met part.
    """
    needs = frame.agenda.needs[machine.name]
    efficiency, capacity_wh = machine.charger_efficiency, machine.capacity_wh
    drawn: dict[int, int] = {}
    left_most_wh = min(machine.charge_wh, capacity_wh)
    left = model.add_column(left_most_wh, left_most_wh)
    done = 0
    for need in needs:
        last = int(np.searchsorted(frame.edges, need.edge))
        slots = [slot for slot in range(done, last) if frame.present_h[machine.name][slot] > 0.0]
        for slot in slots:
            most_wh = machine.charger_w * float(frame.present_h[machine.name][slot])
            drawn[slot] = model.add_column(0.0, most_wh)
            (parts.ac if machine.supply == "ac" else parts.dc)[slot].append((drawn[slot], 1.0))
        need_wh = max(need.need_wh - READY_TOLERANCE_WH, 0.0)
        fed = [(drawn[slot], efficiency) for slot in slots]
        most_wh = min(capacity_wh, left_most_wh + sum(efficiency * model.upper[column] for column, _ in fed))
        met = model.add_column(0.0, 1.0 if most_wh >= need_wh else 0.0)
        held, lacking, after = (model.add_column(0.0, most) for most in (capacity_wh, need_wh, capacity_wh))
        model.add_row(-np.inf, 0.0, [(held, 1.0), (lacking, 1.0), (left, -1.0), *_scaled(fed, -1.0)])
        model.add_row(0.0, np.inf, [(held, 1.0), (met, -need_wh)])
        model.add_row(-np.inf, 0.0, [(held, 1.0), (met, -most_wh)])
        model.add_row(-np.inf, need_wh, [(lacking, 1.0), (met, need_wh)])
        kept = (need_wh - min(need.work_wh, need_wh)) / need_wh if need_wh else 0.0
        model.add_row(-np.inf, 0.0, [(after, 1.0), (held, -1.0), (met, need.work_wh), (lacking, -kept)])
        left_most_wh = max(most_wh - need.work_wh, kept * min(most_wh, need_wh))
        parts.met[need.priority].append(met)
        left, done = after, last
    return drawn


def _add_duties(frame: _Frame, model: LinearModel, parts: _Parts) -> None:
    """R11: each window's hours, in fractions of slots."""
    step_h = frame.agenda.grid.step_h
    loads = {load.name: load for load in frame.yard.house_loads}
    for duty in frame.agenda.duties:
        load = loads[duty.load]
        slots = range(*np.searchsorted(frame.edges, (duty.first, duty.last)))
        run = {slot: model.add_column(0.0, load.watts * float(frame.hours[slot])) for slot in slots}
        for slot, column in run.items():
            parts.ac[slot].append((column, 1.0))
            extra = (load.start_w / load.watts - 1.0) / float(frame.hours[slot])
            parts.starts[slot].append([(column, extra)])
        wanted_wh = duty.on_steps * step_h * load.watts
        model.add_row(wanted_wh, wanted_wh, [(column, 1.0) for column in run.values()])


def _add_sockets(frame: _Frame, model: LinearModel, drawn: dict[str, dict[int, int]]) -> None:
    """R6: no more machine-hours than outlets that take such machines have, limit by limit."""
    for kind in ("ac", "dc"):
        outlets = [outlet for outlet in frame.yard.outlets if outlet.kind == kind]
        machines = [machine for machine in frame.yard.machines if machine.supply == kind]
        for limit_w in sorted({outlet.limit_w for outlet in outlets}):
            below = [limit for limit in {o.limit_w for o in outlets} if limit < limit_w]
            large = [m for m in machines if not below or m.charger_w > max(below)]
            sockets = sum(outlet.limit_w >= limit_w for outlet in outlets)
            if len(large) <= sockets:
                continue
            for slot, hours in enumerate(frame.hours):
                terms = [(drawn[m.name][slot], 1.0 / m.charger_w) for m in large if slot in drawn[m.name]]
                if len(terms) > sockets:
                    model.add_row(-np.inf, sockets * float(hours), terms)


def _add_inverter(frame: _Frame, model: LinearModel, parts: _Parts) -> None:
    """R5 on means: running watts, and those of any motor's start on top."""
    inverter, always_w = frame.yard.inverter, frame.yard.always_on_w
    always = [load.start_w - load.watts for load in frame.yard.house_loads if load.always_on]
    limit_w = min(inverter.continuous_w, inverter.surge_limit_w - max(always, default=0.0))
    for slot, hours in enumerate(frame.hours):
        running = [(column, factor / float(hours)) for column, factor in parts.ac[slot]]
        if running:
            model.add_row(-np.inf, max(limit_w - always_w, 0.0), running)
        for start in parts.starts[slot]:
            extra = dict(start)
            terms = [(column, factor + extra.get(column, 0.0)) for column, factor in running]
            model.add_row(-np.inf, max(inverter.surge_limit_w - always_w, 0.0), terms)


def _add_bank(frame: _Frame, model: LinearModel, parts: _Parts) -> None:
    """R3 and R4: the level as the smaller of two lines in the net energy, both limits, and the floor."""
    bank, inverter = frame.yard.bank, frame.yard.inverter
    into, out = bank.charge_efficiency, bank.discharge_efficiency
    always_w = frame.yard.always_on_w
    idles = not inverter.off_when_unused or always_w > 0.0
    # Switched off between, the inverter idles at least in proportion to what it carries.
    per_ac = 1.0 / inverter.efficiency + (0.0 if idles else inverter.idle_w / inverter.continuous_w)
    base_w = always_w / inverter.efficiency + (inverter.idle_w if idles else 0.0)
    start_wh = min(bank.level_wh, bank.capacity_wh)
    level = model.add_column(start_wh, start_wh)
    for slot, hours in enumerate(frame.hours):
        base_wh, sun_wh = base_w * float(hours), float(frame.sun_wh[slot])
        floor_wh = min(float(frame.floor_wh[slot + 1]), bank.capacity_wh)
        after = model.add_column(floor_wh, bank.capacity_wh)
        draws = [(column, factor * per_ac) for column, factor in parts.ac[slot]] + parts.dc[slot]
        most_unserved_wh = base_wh + sum(per_ac * model.upper[start[0][0]] for start in parts.starts[slot])
        unserved = model.add_column(0.0, most_unserved_wh)
        parts.unserved.append((unserved, 1.0))
        demand = [*draws, (unserved, -1.0)]
        change = [(after, 1.0), (level, -1.0)]
        for line in (into, 1.0 / out):
            model.add_row(-np.inf, line * (sun_wh - base_wh), [*change, *_scaled(demand, line)])
        if bank.charge_max_w is not None:
            model.add_row(-np.inf, into * charge_limit_w(bank) * float(hours), change)
        if bank.discharge_max_w is not None:
            most_wh = discharge_limit_w(bank) * float(hours) + sun_wh - base_wh
            model.add_row(-np.inf, most_wh, demand)
        level = after


def _scaled(terms: Sequence[tuple[int, float]], by: float) -> list[tuple[int, float]]:
    return [(column, factor * by) for column, factor in terms]
