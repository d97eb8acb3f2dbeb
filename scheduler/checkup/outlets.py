"""Continuous loads: each charger against 80 % of the breakers that it can be plugged in behind."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scheduler.charging.curve import ChargeCurve
from scheduler.checkup.atonce import alike, listed, takes
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.units import CONTINUOUS_FRACTION, CONTINUOUS_H, POWER_TOLERANCE_W
from scheduler.yard.models import Machine, Outlet, Yard

MAINS_CAUTION = (
    "Mains voltage kills and a hot wire burns: breakers, outlets and fixed wiring are for people qualified to work "
    "on them, by the local code."
)

_RULE = "NEC 210.19(A)(1), 210.20(A)"
_VEHICLE_RULE = "NEC 625.41, 625.42"

#: Breakers that are made, NEC 240.6(A), from memory [A].
_BREAKERS_A = (15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100)


def check_outlets(yard: Yard) -> PartReport:
    """Hold each charger against what its outlets give for 3 hours and more (R6)."""
    groups = alike(yard.machines)
    findings = tuple(finding for group in groups for finding in _of_group(yard, group))
    open_ended = [outlet.name for outlet in yard.outlets if outlet.breaker_a is None]
    unchecked = (
        (f"what may be drawn for 3 h and more at {listed(open_ended)}: breaker_a in [[outlets]]",)
        if open_ended
        else ()
    )
    return PartReport(tuple(_figure(yard)), findings, unchecked)


def _figure(yard: Yard) -> Iterator[Figure]:
    """The charger that comes nearest to what its best outlet gives for good, or is furthest above it."""
    pairs = [(machine, _best_outlet(yard, machine)) for machine in yard.machines]
    rated = [(m, outlet) for m, outlet in pairs if outlet is not None and math.isfinite(outlet.continuous_w)]
    if rated:
        machine, outlet = max(rated, key=lambda pair: pair[0].charger_w / pair[1].continuous_w)
        yield Figure(
            Part.AC,
            machine.name,
            f"charger, against 80 % of the breaker of {outlet.name}",
            machine.charger_w,
            "W",
            outlet.continuous_w,
            _RULE,
        )


def _best_outlet(yard: Yard, machine: Machine) -> Outlet | None:
    """The outlet that gives most for good, of those that take the machine."""
    fitting = (outlet for outlet in yard.outlets if takes(outlet, machine))
    return max(fitting, key=lambda outlet: outlet.continuous_w, default=None)


def _of_group(yard: Yard, group: tuple[Machine, ...]) -> Iterator[Finding]:
    machine, names = group[0], listed([machine.name for machine in group])
    best = _best_outlet(yard, machine)
    if best is None:
        return
    if machine.charger_w > best.continuous_w + POWER_TOLERANCE_W:
        yield _above_all(machine, names, best)
        return
    curve = ChargeCurve.of(machine)
    short = [
        outlet
        for outlet in yard.outlets
        if takes(outlet, machine) and float(curve.hours_above(0.0, outlet.continuous_w)) >= CONTINUOUS_H
    ]
    if short:
        yield _above_some(machine, names, best, short)


def _above_all(machine: Machine, names: str, best: Outlet) -> Finding:
    curve = ChargeCurve.of(machine)
    above_h, full_h = (float(curve.hours_above(0.0, watts)) for watts in (best.continuous_w, 0.0))
    is_long = above_h >= CONTINUOUS_H
    limit = f"the {best.continuous_w:.0f} W that are 80 % of the breaker of {best.name}"
    parts = "plans charge it in parts of less than 3 h; left in until full, it trips the breaker or heats the wire"
    whole = "it falls below that before the 3 h are over; charging a road vehicle counts as continuous all the same"
    return Finding(
        grade=Grade.WARNING if is_long else Grade.NOTE,
        part=Part.AC,
        about=machine.name,
        title=f"{names}: the charger draws {machine.charger_w:.0f} W and is for {above_h:.1f} h of a full charge "
        f"({full_h:.1f} h) above {limit}, which no outlet for it betters",
        found=machine.charger_w,
        limit=best.continuous_w,
        unit="W",
        source=_RULE if is_long else f"{_RULE}; {_VEHICLE_RULE}",
        meaning=f"What runs for 3 h or more may take 80 % of a breaker: {parts if is_long else whole}.",
        mend=f"{_larger_circuit(machine, best)}, or a charger of at most {best.continuous_w:.0f} W.",
        caution=MAINS_CAUTION,
    )


def _larger_circuit(machine: Machine, outlet: Outlet) -> str:
    asked_a = machine.charger_w / (CONTINUOUS_FRACTION * outlet.volts)
    breaker_a = next((made_a for made_a in _BREAKERS_A if made_a >= asked_a - 1e-9), math.ceil(asked_a))
    return f"An outlet on a circuit of {breaker_a} A, its wire too and not the breaker alone"


def _above_some(machine: Machine, names: str, best: Outlet, short: list[Outlet]) -> Finding:
    limit_w = min(outlet.continuous_w for outlet in short)
    return Finding(
        grade=Grade.NOTE,
        part=Part.AC,
        about=machine.name,
        title=f"{names}: the charger draws {machine.charger_w:.0f} W for 3 h and more; {best.name} "
        f"gives it for good, {listed([outlet.name for outlet in short])} no more than {limit_w:.0f} W",
        found=machine.charger_w,
        limit=limit_w,
        unit="W",
        source=_RULE,
        meaning="Plans leave it there for less than 3 h on end.",
        mend=f"Keep {best.name} for it.",
    )
