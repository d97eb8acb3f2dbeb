"""What machines' displays say of their chargers: spells from one display of a machine to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.logbook.expectation import Expectation, Reading
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

        The charger draws so many times the file's watts; work is taken on its edges.
        """
        machine = expected.yard.machines[self.column]
        curve = ChargeCurve(
            machine.capacity_wh, factor * machine.charger_w, machine.charger_efficiency, machine.taper_from
        )
        work_wh = expected.work_wh[self.first : self.last + 1, self.column]
        breaks = [0, *(int(edge) for edge in np.flatnonzero(work_wh) if edge > 0), len(work_wh) - 1]
        charge_wh = np.full(len(work_wh), self.before_pct / 100.0 * machine.capacity_wh)
        into_wh = np.zeros(len(work_wh) - 1)
        for begin, end in pairwise(breaks):
            plugged = expected.plugged[self.first + begin : self.first + end, self.column]
            start_wh = charge_wh[begin]
            charge_wh[begin + 1 : end + 1] = curve.charge_after_wh(start_wh, expected.grid.step_h * np.cumsum(plugged))
            into_wh[begin:end] = np.diff(charge_wh[begin : end + 1])
            charge_wh[end] = max(0.0, charge_wh[end] - work_wh[end])
        return charge_wh, into_wh / machine.charger_efficiency

    def tells_watts(self, expected: Expectation) -> bool:
        """Whether the charger ran on end to the later display: no work, and not full before."""
        worked = expected.work_wh[self.first + 1 : self.last + 1, self.column].any()
        shown = LOWEST_PCT <= self.after_pct <= HIGHEST_PCT and self.before_pct <= HIGHEST_PCT
        return bool(shown and not worked)


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
