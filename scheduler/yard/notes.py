"""What is worth saying about a yard though it is no mistake."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from scheduler.yard.models import Array, Machine, Site, Yard

#: A clock further than this from the sun's hints at a wrong longitude or zone [h]; the largest real ones,
#: summer time aside, stay within it.
CLOCK_FROM_SUN_H = 3.0

#: Panels flatter than this may look anywhere [deg].
FLAT_DEG = 10.0

#: Nothing that people charge at home fills faster than this many times an hour.
FASTEST_FILLS_PER_H = 4.0

#: No common battery is charged outside these [C] (lead-acid, Battery University BU-410, table 1).
COLDEST_CHARGE_C, HOTTEST_CHARGE_C = -20.0, 50.0

#: Smaller banks, panels and batteries, or larger batteries, were meant in another unit (common practice, no source).
LEAST_BANK_WH, LEAST_PANEL_W = 100.0, 5.0
LEAST_BATTERY_WH, MOST_BATTERY_WH = 5.0, 500_000.0

_DIRT_WORDS = ("dirt", "soil", "dust", "pollen")

_A_WINTER_AND_A_SUMMER_DAY = (
    dt.datetime(2027, 1, 15, 12, tzinfo=dt.UTC),
    dt.datetime(2027, 7, 15, 12, tzinfo=dt.UTC),
)


def yard_notes(yard: Yard) -> tuple[str, ...]:
    """Return what looks unusual in a sound fleet file, one line each, to be confirmed or corrected."""
    return (
        *_place_notes(yard.site),
        *_unit_notes(yard),
        *(note for array in yard.arrays for note in _array_notes(array, yard.site)),
        *(note for array in yard.arrays for note in _dirt_notes(array)),
        *_visit_notes(yard),
        *(note for machine in yard.machines for note in _machine_notes(machine, yard)),
    )


def _place_notes(site: Site) -> Iterator[str]:
    sun_h = site.longitude / 15.0
    apart = []
    for day in _A_WINTER_AND_A_SUMMER_DAY:
        offset = day.astimezone(site.zone).utcoffset() or dt.timedelta()
        apart.append(abs((offset / dt.timedelta(hours=1) - sun_h + 12.0) % 24.0 - 12.0))
    if min(apart) > CLOCK_FROM_SUN_H:
        yield (
            f"the clock of {site.timezone} is {min(apart):.0f} hours from the sun at longitude "
            f"{site.longitude:g}: is its sign turned round (west is negative), or is it the latitude?"
        )


def _unit_notes(yard: Yard) -> Iterator[str]:
    """Figures so small or large that they were meant in another unit."""
    if yard.bank.capacity_wh < LEAST_BANK_WH:
        yield f"the bank holds {yard.bank.capacity_wh:g} Wh in all: modules_wh is in Wh, 2.56 kWh is 2560"
    for array in yard.arrays:
        if array.panel_w < LEAST_PANEL_W:
            yield f"{array.name}: panels of {array.panel_w:g} W: panel_w is in W, 0.41 kW is 410"
    for machine in yard.machines:
        if not LEAST_BATTERY_WH <= machine.capacity_wh <= MOST_BATTERY_WH:
            yield f"{machine.name}: a battery of {machine.capacity_wh:g} Wh: are volts, Ah and Wh right?"


def _array_notes(array: Array, site: Site) -> Iterator[str]:
    equator_deg = 180.0 if site.latitude >= 0 else 0.0
    turned_deg = abs((array.azimuth_deg - equator_deg + 180.0) % 360.0 - 180.0)
    if array.tilt_deg >= FLAT_DEG and abs(site.latitude) > 23.5 and turned_deg > 120.0:
        looks, sunny = ("north", "south") if equator_deg else ("south", "north")
        yield (
            f"{array.name}: these panels look {looks}, away from the midday sun; azimuth_deg counts "
            f"clockwise from north, and {equator_deg:g} is {sunny}"
        )


def _dirt_notes(array: Array) -> Iterator[str]:
    """Dirt that the losses count already; their default does, with 2 percent."""
    if array.soiling_pct is None:
        return
    if "losses_pct" not in array.model_fields_set:
        yield f"{array.name}: soiling_pct comes on top of losses_pct, whose default counts 2 % dirt: set it to 12.33"
    elif isinstance(array.losses_pct, dict):
        dirt = [name for name in array.losses_pct if any(word in name.lower() for word in _DIRT_WORDS)]
        if dirt:
            yield f"{array.name}: is dirt counted twice, in soiling_pct and as {dirt[0]!r} in losses_pct?"


def _visit_notes(yard: Yard) -> Iterator[str]:
    if not any(yard.visits.on_weekday(weekday) for weekday in range(7)):
        yield "nobody ever comes by (no visits): no plug can be changed"


def _machine_notes(machine: Machine, yard: Yard) -> Iterator[str]:
    name = machine.name
    if not machine.needs:
        yield f"{name}: it has no needs, so nothing asks for its charge"
    coldest, hottest = machine.charge_temp_c
    if coldest < COLDEST_CHARGE_C or hottest > HOTTEST_CHARGE_C:
        yield (
            f"{name}: charging from {coldest:g} to {hottest:g} C is more than any common battery stands "
            f"(lithium 0 to 45, lead-acid {COLDEST_CHARGE_C:g} to {HOTTEST_CHARGE_C:g}); are these degrees C?"
        )
    fills_per_h = machine.charger_w * machine.charger_efficiency / machine.capacity_wh
    if fills_per_h > FASTEST_FILLS_PER_H:
        fill_min = 60.0 / fills_per_h
        yield f"{name}: its charger fills it in {fill_min:.0f} minutes; are battery and charger right?"
    together_w = machine.charger_w + yard.always_on_w
    if machine.supply == "ac" and together_w > yard.inverter.continuous_w:
        yield (
            f"{name}: its charger with what is always on draws {together_w:g} W, more than the inverter's "
            f"{yard.inverter.continuous_w:g} W; it can't be plugged in"
        )
