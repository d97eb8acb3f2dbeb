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

from scheduler.charging.curve import ChargeCurve
from scheduler.charging.places import Place
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import Agenda, DueNeed
from scheduler.yard.models import PRIORITIES, Machine

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_CHARGES_PER_WH = 1e5  # charges closer than this are one state
_MODE_STRIDE = 1 << 52


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


class Move(NamedTuple):
    """One way from the mode of the step before to that of this step, and the plug changes it costs."""

    before: int
    during: int
    changes: int


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


def build_network(
    machine: Machine, agenda: Agenda, places: Sequence[Place], shed_temp_c: FloatArray
) -> Network:
    """Build the states of one machine.

    Parameters
    ----------
    machine : Machine
    agenda : Agenda
    places : sequence of Place
        All places of the yard; the modes name them by their number here.
    shed_temp_c : ndarray, shape (n_steps,)
        Mean shed temperature of each step [C] (R8).
    """
    return _Builder(machine, agenda, tuple(places), shed_temp_c).build()


class _Builder:
    """Grows the network layer by layer, then cuts what leads nowhere."""

    def __init__(
        self, machine: Machine, agenda: Agenda, places: tuple[Place, ...], shed_temp_c: FloatArray
    ) -> None:
        self.machine = machine
        self.curve = ChargeCurve.of(machine)
        self.grid: Grid = agenda.grid
        self.places = places
        self.away = agenda.away[machine.name]
        self.needs = agenda.needs[machine.name]
        self.visits = frozenset(agenda.visits)
        self.first_visit = min(agenda.visits, default=self.grid.n_steps)
        self.last_need = max((need.edge for need in self.needs), default=0)
        self.refills = any(need.return_edge == need.edge for need in self.needs)
        low, high = machine.charge_temp_c
        self.too_cold_or_hot = (shed_temp_c < low) | (shed_temp_c > high)
        self.home = next(
            (number for number, place in enumerate(places) if machine.outlet in place.outlets), None
        )
        self.modes = self._modes()

    def _modes(self) -> tuple[Mode, ...]:
        modes = [UNPLUGGED]
        for number, place in enumerate(self.places):
            if number == self.home:
                modes.append(Mode(number, Stay.AS_FOUND))
            if place.takes(self.machine):
                modes.append(Mode(number, Stay.ON))
                if place.timer:
                    modes += [Mode(number, Stay.WAITING), Mode(number, Stay.DONE)]
        return tuple(modes)

    def build(self) -> Network:
        start_mode = 0 if self.home is None else self.modes.index(Mode(self.home, Stay.AS_FOUND))
        at_start = meet_needs(np.array([self.machine.charge_wh]), self._needs_at(0))
        mode, charge = np.array([start_mode]), at_start.charge_wh
        layers: list[Arcs] = []
        charges = [charge]
        for step in range(self.grid.n_steps):
            arcs, mode, charge = self._grow(step, mode, charge)
            layers.append(arcs)
            charges.append(charge)
        layers, charges = self._cut(layers, charges, mode)
        return Network(self.machine, self.modes, tuple(layers), tuple(charges), at_start)

    def _needs_at(self, edge: int) -> list[DueNeed]:
        return [need for need in self.needs if need.edge == edge]

    def _grow(self, step: int, mode: IntArray, charge: FloatArray) -> tuple[Arcs, IntArray, FloatArray]:
        """Arcs of one step, and the mode and charge of the nodes they lead to."""
        charged = self.curve.charge_after_wh(charge, self.grid.step_h)
        tails, heads_mode, changes = [], [], []
        for move in self._moves(step):
            from_here = np.flatnonzero((mode == move.before) & self._worthwhile(step, move, charge))
            tails.append(from_here)
            heads_mode.append(np.full(len(from_here), move.during))
            changes.append(np.full(len(from_here), move.changes))
        tail, during = np.concatenate(tails), np.concatenate(heads_mode)
        on = np.array([kind.is_on for kind in self.modes])[during]
        draws = on & (not (self.too_cold_or_hot[step] and self.machine.self_protecting))
        have = np.where(draws, charged[tail], charge[tail])
        judged = meet_needs(have, self._needs_at(step + 1))
        head, first = _number_states(during, judged.charge_wh)
        arcs = Arcs(
            tail=tail,
            head=head,
            mode=during,
            wall_wh=(have - charge[tail]) / self.machine.charger_efficiency,
            peak_w=np.where(draws, self.curve.power_w(charge[tail]), 0.0),
            hot=draws & self._hot(during, charge[tail]),
            changes=np.concatenate(changes),
            met=judged.met,
            short_wh=judged.short_wh,
        )
        return arcs.keep(np.argsort(tail, kind="stable")), during[first], judged.charge_wh[first]

    def _worthwhile(self, step: int, move: Move, charge: FloatArray) -> BoolArray:
        """Leave out what another route does as well with less: plugging in or timing a battery already full."""
        full = charge >= self.machine.capacity_wh
        before, during = self.modes[move.before], self.modes[move.during]
        begins = move.changes > 0 and during is not UNPLUGGED
        switches_off = before.stay is Stay.ON and during.stay is Stay.DONE
        if self.refills or not (begins or switches_off):
            return np.ones(len(charge), dtype=bool)
        return ~full

    def _hot(self, during: IntArray, charge: FloatArray) -> BoolArray:
        hot = np.zeros(len(charge), dtype=bool)
        for number, place in enumerate(self.places):
            if place.continuous_w < self.machine.charger_w:
                above_h = self.curve.hours_above(charge, place.continuous_w)
                here = np.array([kind.place == number for kind in self.modes])[during]
                hot |= here & (above_h >= self.grid.step_h - 1e-9)
        return hot

    def _moves(self, step: int) -> list[Move]:
        """Every way into this step (R8 to R10)."""
        if self.away[step]:
            # Whoever takes it out unplugs it; a timer that never came on was set for nothing.
            return [Move(b, 0, 0) for b, mode in enumerate(self.modes) if mode.stay is not Stay.WAITING]
        moves = self._kept()
        if step in self.visits:
            moves += self._changed(step)
        return [move for move in moves if self._may_be(step, self.modes[move.during])]

    def _kept(self) -> list[Move]:
        """What goes on without a hand: everything as it was, or a timer switching."""
        moves = []
        for before, mode in enumerate(self.modes):
            moves.append(Move(before, before, 0))
            timed = mode.place is not None and self.places[mode.place].timer
            if timed and mode.stay is Stay.WAITING:
                moves.append(Move(before, self.modes.index(Mode(mode.place, Stay.ON)), 0))
            if timed and mode.stay is Stay.ON:
                moves.append(Move(before, self.modes.index(Mode(mode.place, Stay.DONE)), 0))
        return moves

    def _changed(self, step: int) -> list[Move]:
        """What a hand may do at a visit; nothing is plugged in once the last need is past."""
        moves = []
        for before, mode in enumerate(self.modes):
            if mode.place is not None and mode.stay is not Stay.WAITING:
                moves.append(Move(before, 0, 1))
            if step < self.last_need:
                moves += self._begun(before, mode)
        return moves

    def _begun(self, before: int, mode: Mode) -> list[Move]:
        """New stays: in another place, or in the same one with its timer set anew."""
        moves = []
        for during, new in enumerate(self.modes):
            if new.place is None or new.stay not in {Stay.ON, Stay.WAITING}:
                continue
            if new.place != mode.place:
                if mode.stay is not Stay.WAITING:
                    moves.append(Move(before, during, 1 if mode.place is None else 2))
            elif self.places[new.place].timer and (mode.stay, new.stay) in TIMER_SET_ANEW:
                moves.append(Move(before, during, 1))
        return moves

    def _may_be(self, step: int, mode: Mode) -> bool:
        """Whether it may be so during the step; what nobody can change before the first visit simply is."""
        if mode.place is None:
            return True
        if step < self.first_visit:
            return mode.stay is Stay.AS_FOUND
        in_window = not self.too_cold_or_hot[step] or self.machine.self_protecting
        return self.places[mode.place].takes(self.machine) and (not mode.is_on or in_window)

    def _cut(
        self, layers: list[Arcs], charges: list[FloatArray], last_mode: IntArray
    ) -> tuple[list[Arcs], list[FloatArray]]:
        """Drop arcs that lead to no end: outlets that turn too cold, timers that never come on."""
        waiting = np.array([mode.stay is Stay.WAITING for mode in self.modes])
        alive = ~waiting[last_mode]
        for step in range(len(layers) - 1, -1, -1):
            kept = layers[step].keep(alive[layers[step].head])
            number = np.cumsum(alive) - 1
            layers[step] = Arcs(**{**vars(kept), "head": number[kept.head]})
            charges[step + 1] = charges[step + 1][alive]
            alive = np.zeros(len(charges[step]), dtype=bool)
            alive[kept.tail] = True
            renumber = np.cumsum(alive) - 1
            layers[step] = Arcs(**{**vars(layers[step]), "tail": renumber[kept.tail]})
        return layers, charges


def _number_states(mode: IntArray, charge_wh: FloatArray) -> tuple[IntArray, IntArray]:
    """Number the distinct (mode, charge) pairs; also the first arc that reaches each."""
    key = mode * _MODE_STRIDE + np.rint(charge_wh * _CHARGES_PER_WH).astype(np.int64)
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    return number, first
