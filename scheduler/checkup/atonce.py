"""R5, R6: what can run at once, and how much of it the inverter's watts allow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.yard.models import HouseLoad, Kind, Machine, Outlet, Yard

#: Totals closer than this are one, where sets are told apart by their watts [W].
_APART_W = 1.0


@dataclass(frozen=True)
class Running:
    """Machines and loads that run together, by name, and their watts [W]."""

    names: tuple[str, ...] = ()
    watts: float = 0.0

    def beside(self, name: str, watts: float) -> Running:
        """Return the same with one more."""
        return Running((*self.names, name), self.watts + watts)


def takes(outlet: Outlet, machine: Machine) -> bool:
    """R6: whether the machine may be plugged in there at all."""
    return outlet.kind == machine.supply and machine.charger_w <= outlet.limit_w


def worst_chargers(yard: Yard, kind: Kind) -> Running:
    """The most watts of chargers that the outlets of a kind take at once, one machine an outlet (R6).

    Notes
    -----
    An assignment problem: outlets to machines, each pair that fits worth the charger's watts.
    """
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    machines = [machine for machine in yard.machines if machine.supply == kind]
    outlets = [outlet for outlet in yard.outlets if outlet.kind == kind]
    worth_w = [[m.charger_w if takes(outlet, m) else 0.0 for m in machines] for outlet in outlets]
    rows, columns = linear_sum_assignment(
        np.reshape(np.array(worth_w, dtype=float), (len(outlets), len(machines))), maximize=True
    )
    running = Running()
    for outlet, machine in zip(rows.tolist(), columns.tolist(), strict=True):
        if worth_w[outlet][machine] > 0.0:
            running = running.beside(machines[machine].name, machines[machine].charger_w)
    return running


def worst_within(yard: Yard, loads: Sequence[HouseLoad], most_w: float) -> Running:
    """The most watts of AC chargers and some of `loads` together that are no more than `most_w`.

    Notes
    -----
    Outlets of one kind differ in their limit alone. So chargers fit if, both sorted from the largest down, none is
    above the outlet of its own place in the row: sets can be built charger by charger, and those of equal watts
    and number are one (to the watt).
    """
    limits_w = sorted((outlet.limit_w for outlet in yard.outlets if outlet.kind == "ac"), reverse=True)
    machines = [machine for machine in yard.machines if machine.supply == "ac"]
    sets: dict[tuple[int, int], Running] = {(0, 0): Running()}

    def add(running: Running, name: str, watts: float, plugs: int) -> None:
        total_w = running.watts + watts
        key = (plugs, round(total_w / _APART_W))
        if total_w <= most_w and key not in sets:
            sets[key] = running.beside(name, watts)

    for load in loads:
        for running in list(sets.values()):
            add(running, load.name, load.watts, 0)
    for machine in sorted(machines, key=lambda machine: -machine.charger_w):
        if any(running.watts > most_w - _APART_W for running in sets.values()):
            break  # nothing can be more
        for (plugs, _), running in list(sets.items()):
            limit_w = limits_w[plugs] if plugs < len(limits_w) else -math.inf
            if machine.charger_w <= limit_w:
                add(running, machine.name, machine.charger_w, plugs + 1)
    return max(sets.values(), key=lambda running: running.watts)


def alike(machines: Sequence[Machine]) -> list[tuple[Machine, ...]]:
    """Machines grouped by charger and battery, those of one `count` together, in the file's order."""
    groups: dict[tuple[object, ...], list[Machine]] = {}
    for machine in machines:
        key = (
            machine.supply,
            machine.charger_w,
            machine.capacity_wh,
            machine.charger_efficiency_pct,
            machine.taper_from_pct,
        )
        groups.setdefault(key, []).append(machine)
    return [tuple(group) for group in groups.values()]


def listed(names: Sequence[str], most: int = 6) -> str:
    """Names in a sentence, the first few of them: ``a, b and c``."""
    shown = list(names) if len(names) <= most else [*names[: most - 1], f"{len(names) - most + 1} more"]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
