"""The yard's life, step by step, under the sun that comes: rules R3 to R9 and R12, nobody looking ahead.

The reserve is a rule for plans (R4): it is kept for days on which the sun is worse than the dull one. So AC runs
on below the reserve, and the hours there are counted; only when the bank cannot give what a step asks, because it
is empty or its discharge limit is passed, AC stops for that step, the inverter's idle draw with it, and if that is
not enough the DC ports too. A step is served whole or not at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from scheduler.charging.curve import ChargeCurve
from scheduler.studies.yearrecord import NeedLived
from scheduler.timegrid import FloatArray
from scheduler.units import LEVEL_TOLERANCE_FRACTION, POWER_TOLERANCE_W, pct_from_fraction
from scheduler.yard.agenda import Agenda, DueNeed
from scheduler.yard.models import Machine, Yard

Timer = tuple[int, int] | None


@dataclass
class YardState:
    """Where everything stands on an edge; lists in the order of the yard's machines.

    Attributes
    ----------
    level_wh : float
        The bank [Wh].
    charge_wh : list of float
        The machines' batteries [Wh].
    outlet : list of str or None
    timer : list
        Edges between which the outlet's timer is on; None where it is simply on.
    already_run : dict
        Steps that a duty load has run in a window, by its name and the window's first step.
    """

    level_wh: float
    charge_wh: list[float]
    outlet: list[str | None]
    timer: list[Timer]
    already_run: dict[tuple[str, int], int] = field(default_factory=dict)

    @classmethod
    def of(cls, yard: Yard) -> YardState:
        """Return the yard as its file describes it."""
        machines = yard.machines
        return cls(
            yard.bank.level_wh,
            [machine.charge_wh for machine in machines],
            [machine.outlet for machine in machines],
            [None] * len(machines),
        )

    def is_on(self, number: int, step: int) -> bool:
        """Whether a machine is in an outlet that is on."""
        timer = self.timer[number]
        return self.outlet[number] is not None and (timer is None or timer[0] <= step < timer[1])

    def shown_pct(self, yard: Yard) -> int:
        """Return what the bank's display shows: whole percent, the rest cut off."""
        return math.floor(pct_from_fraction(self.level_wh / yard.bank.capacity_wh) + 1e-9)


@dataclass
class Tally:
    """What a day's steps add up to; fields as of `DayLived`."""

    house_wh: list[float]
    machines_wh: list[float]
    work_wh: list[float]
    lowest_wh: float
    hours: float = 0.0
    sun_wh: float = 0.0
    curtailed_wh: float = 0.0
    inverter_loss_wh: float = 0.0
    bank_in_loss_wh: float = 0.0
    bank_out_loss_wh: float = 0.0
    bank_out_wh: float = 0.0
    unserved_wh: float = 0.0
    at_reserve_h: float = 0.0
    below_reserve_h: float = 0.0
    ac_off_h: float = 0.0
    outside_window_h: float = 0.0
    misplugged_h: float = 0.0
    lines_followed: int = 0
    lines_spared: int = 0
    unproven_plans: int = 0
    needs: list[NeedLived] = field(default_factory=list)

    @classmethod
    def begun(cls, yard: Yard, level_wh: float) -> Tally:
        """Return an empty day."""
        machines = len(yard.machines)
        return cls([0.0] * len(yard.house_loads), [0.0] * machines, [0.0] * machines, level_wh)

    def closed(self) -> dict[str, Any]:
        """Return the fields by name, lists as tuples."""
        values = {one.name: getattr(self, one.name) for one in fields(self)}
        return {name: tuple(value) if isinstance(value, list) else value for name, value in values.items()}


@dataclass(frozen=True)
class Life:
    """A yard under a sun; arrays over the steps of the agenda.

    Attributes
    ----------
    yard : Yard
    agenda : Agenda
        Of the whole time that is lived.
    sun_w : ndarray, shape (n_steps,)
        What the arrays can give [W].
    shed_temp_c : ndarray, shape (n_steps,)
    curves : tuple of ChargeCurve
    due : dict of int to list
        What comes due on an edge, with the machine's number.
    """

    yard: Yard
    agenda: Agenda
    sun_w: FloatArray
    shed_temp_c: FloatArray
    curves: tuple[ChargeCurve, ...]
    due: dict[int, list[tuple[int, DueNeed]]]

    @classmethod
    def of(cls, yard: Yard, agenda: Agenda, sun_w: FloatArray, shed_temp_c: FloatArray) -> Life:
        """Prepare the chargers' curves, and what comes due on each edge."""
        due: dict[int, list[tuple[int, DueNeed]]] = {}
        for number, machine in enumerate(yard.machines):
            for need in agenda.needs[machine.name]:
                due.setdefault(need.edge, []).append((number, need))
        curves = tuple(ChargeCurve.of(machine) for machine in yard.machines)
        return cls(yard, agenda, sun_w, shed_temp_c, curves, due)

    def take_out(self, state: YardState, tally: Tally, edge: int) -> None:
        """R9, R12: judge what comes due on an edge and take its work; who is away is in no outlet."""
        for number, need in self.due.get(edge, ()):
            name, charge_wh = self.yard.machines[number].name, state.charge_wh[number]
            tally.needs.append(NeedLived(name, need.priority, need.need_wh, charge_wh))
            state.charge_wh[number] = max(0.0, charge_wh - need.work_wh)
            tally.work_wh[number] += charge_wh - state.charge_wh[number]
        for number, machine in enumerate(self.yard.machines):
            if self.agenda.away[machine.name][edge]:
                state.outlet[number], state.timer[number] = None, None

    def run_step(self, state: YardState, tally: Tally, step: int, running: Sequence[bool]) -> bool:
        """Let a step pass; `running` tells of each house load whether it is on. Return whether AC was there."""
        yard, step_h = self.yard, self.agenda.grid.step_h
        after_wh = [self._charge_after_wh(state, number, step) for number in range(len(yard.machines))]
        wall_wh = [
            (after - before) / machine.charger_efficiency
            for machine, after, before in zip(yard.machines, after_wh, state.charge_wh, strict=True)
        ]
        house_wh = [
            load.watts * step_h if on else 0.0 for load, on in zip(yard.house_loads, running, strict=True)
        ]
        dc = [machine.supply == "dc" for machine in yard.machines]
        dc_wh = sum(wall for wall, is_dc in zip(wall_wh, dc, strict=True) if is_dc)
        ac_wh = sum(house_wh) + sum(wall for wall, is_dc in zip(wall_wh, dc, strict=True) if not is_dc)
        sun_wh = float(self.sun_w[step]) * step_h
        from_bank_wh = self._inverter_takes_wh(ac_wh)
        ac_on = self._bank_gives(state, from_bank_wh + dc_wh - sun_wh)
        dc_on = ac_on or self._bank_gives(state, dc_wh - sun_wh)
        if not ac_on:
            tally.ac_off_h += step_h
            tally.unserved_wh += ac_wh + (0.0 if dc_on else dc_wh)
            from_bank_wh, ac_wh, house_wh = 0.0, 0.0, [0.0] * len(house_wh)
        for number, is_dc in enumerate(dc):
            if dc_on if is_dc else ac_on:
                state.charge_wh[number] = after_wh[number]
                tally.machines_wh[number] += wall_wh[number]
        for number, load_wh in enumerate(house_wh):
            tally.house_wh[number] += load_wh
        tally.inverter_loss_wh += from_bank_wh - ac_wh
        tally.hours += step_h
        self._count_outside(state, tally, step)
        self._settle_bank(state, tally, sun_wh, from_bank_wh + (dc_wh if dc_on else 0.0))
        return ac_on

    def _charge_after_wh(self, state: YardState, number: int, step: int) -> float:
        """R7, R8: a charger outside its window draws nothing, whoever left it plugged in."""
        machine, charge_wh = self.yard.machines[number], state.charge_wh[number]
        full = charge_wh >= machine.capacity_wh
        if full or not state.is_on(number, step) or not in_window(machine, float(self.shed_temp_c[step])):
            return charge_wh
        return float(self.curves[number].charge_after_wh(charge_wh, self.agenda.grid.step_h))

    def _count_outside(self, state: YardState, tally: Tally, step: int) -> None:
        """R8: count the hours in which batteries that do not protect themselves may not be charged."""
        temp_c, step_h = float(self.shed_temp_c[step]), self.agenda.grid.step_h
        outside = [
            number
            for number, machine in enumerate(self.yard.machines)
            if not machine.self_protecting and not in_window(machine, temp_c)
        ]
        tally.outside_window_h += step_h if outside else 0.0
        tally.misplugged_h += step_h * sum(state.is_on(number, step) for number in outside)

    def _inverter_takes_wh(self, ac_wh: float) -> float:
        """R5: what AC costs on the bank's side, idle draw among it."""
        inverter = self.yard.inverter
        idle_w = 0.0 if inverter.off_when_unused and ac_wh <= 0.0 else inverter.idle_w
        return ac_wh / inverter.efficiency + idle_w * self.agenda.grid.step_h

    def _bank_gives(self, state: YardState, lack_wh: float) -> bool:
        """R3: whether the bank can give what the sun does not."""
        bank, step_h = self.yard.bank, self.agenda.grid.step_h
        limit_w = math.inf if bank.discharge_max_w is None else bank.discharge_max_w
        within_limit = lack_wh <= (limit_w + POWER_TOLERANCE_W) * step_h
        return lack_wh <= 0.0 or (within_limit and lack_wh / bank.discharge_efficiency <= state.level_wh)

    def _settle_bank(self, state: YardState, tally: Tally, sun_wh: float, demand_wh: float) -> None:
        """R3: what is over goes in as far as there is room, what is missing comes out."""
        bank, step_h = self.yard.bank, self.agenda.grid.step_h
        net_wh = sun_wh - demand_wh
        tally.sun_wh += sun_wh
        if net_wh >= 0.0:
            limit_wh = math.inf if bank.charge_max_w is None else bank.charge_max_w * step_h
            room_wh = bank.capacity_wh - state.level_wh
            in_wh = min(net_wh, limit_wh, room_wh / bank.charge_efficiency)
            stored_wh = (
                room_wh if in_wh == room_wh / bank.charge_efficiency else in_wh * bank.charge_efficiency
            )
            tally.curtailed_wh += net_wh - in_wh
            tally.bank_in_loss_wh += in_wh - stored_wh
            state.level_wh = bank.capacity_wh if stored_wh == room_wh else state.level_wh + stored_wh
        else:
            out_wh = -net_wh / bank.discharge_efficiency
            tally.bank_out_wh += out_wh
            tally.bank_out_loss_wh += out_wh + net_wh
            state.level_wh = max(0.0, state.level_wh - out_wh)
        tally.lowest_wh = min(tally.lowest_wh, state.level_wh)
        at_reserve = state.shown_pct(self.yard) <= bank.reserve_pct
        below = state.level_wh < bank.reserve_wh - LEVEL_TOLERANCE_FRACTION * bank.capacity_wh
        tally.at_reserve_h += step_h if at_reserve else 0.0
        tally.below_reserve_h += step_h if below else 0.0


def in_window(machine: Machine, shed_temp_c: float) -> bool:
    """R8: whether a battery may be charged at a temperature."""
    coldest, hottest = machine.charge_temp_c
    return coldest <= shed_temp_c <= hottest
