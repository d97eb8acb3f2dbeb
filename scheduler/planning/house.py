"""R4 and R11: what the house alone does to the bank, and so how low a plan may go.

"The house" is what runs whatever is planned: always-on loads, duty loads, and what is plugged in already until
the first visit. Where it alone breaks a rule under the dull sun, the plan is held to do no worse than it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.charging.routes import BoolArray, Network
from scheduler.planning.bank import bank_path, dc_demand_w
from scheduler.planning.record import Aim
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.yard.agenda import Agenda, DutyWindow
from scheduler.yard.models import Yard

DutyRun = dict[str, BoolArray]  #: by load name, the steps in which a duty load runs


@dataclass(frozen=True)
class HouseAlone:
    """What the house alone draws, and what it leaves.

    Attributes
    ----------
    duty : dict of str to ndarray of bool
        The schedule of the duty loads that leaves the house best off.
    peak_w, demand_w : ndarray, shape (n_steps,)
        AC running watts and mean draw on the bank's side [W].
    start_peak_w : ndarray, shape (n_steps,)
        The worst start of a motor: its starting watts and all others' running watts [W].
    level_wh : ndarray, shape (n_steps + 1,)
        The bank under the dull sun [Wh].
    allowed_wh : ndarray, shape (n_steps + 1,)
        The reserve, or what the house leaves where that is less (R4) [Wh].
    unserved_wh : ndarray, shape (n_steps,)
        What the house asks of the bank in vain [Wh].
    holds : bool
        Whether the house alone keeps every rule.
    aim : Aim or None
        Where it cannot hold: how near the least shortage the schedule of its duty loads was proven to be.
    """

    duty: DutyRun
    peak_w: FloatArray
    demand_w: FloatArray
    start_peak_w: FloatArray
    level_wh: FloatArray
    allowed_wh: FloatArray
    unserved_wh: FloatArray
    holds: bool
    aim: Aim | None = None


def found_draws(networks: Sequence[Network], first_visit: int, n_steps: int) -> tuple[FloatArray, FloatArray]:
    """Wall energy [Wh] and peak [W] of what is plugged in already, until the first visit, by machine."""
    wall, peak = np.zeros((len(networks), n_steps)), np.zeros((len(networks), n_steps))
    for number, network in enumerate(networks):
        node = 0
        for step in range(min(first_visit, n_steps)):
            arcs = network.layers[step]
            arc = int(np.flatnonzero(arcs.tail == node)[0])
            wall[number, step], peak[number, step] = arcs.wall_wh[arc], arcs.peak_w[arc]
            node = int(arcs.head[arc])
    return wall, peak


def found_demand_w(yard: Yard, agenda: Agenda, networks: Sequence[Network]) -> FloatArray:
    """Draw on the bank's side of what is plugged in already, until the first visit, shape (n_steps,) [W]."""
    n_steps = agenda.grid.n_steps
    wall, _ = found_draws(networks, min(agenda.visits, default=n_steps), n_steps)
    shares = [1.0 / yard.inverter.efficiency if n.machine.supply == "ac" else 1.0 for n in networks]
    demand_w: FloatArray = agenda.grid.power_w(wall).T @ np.array(shares, dtype=float)
    return demand_w


def found_peak_w(agenda: Agenda, networks: Sequence[Network]) -> FloatArray:
    """AC watts of what is plugged in already, until the first visit, shape (n_steps,) [W]."""
    n_steps = agenda.grid.n_steps
    _, peak = found_draws(networks, min(agenda.visits, default=n_steps), n_steps)
    on_ac = np.array([network.machine.supply == "ac" for network in networks], dtype=bool)
    watts: FloatArray = peak[on_ac].sum(axis=0)
    return watts


def duty_watts(yard: Yard, duty: DutyRun, n_steps: int) -> FloatArray:
    """AC watts of the whole house in each step, shape (n_steps,) [W]."""
    watts = np.full(n_steps, yard.always_on_w)
    for load in yard.house_loads:
        if not load.always_on:
            watts = watts + load.watts * duty[load.name]
    return watts


def worst_start_w(yard: Yard, duty: DutyRun, running_w: FloatArray) -> FloatArray:
    """R5: `running_w` with the motor whose start adds most, of those that run in the step [W]."""
    extra = np.zeros_like(running_w)
    for load in yard.house_loads:
        runs = np.ones(running_w.shape[-1], dtype=bool) if load.always_on else duty[load.name]
        extra = np.maximum(extra, np.where(runs, load.start_w - load.watts, 0.0))
    return running_w + extra


def house_alone(
    yard: Yard, agenda: Agenda, suns: ThreeSuns, networks: Sequence[Network], duty: DutyRun
) -> HouseAlone:
    """Follow the house with a given schedule of its duty loads under the dull sun."""
    grid = agenda.grid
    first_visit = min(agenda.visits, default=grid.n_steps)
    wall, peak = found_draws(networks, first_visit, grid.n_steps)
    on_ac = np.array([network.machine.supply == "ac" for network in networks], dtype=bool)
    house_w = duty_watts(yard, duty, grid.n_steps)
    wall_w = grid.power_w(wall)
    ac_w, dc_w = house_w + wall_w[on_ac].sum(axis=0), wall_w[~on_ac].sum(axis=0)
    demand_w = dc_demand_w(yard.inverter, ac_w, dc_w, ac_w > 0)
    path = bank_path(yard.bank, yard.bank.level_wh, suns.dull_w - demand_w, grid)
    peak_w = house_w + peak[on_ac].sum(axis=0)
    start_peak_w = worst_start_w(yard, duty, peak_w)
    allowed = np.minimum(yard.bank.reserve_wh, path.level_wh)
    holds = (
        bool((allowed >= yard.bank.reserve_wh).all())
        and not path.unserved_wh.any()
        and bool((peak_w <= yard.inverter.continuous_w).all())
        and bool((start_peak_w <= yard.inverter.surge_limit_w).all())
    )
    return HouseAlone(duty, peak_w, demand_w, start_peak_w, path.level_wh, allowed, path.unserved_wh, holds)


def sunniest_duty(yard: Yard, agenda: Agenda, dull_w: FloatArray) -> DutyRun:
    """Run each duty load as one block where the dull sun is strongest, the later of equals."""
    runs: DutyRun = {
        load.name: np.zeros(agenda.grid.n_steps, dtype=bool)
        for load in yard.house_loads
        if not load.always_on
    }
    for window in agenda.duties:
        first = _best_block(window, dull_w)
        runs[window.load][first : first + window.on_steps] = True
    return runs


def _best_block(window: DutyWindow, dull_w: FloatArray) -> int:
    summed = np.concatenate([[0.0], np.cumsum(dull_w)])
    starts = np.arange(window.first, window.last - window.on_steps + 1)
    return int(starts[::-1][np.argmax((summed[starts + window.on_steps] - summed[starts])[::-1])])
