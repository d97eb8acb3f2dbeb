"""What every hand could do with one machine, as a network of its own: the oracle's half of R7 to R10 and R12.

What the visits before mean for a machine lies in its charge, in where it stands and in how the timer there is set.
So a node is (edge of a visit, charge, outlet, setting), and an arc is "until the next visit in this outlet, on from
here to there", or "in none". Each arc is worked out exactly by the oracle's physics.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.yard.models import PRIORITIES, Machine
from tests.oracle_physics import (
    MET_WH,
    Case,
    Flags,
    Floats,
    follow,
    may_stand_in,
    outside_window,
    over_whole_steps,
)

#: The setting of an outlet without a timer, and of no outlet.
ON = "on"
#: A timer that is still to come on; one that is on and will go off, perhaps at once; one that has gone off and does
#: not come on again unless somebody sets it anew.
WAITING, RUNNING, OFF = "waiting", "running", "off"
#: As it was found when the plan began: on until somebody changes it, whether or not there is a timer.
FOUND = "found"

#: A machine's place in its network: the visit's edge, its charge [Wh], the outlet it is in (-1 for none), its setting.
Node = tuple[int, float, int, str]


class TooMany(Exception):
    """The network has more arcs than the oracle is willing to work out."""


@dataclass(frozen=True)
class Arc:
    """One machine from one visit to the next."""

    machine: int
    tail: Node
    head: Node
    outlet: int
    first: int
    changes: int
    wall_wh: Floats
    peak_w: Floats
    over: Flags
    met: tuple[int, int, int]
    shortfall_wh: float


@dataclass(frozen=True)
class _Stay:
    """How a machine may spend the time to the next visit: where, on from and to, left how, at how many changes."""

    outlet: int
    on: tuple[int, int]
    left: str
    changes: int


def machine_arcs(case: Case, index: int, most: int = 20_000, *, given_only: bool = False) -> list[Arc]:
    """All arcs of one machine that can be reached from its first charge; if asked, only those before the first visit.

    Raises
    ------
    TooMany
        If they are more than `most`.
    """
    machine = case.yard.machines[index]
    n_steps = case.agenda.grid.n_steps
    edges = sorted({0, *case.agenda.visits, n_steps})
    names = [outlet.name for outlet in case.yard.outlets]
    standing = -1 if machine.outlet is None else names.index(machine.outlet)
    arcs: list[Arc] = []
    layer: set[Node] = {(0, round(machine.charge_wh, 6), standing, ON if standing < 0 else FOUND)}
    for first, last in itertools.pairwise(edges):
        if given_only and not _is_given(case, first):
            break
        leaving: list[Arc] = []
        for node in sorted(layer):
            for stay in _stays(case, machine, node, last):
                arc = _arc(case, index, node, stay, (first, last))
                if arc is not None:
                    leaving.append(arc)
            if len(arcs) + len(leaving) > most:
                raise TooMany
        arcs += leaving
        layer = {arc.head for arc in leaving}
    return arcs


def _stays(case: Case, machine: Machine, node: Node, last: int) -> Iterator[_Stay]:
    """R10: what may go on from a visit to the next; nobody stands at an edge that is none."""
    first, _, standing, _ = node
    away = case.agenda.away[machine.name]
    gone = np.flatnonzero(away[first:last])
    until = first + int(gone[0]) if len(gone) else last
    nobody = first not in case.agenda.visits
    if nobody or until == first or standing < 0:
        pulled = 0
        yield from _as_it_is(node, until) if standing >= 0 and until > first else [_Stay(-1, (first, first), ON, 0)]
    else:
        pulled = 1
        yield from _as_it_is(node, until)
        yield _Stay(-1, (first, first), ON, 1)
    if nobody or until == first:
        return
    for index, outlet in enumerate(case.yard.outlets):
        if not may_stand_in(machine, outlet):
            continue
        same = standing == index
        cost = 1 if same else 1 + pulled
        if outlet.timer:
            yield from (_Stay(index, on, left, cost) for on, left in _set_anew(first, until))
        elif not same:
            yield _Stay(index, (first, until), ON, cost)


def _as_it_is(node: Node, until: int) -> Iterator[_Stay]:
    """Leave everything as it is: a timer goes on and off as it was set at the last visit."""
    first, _, standing, setting = node
    if setting == FOUND:
        yield _Stay(standing, (first, until), FOUND, 0)
    elif setting == OFF:
        yield _Stay(standing, (first, first), OFF, 0)
    elif setting == WAITING:
        yield from (_Stay(standing, on, left, 0) for on, left in _set_anew(first, until))
    elif setting == RUNNING:
        yield _Stay(standing, (first, until), RUNNING, 0)
        yield from (_Stay(standing, (first, off), OFF, 0) for off in range(first, until))
    else:
        yield _Stay(standing, (first, until), ON, 0)


def _set_anew(first: int, until: int) -> Iterator[tuple[tuple[int, int], str]]:
    """A timer's one spell of on, as far as it lies before the next visit, and how it is then left."""
    yield (first, first), WAITING
    for on in range(first, until):
        yield (on, until), RUNNING
        yield from (((on, off), OFF) for off in range(on + 1, until))


def _arc(case: Case, index: int, tail: Node, stay: _Stay, span: tuple[int, int]) -> Arc | None:
    """Charge one machine through one span between visits; None where R8 forbids it."""
    machine, (first, last) = case.yard.machines[index], span
    n_steps, away = case.agenda.grid.n_steps, case.agenda.away[machine.name]
    on = np.zeros(n_steps, dtype=bool)
    on[stay.on[0] : stay.on[1]] = True
    if not machine.self_protecting and not _is_given(case, first) and (on & outside_window(machine, case.suns)).any():
        return None
    due = [need for need in case.agenda.needs[machine.name] if _falls_in(need.edge, span)]
    charge = follow(case, machine, on, span, tail[1], due)
    over = np.zeros(n_steps, dtype=bool)
    if stay.outlet >= 0 and case.yard.outlets[stay.outlet].continuous_w < machine.charger_w:
        over = over_whole_steps(case, machine, charge, case.yard.outlets[stay.outlet])
    met = dict.fromkeys(PRIORITIES, 0)
    shortfall = 0.0
    for need, have in zip(due, charge.have_wh, strict=True):
        if have >= need.need_wh - MET_WH:
            met[need.priority] += 1
        else:
            shortfall += need.need_wh - have
    stays_in = stay.outlet >= 0 and not away[first : last + 1].any()
    return Arc(
        machine=index,
        tail=tail,
        head=(last, round(float(charge.stored_wh[last]), 6), *((stay.outlet, stay.left) if stays_in else (-1, ON))),
        outlet=stay.outlet,
        first=first,
        changes=stay.changes,
        wall_wh=charge.wall_wh[first:last],
        peak_w=charge.peak_w[first:last],
        over=over[first:last],
        met=(met["must"], met["should"], met["could"]),
        shortfall_wh=shortfall,
    )


def _is_given(case: Case, first: int) -> bool:
    """Before the first visit nobody can change anything: what is plugged in counts with the house (R10)."""
    return first < min(case.agenda.visits, default=case.agenda.grid.n_steps)


def _falls_in(edge: int, span: tuple[int, int]) -> bool:
    """A need belongs to the span that ends at it, so that what leaves a span is already after the work."""
    return span[0] < edge <= span[1] or (edge == 0 and span[0] == 0)
