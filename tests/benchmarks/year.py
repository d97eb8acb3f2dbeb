"""How long a lived year takes, on one core and on two, how it grows with the machines, and the memory it needs."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from scheduler.studies.year import YearSettings, live_prepared, prepare_year
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Array, Bank, Inverter, Machine, Outlet, Yard

FLEET = Path("fleets/field-edge.toml")
WEATHER = Path("forecasts/greensboro-tmy3.csv")
DAYS_OF_GROWTH = 28

#: The machines of the demo with which a yard of four keeps as much to choose as one of eight.
FOUR = ("orchard mower", "platform cart", "delivery trike", "sprayer")

Row = dict[str, Any]


def demo() -> Yard:
    return read_yard(FLEET)


def yard_of(machines: int) -> Yard:
    """The demo's yard with 4, 8 or 16 machines; sun, bank, inverter and outlets grow along."""
    yard = demo()
    if machines == 4:
        return scaled(yard, 0.5, tuple(machine for machine in yard.machines if machine.name in FOUR))
    if machines == 8:
        return yard
    twins = tuple(
        machine.model_copy(update={"name": f"{machine.name} II", "outlet": None}) for machine in yard.machines
    )
    more = tuple(outlet.model_copy(update={"name": f"{outlet.name} II"}) for outlet in yard.outlets)
    return scaled(yard, 2.0, (*yard.machines, *twins)).model_copy(update={"outlets": (*yard.outlets, *more)})


def scaled(yard: Yard, factor: float, machines: tuple[Machine, ...]) -> Yard:
    def array(one: Array) -> Array:
        limit_w = None if one.input_limit_w is None else factor * one.input_limit_w
        return one.model_copy(update={"panel_w": factor * one.panel_w, "input_limit_w": limit_w})

    bank: Bank = yard.bank.model_copy(
        update={"modules_wh": tuple(factor * wh for wh in yard.bank.modules_wh)}
    )
    inverter: Inverter = yard.inverter.model_copy(
        update={
            "continuous_w": factor * yard.inverter.continuous_w,
            "surge_w": factor * yard.inverter.surge_limit_w,
        }
    )
    outlets: tuple[Outlet, ...] = yard.outlets
    changed = {"bank": bank, "inverter": inverter, "outlets": outlets, "machines": machines}
    return yard.model_copy(update={**changed, "arrays": tuple(array(one) for one in yard.arrays)})


def lived(machines: int, n_days: int) -> Row:
    """Live some days and tell how long it took; from midsummer on where it is not the whole year."""
    began = time.perf_counter()
    yard = yard_of(machines)
    weather = read_weather(WEATHER, yard.site)
    assert isinstance(weather, TypicalYear)
    first_day = YearSettings.first_day if n_days == 365 else YearSettings.first_day.replace(month=9)
    year = live_prepared(prepare_year(yard, weather, YearSettings(first_day=first_day, n_days=n_days)))
    unit = 1.0 if sys.platform == "darwin" else 1024.0
    return {
        "seconds": time.perf_counter() - began,
        "planning_ms_a_day": 1000.0 * year.planning_s / n_days,
        "unproven": sum(day.unproven_plans for day in year.days),
        "ready": year.readiness().ready,
        "asked": year.readiness().asked,
        "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1024.0**2,
    }


def elsewhere(cores: int, machines: int, n_days: int) -> Row:
    """Live days in a process of its own that may use so many cores."""
    script = (
        "import json, os\n"
        f"if hasattr(os, 'sched_setaffinity'): os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:{cores}])\n"
        "from tests.benchmarks.year import lived\n"
        f"print(json.dumps(lived({machines}, {n_days})))"
    )
    done = subprocess.run((sys.executable, "-c", script), check=True, capture_output=True, text=True)
    told: Row = json.loads(done.stdout.splitlines()[-1])
    return told


def run_year() -> Iterator[Row]:
    """The demo's whole year on one core and on two, and a month of 4, 8 and 16 machines."""
    for cores, most_s in ((1, 120.0), (2, 70.0)):
        if cores <= (os.cpu_count() or 1):
            told = elsewhere(cores, 8, 365)
            state = f"planning {told['planning_ms_a_day']:.0f} ms a day; {told['unproven']} plans not proven"
            yield {
                "what": f"the demo's whole year, {cores} core{'s' * (cores > 1)}",
                "reached": told["seconds"],
                "to_reach": most_s,
                "unit": "s",
                "state": f"{state}; ready {told['ready']} of {told['asked']}",
            }
    yield {"what": "peak memory of it", "reached": told["memory_mb"], "to_reach": 400.0, "unit": "MB"}
    for machines in (4, 8, 16):
        told = elsewhere(2, machines, DAYS_OF_GROWTH)
        yield {
            "what": f"planning a day, {machines} machines, {DAYS_OF_GROWTH} days of September, 2 cores",
            "reached": told["planning_ms_a_day"],
            "to_reach": 250.0,
            "unit": "ms",
            "state": f"{told['unproven']} plans not proven; ready {told['ready']} of {told['asked']}",
        }
