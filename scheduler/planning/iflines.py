"""The lines that make the page generous on a bright day and safe on a dull one.

With the sure lines fixed, a further machine may be plugged in at a visit if the bank then holds enough for the
sure lines, the if lines before it at this visit and its own draw, to the end under the dull sun (R4). That
least level comes from one backward pass over the steps. The other way, below the level that the sure lines
themselves need, the machine that matters least is unplugged first. A display shows whole percents: no sure line
is undone by what it cuts off, neither under the dull sun nor after an if line.

A machine fuller than planned draws no more in any step (R7), so what was added at an earlier visit never makes a
later figure unsafe.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.charging.routes import BoolArray
from scheduler.planning.assemble import StayInOutlet
from scheduler.planning.bank import charge_limit_w, dc_demand_w, discharge_limit_w
from scheduler.planning.house import duty_watts, worst_start_w
from scheduler.planning.model import Case, first_long_run
from scheduler.planning.record import IfAtLeast, IfBelow, MachinePlan, VisitPlan
from scheduler.planning.selection import Selection, rows_of
from scheduler.timegrid import FloatArray
from scheduler.units import CONTINUOUS_H, POWER_TOLERANCE_W, fraction_from_pct, pct_from_fraction
from scheduler.yard.models import PRIORITIES, Machine

_MOST_LINES = 3  # more than that is not read at the door

Outlets = dict[StayInOutlet, str]


@dataclass(frozen=True)
class Running:
    """Which machines are on, and what they draw, arrays of shape (machines, n_steps)."""

    on: BoolArray
    wall_wh: FloatArray
    peak_w: FloatArray


def add_if_lines(
    case: Case,
    selection: Selection,
    machines: Sequence[MachinePlan],
    outlets: Outlets,
    visits: Sequence[VisitPlan],
) -> tuple[VisitPlan, ...]:
    """Give every visit its if lines; `machines` is the sure plan, `outlets` names the outlet of each sure stay."""
    sure, hot = _sure(case, selection, machines), _hot_by_outlet(case, selection, outlets)
    sparing = [replace(visit, if_below=tuple(_below(case, selection, outlets, sure, visit))) for visit in visits]
    least_wh = _least_wh(case, sparing)
    given = []
    for visit in sparing:
        wanting = _wanting(case, machines, visit.edge)
        lines = tuple(_at_least(case, selection, outlets, hot, sure, least_wh, visit, wanting))
        for line in lines:
            # Whoever follows this line may follow one at the next visit too, in the same outlet.
            number = next(n for n, machine in enumerate(case.yard.machines) if machine.name == line.machine)
            if _is_hot(case, line.outlet, number):
                hot[line.outlet][visit.edge : _next_visit(case, visit.edge)] = True
        given.append(replace(visit, if_at_least=lines))
    return tuple(given)


def _least_wh(case: Case, visits: Sequence[VisitPlan]) -> FloatArray:
    """What an if line must leave on each edge: what R4 allows, and at each visit enough for the sure lines."""
    least_wh = case.house.allowed_wh.copy()
    for visit in visits:
        shown_pct = max((line.bank_pct for line in visit.if_below), default=0)
        least_wh[visit.edge] = max(
            least_wh[visit.edge], fraction_from_pct(shown_pct) * case.yard.bank.capacity_wh
        )
    return least_wh


def _sure(case: Case, selection: Selection, machines: Sequence[MachinePlan]) -> Running:
    shape = (len(machines), case.agenda.grid.n_steps)
    on = np.array([machine.plugged for machine in machines], dtype=bool).reshape(shape)
    return Running(on, rows_of(case, selection, "wall_wh"), rows_of(case, selection, "peak_w"))


def required_wh(case: Case, demand_w: FloatArray, least_wh: FloatArray, edge: int) -> float:
    """Least level on `edge` from which `demand_w` leaves no less than `least_wh` to the end under the dull sun [Wh].

    Infinite where no level is enough: the bank cannot give what is asked, or not hold it.
    """
    bank, grid = case.yard.bank, case.agenda.grid
    level = float(least_wh[-1])
    for step in range(grid.n_steps - 1, edge - 1, -1):
        net_w = float(case.suns.dull_w[step] - demand_w[step])
        if net_w >= 0:
            level -= min(net_w, charge_limit_w(bank)) * grid.step_h * bank.charge_efficiency
        elif -net_w > max(discharge_limit_w(bank), case.house.demand_w[step] - case.suns.dull_w[step]):
            return np.inf
        else:
            level += -net_w * grid.step_h / bank.discharge_efficiency - case.house.unserved_wh[step]
        level = max(level, float(least_wh[step]))
        if level > bank.capacity_wh:
            return np.inf
    return level


def _pct_up(case: Case, level_wh: float) -> int:
    """Whole percent of the bank, up: what a display that cuts off the rest must show."""
    return int(np.ceil(pct_from_fraction(level_wh / case.yard.bank.capacity_wh) - 1e-9))


def _demand_w(case: Case, selection: Selection, running: Running) -> FloatArray:
    on_ac = np.array([table.network.machine.supply == "ac" for table in case.tables], dtype=bool)
    wall_w = case.agenda.grid.power_w(running.wall_wh)
    ac_w = wall_w[on_ac].sum(axis=0) + duty_watts(case.yard, selection.duty, case.agenda.grid.n_steps)
    return dc_demand_w(case.yard.inverter, ac_w, wall_w[~on_ac].sum(axis=0), ac_w > 0)


def _next_visit(case: Case, edge: int) -> int:
    return next((visit for visit in case.agenda.visits if visit > edge), case.agenda.grid.n_steps)


def _at_least(
    case: Case,
    selection: Selection,
    outlets: Outlets,
    hot: dict[str, BoolArray],
    sure: Running,
    least_wh: FloatArray,
    visit: VisitPlan,
    wanting: Sequence[int],
) -> Iterator[IfAtLeast]:
    """Lines in the order in which machines are added, each with the level that it and those before it need."""
    running, taken = sure, set[str]()
    lines = 0
    for number in wanting:
        outlet = _free_outlet(case, outlets, number, visit.edge, taken)
        if outlet is None or lines == _MOST_LINES:
            continue
        added = _with_stay(case, selection, running, number, visit.edge)
        if added is None or not _stands(case, selection, added, visit.edge):
            continue
        if _is_hot(case, outlet, number) and _runs_too_long(case, hot[outlet], visit.edge):
            continue
        needed = required_wh(case, _demand_w(case, selection, added), least_wh, visit.edge)
        if not np.isfinite(needed) or _pct_up(case, needed) > visit.bank_pct["bright"]:
            continue
        yield IfAtLeast(_pct_up(case, needed), _machine(case, number).name, outlet)
        running, lines = added, lines + 1
        taken.add(outlet)


def _machine(case: Case, number: int) -> Machine:
    return case.tables[number].network.machine


def _wanting(case: Case, machines: Sequence[MachinePlan], edge: int) -> list[int]:
    """Machines out of outlets until the next visit that would like more for a need still ahead, most urgent first."""
    wanting = []
    for number, machine in enumerate(machines):
        unmet = next((need for need in machine.needs if need.edge > edge and not need.ready), None)
        plugged = any(machine.outlet[edge : _next_visit(case, edge)])
        if unmet is not None and not plugged and not case.agenda.away[machine.name][edge]:
            wanting.append((PRIORITIES.index(unmet.priority), unmet.edge, number))
    return [number for _, _, number in sorted(wanting)]


def _free_outlet(case: Case, outlets: Outlets, number: int, edge: int, taken: set[str]) -> str | None:
    """Return an outlet that takes the machine and is free in the sure plan until the next visit."""
    until = _next_visit(case, edge)
    busy = {name for stay, name in outlets.items() if stay.first < until and stay.last > edge}
    for place in case.places:
        if place.takes(_machine(case, number)):
            for name in place.outlets:
                if name not in busy and name not in taken:
                    return name
    return None


def _with_stay(case: Case, selection: Selection, running: Running, number: int, edge: int) -> Running | None:
    """Add a stay until the next visit, or until the machine is taken out; None if the shed forbids it (R8)."""
    machine = _machine(case, number)
    steps = np.arange(edge, _next_visit(case, edge))
    away = case.agenda.away[machine.name][steps]
    steps = steps[: int(np.argmax(away))] if away.any() else steps
    low, high = machine.charge_temp_c
    temp_c = case.suns.shed_temp_c[steps]
    if not machine.self_protecting and ((temp_c < low) | (temp_c > high)).any():
        return None
    on = running.on.copy()
    on[number, steps] = True
    return _redrawn(case, selection, replace(running, on=on), number, edge)


def _redrawn(case: Case, selection: Selection, running: Running, number: int, edge: int) -> Running:
    """Follow one machine anew from `edge`, where it holds what the sure plan says (R7, R9)."""
    machine = _machine(case, number)
    curve, grid = ChargeCurve.of(machine), case.agenda.grid
    low, high = machine.charge_temp_c
    charge = float(case.tables[number].charge_wh(selection.rows[number])[edge])
    wall_wh, peak_w = running.wall_wh.copy(), running.peak_w.copy()
    for step in range(edge, grid.n_steps):
        draws = running.on[number, step] and (
            not machine.self_protecting or low <= case.suns.shed_temp_c[step] <= high
        )
        after = float(curve.charge_after_wh(charge, grid.step_h)) if draws else charge
        wall_wh[number, step] = (after - charge) / machine.charger_efficiency
        peak_w[number, step] = float(curve.power_w(charge)) if draws else 0.0
        charge = after
        for need in case.agenda.needs[machine.name]:
            if need.edge == step + 1:
                charge = max(0.0, charge - need.work_wh)
    return Running(running.on, wall_wh, peak_w)


def _stands(case: Case, selection: Selection, running: Running, edge: int) -> bool:
    """R5 from `edge` on."""
    on_ac = np.array([table.network.machine.supply == "ac" for table in case.tables], dtype=bool)
    house_w = duty_watts(case.yard, selection.duty, case.agenda.grid.n_steps)
    running_w = running.peak_w[on_ac].sum(axis=0) + house_w
    starting_w = worst_start_w(case.yard, selection.duty, running_w)
    limit_w = np.maximum(case.yard.inverter.continuous_w, case.house.peak_w)
    surge_w = np.maximum(case.yard.inverter.surge_limit_w, case.house.start_peak_w)
    return bool(
        (running_w <= limit_w + POWER_TOLERANCE_W)[edge:].all()
        and (starting_w <= surge_w + POWER_TOLERANCE_W)[edge:].all()
    )


def _is_hot(case: Case, outlet: str, number: int) -> bool:
    """R6: whether a machine may draw more than 80 % of the breaker's rating there.

    It is taken to do so all the time that it is added for, which is never less than it does.
    """
    place = next(place for place in case.places if outlet in place.outlets)
    return _machine(case, number).charger_w > place.continuous_w


def _hot_by_outlet(case: Case, selection: Selection, outlets: Outlets) -> dict[str, BoolArray]:
    """R6: by outlet, the steps in which the sure plan draws more than 80 % of its breaker's rating."""
    hot = {
        name: np.zeros(case.agenda.grid.n_steps, dtype=bool) for place in case.places for name in place.outlets
    }
    for stay, name in outlets.items():
        row = selection.rows[stay.machine]
        hot[name][stay.first : stay.last] = case.tables[stay.machine].hot[row][stay.first : stay.last]
    return hot


def _runs_too_long(case: Case, hot: BoolArray, edge: int) -> bool:
    """R6: whether 3 h on end are above 80 % once an outlet is so from `edge` to the next visit too."""
    run = round(CONTINUOUS_H / case.agenda.grid.step_h)
    with_it = hot.copy()
    with_it[edge : _next_visit(case, edge)] = True
    runs = np.convolve(with_it, np.ones(run), mode="valid") >= run
    return bool(runs[first_long_run(case.agenda, run) :].any())


def _below(
    case: Case, selection: Selection, outlets: Outlets, sure: Running, visit: VisitPlan
) -> Iterator[IfBelow]:
    """What to leave unplugged when the bank shows less than the sure lines need, least important first."""
    running, allowed_wh = sure, case.house.allowed_wh
    # Under the dull sun the bank shows no more than this, and the sure lines are to be followed then.
    shown_pct = int(np.floor(visit.bank_pct["dull"] + 1e-9))
    needed = required_wh(case, _demand_w(case, selection, running), allowed_wh, visit.edge)
    inside = [stay for stay in outlets if stay.first <= visit.edge < stay.last]
    for stay in sorted(inside, key=lambda s: _importance(case, sure, s, visit.edge)):
        on = running.on.copy()
        on[stay.machine, visit.edge : stay.last] = False
        without = _redrawn(case, selection, replace(running, on=on), stay.machine, visit.edge)
        less = required_wh(case, _demand_w(case, selection, without), allowed_wh, visit.edge)
        if less < needed - 1.0:
            least_pct = min(_pct_up(case, min(needed, case.yard.bank.capacity_wh)), shown_pct)
            yield IfBelow(least_pct, _machine(case, stay.machine).name)
            running, needed = without, less


def _importance(case: Case, sure: Running, stay: StayInOutlet, edge: int) -> tuple[int, float]:
    """Least important first: by the class of the next need, then by how much it is still to draw."""
    ahead = [need for need in case.agenda.needs[_machine(case, stay.machine).name] if need.edge > edge]
    rank = PRIORITIES.index(ahead[0].priority) if ahead else len(PRIORITIES)
    return -rank, -float(sure.wall_wh[stay.machine, edge : stay.last].sum())
