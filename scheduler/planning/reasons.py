"""Why a machine will not be ready, and what would help: found by planning again with one limit eased.

A need that no handling of its machine alone could meet is a matter of its charger (R7), the cold (R8) or the
visits (R10), and one that is due as the plan begins is past help (R12). Otherwise something shared is short: sockets
(R6), the inverter (R5) or the bank (R3, R4). Each is eased in turn, as little as possible, while everybody who is
ready stays ready.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.charging.patterns import PatternTable, drop_dominated, write_out
from scheduler.charging.reach import build_network
from scheduler.charging.routes import Network
from scheduler.planning.asking import choice_from
from scheduler.planning.model import Case, build_choice
from scheduler.planning.record import Because, MachinePlan, NeedPlan
from scheduler.planning.selection import (
    Selection,
    allowed_rows,
    draws_of,
    draws_with_each,
    path_under,
)
from scheduler.planning.solve import solve_highs
from scheduler.timegrid import FloatArray
from scheduler.units import READY_TOLERANCE_WH, kwh_from_wh
from scheduler.yard.agenda import Agenda, DueNeed
from scheduler.yard.models import PRIORITIES

_MOST_ROUTES = 20_000
_DAY_STARTS_H, _DAY_ENDS_H = 6, 21  # nobody is asked to come at night


@dataclass(frozen=True)
class Reason:
    """Which rule binds, and what would help."""

    because: Because
    would_help: tuple[str, ...]


@dataclass(frozen=True)
class Unready:
    """A need that is not met: whose, which, and what other work takes at the same time before it [Wh]."""

    number: int
    index: int
    need: DueNeed
    taken_before_wh: float


def explain(
    case: Case, selection: Selection, machines: Sequence[MachinePlan], budget_s: float
) -> tuple[MachinePlan, ...]:
    """Give every need that is not met its reason; `budget_s` bounds the solving, not the reasons [s]."""
    until = time.perf_counter() + budget_s
    explained = []
    for number, plan in enumerate(machines):
        needs = []
        for index, need in enumerate(plan.needs):
            dues = case.agenda.needs[plan.name]
            taken_wh = sum(due.work_wh for due in dues[:index] if due.edge == need.edge)
            unready = Unready(number, index, dues[index], taken_wh)
            needs.append(need if need.ready else _with_reason(case, selection, unready, need, until))
        explained.append(replace(plan, needs=tuple(needs)))
    return tuple(explained)


def _with_reason(
    case: Case, selection: Selection, unready: Unready, need: NeedPlan, until: float
) -> NeedPlan:
    network = case.tables[unready.number].network
    reason = (
        _shared_reason(case, selection, unready, until)
        if _most_wh(network, unready) >= unready.need.need_wh - READY_TOLERANCE_WH
        else _own_reason(case, selection, unready, until)
    )
    return replace(need, because=reason.because, would_help=reason.would_help)


def _most_wh(network: Network, unready: Unready) -> float:
    """Return the highest charge that any handling of the machine alone brings to the need [Wh]."""
    return float(_arriving_wh(network, unready.need.edge).max()) - unready.taken_before_wh


def _arriving_wh(network: Network, edge: int) -> FloatArray:
    """Charge that each arc of the step before `edge` brings there, before any work is taken [Wh]."""
    if edge == 0:
        return np.array([network.machine.charge_wh])
    arcs = network.layers[edge - 1]
    return network.charge_wh[edge - 1][arcs.tail] + arcs.wall_wh * network.machine.charger_efficiency


def _own_reason(case: Case, selection: Selection, unready: Unready, until: float) -> Reason:
    """R7, R8 or R10, or R12 alone as the plan begins: not even alone in the yard."""
    machine, need = case.tables[unready.number].network.machine, unready.need
    if need.edge == 0:
        due = "it is due as the plan begins"
        return Reason(Because("R12", f"{due}, with too little in it"), (f"nothing: {due}",))
    by = case.agenda.grid.local(need.edge).strftime("%H:%M")
    usable = ~case.agenda.away[machine.name][: need.edge]
    if _always_plugged_wh(case, unready, usable) < need.need_wh - READY_TOLERANCE_WH:
        charger = f"its charger of {machine.charger_w:g} W"
        text = f"even plugged in all the time, {charger} is too slow for the time until {by}"
        return Reason(Because("R7", text), ("nothing: the charger is too slow for the time left",))
    low, high = machine.charge_temp_c
    temp = case.suns.shed_temp_c[: need.edge]
    mild = usable & (temp >= low) & (temp <= high)
    if _always_plugged_wh(case, unready, mild) < need.need_wh - READY_TOLERANCE_WH:
        text = f"the shed is outside its charging window of {low:g} to {high:g} C for too much of the time until {by}"
        return Reason(Because("R8", text), ("a shed kept within its charging window",))
    text = f"nobody is there to plug it in early enough before {by}"
    visits = _visits_that_help(case, selection, unready, until) or _fewest_visits(case, unready)
    return Reason(Because("R10", text), visits)


def _always_plugged_wh(case: Case, unready: Unready, steps: np.ndarray) -> float:
    """Charge at the need if it were plugged in in all of `steps` [Wh]."""
    machine = case.tables[unready.number].network.machine
    curve, charge = ChargeCurve.of(machine), machine.charge_wh
    needs = case.agenda.needs[machine.name]
    for edge in range(unready.need.edge + 1):
        for index, need in enumerate(needs):
            if need.edge == edge and index < unready.index:
                charge = max(0.0, charge - need.work_wh)
        if edge < unready.need.edge and steps[edge]:
            charge = float(curve.charge_after_wh(charge, case.agenda.grid.step_h))
    return charge


def _shared_reason(case: Case, selection: Selection, unready: Unready, until: float) -> Reason:
    """R3 to R6: it could be ready alone, but not beside the others."""
    visits = _visits_that_help(case, selection, unready, until)
    focus = _focused(case, unready)
    found = [] if focus is None else list(_easings(case, focus, selection, unready, until))
    if not found:
        text = "what the others leave is not enough, whichever single limit is eased"
        return Reason(Because("R4", text), visits or ("fewer needs at the same time",))
    return Reason(found[0].because, (*visits, *(reason.would_help[0] for reason in found)))


def _focused(case: Case, unready: Unready) -> Case | None:
    """Return the case in which the machine has only the patterns that meet the need."""
    network = case.tables[unready.number].network
    table = case.tables[unready.number]
    if network.n_routes <= _MOST_ROUTES:
        table = write_out(network, network.all_routes())
    table = table.keep(_meets(table, unready))
    if not len(table):
        return None
    tables = list(case.tables)
    tables[unready.number] = drop_dominated(table)
    parts = {number: part for number, part in case.parts.items() if number != unready.number}
    return replace(case, tables=tuple(tables), parts=parts)


def _meets(table: PatternTable, unready: Unready) -> np.ndarray:
    """Which patterns meet the need."""
    edge = unready.need.edge
    have = (
        _arriving_wh(table.network, edge)[table.routes[:, edge - 1]]
        if edge
        else np.full(len(table), table.network.machine.charge_wh)
    )
    return have - unready.taken_before_wh >= unready.need.need_wh - READY_TOLERANCE_WH


def _easings(
    case: Case, focus: Case, selection: Selection, unready: Unready, until: float
) -> Iterator[Reason]:
    """Reasons by easing one limit at a time: sockets and the inverter beside the others as planned, then the bank."""
    machine = case.tables[unready.number].network.machine
    kind = machine.supply.upper()
    beside = selection.with_row(unready.number, 0)
    more_sockets = tuple(replace(place, sockets_eased=1) for place in case.places)
    if allowed_rows(replace(focus, places=more_sockets), beside, unready.number).any():
        text = f"no {kind} outlet that takes it is free for long enough"
        yield Reason(Because("R6", text), (f"one more {kind} outlet",))
    extra_w = _least_extra_w(focus, beside, unready.number)
    if extra_w is not None:
        text = "the chargers that would have to run together pass what the inverter stands"
        yield Reason(Because("R5", text), (f"{extra_w:.0f} W more from the inverter",))
    eased = _least_extra_bank(case, focus, selection, unready, until)
    if eased is not None:
        extra_wh, found_case, anew = eased
        more_kwh = np.ceil(kwh_from_wh(extra_wh) * 10.0) / 10.0
        text = f"the dull-sun reserve binds{_short_since(found_case, anew)}"
        yield Reason(Because("R4", text), (f"{more_kwh:.1f} kWh more in the bank",))


def _least_extra_w(focus: Case, beside: Selection, number: int) -> float | None:
    """Watts that the inverter would have to give more, the others as planned, in steps of 50 W; None if no help."""
    inverter = focus.yard.inverter
    strong = inverter.model_copy(update={"continuous_w": 1e9, "surge_w": 1e9})
    eased = replace(focus, yard=focus.yard.model_copy(update={"inverter": strong}))
    fitting = allowed_rows(eased, beside, number)
    if not fitting.any():
        return None
    draws = draws_with_each(focus, beside, number)
    over = np.maximum(
        draws.peak_w.max(axis=1) - inverter.continuous_w,
        draws.start_peak_w.max(axis=1) - inverter.surge_limit_w,
    )
    return float(np.ceil(over[fitting].min() / 50.0) * 50.0)


def _least_extra_bank(
    case: Case, focus: Case, selection: Selection, unready: Unready, until: float
) -> tuple[float, Case, Selection] | None:
    """Plan again with more in the bank: the least that meets the need while every class keeps its count [Wh]."""
    import pulp

    left_s = until - time.perf_counter()
    if left_s <= 0:
        return None
    model = build_choice(focus, eases_bank=True)
    for rank, priority in enumerate(PRIORITIES):
        kept = sum(int(table.met[row, rank]) for table, row in zip(case.tables, selection.rows, strict=True))
        wanted = kept + (priority == unready.need.priority)
        counts = [offer.met[:, rank].astype(float) for offer in focus.offers]
        if wanted:
            model.add(model.pick_terms(counts), 1, wanted, f"still_{rank}")
    model.problem.setObjective(pulp.LpAffineExpression([(model.easing, 1.0)]))
    answer = solve_highs(model.problem, min(left_s, 3.0))
    if not answer.is_usable or answer.objective is None:
        return None
    found, anew = choice_from(model, answer.values)
    return answer.objective * 1000.0, found, anew


def _short_since(focus: Case, selection: Selection) -> str:
    """From when on the bank would be too low without the easing, in words."""
    level = path_under(focus, draws_of(focus, selection), focus.suns.dull_w).level_wh
    short = np.flatnonzero(level < focus.house.allowed_wh - 1.0)
    return "" if not len(short) else f" from {focus.agenda.grid.local(int(short[0])):%H:%M}"


def _visits_that_help(case: Case, selection: Selection, unready: Unready, until: float) -> tuple[str, ...]:
    """One more visit by day at which this machine is handled, the others staying as they are; the latest one."""
    if time.perf_counter() > until:
        return ()
    extra = _daytime_edges(case, unready)
    network, agenda = _network_with(case, unready, extra)
    used = [np.where(arcs.changes > 0, float(step in extra), 0.0) for step, arcs in enumerate(network.layers)]
    routes = network.routes_within(used, 1.0, _MOST_ROUTES)
    if routes is None or not len(routes):
        return ()
    table = write_out(network, routes)
    now = case.tables[unready.number].met[selection.rows[unready.number]]
    table = table.keep(_meets(table, unready) & (table.met >= now).all(axis=1))
    tables = (*case.tables[: unready.number], table, *case.tables[unready.number + 1 :])
    tried = replace(case, tables=tables, agenda=agenda)
    if not len(table):
        return ()
    fitting = table.routes[allowed_rows(tried, selection.with_row(unready.number, 0), unready.number)]
    edges = [step for step in extra if (network.layers[step].changes[fitting[:, step]] > 0).any()]
    return (f"one more visit at {case.agenda.grid.local(edges[-1]):%H:%M}",) if edges else ()


def _network_with(case: Case, unready: Unready, visits: Sequence[int]) -> tuple[Network, Agenda]:
    """Return what the machine may do if somebody came at more edges."""
    agenda = replace(case.agenda, visits=tuple(sorted({*case.agenda.visits, *visits})))
    machine = case.tables[unready.number].network.machine
    return build_network(machine, agenda, case.places, case.suns.shed_temp_c), agenda


def _fewest_visits(case: Case, unready: Unready) -> tuple[str, ...]:
    """The fewest more visits by day that let the machine alone meet the need, and when."""
    extra, edge = _daytime_edges(case, unready), unready.need.edge
    network, _ = _network_with(case, unready, extra)
    cost = [np.where(arcs.changes > 0, float(step in extra), 0.0) for step, arcs in enumerate(network.layers)]
    enough = unready.need.need_wh + unready.taken_before_wh - READY_TOLERANCE_WH
    cost[edge - 1] = np.where(_arriving_wh(network, edge) >= enough, cost[edge - 1], np.inf)
    total, route = network.cheapest_route(cost)
    if not np.isfinite(total):
        return ("nothing: not even somebody who came every hour of the day could plug it in early enough",)
    at = [
        f"{case.agenda.grid.local(step):%H:%M}"
        for step in extra
        if network.layers[step].changes[route[step]] > 0
    ]
    return (f"{len(at)} more visits, at {', '.join(at)}, and room for it then",)


def _daytime_edges(case: Case, unready: Unready) -> list[int]:
    """Edges before the need, by day, at which nobody comes yet."""
    grid = case.agenda.grid
    hours = ((edge, grid.local(edge).hour) for edge in range(unready.need.edge))
    return [e for e, hour in hours if _DAY_STARTS_H <= hour < _DAY_ENDS_H and e not in case.agenda.visits]
