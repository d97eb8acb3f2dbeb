"""R8 to R10: what the hand may do with one machine, step after step, grown into a network of states."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.charging.places import Place
from scheduler.charging.routes import (
    TIMER_SET_ANEW,
    UNPLUGGED,
    Arcs,
    BoolArray,
    IntArray,
    Mode,
    Network,
    Stay,
    meet_needs,
)
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import Agenda, DueNeed
from scheduler.yard.models import Machine

_CHARGES_PER_WH = 1e5  # charges closer than this are one state
_MODE_STRIDE = 1 << 52


class Move(NamedTuple):
    """One way from the mode of the step before to that of this step, and the plug changes it costs."""

    before: int
    during: int
    changes: int


def enough_for_all_wh(needs: Sequence[DueNeed], n_steps: int) -> FloatArray:
    """Charge on each edge, after the work taken there, from which no need to come asks for more [Wh]."""
    enough = np.zeros(n_steps + 1)
    for edge in range(n_steps, 0, -1):
        wanted = enough[edge]
        for need in reversed([need for need in needs if need.edge == edge]):
            work = need.work_wh if wanted > 0.0 else 0.0
            wanted = max(need.need_wh - READY_TOLERANCE_WH, wanted + work)
        enough[edge - 1] = wanted
    return enough


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
        self.enough_wh = enough_for_all_wh(self.needs, self.grid.n_steps)
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
        """Leave out what another route does as well with less (draws, sockets, plug changes; needs no worse).

        A battery that holds enough for all needs still to come gains nothing from more: it need not be plugged
        in or wait for a timer, and a timer that can go off does. The other route is the same without what
        is left out: the machine stays out or its timer off, and leaves the outlet when the first one does.
        """
        before, during = self.modes[move.before], self.modes[move.during]
        enough: BoolArray = charge >= self.enough_wh[step]
        full: BoolArray = (charge >= self.machine.capacity_wh) & (not self.refills)
        if (move.changes > 0 and during is not UNPLUGGED) or Stay.WAITING in {before.stay, during.stay}:
            worth = ~(enough | full)
        elif during.stay is Stay.DONE and before.stay is Stay.ON:
            worth = enough | ~full
        elif during.stay is Stay.ON and during.place is not None and self.places[during.place].timer:
            worth = ~enough
        else:
            worth = np.ones(len(charge), dtype=bool)
        return worth

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
