"""A hand that knows nothing but the page: it reads the display and does what the lines say, in their order."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scheduler.charging.curve import ChargeCurve
from scheduler.sun.suns import ThreeSuns
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Yard


@dataclass
class Lived:
    """What became of the yard: bank levels on the edges, and the needs met, as (machine, edge).

    Besides, for each step, the AC watts at its beginning, a motor's start left out, who charges in the wrong
    temperature, and the outlets above 80 % of their breaker from its beginning to its end.
    """

    level_wh: list[float]
    running_w: list[float] = field(default_factory=list)
    charges_outside: list[tuple[int, str]] = field(default_factory=list)
    hot: list[set[str]] = field(default_factory=list)
    met: set[tuple[str, int]] = field(default_factory=set)
    added: int = 0


@dataclass
class State:
    """Where everything stands on an edge: charge and outlet by machine, and the bank."""

    charge_wh: dict[str, float]
    outlet: dict[str, str | None]
    timer: dict[str, tuple[int, int] | None]
    level_wh: float
    lent: dict[str, str] = field(default_factory=dict)
    something_stayed_out: bool = False


def start_of(yard: Yard) -> State:
    return State(
        {machine.name: machine.charge_wh for machine in yard.machines},
        {machine.name: machine.outlet for machine in yard.machines},
        {machine.name: None for machine in yard.machines},
        yard.bank.level_wh,
    )


def follow_page(
    yard: Yard,
    agenda: Agenda,
    suns: ThreeSuns,
    visits: list[dict[str, Any]],
    duty: dict[str, np.ndarray],
    sun_w: np.ndarray,
    state: State | None = None,
    first: int = 0,
) -> Lived:
    """Live the plan from edge `first` under `sun_w`; `visits` are the plan's JSON, with edges as numbers."""
    state = state or start_of(yard)
    lived = Lived([state.level_wh])
    by_edge = {visit["edge"]: visit for visit in visits}
    for edge in range(first, agenda.grid.n_steps + 1):
        take_out(yard, agenda, state, lived, edge)
        if edge == agenda.grid.n_steps:
            break
        if edge in by_edge:
            do_lines(yard, state, lived, by_edge[edge])
        run_step(yard, agenda, suns, state, lived, duty, sun_w, edge)
        lived.level_wh.append(state.level_wh)
    return lived


def do_lines(yard: Yard, state: State, lived: Lived, visit: dict[str, Any]) -> None:
    shows = math.floor(100.0 * state.level_wh / yard.bank.capacity_wh + 1e-9)
    left_out = {line["machine"] for line in visit["if_below"] if shows < line["bank_pct"]}
    state.something_stayed_out |= bool(left_out)
    for name in left_out:
        state.outlet[name] = None
    planned = {(action["machine"], action["outlet"]) for action in visit["plug"]}
    for name, outlet in state.lent.items():
        if state.outlet[name] == outlet and (name, outlet) not in planned:
            state.outlet[name] = None
    state.lent = {}
    for action in visit["unplug"]:
        if state.outlet[action["machine"]] == action["outlet"]:
            state.outlet[action["machine"]] = None
    for action in visit["plug"]:
        if action["machine"] not in left_out:
            plug(state, action)
    for line in sorted(visit["if_at_least"], key=lambda line: line["bank_pct"]):
        if shows >= line["bank_pct"] and not state.something_stayed_out:
            plug(state, line)
            state.lent[line["machine"]] = line["outlet"]
            lived.added += 1


def plug(state: State, action: dict[str, Any]) -> None:
    taken = {outlet: name for name, outlet in state.outlet.items() if outlet is not None}
    holder = taken.get(action["outlet"])
    assert holder in (None, action["machine"]), f"{action} but {holder} is in it"
    state.outlet[action["machine"]] = action["outlet"]
    state.timer[action["machine"]] = action["timer"]


def take_out(yard: Yard, agenda: Agenda, state: State, lived: Lived, edge: int) -> None:
    for machine in yard.machines:
        for need in agenda.needs[machine.name]:
            if need.edge == edge:
                if state.charge_wh[machine.name] >= need.need_wh - 1e-3:
                    lived.met.add((machine.name, edge))
                state.charge_wh[machine.name] = max(0.0, state.charge_wh[machine.name] - need.work_wh)
        if edge < agenda.grid.n_steps and agenda.away[machine.name][edge]:
            state.outlet[machine.name] = None


def run_step(
    yard: Yard,
    agenda: Agenda,
    suns: ThreeSuns,
    state: State,
    lived: Lived,
    duty: dict[str, np.ndarray],
    sun_w: np.ndarray,
    step: int,
) -> None:
    hours = agenda.grid.step_h
    drawn = {"ac": 0.0, "dc": 0.0}
    running_w = 0.0
    bears_w = {outlet.name: outlet.continuous_w for outlet in yard.outlets}
    lived.hot.append(set())
    for machine in yard.machines:
        timer = state.timer[machine.name]
        on = state.outlet[machine.name] is not None and (timer is None or timer[0] <= step < timer[1])
        low, high = machine.charge_temp_c
        fits = low <= suns.shed_temp_c[step] <= high
        if on and not fits and not machine.self_protecting:
            lived.charges_outside.append((step, machine.name))
        if on and (fits or not machine.self_protecting):
            before = state.charge_wh[machine.name]
            after = float(ChargeCurve.of(machine).charge_after_wh(before, hours))
            outlet = state.outlet[machine.name]
            if after < machine.capacity_wh and ChargeCurve.of(machine).power_w(after) > bears_w[outlet] + 0.01:
                lived.hot[-1].add(outlet)
            if machine.supply == "ac":
                running_w += float(ChargeCurve.of(machine).power_w(before))
            state.charge_wh[machine.name] = after
            drawn[machine.supply] += (after - before) / machine.charger_efficiency / hours
    house_w = sum(load.watts for load in yard.house_loads if load.always_on or duty[load.name][step])
    lived.running_w.append(running_w + house_w)
    ac_w = drawn["ac"] + house_w
    idle_w = yard.inverter.idle_w if ac_w or not yard.inverter.off_when_unused else 0.0
    net_w = sun_w[step] - drawn["dc"] - ac_w / yard.inverter.efficiency - idle_w
    bank = yard.bank
    if net_w > 0:
        net_w = min(net_w, bank.charge_max_w or math.inf)
        state.level_wh = min(bank.capacity_wh, state.level_wh + net_w * hours * bank.charge_efficiency)
    else:
        # What the bank cannot give is not served.
        given_w = min(-net_w, bank.discharge_max_w or math.inf)
        state.level_wh = max(0.0, state.level_wh - given_w * hours / bank.discharge_efficiency)
