"""Seeded random yards of a given size in which energy is scarce, so that the choice matters."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid
from scheduler.yard.agenda import Agenda, Span, build_agenda
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Need, Outlet, Site, Visits, Yard

START = dt.datetime(2027, 6, 9, 10, 0, tzinfo=dt.UTC)  # 06:00 on the yard's clock, a Wednesday
ZONE = "America/New_York"
VISIT_TIMES = ("07:00", "11:30", "15:00", "18:30")
WHOLE_HOUR_VISIT_TIMES = ("07:00", "11:00", "15:00", "19:00")
USUAL_VISITS = len(VISIT_TIMES)
FIRST_VISIT_HOUR, LAST_VISIT_HOUR = 7, 19
#: Fridge, dehumidifier and the inverter's idle draw at the bank's side.
HOUSE_WH_A_DAY = 24 * (60.0 / 0.9 + 20.0) + 4 * 300.0 / 0.9
DULL_FRACTION = 0.6


@dataclass(frozen=True)
class YardSize:
    """What a benchmark yard is asked to be."""

    machines: int
    hours: int
    step_minutes: int
    timers: int = 0
    visits: int = USUAL_VISITS

    @property
    def title(self) -> str:
        timers = f", {self.timers} timers" if self.timers else ""
        steps = f"{self.hours} h in steps of {self.step_minutes} min"
        return f"{self.machines} machines, {steps}, {self.visits} visits a day{timers}"

    @property
    def visit_times(self) -> tuple[str, ...]:
        """When somebody comes; other than the usual number of visits stand evenly over the day, on whole hours."""
        if self.visits == USUAL_VISITS:
            return VISIT_TIMES if self.step_minutes < 60 else WHOLE_HOUR_VISIT_TIMES
        hours = np.linspace(FIRST_VISIT_HOUR, LAST_VISIT_HOUR, self.visits).round()
        return tuple(f"{hour:02.0f}:00" for hour in hours)


@dataclass(frozen=True)
class BenchYard:
    """A yard ready to plan."""

    yard: Yard
    agenda: Agenda
    suns: ThreeSuns


TWELVE = YardSize(machines=12, hours=48, step_minutes=30)
THIRTY = YardSize(machines=30, hours=48, step_minutes=60)
TWELVE_WITH_TIMERS = YardSize(machines=12, hours=72, step_minutes=60, timers=2)


def make_yard(size: YardSize, seed: int) -> BenchYard:
    """Draw a yard; what the house leaves of the dull sun is about half of what the machines ask for."""
    rng = random.Random(seed)
    machines = tuple(_machine(rng, index, size) for index in range(size.machines))
    asked_wh_a_day = sum(need.work_wh for machine in machines for need in machine.needs) / (size.hours / 24)
    n_outlets = max(4, size.machines // 3)
    outlets = tuple(
        Outlet(name=f"outlet {index + 1}", kind="ac", breaker_a=15.0, timer=index < size.timers)
        for index in range(n_outlets)
    )
    yard = Yard(
        site=Site(name="bench", latitude=36.1, longitude=-79.95, timezone=ZONE),
        arrays=(Array(name="roof", panels=8, panel_w=400.0, tilt_deg=20.0, azimuth_deg=180.0),),
        bank=Bank(
            modules_wh=(3000.0 + round(0.5 * asked_wh_a_day, -2),),
            reserve_pct=25.0,
            level_pct=70.0,
            discharge_max_w=4000.0,
        ),
        inverter=Inverter(continuous_w=2400.0, surge_w=4000.0, efficiency_pct=90.0, idle_w=20.0),
        outlets=outlets,
        house_loads=(
            HouseLoad(name="fridge", watts=60.0, surge_w=600.0, always_on=True),
            HouseLoad(
                name="dehumidifier",
                watts=300.0,
                surge_w=900.0,
                hours_per_day=4.0,
                window=("09:00", "18:00"),
                min_block_h=1.0,
            ),
        ),
        visits=Visits(times=size.visit_times),
        machines=machines,
    )
    span = Span(now=START, start=START, hours=float(size.hours), step_minutes=size.step_minutes)
    agenda = build_agenda(yard, span)
    return BenchYard(yard, agenda, _suns(rng, agenda.grid, HOUSE_WH_A_DAY + 0.5 * asked_wh_a_day / 0.8))


def _machine(rng: random.Random, index: int, size: YardSize) -> Machine:
    battery = float(rng.choice((250, 500, 800, 1200, 2000, 3500)))
    # Full in three to ten hours, as chargers that come with machines are.
    charger = round(battery / rng.uniform(3.0, 10.0) / 0.88 / 10.0) * 10.0
    return Machine(
        name=f"machine {index + 1}",
        battery_wh=battery,
        charger_w=max(30.0, charger),
        charger_efficiency_pct=rng.choice((82.0, 88.0, 92.0)),
        taper_from_pct=rng.choice((70.0, 80.0, 90.0)),
        floor_pct=rng.choice((0.0, 10.0)),
        priority=rng.choice(("must", "should", "should", "could")),
        charge_pct=float(rng.randint(10, 60)),
        needs=tuple(_needs(rng, battery, size)),
    )


def _needs(rng: random.Random, battery_wh: float, size: YardSize) -> Iterator[Need]:
    """One or two spells of work a day, at whole steps, from the first afternoon on."""
    for day in range(size.hours // 24):
        for first, last in ((6, 10), (13, 22)):
            if rng.random() < 0.3:
                continue
            steps = rng.randint(first * 60 // size.step_minutes, last * 60 // size.step_minutes)
            ready_by = START + dt.timedelta(days=day, minutes=steps * size.step_minutes)
            yield Need(
                ready_by=ready_by,
                away_h=float(rng.randint(1, 3)),
                energy_wh=round(battery_wh * rng.choice((0.3, 0.4, 0.5, 0.6))),
            )


def _suns(rng: random.Random, grid: Grid, dull_wh_a_day: float) -> ThreeSuns:
    """A hand-made sky: half a sine from 06:00 to 20:00, days of their own strength, passing cloud."""
    local = [grid.local(step) for step in range(grid.n_steps)]
    hours = np.array([moment.hour + moment.minute / 60 + grid.step_h / 2 for moment in local])
    strength = {day: rng.uniform(0.7, 1.3) for day in sorted({moment.date() for moment in local})}
    clear = np.maximum(0.0, np.sin(np.pi * (hours - 6.0) / 14.0)) * ((hours > 6.0) & (hours < 20.0))
    cloud = np.array([rng.uniform(0.8, 1.2) for _ in local])
    shape = clear * cloud * np.array([strength[moment.date()] for moment in local])
    likely = shape * dull_wh_a_day / DULL_FRACTION / (14.0 * 2.0 / np.pi)
    temps = 18.0 + 8.0 * np.sin(np.pi * (hours - 9.0) / 12.0)
    return ThreeSuns(grid, DULL_FRACTION * likely, likely, 1.3 * likely, temps, "made by hand")
