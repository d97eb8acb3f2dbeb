"""What must fit between the tables of a fleet file: names, outlets, chargers, the house on its inverter."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from typing import Any

from scheduler.yard.mistakes import TABLE_WORDS, Mistake, quoted
from scheduler.yard.models import Bank, HouseLoad, Inverter, Machine, Outlet
from scheduler.yard.tables import Tables, read_names, show_names


def check_tables(tables: Tables, data: Mapping[str, Any]) -> Iterator[Mistake]:
    """Yield what does not fit, among the tables that are sound."""
    for key in ("arrays", "outlets", "house_loads", "machines"):
        yield from _check_names(data, key)
    yield from _check_plugged_in(tables, data)
    yield from _check_chargers(tables)
    yield from _check_house(tables)


def _check_names(data: Mapping[str, Any], key: str) -> Iterator[Mistake]:
    seen: set[str] = set()
    for path, name in read_names(data, key):
        if name in seen:
            yield Mistake(path, f"a second {TABLE_WORDS[key]} {quoted(name)}; wanted each name once")
        seen.add(name)


def _check_plugged_in(tables: Tables, data: Mapping[str, Any]) -> Iterator[Mistake]:
    known = [name for _, name in read_names(data, "outlets")]
    sound = {outlet.name: outlet for _, outlet in tables.sound(Outlet)}
    taken: dict[str, str] = {}
    for path, machine in tables.sound(Machine):
        if machine.outlet is None:
            continue
        here = (*path, "outlet")
        if machine.outlet not in known:
            near = _nearest(machine.outlet, known)
            yield Mistake(here, f"no outlet is called {quoted(machine.outlet)}; {near}")
        elif machine.outlet in taken:
            holds = f"{quoted(machine.outlet)} holds {quoted(taken[machine.outlet])} already"
            yield Mistake(here, f"{holds}; wanted one machine in an outlet")
        elif machine.outlet in sound:
            yield from (Mistake(here, text) for text in _misfits(machine, sound[machine.outlet]))
        taken.setdefault(machine.outlet, machine.name)


def _nearest(name: str, known: list[str]) -> str:
    near = difflib.get_close_matches(name, known, 1, 0.5)
    return f"did you mean {quoted(near[0])}?" if near else f"there are {show_names(known)}"


def _misfits(machine: Machine, outlet: Outlet) -> Iterator[str]:
    name = quoted(outlet.name)
    if outlet.kind != machine.supply:
        yield (
            f"{name} is {outlet.kind}, the machine's supply is {machine.supply}; "
            f"wanted an outlet of kind {quoted(machine.supply)}"
        )
    elif machine.charger_w > outlet.limit_w:
        yield f"{name} gives at most {outlet.limit_w:g} W, the charger draws {machine.charger_w:g} W"


def _check_chargers(tables: Tables) -> Iterator[Mistake]:
    """Find chargers without an outlet of their kind that gives their watts (R6)."""
    if not tables.all_sound("outlets"):
        return
    for path, machine in tables.sound(Machine):
        outlets = [outlet for _, outlet in tables.sound(Outlet) if outlet.kind == machine.supply]
        if not outlets:
            key = "supply" if "supply" in machine.model_fields_set else "charger_w"
            kind = quoted(machine.supply)
            yield Mistake(
                (*path, key),
                f"no outlet is of the kind {kind} that this machine charges from; "
                f"wanted an [[outlets]] with kind = {kind}",
            )
        elif machine.charger_w > max(outlet.limit_w for outlet in outlets):
            limits = ", ".join(f"{quoted(outlet.name)} {outlet.limit_w:g} W" for outlet in outlets)
            yield Mistake(
                (*path, "charger_w"),
                f"{machine.charger_w:g} W is more than any {machine.supply} outlet gives ({limits}); "
                "wanted an outlet with a larger max_w and breaker, or a smaller charger",
            )


def _check_house(tables: Tables) -> Iterator[Mistake]:
    """See that the house alone runs on the inverter, and that its motors start (R5)."""
    inverter = tables.one(Inverter)
    loads = list(tables.sound(HouseLoad))
    if inverter is None or not loads:
        return
    always_w = sum(load.watts for _, load in loads if load.always_on)
    limits = (
        ("watts", inverter.continuous_w, "continuous_w"),
        ("surge_w", inverter.surge_limit_w, "surge_w"),
    )
    if always_w > inverter.continuous_w:
        names = show_names([load.name for _, load in loads if load.always_on])
        yield Mistake(
            ("inverter", "continuous_w"),
            f"{inverter.continuous_w:g} W is less than the {always_w:g} W of the loads that are always on "
            f"({names}); wanted a larger inverter or fewer loads",
        )
        return
    for path, load in loads:
        others_w = always_w - load.watts if load.always_on else always_w
        for (key, limit_w, name), own_w in zip(limits, (load.watts, load.start_w), strict=True):
            if own_w + others_w > limit_w:
                doing = "starting" if key == "surge_w" else "running"
                yield Mistake(
                    (*path, key),
                    f"{own_w:g} W {doing} with {others_w:g} W of loads that are always on is more than "
                    f"the inverter's {name} {limit_w:g}",
                )
                break
    yield from _check_discharge(tables, inverter, always_w)


def _check_discharge(tables: Tables, inverter: Inverter, always_w: float) -> Iterator[Mistake]:
    """At night all that is always on comes from the bank (R3)."""
    bank = tables.one(Bank)
    if bank is None or bank.discharge_max_w is None or not always_w:
        return
    asked_w = always_w / inverter.efficiency + inverter.idle_w
    if asked_w > bank.discharge_max_w:
        yield Mistake(
            ("bank", "discharge_max_w"),
            f"{bank.discharge_max_w:g} W is less than the {asked_w:.0f} W that the loads that are always on "
            "take from the bank through the inverter all night",
        )
