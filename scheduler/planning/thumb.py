"""The rules of thumb people use without a plan, tried on the same yard under the dull sun.

At each visit the hand pulls what is full and fills the free outlets in some order; nobody looks ahead. Where
the bank would fall below its reserve in a step, AC stops for that step. Charger by charger and step by step, by
the curve itself (R7): no patterns, no solver. Machines alike to a rule go in the file's order, and each takes the
first outlet in the file's order that is free and fits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.planning.bank import bank_path, dc_demand_w
from scheduler.planning.house import DutyRun, duty_watts, worst_start_w
from scheduler.planning.record import RuleOfThumb
from scheduler.sun.suns import ThreeSuns
from scheduler.units import READY_TOLERANCE_WH
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import PRIORITIES, Machine, Outlet, Priority, Yard

Order = Callable[[int], tuple[float, ...]]  #: what a machine is sorted by; the least goes first


@dataclass
class HandsDay:
    """The yard as the hand finds it, step by step."""

    yard: Yard
    agenda: Agenda
    suns: ThreeSuns
    duty: DutyRun
    charge_wh: list[float]
    outlet: list[str | None]
    level_wh: float
    curves: list[ChargeCurve]
    met: dict[Priority, int] = field(default_factory=dict)
    ac_off_h: float = 0.0

    @classmethod
    def begun(cls, yard: Yard, agenda: Agenda, suns: ThreeSuns, duty: DutyRun) -> HandsDay:
        """Return the yard as the plan begins."""
        return cls(
            yard,
            agenda,
            suns,
            duty,
            charge_wh=[machine.charge_wh for machine in yard.machines],
            outlet=[machine.outlet for machine in yard.machines],
            level_wh=yard.bank.level_wh,
            curves=[ChargeCurve.of(machine) for machine in yard.machines],
            met=dict.fromkeys(PRIORITIES, 0),
        )

    def next_need(self, number: int, edge: int) -> tuple[int, int]:
        """Class and edge of the next need of a machine; after all others where it has none."""
        needs = self.agenda.needs[self.yard.machines[number].name]
        ahead = [need for need in needs if need.edge > edge]
        if not ahead:
            return len(PRIORITIES), self.agenda.grid.n_steps + 1
        return PRIORITIES.index(ahead[0].priority), ahead[0].edge


def _in_turn(day: HandsDay, edge: int) -> Order:
    return lambda number: (number,)


def _by_deadline(day: HandsDay, edge: int) -> Order:
    return lambda number: (day.next_need(number, edge)[1], number)


def _by_class(day: HandsDay, edge: int) -> Order:
    return lambda number: (*day.next_need(number, edge), number)


#: The rules by name: in which order a hand at a visit would have machines plugged in.
RULES: dict[str, Callable[[HandsDay, int], Order]] = {
    "all in turn": _in_turn,
    "earliest deadline first": _by_deadline,
    "priority first": _by_class,
}


def compare_rules_of_thumb(
    yard: Yard, agenda: Agenda, suns: ThreeSuns, duty: DutyRun
) -> tuple[RuleOfThumb, ...]:
    """Needs met by class if the hand went all in turn, by the earliest deadline, or by class."""
    return tuple(
        _live(name, HandsDay.begun(yard, agenda, suns, duty), order) for name, order in RULES.items()
    )


def _live(name: str, day: HandsDay, order: Callable[[HandsDay, int], Order]) -> RuleOfThumb:
    n_steps = day.agenda.grid.n_steps
    for edge in range(n_steps + 1):
        _take_out(day, edge)
        if edge < n_steps:
            if edge in day.agenda.visits:
                change_plugs(day, edge, order(day, edge))
            _run_step(day, edge)
    return RuleOfThumb(name, day.met, day.ac_off_h)


def _take_out(day: HandsDay, edge: int) -> None:
    for number, machine in enumerate(day.yard.machines):
        for need in day.agenda.needs[machine.name]:
            if need.edge == edge:
                day.met[need.priority] += day.charge_wh[number] >= need.need_wh - READY_TOLERANCE_WH
                day.charge_wh[number] = max(0.0, day.charge_wh[number] - need.work_wh)
        if edge < day.agenda.grid.n_steps and day.agenda.away[machine.name][edge]:
            day.outlet[number] = None


def change_plugs(day: HandsDay, step: int, order: Order) -> None:
    """Pull what is full or may not charge now; fill free outlets in order, as far as the inverter stands it."""
    for number in range(len(day.yard.machines)):
        if day.outlet[number] is not None and not _wants(day, number, step):
            day.outlet[number] = None
    for number in sorted(range(len(day.yard.machines)), key=order):
        machine = day.yard.machines[number]
        if day.outlet[number] is not None or not _wants(day, number, step):
            continue
        taken = set(day.outlet)
        for outlet in day.yard.outlets:
            if (
                outlet.name not in taken
                and outlet.kind == machine.supply
                and machine.charger_w <= _bearable_w(outlet)
            ):
                day.outlet[number] = outlet.name
                if not _inverter_stands(day, step):
                    day.outlet[number] = None
                break


def _bearable_w(outlet: Outlet) -> float:
    """Watts that a careful hand puts on an outlet for good (R6)."""
    return min(outlet.limit_w, outlet.continuous_w)


def _wants(day: HandsDay, number: int, step: int) -> bool:
    machine = day.yard.machines[number]
    present = not day.agenda.away[machine.name][step]
    return present and day.charge_wh[number] < machine.capacity_wh and _in_window(day, machine, step)


def _in_window(day: HandsDay, machine: Machine, step: int) -> bool:
    low, high = machine.charge_temp_c
    return bool(low <= day.suns.shed_temp_c[step] <= high)


def _inverter_stands(day: HandsDay, step: int) -> bool:
    """R5, with every motor of the house taken to run: the hand does not know when it starts."""
    plugged = sum(
        machine.charger_w
        for machine, outlet in zip(day.yard.machines, day.outlet, strict=True)
        if outlet is not None and machine.supply == "ac"
    )
    always = {load.name: np.ones(1, dtype=bool) for load in day.yard.house_loads}
    running = duty_watts(day.yard, always, 1) + plugged
    starting = worst_start_w(day.yard, always, running)
    inverter = day.yard.inverter
    return bool(running[0] <= inverter.continuous_w and starting[0] <= inverter.surge_limit_w)


def _run_step(day: HandsDay, step: int) -> None:
    """Charge for a step; where that takes the bank below its reserve, AC stops for the step."""
    charged = [_charged_wh(day, number, step) for number in range(len(day.yard.machines))]
    level = _level_after(day, step, charged, ac_on=True)
    if level < day.yard.bank.reserve_wh:
        charged = [
            after if machine.supply == "dc" else before
            for machine, after, before in zip(day.yard.machines, charged, day.charge_wh, strict=True)
        ]
        level = _level_after(day, step, charged, ac_on=False)
        day.ac_off_h += day.agenda.grid.step_h
    day.charge_wh, day.level_wh = charged, level


def _charged_wh(day: HandsDay, number: int, step: int) -> float:
    machine = day.yard.machines[number]
    if day.outlet[number] is None or not _in_window(day, machine, step):
        return day.charge_wh[number]
    return float(day.curves[number].charge_after_wh(day.charge_wh[number], day.agenda.grid.step_h))


def _level_after(day: HandsDay, step: int, charged: list[float], ac_on: bool) -> float:
    drawn = {"ac": 0.0, "dc": 0.0}
    for machine, after, before in zip(day.yard.machines, charged, day.charge_wh, strict=True):
        drawn[machine.supply] += (after - before) / machine.charger_efficiency / day.agenda.grid.step_h
    house_w = float(duty_watts(day.yard, day.duty, day.agenda.grid.n_steps)[step]) if ac_on else 0.0
    ac_w = np.array([drawn["ac"] + house_w])
    demand = dc_demand_w(day.yard.inverter, ac_w, np.array([drawn["dc"]]), ac_w > 0)
    if not ac_on:
        demand = np.array([drawn["dc"]])
    net = day.suns.dull_w[step : step + 1] - demand
    return float(bank_path(day.yard.bank, day.level_wh, net, day.agenda.grid).level_wh[-1])
