"""The replay's own physics: chargers minute by minute, the bank step by step.

Written from the numbered rules and nothing else: it shares the yard, the agenda, the grid and the suns with
the planner, and no arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.timegrid import FloatArray, Grid
from scheduler.units import CHARGER_CUTOFF_FRACTION
from scheduler.yard.agenda import Agenda, DueNeed
from scheduler.yard.models import Bank, Machine, Yard

BoolArray = NDArray[np.bool_]

MINUTES_PER_HOUR = 60
MINUTE_H = 1.0 / MINUTES_PER_HOUR

#: A battery that lacks no more than this fraction is full: the charger's last 0.1 s, so that the rounding of
#: the integration does not decide whether a charger still runs when the next step begins.
FULL_WITHIN = 1e-6


@dataclass(frozen=True)
class Decisions:
    """What a plan decides; everything else follows from it.

    Attributes
    ----------
    outlet : tuple of tuple of str or None, a machine of the yard each, n_steps long
        The outlet it is in, whether that is on or off.
    plugged : ndarray of bool, shape (n_steps, n_machines)
        In an outlet that is on.
    house_on : ndarray of bool, shape (n_steps, n_house_loads)
        Which loads of the house run.
    """

    outlet: tuple[tuple[str | None, ...], ...]
    plugged: BoolArray
    house_on: BoolArray


@dataclass(frozen=True)
class Loads:
    """What everything draws, which the sun has no part in.

    Attributes
    ----------
    charge_wh : ndarray, shape (n_steps + 1, n_machines)
        Energy in each battery after the work taken on the edge [Wh].
    have_wh : tuple of tuple of float, a machine each, a need each
        Energy in the battery before the need's work is taken [Wh].
    begin_w, end_w, mean_w : ndarray, shape (minutes, n_machines)
        What each charger draws at the wall at a minute's begin, at its end and in its mean [W].
    wall_wh : ndarray, shape (n_steps, n_machines)
        Energy at the wall [Wh].
    ac_w : ndarray, shape (minutes,)
        All AC loads together, the house among them, at a minute's begin, its highest moment [W].
    demand_wh : ndarray, shape (n_steps,)
        What all this takes from the bank's side, the inverter's losses and idle draw in it [Wh].
    """

    charge_wh: FloatArray
    have_wh: tuple[tuple[float, ...], ...]
    begin_w: FloatArray
    end_w: FloatArray
    mean_w: FloatArray
    wall_wh: FloatArray
    ac_w: FloatArray
    demand_wh: FloatArray


@dataclass(frozen=True)
class BankCurves:
    """The bank under one or more suns (R3), one sun a column.

    Attributes
    ----------
    level_wh : ndarray, shape (n_steps + 1, n_suns)
        Energy in store on each edge [Wh].
    charged_wh, discharged_wh : ndarray, shape (n_steps, n_suns)
        What goes in and what comes out, both outside the bank's own losses [Wh].
    curtailed_wh : ndarray, shape (n_steps, n_suns)
        Sun that finds neither use nor room [Wh].
    limited_wh : ndarray, shape (n_steps, n_suns)
        Demand beyond the bank's discharge limit, not served [Wh].
    short_wh : ndarray, shape (n_steps, n_suns)
        Demand within that limit that an empty bank does not serve [Wh].
    """

    level_wh: FloatArray
    charged_wh: FloatArray
    discharged_wh: FloatArray
    curtailed_wh: FloatArray
    limited_wh: FloatArray
    short_wh: FloatArray


@dataclass(frozen=True)
class Physics:
    """A yard that ran: its loads, and its bank under each sun."""

    loads: Loads
    bank: BankCurves


def run_yard(
    yard: Yard, agenda: Agenda, sun_w: FloatArray, shed_temp_c: FloatArray, decisions: Decisions
) -> Physics:
    """Let the yard run from the plan's start.

    Parameters
    ----------
    yard : Yard
    agenda : Agenda
    sun_w : ndarray, shape (n_steps, n_suns)
        Mean array power of each step, one sun a column [W].
    shed_temp_c : ndarray, shape (n_steps,)
        Mean shed temperature of each step [C].
    decisions : Decisions
        Followed to the letter, whether or not they keep the rules.
    """
    loads = run_loads(yard, agenda, shed_temp_c, decisions)
    sun_wh = agenda.grid.energy_wh(sun_w)
    return Physics(loads, run_bank(yard.bank, agenda.grid, sun_wh, loads.demand_wh, yard.bank.level_wh))


def run_loads(yard: Yard, agenda: Agenda, shed_temp_c: FloatArray, decisions: Decisions) -> Loads:
    """Let the machines and the house run (R5 to R9, R11); arguments as of `run_yard`."""
    grid = agenda.grid
    runs = []
    for column, machine in enumerate(yard.machines):
        draws = decisions.plugged[:, column] & ~agenda.away[machine.name]
        if machine.self_protecting:
            draws = draws & ~is_outside_window(machine, shed_temp_c)
        runs.append(_run_machine(machine, agenda.needs[machine.name], draws, grid.step_minutes))
    minutes = grid.n_steps * grid.step_minutes
    mean_w = _columns([run.mean_w for run in runs], minutes)
    begin_w = _columns([run.begin_w for run in runs], minutes)
    wall_wh = mean_w.reshape(grid.n_steps, grid.step_minutes, len(runs)).sum(axis=1) * MINUTE_H
    is_ac = np.array([machine.supply == "ac" for machine in yard.machines], dtype=bool)
    house_w = decisions.house_on @ np.array([load.watts for load in yard.house_loads], dtype=float)
    ac_wh = wall_wh[:, is_ac].sum(axis=1) + grid.energy_wh(house_w)
    return Loads(
        charge_wh=_columns([run.charge_wh for run in runs], grid.n_steps + 1),
        have_wh=tuple(tuple(run.have_wh) for run in runs),
        begin_w=begin_w,
        end_w=_columns([run.end_w for run in runs], minutes),
        mean_w=mean_w,
        wall_wh=wall_wh,
        ac_w=begin_w[:, is_ac].sum(axis=1) + np.repeat(house_w, grid.step_minutes),
        demand_wh=wall_wh[:, ~is_ac].sum(axis=1) + from_bank_wh(yard, grid, ac_wh),
    )


def run_bank(
    bank: Bank, grid: Grid, sun_wh: FloatArray, demand_wh: FloatArray, start_wh: float | FloatArray
) -> BankCurves:
    """Let the bank run through any number of steps (R3).

    Parameters
    ----------
    bank : Bank
    grid : Grid
        For the length of a step.
    sun_wh : ndarray, shape (n, n_suns)
        Array energy of each step, one sun a column [Wh].
    demand_wh : ndarray, shape (n,)
        What is taken from the bank's side [Wh].
    start_wh : float or ndarray, shape (n_suns,)
        What the bank holds at the beginning [Wh].

    Notes
    -----
    With the surplus ``x`` of a step, ``min(x, charge_max, room / charge_efficiency)`` goes in, and
    ``min(-x, discharge_max, level * discharge_efficiency)`` comes out.
    """
    surplus_wh = sun_wh - demand_wh[:, np.newaxis]
    spare_wh = np.maximum(surplus_wh, 0.0)
    lack_wh = np.maximum(-surplus_wh, 0.0)
    offered_wh = np.minimum(spare_wh, _limit_wh(bank.charge_max_w, grid))
    wanted_wh = np.minimum(lack_wh, _limit_wh(bank.discharge_max_w, grid))
    charged_wh = np.empty_like(surplus_wh)
    discharged_wh = np.empty_like(surplus_wh)
    level_wh = np.empty((len(surplus_wh) + 1, surplus_wh.shape[1]))
    level_wh[0] = start_wh
    into, out_of, capacity_wh = bank.charge_efficiency, bank.discharge_efficiency, bank.capacity_wh
    for step, level in enumerate(level_wh[:-1]):
        charged_wh[step] = np.minimum(offered_wh[step], (capacity_wh - level) / into)
        discharged_wh[step] = np.minimum(wanted_wh[step], level * out_of)
        change_wh = into * charged_wh[step] - discharged_wh[step] / out_of
        level_wh[step + 1] = np.clip(level + change_wh, 0.0, capacity_wh)
    return BankCurves(
        level_wh=level_wh,
        charged_wh=charged_wh,
        discharged_wh=discharged_wh,
        curtailed_wh=spare_wh - charged_wh,
        limited_wh=lack_wh - wanted_wh,
        short_wh=wanted_wh - discharged_wh,
    )


def is_outside_window(machine: Machine, shed_temp_c: FloatArray) -> BoolArray:
    """Return the steps in which it is too cold or too hot to charge (R8)."""
    coldest, hottest = machine.charge_temp_c
    return (shed_temp_c < coldest) | (shed_temp_c > hottest)


@dataclass(frozen=True)
class Charger:
    """R7 in plain floats, as the minute loop needs it.

    Attributes
    ----------
    full_w : float
        Draw at the wall up to the taper point [W].
    taper_from : float
        Charge fraction of the taper point.
    fill_per_h : float
        Charge fraction gained in an hour at full draw [1/h].
    fall : float
        How steeply the draw falls: its fraction lost per charge fraction; 0 where nothing tapers.
    """

    full_w: float
    taper_from: float
    fill_per_h: float
    fall: float

    @classmethod
    def of(cls, machine: Machine) -> Charger:
        """Return the charger of a machine."""
        tapering = 1.0 - machine.taper_from
        return cls(
            full_w=machine.charger_w,
            taper_from=machine.taper_from,
            fill_per_h=machine.charger_efficiency * machine.charger_w / machine.capacity_wh,
            fall=(1.0 - CHARGER_CUTOFF_FRACTION) / tapering if tapering > 0.0 else 0.0,
        )

    def power_w(self, fraction: float) -> float:
        """Draw at a charge fraction [W]."""
        if fraction >= 1.0:
            return 0.0
        return self.full_w * (1.0 - self.fall * max(0.0, fraction - self.taper_from))

    def minute_later(self, fraction: float) -> float:
        """Charge fraction after a minute plugged in.

        Notes
        -----
        ``ds/dt = efficiency * p(s) / capacity``: up to the taper point a constant; beyond it by the classical
        Runge-Kutta method in parts no longer than half of the taper's time constant.
        """
        left_h = MINUTE_H
        if fraction < self.taper_from:
            flat_h = min(left_h, (self.taper_from - fraction) / self.fill_per_h)
            fraction += self.fill_per_h * flat_h
            left_h -= flat_h
        part_h = MINUTE_H / (1 + int(2.0 * self.fall * self.fill_per_h * MINUTE_H))
        while left_h > 0.0 and fraction < 1.0 - FULL_WITHIN:
            fraction = self._runge_kutta(fraction, min(left_h, part_h))
            left_h -= part_h
        return 1.0 if fraction >= 1.0 - FULL_WITHIN else fraction

    def _runge_kutta(self, fraction: float, part_h: float) -> float:
        fill, fall, corner = self.fill_per_h, self.fall, self.taper_from
        k1 = fill * (1.0 - fall * (fraction - corner))
        k2 = fill * (1.0 - fall * (fraction + 0.5 * part_h * k1 - corner))
        k3 = fill * (1.0 - fall * (fraction + 0.5 * part_h * k2 - corner))
        k4 = fill * (1.0 - fall * (fraction + part_h * k3 - corner))
        return fraction + part_h * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0


@dataclass(frozen=True)
class _MachineRun:
    charge_wh: list[float]
    have_wh: list[float]
    begin_w: list[float]
    end_w: list[float]
    mean_w: list[float]


def _run_machine(
    machine: Machine, needs: tuple[DueNeed, ...], draws: BoolArray, step_minutes: int
) -> _MachineRun:
    """Step one machine through the plan: work is taken on edges (R9), charge comes in minutes (R7)."""
    charger = Charger.of(machine)
    run = _MachineRun([], [], [], [], [])
    charge_wh = machine.charge_wh
    waiting = list(needs)
    for edge in range(len(draws) + 1):
        while waiting and waiting[0].edge == edge:
            run.have_wh.append(charge_wh)
            charge_wh = max(0.0, charge_wh - waiting.pop(0).work_wh)
        run.charge_wh.append(charge_wh)
        if edge < len(draws):
            minutes = step_minutes if draws[edge] else 0
            charge_wh = _charge(run, charger, machine, charge_wh, minutes)
            for series in (run.begin_w, run.end_w, run.mean_w):
                series.extend([0.0] * (step_minutes * (edge + 1) - len(series)))
    return run


def _charge(run: _MachineRun, charger: Charger, machine: Machine, charge_wh: float, minutes: int) -> float:
    """Charge for some minutes, or until the battery is full; return what it then holds [Wh]."""
    fraction = charge_wh / machine.capacity_wh
    if fraction >= 1.0 - FULL_WITHIN:
        return charge_wh
    wall_w_per_fraction = machine.capacity_wh / machine.charger_efficiency * MINUTES_PER_HOUR
    for _ in range(minutes):
        before, fraction = fraction, charger.minute_later(fraction)
        run.begin_w.append(charger.power_w(before))
        run.end_w.append(charger.power_w(fraction))
        run.mean_w.append((fraction - before) * wall_w_per_fraction)
        if fraction >= 1.0:
            break
    return fraction * machine.capacity_wh


def from_bank_wh(yard: Yard, grid: Grid, ac_wh: FloatArray) -> FloatArray:
    """Return what the inverter takes for its AC output, idle draw included [Wh] (R5)."""
    inverter = yard.inverter
    is_off = (ac_wh <= 0.0) & inverter.off_when_unused
    return ac_wh / inverter.efficiency + grid.energy_wh(np.where(is_off, 0.0, inverter.idle_w))


def _limit_wh(limit_w: float | None, grid: Grid) -> float:
    return float("inf") if limit_w is None else limit_w * grid.step_h


def _columns(columns: list[list[float]], length: int) -> FloatArray:
    """Stack series side by side; shape (length, 0) for a yard without machines."""
    return np.array(columns, dtype=float).reshape(len(columns), length).T
