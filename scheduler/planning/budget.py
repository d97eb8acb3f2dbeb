"""Where the energy goes under one of the suns, closed to zero.

Everything is read from the finished plan, on step means (R3). With, in each step, ``ac`` and ``dc`` what is
drawn at the wall, ``net`` the sun less the demand on the bank's side and ``stored`` the bank's change:

1. the demand is ``dc + ac / inverter efficiency + idle`` (R5); above ``dc + ac`` it is the inverter's loss;
2. ``net >= 0``: ``stored / charge efficiency`` goes into the bank, of which ``stored`` stays (R3);
3. what of ``net`` does not go into the bank finds no room: it is full, or takes no more at a time (R3);
4. ``net < 0``: the bank loses ``-stored`` and gives ``-stored * discharge efficiency`` (R3);
5. what of ``-net`` the bank does not give is not served: it is empty, or gives no more at a time (R4);
6. a charger's draw times its efficiency reaches the machine's battery, the rest is the charger's loss (R7).

So, in every step and over the plan, ::

    sun + not served = no room + lost (bank, inverter, chargers) + house + into machines + change of the bank

References
----------
Conservation of energy; efficiencies as in R3, R5 and R7.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from scheduler.planning.bank import dc_demand_w
from scheduler.planning.record import Plan
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Yard


@dataclass(frozen=True)
class Budget:
    """Energy over the whole plan under one sun [Wh].

    Attributes
    ----------
    sun_wh : float
        From the panels, after clipping.
    unserved_wh : float
        Asked of the bank in vain, on the bank's side; 0 unless the house alone is too much for it.
    curtailed_wh : float
        Of the sun, what found no room.
    bank_in_loss_wh, bank_out_loss_wh : float
        Lost in charging and in discharging the bank.
    inverter_loss_wh : float
        Lost in the inverter, its idle draw among it.
    charger_loss_wh : float
        Lost in the machines' chargers.
    house_wh : float
        Drawn by the house loads.
    machines_wh : float
        Into the machines' batteries.
    bank_change_wh : float
        What the bank holds more at the end than at the start.
    """

    sun_wh: float
    unserved_wh: float
    curtailed_wh: float
    bank_in_loss_wh: float
    bank_out_loss_wh: float
    inverter_loss_wh: float
    charger_loss_wh: float
    house_wh: float
    machines_wh: float
    bank_change_wh: float

    @property
    def bank_loss_wh(self) -> float:
        """Lost in the bank, in and out [Wh]."""
        return self.bank_in_loss_wh + self.bank_out_loss_wh

    @property
    def losses_wh(self) -> float:
        """Lost in bank, inverter and chargers [Wh]."""
        return self.bank_loss_wh + self.inverter_loss_wh + self.charger_loss_wh

    @property
    def residual_wh(self) -> float:
        """What the two sides of the budget differ by [Wh]: rounding, no more."""
        used_wh = self.house_wh + self.machines_wh + self.bank_change_wh
        return self.sun_wh + self.unserved_wh - self.curtailed_wh - self.losses_wh - used_wh


def energy_budget(yard: Yard, plan: Plan, sun: str = "likely") -> Budget:
    """Sum the energy flows of `plan` under `sun` (dull, likely or bright).

    Notes
    -----
    The rules 1 to 6 are in the module's docstring.
    """
    flows = energy_flows(yard, plan, sun)
    return Budget(**{field.name: float(flows[field.name].sum()) for field in fields(Budget)})


def energy_flows(yard: Yard, plan: Plan, sun: str = "likely") -> dict[str, FloatArray]:
    """Return each part of the budget in each step [Wh], by the name of its field, shape (n_steps,)."""
    grid = plan.grid
    house_wh = np.zeros(grid.n_steps) + sum(load.wall_wh for load in plan.house_loads)
    walls = _wall_by_supply(yard, plan)
    into_machines_wh, charger_loss_wh = _chargers(yard, plan)
    ac_w, dc_w = grid.power_w(house_wh + walls["ac"]), grid.power_w(walls["dc"])
    demand_wh = grid.energy_wh(dc_demand_w(yard.inverter, ac_w, dc_w, ac_w > 0))
    sun_wh = grid.energy_wh(plan.suns.by_name[sun])
    net_wh, stored_wh = sun_wh - demand_wh, np.diff(plan.bank.level_wh[sun])
    fills = net_wh >= 0
    in_wh = np.where(fills, stored_wh / yard.bank.charge_efficiency, 0.0)
    out_wh = np.where(fills, 0.0, -stored_wh * yard.bank.discharge_efficiency)
    return {
        "sun_wh": sun_wh,
        "unserved_wh": np.where(fills, 0.0, -net_wh - out_wh),
        "curtailed_wh": np.where(fills, net_wh - in_wh, 0.0),
        "bank_in_loss_wh": np.where(fills, in_wh - stored_wh, 0.0),
        "bank_out_loss_wh": np.where(fills, 0.0, -stored_wh - out_wh),
        "inverter_loss_wh": demand_wh - house_wh - walls["ac"] - walls["dc"],
        "charger_loss_wh": charger_loss_wh,
        "house_wh": house_wh,
        "machines_wh": into_machines_wh,
        "bank_change_wh": stored_wh,
    }


def _wall_by_supply(yard: Yard, plan: Plan) -> dict[str, FloatArray]:
    """Energy drawn by the machines in each step, through the inverter and past it [Wh]."""
    supply = {machine.name: machine.supply for machine in yard.machines}
    walls = {"ac": np.zeros(plan.grid.n_steps), "dc": np.zeros(plan.grid.n_steps)}
    for machine in plan.machines:
        walls[supply[machine.name]] += machine.wall_wh
    return walls


def _chargers(yard: Yard, plan: Plan) -> tuple[FloatArray, FloatArray]:
    """Energy into the machines' batteries and lost on the way there, in each step [Wh]."""
    efficiency = {machine.name: machine.charger_efficiency for machine in yard.machines}
    into, lost = np.zeros(plan.grid.n_steps), np.zeros(plan.grid.n_steps)
    for machine in plan.machines:
        into += machine.wall_wh * efficiency[machine.name]
        lost += machine.wall_wh * (1.0 - efficiency[machine.name])
    return into, lost
