"""Machines with too many patterns to list (timers, many visits, days on end): the part of them that the model holds.

Their patterns are a flow through their network, and the model holds the pieces of it. Where that is too much at
once it holds a part of the network: the model's linear relaxation puts a price on energy in each step, on sockets
and on the inverter's watts, and the routes that are cheapest at those prices are added until none would better the
relaxation any more (column generation for extended formulations, Sadykov and Vanderbeck 2013). Its value
is a bound that holds over everything the hand may do, whatever the part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from scheduler.charging.patterns import PatternTable, write_out
from scheduler.charging.pieces import Mask, PieceTable, cut_pieces, outline
from scheduler.charging.routes import Network
from scheduler.planning.model import Case
from scheduler.planning.prices import Prices
from scheduler.planning.selection import Selection
from scheduler.planning.stages import Stage, kept_row
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import CONTINUOUS_H

#: Up to here every pattern of a machine is listed.
MOST_LISTED = 2000

MOST_ARCS = 15_000  # in the model at once, over all machines
_MOST_ADDED = 300  # arcs, by machine and round of pricing
_MOST_PLACEMENTS = 3000  # patterns, by machine
UNEVEN = 1e-5  # what an arc's cost is made uneven by, to choose among equals
WORTH = 1e-7  # a route must better the relaxation by more than rounding

Costs = Mapping[int, list[FloatArray]]  #: by machine, what the arcs of its network cost in each step


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


def first_parts(tables: Mapping[int, PatternTable]) -> dict[int, PieceTable]:
    """Begin with the whole networks if they are small enough, else with the routes of the given tables."""
    outlines = {number: outline(table.network) for number, table in tables.items()}
    holds_all = sum(whole.n_arcs for whole in outlines.values()) <= MOST_ARCS
    return {
        number: cut_pieces(whole, whole.whole if holds_all else whole.along(tables[number].routes))
        for number, whole in outlines.items()
    }


def cheap_routes(part: PieceTable, cost: list[FloatArray], most: int) -> Mask:
    """Return about `most` arcs of cheap routes, whole routes; where many cost the same a few of them, at random."""
    rng = np.random.default_rng(0)
    uneven = [own + rng.uniform(0.0, UNEVEN, len(own)) for own in cost]
    through = part.outline.least_through(uneven)
    every = np.concatenate(through)
    limit = np.partition(every, most)[most] if most < len(every) else np.inf
    return tuple(total <= limit for total in through)


def taken_by(case: Case, best: Selection, number: int) -> Mask:
    """Return what the best choice so far takes; the aims before are kept by it, so the model always has an answer."""
    return case.parts[number].outline.along(case.tables[number].routes[[best.rows[number]]])


def with_more(case: Case, wanted: Mapping[int, Mask]) -> Case:
    """Add to the parts; the same case where they hold it all."""
    parts = dict(case.parts)
    for number, mask in wanted.items():
        part = parts[number]
        more = tuple(old | new for old, new in zip(part.part, mask, strict=True))
        if sum(step.sum() for step in more) > sum(step.sum() for step in part.part):
            parts[number] = cut_pieces(part.outline, more)
    same = all(parts[number] is part for number, part in case.parts.items())
    return case if same else replace(case, parts=parts)


def price_out(case: Case, costs: Costs) -> tuple[dict[int, Mask], float]:
    """Find arcs worth adding, by machine; and what the relaxation could at most be bettered by (negative)."""
    wanted, missing = {}, 0.0
    for number, part in case.parts.items():
        if part.is_whole:
            continue
        through = part.outline.least_through(costs[number])
        held = float(part.outline.least_through(costs[number], part.part)[0].min())
        least = float(through[0].min())
        if least < held - WORTH:
            missing += least - held
            wanted[number] = cheap_routes(part, costs[number], _MOST_ADDED)
    return wanted, missing


def with_placements(case: Case, selection: Selection) -> Case:
    """Add to the tables what differs from the chosen patterns only in when timers go on and off."""
    tables = list(case.tables)
    for number in case.parts:
        table, row = tables[number], selection.rows[number]
        network = table.network
        place_of_mode = np.array([-1 if mode.place is None else mode.place for mode in network.modes])
        moved = [
            (place_of_mode[arcs.mode] != table.place[row, step]).astype(float)
            for step, arcs in enumerate(network.layers)
        ]
        routes = network.routes_within(moved, 0.0, _MOST_PLACEMENTS)
        if routes is not None:
            tables[number] = table.extended(routes)
    return replace(case, tables=tuple(tables))


def arc_costs(
    case: Case, number: int, stage: Stage, kept: Sequence[Stage], prices: Prices
) -> list[FloatArray]:
    """Work out what each arc counts for in the aim, less what the rows pay or ask for it."""
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
