"""Patterns made when they are wanted, for machines with too many to list (timers, many visits, days on end).

The model's linear relaxation puts a price on energy in each step, on sockets and on the inverter's watts. At
those prices the cheapest route through a machine's network is the pattern most worth adding; when none is worth it
any more, the relaxation over the listed patterns is that over all of them, and its value a bound that holds
(column generation; Lagrangian bound on the way, after Desrosiers and Luebbecke 2005). Nothing is cut from what
the hand may do.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from scheduler.charging.patterns import PatternTable, write_out
from scheduler.charging.routes import IntArray, Network
from scheduler.planning.model import Case, build_choice
from scheduler.planning.solve import Prices, price_relaxation
from scheduler.planning.stages import KEPT_SLACK, Stage, best_possible, keep_aim, kept_row
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import CONTINUOUS_H

#: Up to here every pattern of a machine is listed.
MOST_LISTED = 2000

_MOST_ADDED = 3000  # by machine, when a gap is closed

_WORTH = 1e-7  # a pattern must better the relaxation by more than rounding


@dataclass(frozen=True)
class Grown:
    """The case with patterns added.

    Attributes
    ----------
    case : Case
    bound : float or None
        The relaxation's bound on the aim; None without open machines, or where no prices could be had.
    costs : dict of int to list of ndarray
        By open machine, what its arcs cost at the prices that give the bound.
    """

    case: Case
    bound: float | None = None
    costs: dict[int, list[FloatArray]] = field(default_factory=dict)


def first_patterns(network: Network, sun_w: FloatArray) -> PatternTable:
    """A few patterns to begin with: doing the least, and meeting all needs by sun, late, or in few changes."""
    n_steps = len(network.layers)
    dark = 1.0 - sun_w / max(float(sun_w.max(initial=0.0)), 1.0)
    early = 1.0 - np.arange(n_steps) / n_steps
    routes = []
    for need_worth in (0.0, 1e6):
        for price in (np.ones(n_steps), 1.0 + 10.0 * dark, 1.0 + 10.0 * early):
            cost = [
                arcs.wall_wh * price[step]
                - need_worth * arcs.met @ np.array([100.0, 10.0, 1.0])
                + min(need_worth, 1e3) * arcs.short_wh
                + 1.0 * arcs.changes
                for step, arcs in enumerate(network.layers)
            ]
            routes.append(network.cheapest_route(cost)[1])
    return write_out(network, np.unique(np.stack(routes), axis=0))


def grow_tables(case: Case, stage: Stage, kept: Sequence[tuple[Stage, float]], limit_s: float) -> Grown:
    """Add patterns to the machines whose tables are not whole, until none would better the relaxation."""
    begun = time.perf_counter()
    grown = Grown(case)
    while case.is_open and time.perf_counter() - begun < limit_s:
        model = build_choice(case)
        for earlier, value in kept:
            keep_aim(model, earlier, value)
        prices = price_relaxation(model.problem, stage.terms(model), limit_s)
        if prices is None:
            break
        priced = _price_out(case, stage, [earlier for earlier, _ in kept], prices)
        bound = prices.objective + priced.missing
        if grown.bound is None or bound > grown.bound:
            grown = Grown(case, bound, priced.costs)
        case = _extended(case, priced.added)
        settled = stage.whole and best_possible(stage, bound) >= best_possible(stage, prices.objective)
        if settled or not any(len(routes) for routes in priced.added.values()):
            break
    return replace(grown, case=case)


def close_gap(grown: Grown, reached: float, stage: Stage) -> tuple[Case, bool]:
    """Add every pattern that a better choice than `reached` could hold; and say whether that was all of them.

    Whatever holds a pattern costs at least the bound and that by which the pattern's route passes its machine's
    cheapest; so routes that pass it by more than the gap are in no better choice (Baldacci and others 2008).
    """
    if grown.bound is None:
        return grown.case, False
    # The next better value of a whole-numbered aim is one less: what cannot reach it need not be looked at.
    room = reached - grown.bound - (1.0 - KEPT_SLACK if stage.whole else 0.0)
    added: dict[int, IntArray] = {}
    complete = True
    for number, costs in grown.costs.items():
        network = grown.case.tables[number].network
        least, _ = network.cheapest_route(costs)
        routes = network.routes_within(costs, least + room + _WORTH, _MOST_ADDED)
        complete = complete and routes is not None
        if routes is not None:
            added[number] = routes
    return _extended(grown.case, added), complete


def _extended(case: Case, added: dict[int, IntArray]) -> Case:
    tables = [
        table.extended(added[number]) if number in added else table for number, table in enumerate(case.tables)
    ]
    same = all(new is old for new, old in zip(tables, case.tables, strict=True))
    return case if same else replace(case, tables=tuple(tables))


@dataclass(frozen=True)
class _Priced:
    """Routes worth adding and arc costs by machine; and what the relaxation could at most be bettered by."""

    added: dict[int, IntArray]
    costs: dict[int, list[FloatArray]]
    missing: float


def _price_out(case: Case, stage: Stage, kept: Sequence[Stage], prices: Prices) -> _Priced:
    added: dict[int, IntArray] = {}
    all_costs: dict[int, list[FloatArray]] = {}
    missing = 0.0
    for number in case.open:
        network = case.tables[number].network
        costs = _arc_costs(case, number, stage, kept, prices)
        offset = stage.weights.of_start(network) - prices.of(f"one_{number:03d}")
        offset -= sum(prices.of(kept_row(earlier)) * earlier.weights.of_start(network) for earlier in kept)
        totals, routes = network.cheapest_routes(costs)
        added[number] = routes[totals + offset < -_WORTH]
        all_costs[number] = costs
        missing += min(0.0, float(totals.min()) + offset)
    return _Priced(added, all_costs, missing)


def _arc_costs(
    case: Case, number: int, stage: Stage, kept: Sequence[Stage], prices: Prices
) -> list[FloatArray]:
    """What each arc counts for in the aim, less what the rows pay or ask for it."""
    network = case.tables[number].network
    grid, n_places = case.agenda.grid, len(case.places)
    share = 1.0 / case.yard.inverter.efficiency if network.machine.supply == "ac" else 1.0
    place_of_mode = np.array([n_places if mode.place is None else mode.place for mode in network.modes])
    hot_price = [_hot_price(prices, place, grid) for place in range(n_places)]
    costs = []
    for step, arcs in enumerate(network.layers):
        cost = stage.weights.of_arcs(arcs)
        for earlier in kept:
            cost = cost - prices.of(kept_row(earlier)) * earlier.weights.of_arcs(arcs)
        energy = prices.of(f"demand_{step:03d}") * share / grid.step_h / 1000.0
        cost = cost - energy * arcs.wall_wh
        if network.machine.supply == "ac":
            cost = cost - _watt_price(case, prices, step) / 1000.0 * arcs.peak_w
            cost = cost - prices.of(f"awake_{number:03d}_{step:03d}") * (arcs.wall_wh > 0)
        sockets = [prices.of(f"sockets_{place:02d}_{step:03d}") for place in range(n_places)]
        hot = [price[step] for price in hot_price]
        at = place_of_mode[arcs.mode]
        cost = cost - np.array([*sockets, 0.0])[at] - np.array([*hot, 0.0])[at] * arcs.hot
        costs.append(cost)
    return costs


def _watt_price(case: Case, prices: Prices, step: int) -> float:
    """Price of a kW of running watts in a step, over the inverter's rows."""
    starts = sum(prices.of(f"surge_{motor:02d}_{step:03d}") for motor in range(len(case.yard.house_loads)))
    return prices.of(f"running_{step:03d}") + starts


def _hot_price(prices: Prices, place: int, grid: Grid) -> FloatArray:
    """Price of a hot step of a place: of all the 3-hour windows that it lies in."""
    run = round(CONTINUOUS_H / grid.step_h)
    price = np.zeros(grid.n_steps)
    for first in range(grid.n_steps - run + 1):
        price[first : first + run] += prices.of(f"hot_{place:02d}_{first:03d}")
    return price
