"""Rules R3 to R12 once more, from their text alone: the physics that the oracles stand on.

Nothing here is taken from, or known to, the planner; only the yard's records and its agenda are shared.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.sun.suns import ThreeSuns
from scheduler.yard.agenda import Agenda, DueNeed, DutyWindow
from scheduler.yard.models import HouseLoad, Machine, Outlet, Yard

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: The charger stops at this share of its full power (R7).
STOP_SHARE = 0.05
#: R6: a draw above 80 % of the breaker's rating must end before this many hours.
CONTINUOUS_H = 3.0
#: A battery this near to full is full, and a need this near to met is met: rounding.
FULL = 1.0 - 1e-9
MET_WH = 1e-3
#: Shortfalls this near to each other are the same [Wh].
SAME_WH = 0.01


@dataclass(frozen=True)
class Case:
    """A yard with what its clock and its sky ask of it."""

    yard: Yard
    agenda: Agenda
    suns: ThreeSuns


@dataclass(frozen=True)
class Best:
    """The best tuple, aim by aim; the last is the bank's level at the end under the likely sun."""

    must: int
    should: int
    could: int
    shortfall_wh: float
    plug_changes: float
    end_level_wh: float


# ---- R7: the charger -----------------------------------------------------------------------------
# With u the share of full power, u = 1 up to the taper point k and u = 1 - b (s - k) after it, where
# b = 0.95 / (1 - k) so that u(1) = 0.05. With r = efficiency P / capacity, ds/dt = r u gives du/dt = -b r u:
# u decays exponentially, and the charger stops after ln(u / 0.05) / (b r).


def share_of_full_power(machine: Machine, stored_wh: float) -> float:
    """Share of its full power that the charger draws at this charge."""
    s, k = stored_wh / machine.capacity_wh, machine.taper_from
    if s >= FULL:
        return 0.0
    return 1.0 if s <= k else 1.0 - (1.0 - STOP_SHARE) * (s - k) / (1.0 - k)


def hours_until_share(machine: Machine, stored_wh: float, share: float) -> float:
    """Hours on the charger until it draws no more than this share of its full power."""
    s, k = stored_wh / machine.capacity_wh, machine.taper_from
    now = share_of_full_power(machine, stored_wh)
    if share >= 1.0 or now <= share:
        return 0.0
    rate = machine.charger_efficiency * machine.charger_w / machine.capacity_wh
    until_taper = max(0.0, k - s) / rate
    if k >= 1.0:
        return until_taper
    return until_taper + math.log(now / max(share, STOP_SHARE)) * (1.0 - k) / ((1.0 - STOP_SHARE) * rate)


def charged_wh(machine: Machine, stored_wh: float, hours: float) -> float:
    """What the battery holds after this many hours on its charger [Wh]."""
    if hours >= hours_until_share(machine, stored_wh, 0.0):
        return machine.capacity_wh
    s, k = stored_wh / machine.capacity_wh, machine.taper_from
    rate = machine.charger_efficiency * machine.charger_w / machine.capacity_wh
    straight = min(hours, max(0.0, k - s) / rate)
    s += rate * straight
    if hours > straight:
        b = (1.0 - STOP_SHARE) / (1.0 - k)
        s = k + (1.0 - (1.0 - b * (s - k)) * math.exp(-b * rate * (hours - straight))) / b
    return s * machine.capacity_wh


# ---- R7 to R9, R12: one machine ------------------------------------------------------------------


@dataclass(frozen=True)
class Charging:
    """What comes of a machine whose outlet is on in the given steps; `over` is filled for one limit."""

    stored_wh: Floats
    wall_wh: Floats
    peak_w: Floats
    have_wh: tuple[float, ...]


def outside_window(machine: Machine, suns: ThreeSuns) -> Flags:
    """Steps in which the shed is too cold or too hot to charge it (R8)."""
    low, high = machine.charge_temp_c
    return np.asarray((suns.shed_temp_c < low) | (suns.shed_temp_c > high))


def charging(case: Case, machine: Machine, on: Flags) -> Charging:
    """Follow one machine through the plan (R7, R8, R9)."""
    span = 0, case.agenda.grid.n_steps
    return follow(case, machine, on, span, machine.charge_wh, case.agenda.needs[machine.name])


def follow(
    case: Case, machine: Machine, on: Flags, span: tuple[int, int], stored_wh: float, needs: Sequence[DueNeed]
) -> Charging:
    """Follow one machine from one edge to another, through these needs alone; zeros outside."""
    grid = case.agenda.grid
    # A charger knows nothing of the cold; only a battery that protects itself stops it (R8).
    idle = outside_window(machine, case.suns) & machine.self_protecting
    stored = np.zeros(grid.n_steps + 1)
    wall, peak = np.zeros(grid.n_steps), np.zeros(grid.n_steps)
    have: list[float] = []
    now, (first, last) = stored_wh, span
    for edge in range(first, last + 1):
        now = _take_work(now, [need for need in needs if need.edge == edge], have)
        stored[edge] = now
        if edge < last and on[edge] and not idle[edge]:
            after = charged_wh(machine, now, grid.step_h)
            wall[edge] = (after - now) / machine.charger_efficiency
            peak[edge] = machine.charger_w * share_of_full_power(machine, now)
            now = after
    return Charging(stored, wall, peak, tuple(have))


def _take_work(stored_wh: float, due: list[DueNeed], have: list[float]) -> float:
    for need in due:
        have.append(stored_wh)
        stored_wh = max(0.0, stored_wh - need.work_wh)
    return stored_wh


def over_whole_steps(case: Case, machine: Machine, charge: Charging, outlet: Outlet) -> Flags:
    """Steps that the machine spends whole above what the outlet's breaker stands for good (R6)."""
    step_h = case.agenda.grid.step_h
    share = outlet.continuous_w * (1.0 + 1e-9) / machine.charger_w
    return np.array(
        [
            peak > 0.0 and hours_until_share(machine, float(stored), share) >= step_h - 1e-9
            for peak, stored in zip(charge.peak_w, charge.stored_wh[:-1], strict=True)
        ]
    )


def may_stand_in(machine: Machine, outlet: Outlet) -> bool:
    """Whether kind and watts fit (R6)."""
    return machine.supply == outlet.kind and machine.charger_w <= outlet.limit_w


# ---- R11: duty loads -----------------------------------------------------------------------------


def duty_ways(window: DutyWindow, n_steps: int) -> list[Flags]:
    """Every way in which a duty load may spend its hours in one window."""
    length = window.last - window.first

    def runs(position: int, left: int) -> list[list[tuple[int, int]]]:
        if left == 0:
            return [[]]
        found = []
        for start in range(position, length - left + 1):  # later there is no room for what is left
            for size in range(window.min_steps, left + 1):
                # The step after a run is off, else it would be one longer run.
                found += [[(start, start + size), *rest] for rest in runs(start + size + 1, left - size)]
        return found

    ways = []
    for blocks in runs(0, window.on_steps):
        on = np.zeros(n_steps, dtype=bool)
        for start, end in blocks:
            on[window.first + start : window.first + end] = True
        ways.append(on)
    return ways


def load_named(yard: Yard, name: str) -> HouseLoad:
    """House load of this name."""
    return next(load for load in yard.house_loads if load.name == name)


# ---- R3, R5: bank and inverter, for many plans at once -------------------------------------------


def bank_draw_wh(case: Case, ac_wh: Floats, dc_wh: Floats) -> Floats:
    """Energy that inverter and DC ports take from the bank's side in each step [Wh] (R5)."""
    inverter = case.yard.inverter
    idle = np.full(ac_wh.shape, inverter.idle_w * case.agenda.grid.step_h)
    if inverter.off_when_unused:
        idle = np.where(ac_wh > 1e-9, idle, 0.0)
    return np.asarray(ac_wh / inverter.efficiency + idle + dc_wh)


def bank_levels_wh(case: Case, sun_w: Floats, draw_wh: Floats) -> tuple[Floats, Flags]:
    """Bank level on every edge, last axis, and whether its discharge limit holds (R3)."""
    bank, step_h = case.yard.bank, case.agenda.grid.step_h
    charge_max = math.inf if bank.charge_max_w is None else bank.charge_max_w * step_h
    discharge_max = math.inf if bank.discharge_max_w is None else bank.discharge_max_w * step_h
    levels = np.empty((*draw_wh.shape[:-1], draw_wh.shape[-1] + 1))
    levels[..., 0] = bank.level_pct / 100.0 * bank.capacity_wh
    within = np.ones(draw_wh.shape[:-1], dtype=bool)
    for step in range(draw_wh.shape[-1]):
        net = sun_w[step] * step_h - draw_wh[..., step]
        stored = np.where(
            net >= 0.0, np.minimum(net, charge_max) * bank.charge_efficiency, net / bank.discharge_efficiency
        )
        within &= -net <= discharge_max + 1e-6
        levels[..., step + 1] = np.minimum(levels[..., step] + stored, bank.capacity_wh)
    return levels, within


def house_always_w(case: Case) -> float:
    """Watts of the loads that never stop."""
    return sum(load.watts for load in case.yard.house_loads if load.always_on)


def forced_on(case: Case, machine: Machine) -> Flags:
    """Steps before the first visit in which a machine that is in an outlet already charges (R10)."""
    n_steps = case.agenda.grid.n_steps
    on = np.zeros(n_steps, dtype=bool)
    if machine.outlet is not None:
        away = case.agenda.away[machine.name]
        first_visit = case.agenda.visits[0] if case.agenda.visits else n_steps
        leaves = int(np.argmax(away)) if away.any() else n_steps
        on[: min(first_visit, leaves)] = True
    return on


def allowed_wh(case: Case) -> Floats:
    """Lowest level that a plan may reach on each edge under the dull sun (R4)."""
    grid, reserve = case.agenda.grid, case.yard.bank.reserve_wh
    base_ac = np.full(grid.n_steps, house_always_w(case) * grid.step_h)
    base_dc = np.zeros(grid.n_steps)
    for machine in case.yard.machines:
        forced = charging(case, machine, forced_on(case, machine)).wall_wh
        if machine.supply == "ac":
            base_ac = base_ac + forced
        else:
            base_dc = base_dc + forced
    schedules = [base_ac]
    for window in case.agenda.duties:
        watts = load_named(case.yard, window.load).watts
        schedules = [
            ac + watts * grid.step_h * on for ac in schedules for on in duty_ways(window, grid.n_steps)
        ]
    ac = np.array(schedules)
    levels, _ = bank_levels_wh(case, case.suns.dull_w, bank_draw_wh(case, ac, base_dc))
    shortage = np.maximum(0.0, reserve - levels).sum(axis=-1)
    return np.asarray(np.minimum(reserve, levels[int(np.argmin(shortage))]))
