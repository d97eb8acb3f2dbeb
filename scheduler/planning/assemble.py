"""From the choice to the finished plan: outlets by name, actions at visits, curves under all suns."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.charging.routes import TIMER_SET_ANEW, IntArray, Mode, Network, Stay
from scheduler.planning.model import Case
from scheduler.planning.record import (
    BankPlan,
    BySun,
    HouseLoadPlan,
    MachinePlan,
    NeedPlan,
    Plan,
    PlugAction,
    VisitPlan,
)
from scheduler.planning.selection import Selection, draws_of, path_under
from scheduler.timegrid import FloatArray
from scheduler.units import READY_TOLERANCE_WH, pct_from_fraction


@dataclass(frozen=True)
class StayInOutlet:
    """One machine in one outlet, from plugging in (or the timer set anew) to the end of it.

    Attributes
    ----------
    machine : int
        Its number in the yard.
    place : int
    first, last : int
        Edges: plugged in at `first`, out at `last`.
    timer : tuple of int or None
        Edges at which a timer goes on and off; None where the outlet is simply on.
    found : bool
        It was plugged in when the plan began.
    goes_on : bool
        It follows a stay in the same outlet: only the timer is set anew.
    taken_out : bool
        It ends with the machine being taken out (R10), not at a visit.
    """

    machine: int
    place: int
    first: int
    last: int
    timer: tuple[int, int] | None
    found: bool
    goes_on: bool
    taken_out: bool


def stays_of(case: Case, number: int, modes: IntArray) -> list[StayInOutlet]:
    """Cut one machine's modes into stays; one that ends as the plan begins has no length."""
    network = case.tables[number].network
    away = case.agenda.away[network.machine.name]
    cuts = [0, *_cuts(network, modes), len(modes)]
    stays: list[StayInOutlet] = []
    home = next((n for n, place in enumerate(case.places) if network.machine.outlet in place.outlets), None)
    if home is not None and network.modes[modes[0]].stay is not Stay.AS_FOUND:
        stays.append(
            StayInOutlet(number, home, 0, 0, None, found=True, goes_on=False, taken_out=bool(away[0]))
        )
    for first, last in pairwise(cuts):
        mode = network.modes[modes[first]]
        if mode.place is None:
            continue
        stays.append(
            StayInOutlet(
                machine=number,
                place=mode.place,
                first=first,
                last=last,
                timer=_timer([network.modes[m] for m in modes[first:last]], first),
                found=mode.stay is Stay.AS_FOUND,
                goes_on=bool(stays) and stays[-1].last == first and stays[-1].place == mode.place,
                taken_out=last < len(modes) and bool(away[last]),
            )
        )
    return stays


def _cuts(network: Network, modes: IntArray) -> Iterator[int]:
    """Edges at which the machine changes its place, or its outlet's timer is set anew."""
    for step in range(1, len(modes)):
        before, during = network.modes[modes[step - 1]], network.modes[modes[step]]
        set_anew = before.place is not None and (before.stay, during.stay) in TIMER_SET_ANEW
        if before.place != during.place or set_anew:
            yield step


def _timer(inside: list[Mode], first: int) -> tuple[int, int] | None:
    on = [first + offset for offset, mode in enumerate(inside) if mode.is_on]
    return None if len(on) == len(inside) else (on[0], on[-1] + 1)


def name_outlets(case: Case, stays: list[StayInOutlet], door: Plan | None) -> dict[StayInOutlet, str]:
    """Give every stay an outlet of its place: found machines keep theirs, the others take a free one.

    Stays of a place are intervals of which never more overlap than it has sockets, so in order of plugging in there
    always is one. Where the page on the door has the machine in one that is free, it is that: less to change.
    """
    named: dict[StayInOutlet, str] = {}
    free_from: dict[str, int] = {}
    for stay in sorted(stays, key=lambda s: (s.first, not s.found, not s.goes_on, s.machine)):
        before = next((s for s in named if s.machine == stay.machine and s.last == stay.first), None)
        if stay.found:
            name = case.tables[stay.machine].network.machine.outlet or ""
        elif stay.goes_on and before is not None:
            name = named[before]
        else:
            free = [o for o in case.places[stay.place].outlets if free_from.get(o, 0) <= stay.first]
            printed = _printed_outlet(case, stay, door)
            name = printed if printed in free else free[0]
        named[stay] = name
        free_from[name] = stay.last
    return named


def _printed_outlet(case: Case, stay: StayInOutlet, door: Plan | None) -> str | None:
    """Return where the page on the door has the machine when the stay begins."""
    if door is None:
        return None
    name = case.tables[stay.machine].network.machine.name
    step = (case.agenda.grid.edge(stay.first) - door.grid.start) // door.grid.step
    printed = next((machine for machine in door.machines if machine.name == name), None)
    return printed.outlet[step] if printed is not None and 0 <= step < door.grid.n_steps else None


def build_visits(case: Case, named: dict[StayInOutlet, str], bank: BankPlan) -> tuple[VisitPlan, ...]:
    """List for each visit what is plugged in and pulled, and what the bank should show."""
    names = [table.network.machine.name for table in case.tables]
    going_on = {(stay.machine, stay.first) for stay in named if stay.goes_on}
    visits = []
    for edge in case.agenda.visits:
        plug = [
            PlugAction(names[stay.machine], outlet, stay.timer)
            for stay, outlet in named.items()
            if stay.first == edge and not stay.found
        ]
        unplug = [
            PlugAction(names[stay.machine], outlet, stay.timer)
            for stay, outlet in named.items()
            if stay.last == edge and not stay.taken_out and (stay.machine, edge) not in going_on
        ]
        visits.append(VisitPlan(edge, tuple(plug), tuple(unplug), levels_in_pct(bank, edge)))
    return tuple(visits)


def build_machines(
    case: Case, selection: Selection, named: dict[StayInOutlet, str]
) -> tuple[MachinePlan, ...]:
    """Each machine's outlet, draw and charge over the plan, and what becomes of its needs."""
    return tuple(_build_machine(case, selection, number, named) for number in range(len(case.tables)))


def _build_machine(
    case: Case, selection: Selection, number: int, named: dict[StayInOutlet, str]
) -> MachinePlan:
    table, row = case.tables[number], selection.rows[number]
    network = table.network
    n_steps = case.agenda.grid.n_steps
    outlet: list[str | None] = [None] * n_steps
    for stay, name in named.items():
        if stay.machine == number:
            outlet[stay.first : stay.last] = [name] * (stay.last - stay.first)
    on = np.array([network.modes[mode].is_on for mode in table.mode(row)], dtype=bool)
    charge = table.charge_wh(row)
    return MachinePlan(
        name=network.machine.name,
        outlet=tuple(outlet),
        plugged=on,
        wall_wh=table.wall_wh[row].copy(),
        charge_wh=charge,
        needs=_judge_needs(case, network, table.wall_wh[row], charge),
    )


def _judge_needs(
    case: Case, network: Network, wall_wh: FloatArray, charge_wh: FloatArray
) -> tuple[NeedPlan, ...]:
    """R12: charge before the work is taken against what is needed; needs on one edge take their work in turn."""
    judged = []
    last_edge, have = -1, 0.0
    for need in case.agenda.needs[network.machine.name]:
        if need.edge != last_edge:
            stored = wall_wh[need.edge - 1] * network.machine.charger_efficiency if need.edge else 0.0
            have = float(charge_wh[need.edge - 1] + stored) if need.edge else network.machine.charge_wh
        ready = have >= need.need_wh - READY_TOLERANCE_WH
        judged.append(NeedPlan(need.edge, need.need_wh, have, ready, need.priority))
        last_edge, have = need.edge, max(0.0, have - need.work_wh)
    return tuple(judged)


def build_house_loads(case: Case, selection: Selection) -> tuple[HouseLoadPlan, ...]:
    """Energy of each house load in each step (R11)."""
    grid = case.agenda.grid
    always = np.ones(grid.n_steps, dtype=bool)
    runs = {
        load.name: always if load.always_on else selection.duty[load.name] for load in case.yard.house_loads
    }
    return tuple(
        HouseLoadPlan(load.name, grid.energy_wh(np.where(runs[load.name], load.watts, 0.0)))
        for load in case.yard.house_loads
    )


def build_bank(case: Case, selection: Selection) -> BankPlan:
    """Follow the bank under each sun, and say how low it may go."""
    draws = draws_of(case, selection)
    levels = {sun: path_under(case, draws, sun_w).level_wh for sun, sun_w in case.suns.by_name.items()}
    bank = case.yard.bank
    return BankPlan(bank.capacity_wh, bank.reserve_wh, levels, case.house.allowed_wh)


def levels_in_pct(bank: BankPlan, edge: int) -> BySun:
    """Bank level on an edge under each sun, in percent."""
    return {
        sun: pct_from_fraction(float(level[edge]) / bank.capacity_wh) for sun, level in bank.level_wh.items()
    }
