"""What an aim's linear relaxation tells: how good a choice could be, and which patterns cannot be part of a good one.

At the relaxation's prices a choice costs at least the bound and that by which each machine's pattern passes the
machine's cheapest (reduced-cost fixing, Nemhauser and Wolsey 1988, II.5.3). So where a choice is known, patterns
that pass by more than what lies between it and the bound can be left out, and once an aim is reached, so can those
that would lose it again: the later aims choose among ever fewer.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from scheduler.charging.patterns import PatternTable
from scheduler.charging.pieces import Mask, PieceTable, cut_pieces
from scheduler.planning.model import Case, ChoiceModel, build_choice
from scheduler.planning.parts import (
    UNEVEN,
    WORTH,
    Costs,
    arc_costs,
    cheap_routes,
    price_out,
    taken_by,
    with_more,
)
from scheduler.planning.prices import Prices, price_relaxation
from scheduler.planning.selection import Selection
from scheduler.planning.stages import KEPT_SLACK, Stage, best_possible, keep_aim
from scheduler.timegrid import FloatArray

_USED = 1e-6  # of a pattern, below which it is the solver's rounding

Kept = tuple[Stage, float]  #: an aim and the value that the later ones must not lose


@dataclass(frozen=True)
class Relaxed:
    """An aim's relaxation over all that the hand may do, and the case with what it has brought in.

    Attributes
    ----------
    case : Case
    model : ChoiceModel
        Of the case, with the aim as its objective and the ones before held.
    bound : float or None
        No choice does better; None where no prices could be had.
    passed : mapping
        By machine, how much dearer than its cheapest pattern each of its patterns is at the prices that give the
        bound; where it is in pieces, the cheapest pattern through each arc, an array a step.
    used : mapping
        By machine, which of its patterns or arcs the relaxation itself takes, if only in part.
    costs : mapping
        By machine in pieces, its arcs' costs at those prices.
    """

    case: Case
    model: ChoiceModel
    bound: float | None = None
    passed: Mapping[int, list[FloatArray]] = field(default_factory=dict)
    used: Mapping[int, Mask] = field(default_factory=dict)
    costs: Costs = field(default_factory=dict)

    @property
    def is_whole(self) -> bool:
        """Whether everything that the hand may do is in the model."""
        return all(part.is_whole for part in self.case.parts.values())


def pose(case: Case, stage: Stage, kept: Sequence[Kept], model: ChoiceModel | None = None) -> ChoiceModel:
    """Ask for an aim while others are held, by the given `model` if it has the same to choose from."""
    import pulp

    if model is None or not _offer_the_same(model.case, case):
        model = build_choice(case)
        for earlier, value in kept:
            keep_aim(model, earlier, value)
    model.case = case
    model.problem.setObjective(pulp.LpAffineExpression(stage.terms(model)))
    return model


def _offer_the_same(one: Case, other: Case) -> bool:
    return all(mine is theirs for mine, theirs in zip(one.offers, other.offers, strict=True))


def relax(
    case: Case, best: Selection, stage: Stage, kept: Sequence[Kept], model: ChoiceModel | None, limit_s: float
) -> Relaxed:
    """Bound an aim, adding to machines in pieces until nothing left out would better it."""
    begun = time.perf_counter()
    case = with_more(case, {n: taken_by(case, best, n) for n in case.parts})
    relaxed = Relaxed(case, pose(case, stage, kept, model))
    while (prices := price_relaxation(relaxed.model.problem, limit_s)) is not None:
        case = relaxed.case
        costs = {n: arc_costs(case, n, stage, [earlier for earlier, _ in kept], prices) for n in case.parts}
        wanted, missing = price_out(case, costs)
        bound = prices.bound + missing
        if relaxed.bound is None or bound > relaxed.bound:
            passed = _passed(relaxed.model, costs, prices)
            relaxed = replace(relaxed, bound=bound, passed=passed, costs=costs)
        relaxed = replace(relaxed, used=_used(relaxed.model, prices))
        settled = stage.whole and best_possible(stage, bound) >= best_possible(stage, prices.bound)
        if settled or not wanted or time.perf_counter() - begun > limit_s:
            break
        case = with_more(case, wanted)
        relaxed = replace(relaxed, case=case, model=pose(case, stage, kept))
    return relaxed


def _passed(model: ChoiceModel, costs: Costs, prices: Prices) -> dict[int, list[FloatArray]]:
    passed = {}
    for number, picks in enumerate(model.picks):
        if number in costs:
            layers = model.case.parts[number].outline.least_through(costs[number])
        else:
            layers = [np.array([prices.by_variable[pick.name] for pick in picks])]
        least = float(layers[0].min())
        passed[number] = [dearer - least for dearer in layers]
    return passed


def _used(model: ChoiceModel, prices: Prices) -> dict[int, Mask]:
    used = {}
    for number, picks in enumerate(model.picks):
        flow = np.array([prices.optimum[pick.name] for pick in picks])
        pieces = model.case.parts.get(number)
        used[number] = (flow > _USED,) if pieces is None else pieces.arcs_of(np.flatnonzero(flow > _USED))
    return used


def count_within(relaxed: Relaxed, room: float) -> int:
    """Return how many patterns and arcs a choice could take that passes the bound by no more than `room`."""
    return sum(int((dearer <= room + WORTH).sum()) for layers in relaxed.passed.values() for dearer in layers)


def within(relaxed: Relaxed, best: Selection, room: float) -> tuple[Case, Selection]:
    """Hold only what a choice could take that passes the bound by no more than `room`, and what `best` takes."""
    wanted = {n: tuple(dearer <= room + WORTH for dearer in layers) for n, layers in relaxed.passed.items()}
    return _hold(relaxed.case, best, wanted)


def cheapest(relaxed: Relaxed, best: Selection, most_patterns: int, most_arcs: int) -> tuple[Case, Selection]:
    """Hold what the relaxation takes, each machine's cheapest patterns or arcs beside, and what `best` takes."""
    wanted = {}
    for number, layers in relaxed.passed.items():
        if number in relaxed.costs:
            cheap = cheap_routes(relaxed.case.parts[number], relaxed.costs[number], most_arcs)
        else:
            cheap = (_cheap_patterns(layers[0], most_patterns),)
        used = relaxed.used[number]
        wanted[number] = tuple(low | own for low, own in zip(cheap, used, strict=True))
    return _hold(relaxed.case, best, wanted)


def _cheap_patterns(dearer: FloatArray, most: int) -> np.ndarray:
    """Return which `most` pass least; where many pass by the same a few of them, at random."""
    uneven = dearer + np.random.default_rng(0).uniform(0.0, UNEVEN, len(dearer))
    return uneven <= (np.partition(uneven, most)[most] if most < len(uneven) else np.inf)


def _hold(case: Case, best: Selection, wanted: Mapping[int, Mask]) -> tuple[Case, Selection]:
    """Cut parts and tables down to what is wanted and what `best` takes; `best` in the new tables' rows."""
    tables, parts, rows = list(case.tables), dict(case.parts), list(best.rows)
    for number, masks in wanted.items():
        if number in parts:
            taken = taken_by(case, best, number)
            parts[number] = _cut(
                parts[number], tuple(new | own for new, own in zip(masks, taken, strict=True))
            )
        else:
            tables[number], rows[number] = _keep(tables[number], masks[0], best.rows[number])
    held = replace(case, tables=tuple(tables), parts=parts)
    return case if _offer_the_same(held, case) else held, Selection(tuple(rows), best.duty)


def _cut(part: PieceTable, mask: Mask) -> PieceTable:
    return (
        part
        if all(old is new or (old == new).all() for old, new in zip(part.part, mask, strict=True))
        else cut_pieces(part.outline, mask)
    )


def _keep(table: PatternTable, wanted: np.ndarray, own: int) -> tuple[PatternTable, int]:
    mask = wanted.copy()
    mask[own] = True
    if mask.all():
        return table, own
    return table.keep(mask), int(mask[:own].sum())


def without_hope(relaxed: Relaxed, stage: Stage, best: Selection) -> tuple[Case, Selection]:
    """Leave out what no choice can take that keeps what the aim has reached; it will not be missed later."""
    if relaxed.bound is None or not relaxed.is_whole or stage.energy:
        return relaxed.case, best
    reached = stage.value(relaxed.case, best)
    return _narrow(relaxed.case, best, relaxed.passed, _room_to_keep(reached, relaxed.bound))


def without_dearer(case: Case, stage: Stage, best: Selection) -> tuple[Case, Selection]:
    """Leave out what would lose what the aim has reached even if all other machines did their best at it."""
    if stage.energy or not all(part.is_whole for part in case.parts.values()):
        return case, best
    passed = {}
    for number, table in enumerate(case.tables):
        if number in case.parts:
            costs = [stage.weights.of_arcs(arcs) for arcs in table.network.layers]
            layers = case.parts[number].outline.least_through(costs)
        else:
            layers = [stage.weights.of_patterns(table)]
        least = float(layers[0].min())
        passed[number] = [dearer - least for dearer in layers]
    return _narrow(case, best, passed, _room_to_keep(stage.value(case, best), stage.least(case)))


def _room_to_keep(reached: float, bound: float) -> float:
    return reached - bound + 2.0 * KEPT_SLACK * max(1.0, abs(reached)) + WORTH


def _narrow(
    case: Case, best: Selection, passed: Mapping[int, list[FloatArray]], room: float
) -> tuple[Case, Selection]:
    within_room = {n: tuple(dearer <= room for dearer in layers) for n, layers in passed.items()}
    listed = {n: masks for n, masks in within_room.items() if n not in case.parts}
    case, best = _hold(case, best, listed)
    parts = {n: _narrowed(part, within_room[n]) for n, part in case.parts.items()}
    return replace(case, parts=parts), best


def _narrowed(part: PieceTable, mask: Mask) -> PieceTable:
    left = part.outline.within(mask)
    return part if left.n_arcs == part.outline.n_arcs else cut_pieces(left, left.whole)


def carry_over(selection: Selection, source: Case, target: Case) -> tuple[Case, Selection]:
    """Find a choice among another case's patterns; those that it does not hold are added at its tables' ends."""
    tables, rows = list(target.tables), list[int]()
    for number, (table, row) in enumerate(zip(source.tables, selection.rows, strict=True)):
        route = table.routes[row]
        tables[number] = tables[number].extended(route[np.newaxis])
        rows.append(tables[number].row_of(route))
    return replace(target, tables=tuple(tables)), Selection(tuple(rows), selection.duty)
