"""Routes in pieces, for machines with too many to list: a choice is a flow through the network, not a row of a table.

States whose futures are alike (the same steps lead on, to states that are alike) are one here, so that a route
through the outline is a route of the network. Chains without a choice are one piece. Which pieces a choice holds
follows from its flow: as much leaves every node as comes in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.charging.routes import Arcs, BoolArray, IntArray, Network
from scheduler.timegrid import FloatArray

_LABELS_PER_UNIT = 1e5  # draws closer than this are one

Mask = tuple[BoolArray, ...]  #: for each step, which of the outline's arcs


@dataclass(frozen=True)
class OutlineStep:
    """One step of an outline.

    Attributes
    ----------
    tail, head : ndarray of int
        Node in this layer and in the next, an entry an arc.
    arc : ndarray of int
        One of the network's arcs that stand behind it; all of them are alike.
    number : ndarray of int
        For each of the network's arcs, the outline's; -1 for one left out.
    """

    tail: IntArray
    head: IntArray
    arc: IntArray
    number: IntArray


@dataclass(frozen=True)
class Outline:
    """A network with its states of equal future made one."""

    network: Network
    steps: tuple[OutlineStep, ...]

    @property
    def n_arcs(self) -> int:
        """How many arcs it has."""
        return sum(len(step.arc) for step in self.steps)

    @property
    def whole(self) -> Mask:
        """All of it."""
        return tuple(np.ones(len(step.arc), dtype=bool) for step in self.steps)

    def within(self, part: Mask) -> Outline:
        """Leave out everything else; `part` is made of whole routes."""
        steps = []
        for step, mask in zip(self.steps, part, strict=True):
            number = np.where(mask, np.cumsum(mask) - 1, -1)[step.number]
            number[step.number < 0] = -1
            steps.append(OutlineStep(step.tail[mask], step.head[mask], step.arc[mask], number))
        return Outline(self.network, tuple(steps))

    def along(self, routes: IntArray) -> Mask:
        """Return the arcs that any of the network's `routes` takes, shape (n, n_steps)."""
        masks = tuple(np.zeros(len(step.arc), dtype=bool) for step in self.steps)
        for number, (mask, step) in enumerate(zip(masks, self.steps, strict=True)):
            mask[step.number[routes[:, number]]] = True
        return masks

    def route(self, arcs: Sequence[int]) -> IntArray:
        """Find the network's route behind the outline's `arcs`, one a step."""
        node, route = 0, np.empty(len(self.steps), dtype=np.int64)
        for step, (layer, outlined, wanted) in enumerate(
            zip(self.network.layers, self.steps, arcs, strict=True)
        ):
            route[step] = np.flatnonzero((layer.tail == node) & (outlined.number == wanted))[0]
            node = int(layer.head[route[step]])
        return route

    def least_through(self, cost: Sequence[FloatArray], part: Mask | None = None) -> list[FloatArray]:
        """Total cost of the cheapest route through each arc, of those in `part`; `cost` is by the network's arcs."""
        costs = [step_cost[step.arc] for step_cost, step in zip(cost, self.steps, strict=True)]
        if part is not None:
            costs = [np.where(mask, own, np.inf) for mask, own in zip(part, costs, strict=True)]
        reached = [np.zeros(1)]
        for step, own in zip(self.steps, costs, strict=True):
            ahead = np.full(int(step.head.max()) + 1, np.inf)
            np.minimum.at(ahead, step.head, reached[-1][step.tail] + own)
            reached.append(ahead)
        to_go, through = np.zeros(len(reached[-1])), []
        for step, own, so_far in zip(
            reversed(self.steps), reversed(costs), reversed(reached[:-1]), strict=True
        ):
            through.append(so_far[step.tail] + own + to_go[step.head])
            behind = np.full(len(so_far), np.inf)
            np.minimum.at(behind, step.tail, own + to_go[step.head])
            to_go = behind
        return through[::-1]


def outline(network: Network) -> Outline:
    """Make states of equal future one, from the last layer back."""
    kind = np.zeros(len(network.charge_wh[-1]), dtype=np.int64)
    steps = []
    for arcs, charge in zip(reversed(network.layers), reversed(network.charge_wh[:-1]), strict=True):
        _, label = np.unique(_labels(network, arcs, kind[arcs.head]), axis=0, return_inverse=True)
        kind_before = _kinds(arcs.tail, label, len(charge))
        key = kind_before[arcs.tail] * (int(label.max()) + 1) + label
        _, first, number = np.unique(key, return_index=True, return_inverse=True)
        steps.append(OutlineStep(kind_before[arcs.tail[first]], kind[arcs.head[first]], first, number))
        kind = kind_before
    return Outline(network, tuple(reversed(steps)))


def _labels(network: Network, arcs: Arcs, head: IntArray) -> IntArray:
    place = np.array([-1 if mode.place is None else mode.place for mode in network.modes])
    measured = np.column_stack([arcs.wall_wh, arcs.peak_w, arcs.short_wh])
    rounded = np.rint(measured * _LABELS_PER_UNIT).astype(np.int64)
    return np.column_stack([place[arcs.mode], arcs.hot, arcs.changes, arcs.met, rounded, head])


def _kinds(tail: IntArray, label: IntArray, n_nodes: int) -> IntArray:
    """Number nodes by the set of labels on their ways out."""
    pairs = np.unique(np.column_stack([tail, label]), axis=0)
    cuts = np.searchsorted(pairs[:, 0], np.arange(1, n_nodes))
    seen: dict[bytes, int] = {}
    ways_out = np.split(np.ascontiguousarray(pairs[:, 1]), cuts)
    return np.array([seen.setdefault(ways.tobytes(), len(seen)) for ways in ways_out], dtype=np.int64)


@dataclass(frozen=True)
class PieceTable:
    """Pieces of the routes in one part of an outline, a row each, with the columns of a table of patterns.

    Attributes
    ----------
    outline : Outline
    part : Mask
    first, last : list of (int, int)
        Edge and node at which each piece begins and ends.
    taken : list of list of int
        The outline's arcs in each piece, a step each.
    wall_wh, peak_w, place, hot, met, short_wh, changes
        As in a table of patterns; in steps outside the piece nothing is drawn and no place taken. What the
        needs at the very first edge count for is with the pieces that begin there.
    """

    outline: Outline
    part: Mask
    first: list[tuple[int, int]]
    last: list[tuple[int, int]]
    taken: list[list[int]]
    wall_wh: FloatArray
    peak_w: FloatArray
    place: IntArray
    hot: BoolArray
    met: IntArray
    short_wh: FloatArray
    changes: IntArray

    @property
    def network(self) -> Network:
        """The machine's network."""
        return self.outline.network

    @property
    def is_whole(self) -> bool:
        """Whether the part is all of the outline."""
        return all(bool(mask.all()) for mask in self.part)

    def __len__(self) -> int:
        """Return how many pieces there are."""
        return len(self.taken)

    def arcs_of(self, pieces: IntArray) -> Mask:
        """Return which of the outline's arcs the given pieces are made of."""
        masks = tuple(np.zeros(len(step.arc), dtype=bool) for step in self.outline.steps)
        for piece in pieces.tolist():
            for step, arc in enumerate(self.taken[piece], start=self.first[piece][0]):
                masks[step][arc] = True
        return masks

    def pieces_of(self, route: IntArray) -> list[int]:
        """Return the pieces that one of the network's routes is made of, shape (n_steps,)."""
        masks = self.outline.along(route[np.newaxis])
        starts = zip(self.first, self.taken, strict=True)
        return [piece for piece, (begin, arcs) in enumerate(starts) if masks[begin[0]][arcs[0]]]

    def route_of(self, flow: Sequence[float]) -> IntArray:
        """Follow the strongest flow, given piece by piece, to a route of the network."""
        strongest: dict[tuple[int, int], int] = {}
        for piece in sorted(range(len(self)), key=lambda p: flow[p]):
            strongest[self.first[piece]] = piece
        node, arcs = (0, 0), list[int]()
        while len(arcs) < len(self.outline.steps):
            piece = strongest[node]
            arcs += self.taken[piece]
            node = self.last[piece]
        return self.outline.route(arcs)


def cut_pieces(whole: Outline, part: Mask) -> PieceTable:
    """Cut the routes of a part at the nodes where a choice is or routes meet."""
    first, last, taken = _chains(whole, part)
    piece = np.repeat(np.arange(len(taken)), [len(arcs) for arcs in taken])
    step = np.concatenate([begin[0] + np.arange(len(arcs)) for begin, arcs in zip(first, taken, strict=True)])
    outlined = np.concatenate([np.array(arcs, dtype=np.int64) for arcs in taken])
    network = whole.network
    place_of_mode = np.array([-1 if mode.place is None else mode.place for mode in network.modes])
    shape = (len(taken), len(whole.steps))
    wall, peak, place, hot = np.zeros(shape), np.zeros(shape), np.full(shape, -1), np.zeros(shape, dtype=bool)
    at_start = np.array([begin[0] == 0 for begin in first])
    met = np.outer(at_start, network.at_start.met[0])
    short = at_start * network.at_start.short_wh[0]
    changes = np.zeros(len(taken), dtype=np.int64)
    for number, (arcs, outline_step) in enumerate(zip(network.layers, whole.steps, strict=True)):
        rows, arc = piece[step == number], outline_step.arc[outlined[step == number]]
        wall[rows, number], peak[rows, number] = arcs.wall_wh[arc], arcs.peak_w[arc]
        place[rows, number], hot[rows, number] = place_of_mode[arcs.mode[arc]], arcs.hot[arc]
        met[rows] += arcs.met[arc]
        short[rows] += arcs.short_wh[arc]
        changes[rows] += arcs.changes[arc]
    return PieceTable(whole, part, first, last, taken, wall, peak, place, hot, met, short, changes)


def _chains(
    whole: Outline, part: Mask
) -> tuple[list[tuple[int, int]], list[tuple[int, int]], list[list[int]]]:
    """Where each chain begins, where it ends, and its arcs."""
    first, last, taken = list[tuple[int, int]](), list[tuple[int, int]](), list[list[int]]()
    going_on: dict[int, int] = {}  # by node of the layer, the one piece that comes in and goes on
    for number, (step, mask) in enumerate(zip(whole.steps, part, strict=True)):
        ways_in = np.bincount(step.head[mask], minlength=int(step.head.max()) + 1)
        passed = ways_in == 1
        if number + 1 < len(whole.steps):
            following = whole.steps[number + 1]
            ways_out = np.bincount(following.tail[part[number + 1]], minlength=len(ways_in))
            passed &= ways_out == 1
        ahead: dict[int, int] = {}
        for arc in np.flatnonzero(mask).tolist():
            tail, head = int(step.tail[arc]), int(step.head[arc])
            piece = going_on.get(tail, len(taken))
            if piece == len(taken):
                first.append((number, tail))
                last.append((0, 0))
                taken.append([])
            last[piece] = (number + 1, head)
            taken[piece].append(arc)
            if passed[head]:
                ahead[head] = piece
        going_on = ahead
    return first, last, taken
