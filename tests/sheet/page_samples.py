"""Yards that are hard to print: twenty machines that all move, and names that are markup elsewhere."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from scheduler.planning.record import IfAtLeast, IfBelow, Plan
from scheduler.timegrid import moment_on_clock
from scheduler.yard.models import Yard
from tests.sheet.sample import Stay, machine, make_plan, yard_with

VISIT_EDGES = (0, 26, 37, 48, 74, 85)  # 18:00, 07:00, 12:30 on half-hour steps from Tuesday 18:00
N_HOURS = 48.0

TWENTY_NAMES = tuple(f"{kind} {number}" for number in (1, 2) for kind in (
    "backpack sprayer", "hand drill set", "line trimmer", "push mower", "cargo bike",
    "yard cart", "wheel hoe", "two-wheel tractor", "bed roller", "post-hole auger",
))  # fmt: skip

HOSTILE_NAMES = (
    'Cart #1 "the \\ old" $x^2$ *bold* _it_ <b>x</b>',
    "Κηπουρική μηχανή Αθήνα",
    "Тележка для рассады № 7",
    "日本の草刈機",
    '#import "x.typ": * #panic(1)',
    "Donaudampfschifffahrtsgesellschaftskapitänsmützenbügelmaschine",
    "Unkrautbeseitigungsmaschine",
    "A cart with a very long name that somebody wrote in full, with the shed and the shelf where it stands",
    "turned\u200earound\u200b &amp; `code` @ref ~ // /* 'q' [x](y)",
)
HOSTILE_OUTLETS = (
    "Left #wall [*]",
    "Δεξιά πρίζα",
    "The outlet behind the seed shelves, second from the door, upper row",
    "$DC_port$\\",
)


def moving_yard(names: tuple[str, ...], outlets: tuple[str, ...], site: str) -> Yard:
    site_table = {"name": site, "latitude": 36.1, "longitude": -79.95, "timezone": "America/New_York"}
    return yard_with(
        [
            machine(name, 400.0 + 100.0 * number, 90.0, 30.0, {"ready_by": "14:00", "charge_pct": 80.0})
            for number, name in enumerate(names)
        ],
        site=site_table,
        outlets=tuple({"name": name, "kind": "ac", "timer": name == outlets[0]} for name in outlets),
    )


def moving_plan(yard: Yard) -> Plan:
    """Machines take their turns at the outlets from visit to visit; some lines depend on the bank."""
    outlets = [outlet.name for outlet in yard.outlets]
    free_for_if_lines = 2
    places = [(n, outlet) for n in range(len(VISIT_EDGES)) if n != free_for_if_lines for outlet in outlets]
    stays = []
    for planned, (number, outlet) in zip(yard.machines, places, strict=False):
        first, last = (*VISIT_EDGES, 96)[number : number + 2]
        timer = (first + 2, last - 2) if outlet == outlets[0] else None
        stays.append(Stay(planned.name, outlet, first, last, timer))
    start = moment_on_clock(dt.date(2027, 6, 8), 18 * 60, yard.site.zone)
    plan = make_plan(yard, stays, start, N_HOURS)
    visits = list(plan.visits)
    visits[1] = replace(
        visits[1], if_below=tuple(IfBelow(48, action.machine) for action in visits[1].plug[:1])
    )
    first, second = yard.machines[0].name, yard.machines[1].name
    added = (IfAtLeast(83, second, outlets[0], (40, 46)), IfAtLeast(71, first, outlets[1]))
    visits[2] = replace(visits[2], if_at_least=added)
    return replace(plan, visits=tuple(visits))


def twenty_yard() -> Yard:
    return moving_yard(TWENTY_NAMES, ("Left wall", "Right wall", "Bench", "Door"), "Field-edge store")


def hostile_yard() -> Yard:
    return moving_yard(HOSTILE_NAMES, HOSTILE_OUTLETS, 'Store #1 "x" \\ $y$ <b>z</b>')
