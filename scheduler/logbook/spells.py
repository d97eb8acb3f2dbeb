"""What machines' displays say of their chargers: spells from one display of a machine to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.logbook.expectation import Expectation, Reading
from scheduler.planning.replay_physics import BoolArray
from scheduler.timegrid import FloatArray

#: Beyond these a display says too little of the level to learn from [%].
LOWEST_PCT, HIGHEST_PCT = 2.0, 97.0


@dataclass(frozen=True)
class Spell:
    """A machine from one display to the next, plugged in at times in between."""

    column: int
    first: int
    last: int
    before_pct: float
    after_pct: float

    def path_wh(self, expected: Expectation, factor: float) -> tuple[FloatArray, FloatArray]:
        """Charge on every edge from the first display on, and what the charger draws in each step [Wh].

        The charger draws so many times the file's watts.
        """
        machine, part = expected.yard.machines[self.column], slice(self.first, self.last)
        curve = ChargeCurve(
            machine.capacity_wh, factor * machine.charger_w, machine.charger_efficiency, machine.taper_from
        )
        return charge_path_wh(
            curve,
            self.before_pct / 100.0 * machine.capacity_wh,
            expected.plugged[part, self.column],
            expected.work_wh[part, self.column],
            expected.grid.step_h,
        )

    def tells_watts(self, expected: Expectation) -> bool:
        """Whether the charger ran on end to the later display: no work, and not full before."""
        worked = expected.work_wh[self.first : self.last, self.column].any()
        shown = LOWEST_PCT <= self.after_pct <= HIGHEST_PCT and self.before_pct <= HIGHEST_PCT
        return bool(shown and not worked)


def charge_path_wh(
    curve: ChargeCurve, charge_wh: float, plugged: BoolArray, work_wh: FloatArray, step_h: float
) -> tuple[FloatArray, FloatArray]:
    """From one display of a machine on: what it holds on each edge, and its charger's draw at the wall [Wh].

    Parameters
    ----------
    curve : ChargeCurve
    charge_wh : float
        What it holds on the first edge [Wh].
    plugged : ndarray of bool, shape (n_steps,)
    work_wh : ndarray, shape (n_steps,)
        What work takes on the edge at which each step begins. A display that is read on that edge is read before:
        machines are read at the visit on which they leave [Wh].
    step_h : float

    Returns
    -------
    ndarray, shape (n_steps + 1,)
    ndarray, shape (n_steps,)
    """
    held_wh, into_wh = np.full(len(plugged) + 1, charge_wh), np.zeros(len(plugged))
    breaks = sorted({0, *(int(edge) for edge in np.flatnonzero(work_wh)), len(plugged)})
    for begin, end in pairwise(breaks):
        start_wh = max(0.0, float(held_wh[begin]) - float(work_wh[begin]))
        after_wh = curve.charge_after_wh(start_wh, step_h * np.cumsum(plugged[begin:end]))
        held_wh[begin + 1 : end + 1] = after_wh
        into_wh[begin:end] = np.diff(after_wh, prepend=start_wh)
    return held_wh, into_wh / curve.efficiency


def spells_of(
    expected: Expectation, readings: Sequence[Reading], first_charge_pct: dict[str, float]
) -> list[Spell]:
    """All spells between two displays of a machine in which it was plugged in."""
    found = []
    for column, machine in enumerate(expected.yard.machines):
        noted = [
            (expected.edge_of(reading.at), reading.machines_pct[machine.name])
            for reading in readings
            if machine.name in reading.machines_pct
        ]
        if machine.name in first_charge_pct and (not noted or noted[0][0] > 0):
            noted.insert(0, (0, first_charge_pct[machine.name]))
        found += [
            Spell(column, first, last, before_pct, after_pct)
            for (first, before_pct), (last, after_pct) in pairwise(noted)
            if expected.plugged[first:last, column].any()
        ]
    return found
