"""R3 and the inverter's share of R5: from what is drawn to the bank's level, on step means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.charging.routes import BoolArray
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.models import Bank, Inverter


@dataclass(frozen=True)
class BankPath:
    """How the bank fares.

    Attributes
    ----------
    level_wh : ndarray, shape (..., n_steps + 1)
        Stored energy on each edge [Wh].
    unserved_wh : ndarray, shape (..., n_steps)
        Energy asked of the bank that it could not give, counted in stored energy [Wh].
    """

    level_wh: FloatArray
    unserved_wh: FloatArray


def dc_demand_w(inverter: Inverter, ac_w: FloatArray, dc_w: FloatArray, ac_runs: BoolArray) -> FloatArray:
    """Draw on the bank's side [W]: DC loads, AC over the inverter's efficiency, and its idle draw."""
    idle = np.where(ac_runs, inverter.idle_w, 0.0) if inverter.off_when_unused else inverter.idle_w
    return dc_w + ac_w / inverter.efficiency + idle


def charge_limit_w(bank: Bank) -> float:
    """Return the most that may go into the bank [W]."""
    return np.inf if bank.charge_max_w is None else bank.charge_max_w


def discharge_limit_w(bank: Bank) -> float:
    """Return the most that may come out of the bank [W]."""
    return np.inf if bank.discharge_max_w is None else bank.discharge_max_w


def bank_path(bank: Bank, start_wh: float | FloatArray, net_w: FloatArray, grid: Grid) -> BankPath:
    """Follow the bank through `net_w`, the sun less the demand, shape (..., n_steps) [W]."""
    into_wh = grid.energy_wh(np.clip(net_w, 0.0, charge_limit_w(bank))) * bank.charge_efficiency
    asked_wh = grid.energy_wh(np.clip(-net_w, 0.0, None)) / bank.discharge_efficiency
    given_at_most_wh = grid.step_h * discharge_limit_w(bank) / bank.discharge_efficiency
    level = np.empty((*net_w.shape[:-1], net_w.shape[-1] + 1))
    level[..., 0] = start_wh
    unserved = np.zeros_like(net_w)
    for step in range(net_w.shape[-1]):
        given = np.minimum(np.minimum(asked_wh[..., step], given_at_most_wh), level[..., step])
        unserved[..., step] = asked_wh[..., step] - given
        level[..., step + 1] = np.minimum(level[..., step] + into_wh[..., step] - given, bank.capacity_wh)
    return BankPath(level, unserved)
