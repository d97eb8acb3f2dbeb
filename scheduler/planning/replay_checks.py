"""One check a rule, R3 to R12: each lists what the plan breaks, with when, by how much, and in words.

What cannot be changed before the first visit, and what the house alone breaks, is no violation of a plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from scheduler.planning.record import NeedPlan, Violation
from scheduler.planning.replay_case import DULL, Case, spells
from scheduler.planning.replay_hands import follow_actions
from scheduler.planning.replay_physics import MINUTES_PER_HOUR, BoolArray, Physics, is_outside_window
from scheduler.timegrid import FloatArray
from scheduler.units import (
    AGREEMENT_FRACTION,
    CONTINUOUS_H,
    LEVEL_TOLERANCE_FRACTION,
    POWER_TOLERANCE_W,
    READY_TOLERANCE_WH,
)
from scheduler.yard.agenda import DueNeed, DutyWindow
from scheduler.yard.models import HouseLoad, Machine, Outlet


def check_discharge(case: Case) -> Iterator[Violation]:
    """R3: what the bank gives stays within its discharge limit, as the mean of each step.

    The dull sun is enough: with more sun both this and what the house alone takes are less by the same watts.
    """
    limit_w = case.yard.bank.discharge_max_w
    if limit_w is None:
        return
    taken_w = case.grid.power_w(_taken_wh(case.own))
    allowed_w = np.maximum(limit_w, case.grid.power_w(_taken_wh(case.house)))
    for step in np.flatnonzero(taken_w > allowed_w + POWER_TOLERANCE_W):
        over_w = float(taken_w[step] - allowed_w[step])
        text = f"the bank gives {taken_w[step]:.1f} W, {over_w:.1f} W more than its {allowed_w[step]:.1f} W"
        yield case.violation("R3", int(step), over_w, text)


def check_reserve(case: Case) -> Iterator[Violation]:
    """R4: under the dull sun the bank never falls below its reserve, or what the house alone leaves."""
    tolerance_wh = LEVEL_TOLERANCE_FRACTION * case.yard.bank.capacity_wh
    level_wh, allowed_wh = case.own.bank.level_wh[:, DULL], case.allowed_wh
    for edge in np.flatnonzero(level_wh < allowed_wh - tolerance_wh):
        below_wh = float(allowed_wh[edge] - level_wh[edge])
        text = (
            f"under the dull sun the bank falls to {level_wh[edge]:.1f} Wh, {below_wh:.1f} Wh below "
            f"the {allowed_wh[edge]:.1f} Wh allowed"
        )
        yield case.violation("R4", int(edge), below_wh, text)
    # A bank that is empty cannot fall: there the energy it fails to give tells.
    missing_wh = np.cumsum(case.own.bank.short_wh[:, DULL] - case.house.bank.short_wh[:, DULL])
    for step in np.flatnonzero(missing_wh > tolerance_wh)[:1]:
        text = f"under the dull sun an empty bank leaves {missing_wh.max():.1f} Wh unserved by the end"
        yield case.violation("R4", int(step), float(missing_wh.max()), text)


def check_inverter(case: Case) -> Iterator[Violation]:
    """R5: AC watts stay within the inverter's continuous watts at every minute, and while a motor starts."""
    inverter = case.yard.inverter
    yield from _over_inverter(case, np.zeros_like(case.own.loads.ac_w), inverter.continuous_w, None)
    for column, load in enumerate(case.yard.house_loads):
        if load.start_w > load.watts:
            runs = np.repeat(case.decisions.house_on[:, column], case.grid.step_minutes)
            extra_w = np.where(runs, load.start_w - load.watts, 0.0)
            yield from _over_inverter(case, extra_w, inverter.surge_limit_w, load)


def check_outlets(case: Case) -> Iterator[Violation]:
    """R6: one machine an outlet, of its kind, within its watts, not over 80 % of the breaker for 3 hours."""
    for outlet in case.yard.outlets:
        yield from _shared(case, outlet)
        yield from _misfits(case, outlet)
        yield from _continuous(case, outlet)


def check_temperature(case: Case) -> Iterator[Violation]:
    """R8: outside its charging window a machine is plugged in only if its battery protects itself."""
    for column, machine in enumerate(case.yard.machines):
        if machine.self_protecting:
            continue
        coldest, hottest = machine.charge_temp_c
        outside = is_outside_window(machine, case.suns.shed_temp_c) & case.decisions.plugged[:, column]
        for step in np.flatnonzero(outside & ~case.is_given(column)):
            temp_c = float(case.suns.shed_temp_c[step])
            text = f"{machine.name} is plugged in at {temp_c:.1f} C, outside {coldest:g} to {hottest:g} C"
            yield case.violation("R8", int(step), max(coldest - temp_c, temp_c - hottest), text)


def check_presence(case: Case) -> Iterator[Violation]:
    """R9: a machine that is away is in no outlet."""
    for column, machine in enumerate(case.yard.machines):
        placed = np.array([outlet is not None for outlet in case.decisions.outlet[column]], dtype=bool)
        there = (placed | case.decisions.plugged[:, column]) & case.agenda.away[machine.name]
        for first, last in spells(there):
            hours = (last - first) * case.grid.step_h
            place = case.decisions.outlet[column][first]
            text = f"{machine.name} is away, yet in {place or 'an outlet'} for {hours:g} h"
            yield case.violation("R9", first, hours, text)


def check_hands(case: Case) -> Iterator[Violation]:
    """R10: the visits' actions can be followed, and to the letter they give the plan's outlets and hours."""
    followed = follow_actions(case.yard, case.agenda, case.plan.visits)
    for fault in followed.faults:
        yield case.violation("R10", fault.edge, 1.0, fault.text)
    for column, machine in enumerate(case.yard.machines):
        planned, found = case.decisions.outlet[column], followed.outlet[column]
        on, is_on = case.decisions.plugged[:, column], followed.plugged[:, column]
        differs = np.array([one != other for one, other in zip(planned, found, strict=True)], dtype=bool)
        for first, last in spells(differs | (on != is_on)):
            hours = (last - first) * case.grid.step_h
            text = (
                f"{machine.name} is planned {_place(planned[first], bool(on[first]))}, but who follows "
                f"the visits has it {_place(found[first], bool(is_on[first]))}, for {hours:g} h"
            )
            yield case.violation("R10", first, hours, text)


def check_house_loads(case: Case) -> Iterator[Violation]:
    """R11: always-on loads always run, duty loads their hours inside their windows, in blocks long enough."""
    for column, load in enumerate(case.yard.house_loads):
        planned = next(plan for plan in case.plan.house_loads if plan.name == load.name)
        yield from _wrong_watts(case, load, planned.wall_wh)
        if not load.always_on:
            yield from _wrong_hours(case, load, case.decisions.house_on[:, column])


def check_needs(case: Case) -> Iterator[Violation]:
    """R12: the plan's needs are the agenda's, and have and ready are what the replayed charge says."""
    for column, machine in enumerate(case.yard.machines):
        planned, due = case.machine_plan(machine).needs, case.agenda.needs[machine.name]
        if len(planned) != len(due) or not all(map(_is_same, planned, due)):
            edge = min(need.edge for needs in (planned, due) for need in needs)
            text = f"{machine.name}: the plan's {len(planned)} needs are not the {len(due)} of the agenda"
            yield case.violation("R12", edge, float(abs(len(planned) - len(due))), text)
            continue
        for need, have_wh in zip(planned, case.own.loads.have_wh[column], strict=True):
            yield from _wrong_need(case, machine, need, have_wh)


CHECKS: tuple[Callable[[Case], Iterator[Violation]], ...] = (
    check_discharge,
    check_reserve,
    check_inverter,
    check_outlets,
    check_temperature,
    check_presence,
    check_hands,
    check_house_loads,
    check_needs,
)


def _taken_wh(physics: Physics) -> FloatArray:
    """Return what is wanted of the bank under the dull sun, served or not [Wh]."""
    bank = physics.bank
    return (bank.discharged_wh + bank.limited_wh + bank.short_wh)[:, DULL]


def _over_inverter(
    case: Case, extra_w: FloatArray, limit_w: float, starting: HouseLoad | None
) -> Iterator[Violation]:
    """R5 at every minute with `extra_w` on top; one violation a step, at its worst minute."""
    shape = (case.grid.n_steps, case.grid.step_minutes)
    total_w = case.own.loads.ac_w + extra_w
    allowed_w = np.maximum(limit_w, case.house.loads.ac_w + extra_w)
    over_w = np.where(extra_w > 0.0 if starting else True, total_w - allowed_w, 0.0).reshape(shape)
    for step in np.flatnonzero(over_w.max(axis=1) > POWER_TOLERANCE_W):
        minute = int(over_w[step].argmax())
        drawn_w, worst_w = float(total_w.reshape(shape)[step, minute]), float(over_w[step, minute])
        when = f" while {starting.name} starts" if starting else ""
        text = f"AC loads draw {drawn_w:.1f} W{when}, {worst_w:.1f} W more than the inverter stands"
        yield case.violation("R5", int(step), worst_w, text, minute)


def _shared(case: Case, outlet: Outlet) -> Iterator[Violation]:
    """R6: more than one machine in an outlet."""
    inside = case.in_outlet(outlet.name)
    chosen = [inside[:, column] & ~case.is_given(column) for column in range(len(case.yard.machines))]
    for first, _ in spells((inside.sum(axis=1) > 1) & np.any(chosen, axis=0)):
        names = [case.yard.machines[column].name for column in np.flatnonzero(inside[first])]
        yield case.violation("R6", first, float(len(names)), f"{' and '.join(names)} share {outlet.name}")


def _misfits(case: Case, outlet: Outlet) -> Iterator[Violation]:
    """R6: a machine of another kind, or with a charger too large, in an outlet; told once a stay."""
    inside = case.in_outlet(outlet.name)
    for column, machine in enumerate(case.yard.machines):
        for first, last in spells(inside[:, column] & ~case.is_given(column)):
            over_w = machine.charger_w - outlet.limit_w
            if machine.supply != outlet.kind:
                text = f"{machine.name} charges from {machine.supply}, {outlet.name} is {outlet.kind}"
                yield case.violation("R6", first, 1.0, text)
            elif over_w > POWER_TOLERANCE_W and case.decisions.plugged[first:last, column].any():
                text = f"{machine.name} draws {over_w:.1f} W more than {outlet.name} can give"
                yield case.violation("R6", first, over_w, text)


def _continuous(case: Case, outlet: Outlet) -> Iterator[Violation]:
    """R6: over 80 % of the breaker for 3 hours on end, whichever machines follow each other."""
    loads, limit_w = case.own.loads, outlet.continuous_w + POWER_TOLERANCE_W
    heavy = [column for column, machine in enumerate(case.yard.machines) if machine.charger_w > limit_w]
    inside = np.repeat(case.in_outlet(outlet.name)[:, heavy], case.grid.step_minutes, axis=0)
    series = (loads.begin_w, loads.end_w, loads.mean_w)
    begin_w, end_w, mean_w = ((watts[:, heavy] * inside).sum(axis=1) for watts in series)
    part = _part_over(begin_w, end_w, mean_w, limit_w)
    for first, last in spells(begin_w > limit_w):
        # A charger that falls below the limit within a minute ends the spell; what follows begins another.
        ends = np.flatnonzero(part[first:last] < 1.0) + first + 1
        cuts = [first, *ends.tolist(), last]
        for begin, end in pairwise(cuts):
            hours = float(part[begin:end].sum()) / MINUTES_PER_HOUR
            is_given = end <= case.first_visit * case.grid.step_minutes
            if hours >= CONTINUOUS_H - 1e-9 and not is_given:
                step, minute = divmod(begin, case.grid.step_minutes)
                text = f"{outlet.name} gives more than {outlet.continuous_w:g} W for {hours:.2f} h on end"
                yield case.violation("R6", step, hours, text, minute)


def _part_over(begin_w: FloatArray, end_w: FloatArray, mean_w: FloatArray, limit_w: float) -> FloatArray:
    """Return the part of each minute spent over a limit, by a draw that only falls within the minute."""
    is_over = begin_w > limit_w
    fall_w = np.where(begin_w > end_w, begin_w - end_w, 1.0)
    crossing = np.clip((begin_w - limit_w) / fall_w, 0.0, 1.0)
    # Who stops within the minute does not glide through the limit: the mean tells how long it ran.
    stopping = np.where(begin_w > 0.0, mean_w / np.where(begin_w > 0.0, begin_w, 1.0), 0.0)
    falling = np.where(end_w > 0.0, crossing, np.minimum(stopping, 1.0))
    return np.where(is_over, np.where(end_w > limit_w, 1.0, falling), 0.0)


def _place(outlet: str | None, is_on: bool) -> str:
    if outlet is None:
        return "unplugged" if not is_on else "on without an outlet"
    return f"in {outlet} ({'on' if is_on else 'off'})"


def _wrong_watts(case: Case, load: HouseLoad, wall_wh: FloatArray) -> Iterator[Violation]:
    """R11: a load that runs draws its watts; an always-on load runs in every step."""
    wanted_wh = case.grid.energy_wh(np.where((wall_wh > 0.0) | load.always_on, load.watts, 0.0))
    tolerance_wh = POWER_TOLERANCE_W * case.grid.step_h
    for step in np.flatnonzero(np.abs(wall_wh - wanted_wh) > tolerance_wh):
        wrong_wh = float(abs(wall_wh[step] - wanted_wh[step]))
        text = f"{load.name} is planned with {wall_wh[step]:.1f} Wh where it draws {wanted_wh[step]:.1f} Wh"
        yield case.violation("R11", int(step), wrong_wh, text)


def _wrong_hours(case: Case, load: HouseLoad, on: BoolArray) -> Iterator[Violation]:
    """R11: hours, window and shortest block of a duty load."""
    outside = on.copy()
    for window in (window for window in case.agenda.duties if window.load == load.name):
        outside[window.first : window.last] = False
        yield from _wrong_in_window(case, window, on[window.first : window.last])
    for first, last in spells(outside):
        hours = (last - first) * case.grid.step_h
        yield case.violation("R11", first, hours, f"{load.name} runs {hours:g} h outside its window")


def _wrong_in_window(case: Case, window: DutyWindow, on: BoolArray) -> Iterator[Violation]:
    step_h = case.grid.step_h
    hours, wanted_h = int(on.sum()) * step_h, window.on_steps * step_h
    if on.sum() != window.on_steps:
        text = f"{window.load} runs {hours:g} h in its window instead of {wanted_h:g} h"
        yield case.violation("R11", window.first, abs(hours - wanted_h), text)
    for first, last in spells(on):
        if last - first < window.min_steps:
            hours, least_h = (last - first) * step_h, window.min_steps * step_h
            text = f"{window.load} runs for {hours:g} h on end instead of {least_h:g} h at the least"
            yield case.violation("R11", window.first + first, least_h - hours, text)


def _is_same(planned: NeedPlan, due: DueNeed) -> bool:
    same_place = (planned.edge, planned.priority) == (due.edge, due.priority)
    return same_place and abs(planned.need_wh - due.need_wh) <= READY_TOLERANCE_WH


def _wrong_need(case: Case, machine: Machine, need: NeedPlan, have_wh: float) -> Iterator[Violation]:
    tolerance_wh = AGREEMENT_FRACTION * machine.capacity_wh
    if need.ready and have_wh < need.need_wh - tolerance_wh:
        short_wh = need.need_wh - have_wh
        text = f"{machine.name} is planned as ready but lacks {short_wh:.1f} Wh of {need.need_wh:.1f} Wh"
        yield case.violation("R12", need.edge, short_wh, text)
    elif abs(need.have_wh - have_wh) > tolerance_wh:
        text = f"{machine.name} is planned to have {need.have_wh:.1f} Wh and has {have_wh:.1f} Wh"
        yield case.violation("R12", need.edge, abs(need.have_wh - have_wh), text)
    if need.ready != (need.have_wh >= need.need_wh - READY_TOLERANCE_WH):
        called = "ready" if need.ready else "not ready"
        text = f"{machine.name} is called {called} with {need.have_wh:.1f} Wh of {need.need_wh:.1f} Wh"
        yield case.violation("R12", need.edge, abs(need.need_wh - need.have_wh), text)
