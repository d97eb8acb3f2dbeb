"""What becomes of a yard whose hand reads nothing but the page, and what that breaks."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.planning.record import Plan
from tests.oracle_physics import CONTINUOUS_H, Case
from tests.planning.page_hand import Lived, State, follow_page

LINES = ("plug", "unplug", "if_at_least", "if_below")

#: A figure of the page is a whole percent, and rounding in between is no breach [fraction of capacity].
SLACK = 1e-4


@dataclass(frozen=True)
class Low:
    """Somebody arrives and finds less in the bank than the sure lines need."""

    edge: int
    bank_pct: int
    state: State


def live_by_page(case: Case, plan: Plan, sun_w: np.ndarray, low: Low | None = None) -> Lived:
    """Follow the page's lines under a sun, from the start or from an arrival that finds little in the bank."""
    page = [vars(visit) | {key: [vars(line) for line in getattr(visit, key)] for key in LINES} for visit in plan.visits]
    duty = {load.name: load.wall_wh > 0 for load in plan.house_loads}
    if low is None:
        return follow_page(case.yard, case.agenda, case.suns, page, duty, sun_w)
    # Needs on the arrival's own edge have had their work taken.
    needs = {name: tuple(due for due in dues if due.edge > low.edge) for name, dues in case.agenda.needs.items()}
    agenda = dataclasses.replace(case.agenda, needs=needs)
    return follow_page(case.yard, agenda, case.suns, page, duty, sun_w, low.state, low.edge)


def low_arrivals(case: Case, plan: Plan) -> Iterator[Low]:
    """At each visit, the least that each of its lines but the last still leaves enough of, by the line after it."""
    for visit in plan.visits:
        figures = [line.bank_pct for line in visit.if_below]
        for lower in figures[1:]:
            if 100.0 * plan.bank.allowed_wh[visit.edge] / plan.bank.capacity_wh <= lower < max(figures):
                yield Low(visit.edge, lower, _arriving(case, plan, visit.edge, lower))


def _arriving(case: Case, plan: Plan, edge: int, bank_pct: int) -> State:
    """Everything as planned but the bank."""
    state = State({}, {}, {}, bank_pct / 100.0 * case.yard.bank.capacity_wh)
    for machine, planned in zip(case.yard.machines, plan.machines, strict=True):
        away = bool(case.agenda.away[machine.name][edge])
        state.charge_wh[machine.name] = float(planned.charge_wh[edge])
        state.outlet[machine.name] = None if away else planned.outlet[edge - 1] if edge else machine.outlet
        state.timer[machine.name] = None
    for visit in plan.visits:
        if visit.edge < edge:
            state.timer.update({action.machine: action.timer for action in visit.plug})
    return state


def broken(case: Case, plan: Plan, lived: Lived, first: int = 0) -> Iterator[str]:
    """Say what of R4, R5, R6 and R8 is broken from an edge on."""
    given = min(case.agenda.visits, default=case.agenda.grid.n_steps)
    above_wh = np.array(lived.level_wh) - plan.bank.allowed_wh[first:]
    if above_wh.min() < -SLACK * case.yard.bank.capacity_wh:
        yield f"{-above_wh.min():.2f} Wh below what is allowed at edge {first + above_wh.argmin()}"
    running_w, starts = np.array(lived.running_w), starts_w(case, plan)[first:]
    planned_w = plan.inverter_peak_w[first:]
    over_w = running_w - np.maximum(case.yard.inverter.continuous_w, planned_w)
    if over_w.max() > 0.01:
        yield f"{over_w.max():.1f} W over the inverter at step {first + over_w.argmax()}"
    # Whatever the page adds leaves room for a motor to start.
    over_w = running_w + starts - np.maximum(case.yard.inverter.surge_limit_w, planned_w + starts)
    if over_w.max() > 0.01:
        yield f"{over_w.max():.1f} W too much for a motor to start at step {first + over_w.argmax()}"
    if cold := [(step, name) for step, name in lived.charges_outside if step >= given]:
        yield f"charged outside its temperatures: {cold}"
    if hot := [edge for edge in hot_runs(case, lived.hot) if first + edge > given]:
        yield f"3 hours above 80 % of a breaker until edges {first} + {hot}"


def sure_needs(plan: Plan) -> set[tuple[str, int]]:
    """Machines and edges by which the plan has all their needs met."""
    at_edge = {(machine.name, need.edge): [] for machine in plan.machines for need in machine.needs}
    for machine in plan.machines:
        for need in machine.needs:
            at_edge[machine.name, need.edge].append(need.ready)
    return {where for where, ready in at_edge.items() if all(ready)}


def starts_w(case: Case, plan: Plan) -> np.ndarray:
    """What the worst start of a motor adds, in each step (R5) [W]."""
    runs = {planned.name: planned.wall_wh > 0 for planned in plan.house_loads}
    extra = np.zeros(case.agenda.grid.n_steps)
    for load in case.yard.house_loads:
        extra = np.maximum(extra, runs[load.name] * (load.start_w - load.watts))
    return extra


def hot_runs(case: Case, hot: list[set[str]]) -> list[int]:
    """Edges on which some outlet has been above 80 % of its breaker for 3 hours on end (R6)."""
    run = round(CONTINUOUS_H / case.agenda.grid.step_h)
    return [last for last in range(run, len(hot) + 1) if set.intersection(*hot[last - run : last])]
