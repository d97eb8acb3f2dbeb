"""R8 to R10: everything the hand may do with one machine, as a layered network of states.

A node of layer `t` is what the machine may be at edge `t`: how it was plugged in the step before, and its
charge. An arc is what may happen in step `t`. A charger's curve has no memory (R7), so routes that
reach the same charge meet again in the same node: the network stays small where the number of routes does not.
A route through it is a pattern: it has an exact draw in every step and a charge on every edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.timegrid import FloatArray
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import DueNeed
from scheduler.yard.models import PRIORITIES, Machine

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


class Stay(Enum):
    """How a machine is in an outlet during a step."""

    AS_FOUND = "on, plugged in before the plan began"
    ON = "on"
    WAITING = "timer not yet on"
    DONE = "timer off again"


class Mode(NamedTuple):
    """Where the machine is during a step: in a place and how, or unplugged (`place` is None)."""

    place: int | None
    stay: Stay | None

    @property
    def is_on(self) -> bool:
        """Whether its outlet is on."""
        return self.stay in {Stay.ON, Stay.AS_FOUND}


UNPLUGGED = Mode(None, None)

#: From how it was to how it is in the same place: somebody has set the timer again (R10).
TIMER_SET_ANEW = {
    (Stay.AS_FOUND, Stay.ON),
    (Stay.AS_FOUND, Stay.WAITING),
    (Stay.ON, Stay.WAITING),
    (Stay.DONE, Stay.ON),
    (Stay.DONE, Stay.WAITING),
}


@dataclass(frozen=True)
class Arcs:
    """All that may happen in one step, one entry an arc, sorted by tail.

    Attributes
    ----------
    tail, head : ndarray of int
        Node in this layer and in the next.
    mode : ndarray of int
        Index into the network's modes.
    wall_wh : ndarray
        Energy drawn at the wall [Wh].
    peak_w : ndarray
        Largest draw within the step [W]; a charger's draw never rises within a step, so it is the first.
    hot : ndarray of bool
        More than 80 % of the breaker's rating for the whole step (R6).
    changes : ndarray of int
        Plugs put in or pulled at the visit that opens the step.
    met : ndarray of int, shape (arcs, 3)
        Needs met at the edge that ends the step, by class.
    short_wh : ndarray
        What is missing for the needs not met there [Wh].
    """

    tail: IntArray
    head: IntArray
    mode: IntArray
    wall_wh: FloatArray
    peak_w: FloatArray
    hot: BoolArray
    changes: IntArray
    met: IntArray
    short_wh: FloatArray

    def keep(self, wanted: BoolArray | IntArray) -> Arcs:
        """Return only the arcs asked for, in that order."""
        return Arcs(*(getattr(self, name)[wanted] for name in self.__dataclass_fields__))


class NeedsAtEdge(NamedTuple):
    """What the needs that fall on one edge make of each charge arriving there."""

    charge_wh: FloatArray
    met: IntArray
    short_wh: FloatArray


@dataclass(frozen=True)
class Network:
    """The states of one machine over a grid.

    Attributes
    ----------
    machine : Machine
    modes : tuple of Mode
    layers : tuple of Arcs, length n_steps
        Only arcs that lie on a whole route.
    charge_wh : tuple of ndarray, length n_steps + 1
        Charge of each node, after the work taken at its edge [Wh].
    at_start : NeedsAtEdge
        What the needs at the very first edge make of the charge the machine starts with.
    """

    machine: Machine
    modes: tuple[Mode, ...]
    layers: tuple[Arcs, ...]
    charge_wh: tuple[FloatArray, ...]
    at_start: NeedsAtEdge

    @property
    def n_routes(self) -> float:
        """How many routes lead through it; a float, since it may be astronomical."""
        ways: FloatArray = np.ones(len(self.charge_wh[-1]))
        for arcs, charge in zip(reversed(self.layers), reversed(self.charge_wh[:-1]), strict=True):
            counted = np.bincount(arcs.tail, weights=ways[arcs.head], minlength=len(charge))
            ways = counted.astype(float)
        return float(ways[0])

    def all_routes(self) -> IntArray:
        """Every route as the arcs it takes, shape (n_routes, n_steps)."""
        at_node = np.zeros(1, dtype=np.int64)
        taken: list[IntArray] = []
        origins: list[IntArray] = []
        for arcs, charge in zip(self.layers, self.charge_wh[:-1], strict=True):
            origin, arc = _ways_out(arcs, len(charge), at_node)
            taken.append(arc)
            origins.append(origin)
            at_node = arcs.head[arc]
        return _trace_back(taken, origins)

    def routes_within(self, cost: Sequence[FloatArray], budget: float, most: int) -> IntArray | None:
        """Every route whose total cost is at most `budget`, as in `all_routes`; None if they are more than `most`."""
        to_go = [np.zeros(len(self.charge_wh[-1]))]
        for arcs, step_cost, charge in zip(
            reversed(self.layers), reversed(cost), reversed(self.charge_wh[:-1]), strict=True
        ):
            ahead = np.full(len(charge), np.inf)
            np.minimum.at(ahead, arcs.tail, step_cost + to_go[-1][arcs.head])
            to_go.append(ahead)
        to_go.reverse()
        at_node, spent = np.zeros(1, dtype=np.int64), np.zeros(1)
        taken: list[IntArray] = []
        origins: list[IntArray] = []
        for step, (arcs, step_cost) in enumerate(zip(self.layers, cost, strict=True)):
            origin, arc = _ways_out(arcs, len(self.charge_wh[step]), at_node)
            total = spent[origin] + step_cost[arc]
            within = total + to_go[step + 1][arcs.head[arc]] <= budget
            origin, arc, spent = origin[within], arc[within], total[within]
            if len(arc) > most:
                return None
            taken.append(arc)
            origins.append(origin)
            at_node = arcs.head[arc]
        return _trace_back(taken, origins)

    def cheapest_routes(self, cost: Sequence[FloatArray]) -> tuple[FloatArray, IntArray]:
        """Find the route of least total cost to each of the last nodes.

        Parameters
        ----------
        cost : sequence of ndarray
            For each step the cost of each of its arcs.

        Returns
        -------
        total : ndarray, shape (last nodes,)
        arcs : ndarray of int, shape (last nodes, n_steps)
        """
        best = np.zeros(1)
        choices: list[IntArray] = []
        for arcs, step_cost, charge in zip(self.layers, cost, self.charge_wh[1:], strict=True):
            reached = best[arcs.tail] + step_cost
            order = np.lexsort((reached, arcs.head))
            lead = np.ones(len(order), dtype=bool)
            lead[1:] = arcs.head[order][1:] != arcs.head[order][:-1]
            choice = np.zeros(len(charge), dtype=np.int64)
            choice[arcs.head[order][lead]] = order[lead]
            choices.append(choice)
            best = reached[choice]
        node = np.arange(len(best))
        routes = np.empty((len(best), len(self.layers)), dtype=np.int64)
        for step in range(len(self.layers) - 1, -1, -1):
            routes[:, step] = choices[step][node]
            node = self.layers[step].tail[routes[:, step]]
        return best, routes

    def cheapest_route(self, cost: Sequence[FloatArray]) -> tuple[float, IntArray]:
        """Find the route of least total cost, as its total and its arcs, shape (n_steps,)."""
        totals, routes = self.cheapest_routes(cost)
        least = int(np.argmin(totals))
        return float(totals[least]), routes[least]

    def cheapest_in_changes(self, cost: Sequence[FloatArray], changes: int) -> IntArray | None:
        """Find the route of least total cost among those of exactly so many plug changes, shape (n_steps,).

        Returns None where there is none, or none of finite cost.
        """
        best = np.full((changes + 1, 1), np.inf)
        best[0, 0] = 0.0
        choices: list[IntArray] = []
        for arcs, step_cost, charge in zip(self.layers, cost, self.charge_wh[1:], strict=True):
            behind = np.arange(changes + 1)[:, np.newaxis] - arcs.changes
            so_far = np.where(behind >= 0, best[np.maximum(behind, 0), arcs.tail], np.inf)
            reached = so_far + step_cost
            order = np.lexsort((reached, np.broadcast_to(arcs.head, reached.shape)), axis=-1)
            _, lead = np.unique(arcs.head[order[0]], return_index=True)
            choice = np.take_along_axis(order, np.broadcast_to(lead, (changes + 1, len(charge))), axis=1)
            choices.append(choice)
            best = np.take_along_axis(reached, choice, axis=1)
        node = int(np.argmin(best[changes]))
        if not np.isfinite(best[changes, node]):
            return None
        route = np.empty(len(self.layers), dtype=np.int64)
        for step in range(len(self.layers) - 1, -1, -1):
            route[step] = choices[step][changes, node]
            node = int(self.layers[step].tail[route[step]])
            changes -= int(self.layers[step].changes[route[step]])
        return route


def _ways_out(arcs: Arcs, n_nodes: int, at_node: IntArray) -> tuple[IntArray, IntArray]:
    """Continue prefixes that stand at the given nodes by every arc: which prefix, which arc."""
    ways = np.bincount(arcs.tail, minlength=n_nodes)
    first = np.cumsum(ways) - ways
    origin = np.repeat(np.arange(len(at_node)), ways[at_node])
    opened = np.cumsum(ways[at_node]) - ways[at_node]
    return origin, first[at_node][origin] + np.arange(len(origin)) - opened[origin]


def _trace_back(taken: list[IntArray], origins: list[IntArray]) -> IntArray:
    """Arc matrix from what each prefix took and which prefix it grew from."""
    routes = np.empty((len(taken[-1]), len(taken)), dtype=np.int64)
    label = np.arange(len(taken[-1]))
    for step in range(len(taken) - 1, -1, -1):
        routes[:, step] = taken[step][label]
        label = origins[step][label]
    return routes


def meet_needs(charge_wh: FloatArray, needs: Sequence[DueNeed]) -> NeedsAtEdge:
    """Judge the needs that fall on one edge and take their work, the earlier in the file first (R9, R12)."""
    met = np.zeros((len(charge_wh), len(PRIORITIES)), dtype=np.int64)
    short = np.zeros(len(charge_wh))
    for need in needs:
        ready = charge_wh >= need.need_wh - READY_TOLERANCE_WH
        met[:, PRIORITIES.index(need.priority)] += ready
        short += np.where(ready, 0.0, need.need_wh - charge_wh)
        charge_wh = np.clip(charge_wh - need.work_wh, 0.0, None)
    return NeedsAtEdge(charge_wh, met, short)
