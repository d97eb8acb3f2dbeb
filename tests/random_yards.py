"""Small random yards, the same for the same seed, in which energy, outlets or hands are scarce."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Need, Outlet, Site, Visits, Yard
from tests.oracle_physics import Case, allowed_wh

START = dt.datetime(2027, 6, 9, 6, 0, tzinfo=dt.UTC)  # a Wednesday
SITE = Site(latitude=36.1, longitude=-79.95, timezone="UTC")
PANELS = (Array(name="roof", panels=2, panel_w=400.0, tilt_deg=20.0, azimuth_deg=180.0),)


def clock(edge: int, step_minutes: int = 60) -> dt.datetime:
    """Moment of an edge of the plan, as a fleet file would have it."""
    return START + edge * dt.timedelta(minutes=step_minutes)


def hours_of_day(edges: Sequence[int], step_minutes: int = 60) -> tuple[str, ...]:
    """Times of day at which visits fall on these edges."""
    return tuple(sorted({clock(edge, step_minutes).strftime("%H:%M") for edge in edges}))


def make_case(
    yard: Yard,
    hours: float,
    step_minutes: int,
    sun_w: Callable[[Grid], np.ndarray],
    temp_c: Sequence[float] = (20.0,),
) -> Case:
    """Put a yard on its grid under a dull sun of `sun_w`; the likely and bright suns are stronger."""
    agenda = build_agenda(yard, Span(now=START, start=START, hours=hours, step_minutes=step_minutes))
    dull = sun_w(agenda.grid)
    temps = np.resize(np.asarray(temp_c, dtype=float), agenda.grid.n_steps)
    return Case(yard, agenda, ThreeSuns(agenda.grid, dull, dull * 1.5, dull * 1.9, temps, "made by hand"))


def day_sun(peak_w: float) -> Callable[[Grid], np.ndarray]:
    """Half a sine from 06:00 to 18:00 each day [W]."""

    def sun_w(grid: Grid) -> np.ndarray:
        hours = np.array(
            [grid.local(step).hour + grid.local(step).minute / 60 for step in range(grid.n_steps)]
        )
        return peak_w * np.maximum(0.0, np.sin(np.pi * (hours + grid.step_h / 2 - 6.0) / 12.0))

    return sun_w


def tiny_case(seed: int, *, timers: bool = False, duty: bool = False, short: bool = False) -> Case:
    """2 to 4 machines, 1 to 3 outlets, 2 to 6 visits; whatever the rules know turns up somewhere."""
    rng = random.Random(seed)
    case = _draw_tiny(rng, timers=timers, duty=duty, short=short)
    while allowed_wh(case).min() < 0.0:  # The house alone empties the bank: no rule says what then.
        case = _draw_tiny(rng, timers=timers, duty=duty, short=short)
    return case


def _draw_tiny(rng: random.Random, *, timers: bool, duty: bool, short: bool) -> Case:
    n_steps = rng.choice((12, 14, 16)) if timers else rng.randint(12, 24)
    n_machines = 2 if timers else rng.randint(2, 4)
    visits = sorted(
        rng.sample(range(n_steps), rng.choice((2, 2, 3)) if timers else rng.randint(3, 8 - n_machines))
    )
    outlets = [
        _outlet(rng, index, timer=timers and index == 0)
        for index in range(rng.randint(1, 2 if timers else 3))
    ]
    machines = [_machine(rng, index, n_steps, outlets) for index in range(n_machines)]
    if not duty:
        _plug_some(rng, machines, outlets)
    peak_w = rng.choice((0.0, 60.0, 120.0, 250.0))
    capacity = rng.choice((1500.0, 2000.0, 3000.0))
    house = [HouseLoad(name="fridge", watts=15.0, surge_w=rng.choice((None, 15.0, 200.0)), always_on=True)]
    if duty:
        house.append(_duty_load(rng))
    if rng.random() < 0.2 and not duty:
        house = []
    bank = _bank(rng, capacity, short=short)
    inverter = Inverter(
        continuous_w=rng.choice((450.0, 600.0, 900.0)),
        surge_w=rng.choice((None, 1000.0)),
        efficiency_pct=rng.choice((85.0, 90.0, 100.0)),
        idle_w=rng.choice((0.0, 5.0, 10.0)),
        off_when_unused=rng.random() < 0.3,
    )
    yard = Yard(
        site=SITE,
        arrays=PANELS,
        bank=bank,
        inverter=inverter,
        outlets=tuple(outlets),
        house_loads=tuple(house),
        visits=Visits(times=hours_of_day(visits)),
        machines=tuple(machines),
    )
    temps = [
        rng.choice((20.0, 20.0, 20.0, 0.0, -4.0)) if rng.random() < 0.3 else 15.0 for _ in range(n_steps)
    ]
    if visits[0] > 0:
        temps[: visits[0]] = [15.0] * visits[0]
    return make_case(yard, n_steps, 60, day_sun(peak_w), temps)


def _bank(rng: random.Random, capacity: float, *, short: bool) -> Bank:
    reserve = rng.choice((20.0, 30.0))
    return Bank(
        modules_wh=(capacity,),
        reserve_pct=reserve,
        level_pct=reserve + (rng.choice((1.0, 4.0)) if short else rng.choice((40.0, 55.0, 70.0))),
        charge_max_w=rng.choice((None, None, 60.0)),
        discharge_max_w=rng.choice((None, None, 600.0)),
        charge_efficiency_pct=rng.choice((95.0, 100.0)),
        discharge_efficiency_pct=rng.choice((95.0, 100.0)),
    )


def _outlet(rng: random.Random, index: int, *, timer: bool) -> Outlet:
    kind = "ac" if timer or index == 0 or rng.random() < 0.7 else "dc"
    breaker = rng.choice((None, 2.0, 3.0)) if kind == "ac" else None
    return Outlet(name=f"outlet {index + 1}", kind=kind, breaker_a=breaker, timer=timer)


def _machine(rng: random.Random, index: int, n_steps: int, outlets: list[Outlet]) -> Machine:
    supply = rng.choice(outlets).kind
    battery = float(rng.choice((150, 300, 500, 800, 1200)))
    charger = rng.choice((60.0, 120.0, 200.0, 350.0))
    # A charger above an outlet's limit has no taper here: whether it fits late in its taper is not asked.
    tight = any(charger > outlet.limit_w for outlet in outlets)
    machine = {
        "name": f"machine {index + 1}",
        "battery_wh": battery,
        "charger_w": charger,
        "charger_efficiency_pct": rng.choice((80.0, 88.0, 100.0)),
        "taper_from_pct": 100.0 if tight else rng.choice((60.0, 80.0, 100.0)),
        "supply": supply,
        "self_protecting": rng.random() < 0.5,
        "floor_pct": rng.choice((0.0, 0.0, 10.0)),
        "priority": rng.choice(("must", "should", "should", "could")),
        "charge_pct": float(rng.choice((0, 10, 20, 45, 70))),
    }
    if rng.random() < 0.2:
        machine["away_until"] = clock(rng.randint(1, n_steps // 2))
    return Machine(**machine, needs=_needs(rng, battery, n_steps))


def _needs(rng: random.Random, battery_wh: float, n_steps: int) -> tuple[Need, ...]:
    needs: list[Need] = []
    first = rng.randint(n_steps // 3, n_steps)
    second = first + rng.randint(5, 9)
    for edge in (first, second):
        if edge > n_steps or (needs and rng.random() < 0.3):
            break
        what: dict[str, Any] = {"ready_by": clock(edge), "away_h": float(rng.randint(1, 4))}
        if rng.random() < 0.4:
            what["charge_pct"] = float(rng.choice((50, 80, 90, 100)))
            what["away_h"] = float(rng.choice((0, 2)))
        else:
            what["energy_wh"] = round(battery_wh * rng.choice((0.3, 0.5, 0.8)))
        if rng.random() < 0.2:
            what["priority"] = "could"
        needs.append(Need(**what))
    return tuple(needs)


def _plug_some(rng: random.Random, machines: list[Machine], outlets: list[Outlet]) -> None:
    """Leave a machine in an outlet when the plan begins, now and then."""
    for outlet in outlets:
        for index, machine in enumerate(machines):
            fits = machine.supply == outlet.kind
            if (
                fits
                and machine.outlet is None
                and machine.away_until is None
                and machine.charger_w <= 120.0
                and rng.random() < 0.3
            ):
                machines[index] = machine.model_copy(update={"outlet": outlet.name})
                break


def _duty_load(rng: random.Random) -> HouseLoad:
    first = rng.randint(7, 9)
    hours = rng.choice((2.0, 3.0))
    return HouseLoad(
        name="dehumidifier",
        watts=rng.choice((80.0, 150.0)),
        surge_w=rng.choice((None, 400.0)),
        hours_per_day=hours,
        window=(f"{first:02d}:00", f"{first + rng.randint(4, 6):02d}:00"),
        min_block_h=rng.choice((None, 2.0)),
    )


def medium_case(seed: int, *, hours: int = 36, machines: int = 8) -> Case:
    """6 to 10 machines with several needs, hourly, no timers: beyond brute force."""
    rng = random.Random(seed)
    visit_hours = sorted(rng.sample(range(6, 22), rng.randint(3, 4)))
    outlets = [_outlet(rng, index, timer=False) for index in range(rng.randint(2, 3))]
    fleet = [_machine(rng, index, 20, outlets) for index in range(machines)]
    fleet = [
        machine.model_copy(update={"needs": machine.needs + _later_needs(rng, machine, hours)})
        for machine in fleet
    ]
    _plug_some(rng, fleet, outlets)
    house = [HouseLoad(name="fridge", watts=25.0, surge_w=200.0, always_on=True)]
    if rng.random() < 0.5:
        house.append(_duty_load(rng))
    yard = Yard(
        site=SITE,
        arrays=PANELS,
        bank=_bank(rng, rng.choice((3000.0, 4000.0)), short=False),
        inverter=Inverter(continuous_w=rng.choice((600.0, 900.0)), surge_w=1200.0, idle_w=10.0),
        outlets=tuple(outlets),
        house_loads=tuple(house),
        visits=Visits(times=tuple(f"{hour:02d}:00" for hour in visit_hours)),
        machines=tuple(fleet),
    )
    return make_case(yard, hours, 60, day_sun(rng.choice((150.0, 300.0, 600.0))))


def _later_needs(rng: random.Random, machine: Machine, hours: int) -> tuple[Need, ...]:
    edge = rng.randint(28, max(28, hours))
    if edge > hours:
        return ()
    return (
        Need(ready_by=clock(edge), away_h=2.0, energy_wh=round(machine.capacity_wh * rng.choice((0.4, 0.7)))),
    )


def show(case: Case) -> str:
    """Tell a yard for a failing test: everything that a fleet file would hold, and the sky."""
    yard = case.yard.model_dump(exclude_defaults=True, exclude={"arrays", "site"})
    lines = [f"{key} = {value}" for key, value in yard.items() if key != "machines"]
    lines += [f"machine {machine}" for machine in yard["machines"]]
    lines += [f"needs of {name}: {needs}" for name, needs in case.agenda.needs.items()]
    lines += [f"visits {case.agenda.visits}", f"duties {case.agenda.duties}"]
    lines += [f"dull_w {case.suns.dull_w.round(2).tolist()}", f"shed_temp_c {case.suns.shed_temp_c.tolist()}"]
    return "\n".join(lines)
