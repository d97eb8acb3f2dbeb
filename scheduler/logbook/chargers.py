"""What chargers should have drawn: by the plans on the door, by what machines' displays showed, or nobody knows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scheduler.charging.curve import ChargeCurve
from scheduler.logbook.expectation import Reading
from scheduler.logbook.spells import charge_path_wh
from scheduler.planning.record import MachinePlan, Plan
from scheduler.planning.replay_physics import BoolArray
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import fraction_from_pct
from scheduler.yard.models import Machine, Yard

#: Two displays of a machine that differ by less tell of no charging: twice their errors [%].
ALIKE_PCT = 4.0

Noted = list[tuple[int, float]]  #: a machine's displays: edge, and what was shown [%]


@dataclass(frozen=True)
class Chargers:
    """What is known of them, on the grid of the readings; filled in as more becomes known.

    Attributes
    ----------
    wall_wh : ndarray, shape (n_steps, n_machines)
        What each draws at the wall [Wh].
    plugged : ndarray of bool, shape (n_steps, n_machines)
        Whether it charges by plan, as long as its battery takes it.
    plan : ndarray of int, shape (n_steps,)
        Which plan hangs on the door; -1 where none does.
    others_wh : ndarray, shape (n_steps,)
        What the plans' machines that the yard does not know draw at the wall [Wh].
    """

    wall_wh: FloatArray
    plugged: BoolArray
    plan: NDArray[np.intp]
    others_wh: FloatArray

    @property
    def covered(self) -> BoolArray:
        """The steps over which a plan hangs on the door."""
        return self.plan >= 0


def steps_in_plan(plan: Plan, grid: Grid) -> tuple[BoolArray, NDArray[np.intp]]:
    """Return which steps of the grid a plan covers, and in which of its own each of them lies."""
    offset_s = (grid.start - plan.grid.start).total_seconds()
    middle_s = offset_s + (np.arange(grid.n_steps) + 0.5) * grid.step.total_seconds()
    inside = (middle_s >= 0.0) & (middle_s < (plan.grid.end - plan.grid.start).total_seconds())
    return inside, (middle_s[inside] // plan.grid.step.total_seconds()).astype(np.intp)


def chargers_by_plans(yard: Yard, grid: Grid, plans: Sequence[Plan]) -> Chargers:
    """Take what each charger draws from the plans; from its start each takes over from the one before, to its end."""
    shape = grid.n_steps, len(yard.machines)
    found = Chargers(
        np.zeros(shape), np.zeros(shape, dtype=bool), np.full(grid.n_steps, -1), np.zeros(grid.n_steps)
    )
    column_of = {machine.name: column for column, machine in enumerate(yard.machines)}
    for number, plan in enumerate(plans):
        inside, of_plan = steps_in_plan(plan, grid)
        begun = max(-((grid.start - plan.grid.start) // grid.step), 0)
        found.wall_wh[begun:], found.plugged[begun:], found.others_wh[begun:] = 0.0, False, 0.0
        found.plan[begun:] = -1
        found.plan[inside] = number
        per_step = grid.step_h / plan.grid.step_h
        for machine in plan.machines:
            drawn_wh, column = machine.wall_wh[of_plan] * per_step, column_of.get(machine.name)
            if column is None:
                found.others_wh[inside] += drawn_wh
                continue
            found.wall_wh[inside, column] = drawn_wh
            found.plugged[inside, column] = _charges(machine, yard.machines[column])[of_plan]
    return found


def _charges(planned: MachinePlan, machine: Machine) -> BoolArray:
    """Whether it is plugged in and its battery would take charge: one that refuses, in frost, draws nothing."""
    full = planned.charge_wh[:-1] >= 0.999 * machine.capacity_wh
    charges: BoolArray = planned.plugged & ((planned.wall_wh > 0.0) | full)
    return charges


def charge_at_first(yard: Yard, plans: Sequence[Plan], first: dt.datetime) -> dict[str, float]:
    """What machines held at the first reading by the plan that hung there, before they left [%]; {} without."""
    for plan in reversed(plans):
        if plan.grid.start <= first < plan.grid.end:
            edge = (first - plan.grid.start) // plan.grid.step
            capacity_wh = {machine.name: machine.capacity_wh for machine in yard.machines}
            return {
                machine.name: 100.0 * _held_wh(machine, edge) / capacity_wh[machine.name]
                for machine in plan.machines
                if machine.name in capacity_wh
            }
    return {}


def _held_wh(machine: MachinePlan, edge: int) -> float:
    due = [need.have_wh for need in machine.needs if need.edge == edge]
    return float(due[0]) if due else float(machine.charge_wh[edge])


def noted_of(name: str, readings: Sequence[Reading], grid: Grid) -> Noted:
    """A machine's displays on the grid's edges, in the order of time."""
    return [
        (round((reading.at - grid.start) / grid.step), reading.machines_pct[name])
        for reading in readings
        if name in reading.machines_pct
    ]


def carry_on(
    chargers: Chargers, column: int, machine: Machine, noted: Noted, work_wh: FloatArray, step_h: float
) -> None:
    """Let a machine charge by plan from what its display showed, until the next display or the next plan."""
    curve = ChargeCurve.of(machine)
    n_steps = len(chargers.plan)
    for (first, shown_pct), (end, _) in pairwise([*noted, (n_steps, 0.0)]):
        if first >= n_steps or chargers.plan[first] < 0:
            continue
        others = np.flatnonzero(chargers.plan[first:end] != chargers.plan[first])
        part = slice(first, first + int(others[0]) if len(others) else end)
        held_wh = fraction_from_pct(shown_pct) * machine.capacity_wh
        plugged = chargers.plugged[part, column]
        _, chargers.wall_wh[part, column] = charge_path_wh(curve, held_wh, plugged, work_wh[part], step_h)


def fill_from_notes(
    chargers: Chargers,
    column: int,
    machine: Machine,
    noted: Noted,
    work_wh: FloatArray,
    home: BoolArray,
    bank_read: Sequence[int],
    step_h: float,
) -> BoolArray:
    """Where no plan says what a charger drew, take it from two displays of its machine and the work between.

    Parameters
    ----------
    chargers : Chargers
        What was drawn is entered here.
    column : int
    machine : Machine
    noted : list of tuple
    work_wh : ndarray, shape (n_steps + 1,)
    home : ndarray of bool, shape (n_steps,)
        Whether it is not out at work.
    bank_read : sequence of int
        The edges at which the bank was read.
    step_h : float

    Returns
    -------
    ndarray of bool, shape (n_steps,)
        The steps of which is known what was drawn between two readings of the bank.
    """
    told = np.zeros(len(home), dtype=bool)
    for (first, before_pct), (last, after_pct) in pairwise(noted):
        if last <= first or chargers.covered[first:last].any():
            continue
        worked = np.flatnonzero(work_wh[first:last])
        rise_wh = fraction_from_pct(after_pct - before_pct) * machine.capacity_wh + work_wh[first:last].sum()
        if rise_wh < -fraction_from_pct(ALIKE_PCT) * machine.capacity_wh:
            continue  # it worked more than the file says, and nobody knows what it was charged
        if after_pct <= before_pct and not len(worked):
            told[first:last] = True
            continue
        begin = first + (int(worked[-1]) if len(worked) else 0)
        drawn_wh = max(0.0, rise_wh) / machine.charger_efficiency
        free = begin + np.flatnonzero(home[begin:last])
        steps = int(np.clip(np.ceil(drawn_wh / (machine.charger_w * step_h)), 1, max(len(free), 1)))
        chargers.wall_wh[free[:steps], column] = drawn_wh / steps
        # When it was drawn is a guess: it does not matter if the bank was not read in between.
        told[first:last] = not any(first < edge < last for edge in bank_read)
    return told
