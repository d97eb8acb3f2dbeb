"""Machines with too many patterns to list (timers, many visits, days on end): the part of them that the model holds.

Their patterns are a flow through their network, and the model holds the pieces of it. Where that is too much at
once it holds a part of the network: the model's linear relaxation puts a price on energy in each step, on sockets
and on the inverter's watts, and the routes that are cheapest at those prices are added until none would better the
relaxation any more (column generation for extended formulations, Sadykov and Vanderbeck 2013). Its value
is a bound that holds over everything the hand may do, whatever the part.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.charging.patterns import PatternTable, write_out
from scheduler.charging.pieces import Mask, PieceTable, cut_pieces, outline
from scheduler.charging.routes import Network
from scheduler.planning.model import Case, ChoiceModel, build_choice
from scheduler.planning.selection import Selection
from scheduler.planning.solve import Prices, price_relaxation
from scheduler.planning.stages import KEPT_SLACK, Stage, best_possible, keep_aim, kept_row
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import CONTINUOUS_H

#: Up to here every pattern of a machine is listed.
MOST_LISTED = 2000

MOST_ARCS = 15_000  # in the model at once, over all machines
MOST_FIRST = 2000  # arcs with which to look for a good choice
_MOST_ADDED = 300  # arcs, by machine and round of pricing
_MOST_PLACEMENTS = 3000  # patterns, by machine
_UNEVEN = 1e-5  # what an arc's cost is made uneven by, to choose among equals
_WORTH = 1e-7  # a route must better the relaxation by more than rounding

Kept = tuple[Stage, float]  #: an aim and the value that the later ones must not lose
Costs = Mapping[int, list[FloatArray]]  #: by machine, what the arcs of its network cost in each step


@dataclass(frozen=True)
class Grown:
    """The case with more in its parts.

    Attributes
    ----------
    case : Case
    bound : float or None
        The relaxation's bound on the aim over whole networks; None where no prices could be had.
    costs : mapping
        The arcs' costs at the prices that give the bound.
    model : ChoiceModel
        Of the case, with the aim as its objective and the ones before held.
    """

    case: Case
    bound: float | None
    costs: Costs
    model: ChoiceModel

    @property
    def is_whole(self) -> bool:
        """Whether the parts are all there is."""
        return all(part.is_whole for part in self.case.parts.values())


def pose(case: Case, stage: Stage, kept: Sequence[Kept], model: ChoiceModel | None = None) -> ChoiceModel:
    """Ask for an aim while others are held, by the given `model` if it has the same to choose from."""
    import pulp

    if model is None or model.case.parts is not case.parts:
        model = build_choice(case)
        for earlier, value in kept:
            keep_aim(model, earlier, value)
    model.case = case
    model.problem.setObjective(pulp.LpAffineExpression(stage.terms(model)))
    return model


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


def grow_parts(
    case: Case, best: Selection, stage: Stage, kept: Sequence[Kept], model: ChoiceModel | None, limit_s: float
) -> Grown:
    """Bound an aim by its relaxation, adding to the parts until nothing left out would better it."""
    begun = time.perf_counter()
    case = _with_more(case, {n: _taken(case, best, n) for n in case.parts})
    model = pose(case, stage, kept, model)
    grown = Grown(case, None, {}, model)
    while (prices := price_relaxation(model.problem, limit_s)) is not None:
        costs = {n: _arc_costs(case, n, stage, [earlier for earlier, _ in kept], prices) for n in case.parts}
        wanted, missing = _price_out(case, costs)
        bound = prices.objective + missing
        if grown.bound is None or bound > grown.bound:
            grown = replace(grown, bound=bound, costs=costs)
        settled = stage.whole and best_possible(stage, bound) >= best_possible(stage, prices.objective)
        if settled or not wanted or time.perf_counter() - begun > limit_s:
            break
        case = _with_more(case, wanted)
        model = pose(case, stage, kept)
    return replace(grown, case=case, model=model)


def nearest(grown: Grown, best: Selection, room: float, most: int) -> tuple[Case, bool]:
    """Hold only what a choice could take that passes the bound by no more than `room`; and say if that is all of it.

    A choice costs at least the bound and that by which each machine's route passes its cheapest, so an arc
    through which no route comes within the room is in no such choice. Of more than `most` arcs the best are held.
    The `best` choice so far is always among what is held.
    """
    passed = {number: _passed(part, grown.costs[number]) for number, part in grown.case.parts.items()}
    complete = (
        sum(int((over <= room + _WORTH).sum()) for layers in passed.values() for over in layers) <= most
    )
    if complete:
        wanted = {n: tuple(over <= room + _WORTH for over in layers) for n, layers in passed.items()}
    else:
        wanted = {
            n: _best_of(part, grown.costs[n], most // len(passed)) for n, part in grown.case.parts.items()
        }
    parts = {}
    for number, part in grown.case.parts.items():
        taken = _taken(grown.case, best, number)
        mask = tuple(near | own for near, own in zip(wanted[number], taken, strict=True))
        parts[number] = cut_pieces(part.outline, mask)
    return replace(grown.case, parts=parts), complete


def _best_of(part: PieceTable, cost: list[FloatArray], most: int) -> Mask:
    """About `most` arcs of cheap routes, whole routes; where many cost the same a few of them, at random."""
    rng = np.random.default_rng(0)
    uneven = [own + rng.uniform(0.0, _UNEVEN, len(own)) for own in cost]
    through = part.outline.least_through(uneven)
    every = np.concatenate(through)
    limit = np.partition(every, most)[most] if most < len(every) else np.inf
    return tuple(total <= limit for total in through)


def without_hope(grown: Grown, stage: Stage, reached: float) -> Mapping[int, PieceTable]:
    """Parts without what no choice can take that keeps what the aim has reached; it will not be missed later."""
    if grown.bound is None or not grown.is_whole or stage.energy:
        return grown.case.parts
    room = reached - grown.bound + 2.0 * KEPT_SLACK * max(1.0, abs(reached)) + _WORTH
    parts = {}
    for number, part in grown.case.parts.items():
        left = part.outline.within(tuple(over <= room for over in _passed(part, grown.costs[number])))
        parts[number] = part if left.n_arcs == part.outline.n_arcs else cut_pieces(left, left.whole)
    same = all(parts[number] is part for number, part in grown.case.parts.items())
    return grown.case.parts if same else parts


def _passed(part: PieceTable, cost: list[FloatArray]) -> list[FloatArray]:
    """By how much the cheapest route through each arc passes the cheapest of all."""
    through = part.outline.least_through(cost)
    least = float(through[0].min())
    return [total - least for total in through]


def _taken(case: Case, best: Selection, number: int) -> Mask:
    """What the best choice so far takes; the aims before are kept by it, so the model always has an answer."""
    return case.parts[number].outline.along(case.tables[number].routes[[best.rows[number]]])


def _with_more(case: Case, wanted: Mapping[int, Mask]) -> Case:
    """Add to the parts; the same case where they hold it all."""
    parts = dict(case.parts)
    for number, mask in wanted.items():
        part = parts[number]
        more = tuple(old | new for old, new in zip(part.part, mask, strict=True))
        if sum(step.sum() for step in more) > sum(step.sum() for step in part.part):
            parts[number] = cut_pieces(part.outline, more)
    same = all(parts[number] is part for number, part in case.parts.items())
    return case if same else replace(case, parts=parts)


def _price_out(case: Case, costs: Costs) -> tuple[dict[int, Mask], float]:
    """Arcs worth adding, by machine; and what the relaxation could at most be bettered by (negative)."""
    wanted, missing = {}, 0.0
    for number, part in case.parts.items():
        if part.is_whole:
            continue
        through = part.outline.least_through(costs[number])
        held = float(part.outline.least_through(costs[number], part.part)[0].min())
        least = float(through[0].min())
        if least < held - _WORTH:
            missing += least - held
            wanted[number] = _best_of(part, costs[number], _MOST_ADDED)
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
