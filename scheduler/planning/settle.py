"""Among choices that the aims count as equal, the one that keeps the bank fullest; where it does not care, late.

The last aim, the energy left under the likely sun, sees no difference where the bank is full in the end anyway: there
a machine that charges at noon, on sun that finds no room, and one that charges at night out of the bank are equal to
it. So what the bank lacks of being full is made small, summed over all the time under the dull sun, and its lowest
level is never lowered for that. The sum tells one night from another where the house alone makes the lowest level, and
where the sun has room in the bank it is late charging that keeps the bank fuller for longer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scheduler.charging.patterns import PatternTable
from scheduler.charging.routes import Arcs, BoolArray, IntArray, Network
from scheduler.planning.model import Case
from scheduler.planning.relaxation import carry_over
from scheduler.planning.selection import (
    Selection,
    allowed_rows,
    draws_with,
    draws_with_each,
    path_under,
    sockets_free,
    within_watts,
)
from scheduler.timegrid import FloatArray, Grid

#: What a Wh that is charged earlier than at the very end counts for, an hour each, beside a Wh that the bank lacks for
#: an hour: full is not free, a battery ages while it sits full. Judgement, no source.
_EARLY = 0.1
_SAME_WH = 1e-6
_MOST_ROUNDS = 5


def settle(case: Case, selection: Selection) -> tuple[Case, Selection]:
    """Let one machine after the other charge another way if that keeps the bank fuller, until none can.

    A pattern takes the place of another only if needs, shortfall and plug changes are the same, no less is left under
    the likely sun, the bank's lowest level under the dull sun is no lower and every rule still holds.

    Returns
    -------
    case : Case
        With the patterns that were found on the way.
    selection : Selection
    """
    equal, settled = _only_equals(case, selection)
    for _ in range(_MOST_ROUNDS):
        before = settled
        for number in range(len(equal.tables)):
            if number in case.parts:
                equal = _with_sparing_route(equal, settled, number)
            settled = settled.with_row(number, _best_row(equal, settled, number))
        if settled.rows == before.rows:
            break
    return carry_over(settled, equal, case)


def _only_equals(case: Case, selection: Selection) -> tuple[Case, Selection]:
    """Keep of each table what does as much in as many plug changes as the chosen pattern."""
    tables, rows = list[PatternTable](), list[int]()
    for table, row in zip(case.tables, selection.rows, strict=True):
        alike = (
            (table.met == table.met[row]).all(axis=1)
            & (np.abs(table.short_wh - table.short_wh[row]) < _SAME_WH)
            & (table.changes == table.changes[row])
        )
        tables.append(table.keep(alike))
        rows.append(int(alike[:row].sum()))
    return replace(case, tables=tuple(tables)), Selection(tuple(rows), selection.duty)


def _best_row(case: Case, selection: Selection, number: int) -> int:
    """Return the pattern that keeps the bank fullest; the one chosen where none keeps it fuller."""
    table, row = case.tables[number], selection.rows[number]
    if len(table) == 1:
        return row
    draws = draws_with_each(case, selection, number)
    left = path_under(case, draws, case.suns.likely_w).level_wh[:, -1]
    level_wh = path_under(case, draws, case.suns.dull_w).level_wh
    lowest = level_wh.min(axis=1)
    fitting = (left >= left[row] - _SAME_WH) & (lowest >= lowest[row] - _SAME_WH)
    fitting &= allowed_rows(case, selection, number)
    lacking = (case.yard.bank.capacity_wh - level_wh[:, 1:]).sum(axis=1) * case.agenda.grid.step_h
    total = np.where(fitting, lacking + table.wall_wh @ _early(case.agenda.grid), np.inf)
    best = int(np.argmin(total))
    return best if total[best] < total[row] - _SAME_WH else row


def _early(grid: Grid) -> FloatArray:
    """What a Wh counts for that is charged in each step, the later the less, shape (n_steps,)."""
    steps_ahead = np.arange(grid.n_steps, 0, -1, dtype=np.float64)
    return np.asarray(_EARLY * grid.step_h * steps_ahead)


def _with_sparing_route(case: Case, selection: Selection, number: int) -> Case:
    """Add to a table that holds only some of a machine's patterns the one that counts for least beside the others.

    Sun that finds no room costs nothing; what goes beyond it the bank lacks until it is next full. That is a sum over
    steps, so it is a shortest route. It is an estimate: using up spare sun may put off when the bank is full. Nor is
    it asked here what the bank's level and the three hours above 80 % allow.
    """
    table, row = case.tables[number], selection.rows[number]
    network, grid = table.network, case.agenda.grid
    shape = (max(len(arcs.tail) for arcs in network.layers), grid.n_steps)
    wall_wh, peak_w = np.zeros(shape), np.zeros(shape)
    for step, arcs in enumerate(network.layers):
        wall_wh[: len(arcs.tail), step], peak_w[: len(arcs.tail), step] = arcs.wall_wh, arcs.peak_w
    draws = draws_with(case, selection, number, wall_wh, peak_w)
    counted = _lacking(case, selection, number, draws.demand_w) + wall_wh * _early(grid)
    counted = np.where(within_watts(case, draws), counted, np.inf)
    equal = _as_chosen(network, table.routes[row])
    free = _has_socket(case, selection, number)
    cost = [
        np.where(same & socket, counted[: len(same), step], np.inf)
        for step, (same, socket) in enumerate(zip(equal, free, strict=True))
    ]
    route = network.cheapest_in_changes(cost, int(table.changes[row]))
    if route is None:
        return case
    tables = list(case.tables)
    tables[number] = table.extended(route[np.newaxis])
    return replace(case, tables=tuple(tables))


def _lacking(case: Case, selection: Selection, number: int, demand_w: FloatArray) -> FloatArray:
    """Estimate what the bank lacks for how long by what one machine draws in each step, `demand_w` its last axis."""
    bank, grid = case.yard.bank, case.agenda.grid
    nothing = np.zeros(grid.n_steps)
    without = draws_with(case, selection, number, nothing, nothing)
    level_wh = path_under(case, without, case.suns.dull_w).level_wh
    stored_w = grid.power_w(np.diff(level_wh)) / bank.charge_efficiency
    spare_w = np.clip(case.suns.dull_w - without.demand_w - np.clip(stored_w, 0.0, None), 0.0, None)
    full = np.append(np.flatnonzero(level_wh >= bank.capacity_wh - _SAME_WH), grid.n_steps)
    steps = np.arange(grid.n_steps)
    until_full_h = (full[np.searchsorted(full, steps + 1)] - steps) * grid.step_h
    beyond_w = np.clip(demand_w - without.demand_w - spare_w, 0.0, None)
    lacking: FloatArray = grid.energy_wh(beyond_w) / bank.discharge_efficiency * until_full_h
    return lacking


def _as_chosen(network: Network, route: IntArray) -> list[BoolArray]:
    """For each step which arcs do for the needs at its end what the given route does."""

    def alike(arcs: Arcs, arc: int) -> BoolArray:
        same_met = (arcs.met == arcs.met[arc]).all(axis=1)
        return np.asarray(same_met & (np.abs(arcs.short_wh - arcs.short_wh[arc]) < _SAME_WH))

    return [alike(arcs, int(arc)) for arcs, arc in zip(network.layers, route, strict=True)]


def _has_socket(case: Case, selection: Selection, number: int) -> list[BoolArray]:
    """For each step which arcs take no socket that another machine is in (R6)."""
    network, free = case.tables[number].network, sockets_free(case, selection, number)
    # Out of any place there is always room.
    room = np.vstack([free, np.ones(case.agenda.grid.n_steps, dtype=bool)])
    place_of_mode = np.array([-1 if mode.place is None else mode.place for mode in network.modes])
    return [room[place_of_mode[arcs.mode], step] for step, arcs in enumerate(network.layers)]
