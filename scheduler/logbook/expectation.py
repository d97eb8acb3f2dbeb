"""What a yard is expected to do between readings: three suns, the house, what is plugged in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from scheduler.planning.replay_physics import BoolArray, from_bank_wh, run_bank
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.sun.skyterms import SkySpell


@dataclass(frozen=True)
class Reading:
    """What was read at one moment, in UTC: the bank's display, and those of machines if they were noted.

    Attributes
    ----------
    at : datetime
    bank_pct : float or None
    machines_pct : mapping of str to float
        By machine name [%].
    skies : tuple of SkySpell
        What the sky was like since an earlier moment, if that was noted.
    """

    at: dt.datetime
    bank_pct: float | None
    machines_pct: Mapping[str, float] = field(default_factory=dict)
    skies: tuple[SkySpell, ...] = ()


@dataclass(frozen=True)
class Expectation:
    """A yard over some days, as it should be if nothing is the matter.

    Attributes
    ----------
    yard : Yard
    suns : ThreeSuns
        Its grid is that of every series here.
    clear_w : ndarray, shape (n_steps,)
        The arrays' power under a clear sky, by which words for the sky are judged [W].
    array_fraction : ndarray, shape (n_steps, n_arrays)
        Each array's part of the likely sun's power.
    house_wh, duty_wh : ndarray, shape (n_steps,)
        What the house takes at the wall: always on, with machines of a plan that the fleet file does not know; and what
        switches by itself, spread over its window, for when it runs is its own affair [Wh].
    plugged : ndarray of bool, shape (n_steps, n_machines)
        Whether each machine should charge as long as its battery takes it: in an outlet that is on, and not refusing.
    wall_wh : ndarray, shape (n_steps, n_machines)
        What each charger takes at the wall [Wh].
    work_wh : ndarray, shape (n_steps + 1, n_machines)
        What work takes from each battery on an edge; a display that is read on it is read before that [Wh].
    unsure_wh : ndarray, shape (n_steps,)
        How far chargers may have drawn otherwise, for nobody knows what was plugged in, one standard deviation; 0
        where a plan or machines' readings tell [Wh].
    """

    yard: Yard
    suns: ThreeSuns
    clear_w: FloatArray
    array_fraction: FloatArray
    house_wh: FloatArray
    duty_wh: FloatArray
    plugged: BoolArray
    wall_wh: FloatArray
    work_wh: FloatArray
    unsure_wh: FloatArray

    @property
    def grid(self) -> Grid:
        """The grid of every series."""
        return self.suns.grid

    @property
    def is_ac(self) -> BoolArray:
        """Whether each machine's charger runs on AC."""
        return np.array([machine.supply == "ac" for machine in self.yard.machines], dtype=bool)

    def demand_wh(self, chargers_on: BoolArray | None = None, ac_on: bool = True) -> FloatArray:
        """What is taken from the bank's side in each step, with some chargers or all of AC off [Wh] (R5).

        Parameters
        ----------
        chargers_on : ndarray of bool, shape (n_machines,), optional
            All of them unless given.
        ac_on : bool
            Without it the inverter draws nothing either.
        """
        on = np.ones(len(self.yard.machines), dtype=bool) if chargers_on is None else chargers_on
        dc_wh: FloatArray = self.wall_wh[:, on & ~self.is_ac].sum(axis=1)
        if not ac_on:
            return dc_wh
        ac_wh = self.wall_wh[:, on & self.is_ac].sum(axis=1) + self.house_wh + self.duty_wh
        return dc_wh + from_bank_wh(self.yard, self.grid, ac_wh)

    def edge_of(self, moment: dt.datetime) -> int:
        """Return the edge nearest to a moment, within the grid."""
        return min(max(round((moment - self.grid.start) / self.grid.step), 0), self.grid.n_steps)

    def bank_after_pct(self, first: int, last: int, bank_pct: float) -> dict[str, float]:
        """What the bank should show on an edge under each sun, from what it showed on an earlier one [%]."""
        ends_pct = self._bank_ends_pct(first, last, bank_pct, np.column_stack(list(self.suns.by_name.values())))
        return dict(zip(self.suns.by_name, ends_pct, strict=True))

    def bank_limits_pct(self, first: int, last: int, bank_pct: float) -> tuple[float, float]:
        """The least and the most that it can show whatever the sky: with no sun at all, and with a clear one [%]."""
        most_w = np.maximum(self.clear_w, self.suns.bright_w)
        least_pct, most_pct = self._bank_ends_pct(first, last, bank_pct, np.column_stack([0.0 * most_w, most_w]))
        return least_pct, most_pct

    def _bank_ends_pct(self, first: int, last: int, bank_pct: float, sun_w: FloatArray) -> list[float]:
        bank = self.yard.bank
        start_wh, demand_wh = bank_pct / 100.0 * bank.capacity_wh, self.demand_wh()[first:last]
        ran = run_bank(bank, self.grid, self.grid.energy_wh(sun_w[first:last]), demand_wh, start_wh)
        return [100.0 * float(end_wh) / bank.capacity_wh for end_wh in ran.level_wh[-1]]

    def charge_after_pct(self, column: int, first: int, last: int, charge_pct: float, works: bool = True) -> float:
        """What a machine should show on an edge, from what it showed on an earlier one [%]; its charger may be dead."""
        machine = self.yard.machines[column]
        into_wh = machine.charger_efficiency * self.wall_wh[first:last, column] * works
        held_wh = charge_pct / 100.0 * machine.capacity_wh
        for in_wh, work_wh in zip(into_wh, self.work_wh[first:last, column], strict=True):
            held_wh = min(max(held_wh - work_wh, 0.0) + in_wh, machine.capacity_wh)
        return 100.0 * float(held_wh) / machine.capacity_wh
