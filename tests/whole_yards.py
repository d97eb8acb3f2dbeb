"""Whole yards for property tests: a fleet that a file may hold, its readings, its weather, on its grid.

Everything is drawn by Hypothesis, so that a yard that fails shrinks to a small one. What is drawn goes the way of
the program: the weather is the text of a forecast file, the three suns and the shed come from it by `build_suns`.
"""

from __future__ import annotations

import datetime as dt
import functools
import itertools
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from hypothesis import strategies as st

from scheduler.sun.drying import run_hours
from scheduler.sun.forecast import Forecast
from scheduler.sun.forecastfile import read_forecast
from scheduler.sun.shed import drying_over
from scheduler.sun.skies import clear_ghi_w_m2
from scheduler.sun.suns import build_suns
from scheduler.timegrid import moment_on_clock
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.models import (
    PRIORITIES,
    Array,
    Bank,
    HouseLoad,
    Inverter,
    Machine,
    Need,
    Outlet,
    Site,
    Visits,
    Yard,
)
from tests.oracle_physics import Case
from tests.strategies import WEEKDAYS, ZONES, clock, figures

#: Zones whose clock changes, by an hour or by half of one, in spring and in autumn, north and south of the equator;
#: offsets of three quarters and of half an hour are among them, and one whose winter is a change forward.
CHANGING = (
    "America/New_York",
    "America/St_Johns",
    "Australia/Adelaide",
    "Australia/Lord_Howe",
    "Europe/Dublin",
    "Europe/Oslo",
    "Pacific/Chatham",
)
HOUR = dt.timedelta(hours=1)

#: The tests have no time for larger plans than so many steps times machines, and a quarter of that with timers.
MOST_MACHINE_STEPS = 240


def seldom(often: object, *others: object) -> st.SearchStrategy:
    """The first three times in four or so, so that a yard is not odd in everything."""
    return st.sampled_from((*(often,) * (3 * len(others)), *others))


# ---- when ----------------------------------------------------------------------------------------------------


@functools.cache
def changes_of(zone: str, year: int = 2027) -> tuple[dt.datetime, ...]:
    """Moments, in UTC, at which the clock of a zone changes in a year, to the hour."""
    first = dt.datetime(year, 1, 1, tzinfo=dt.UTC)
    hours = [first + hour * HOUR for hour in range(365 * 24)]
    offsets = [moment.astimezone(ZoneInfo(zone)).utcoffset() for moment in hours]
    pairs = itertools.pairwise(offsets)
    return tuple(moment for moment, (before, after) in zip(hours[1:], pairs, strict=True) if before != after)


@st.composite
def beginnings(draw: st.DrawFn) -> tuple[str, dt.datetime]:
    """A zone, and what the clock shows, in UTC: on any day, or so that the clock changes in the hours to come."""
    if draw(st.booleans()):
        zone = draw(st.sampled_from(CHANGING))
        moment = draw(st.sampled_from(changes_of(zone))) - draw(st.integers(1, 20)) * HOUR
    else:
        zone = draw(st.sampled_from(ZONES))
        moment = dt.datetime(2027, 1, 1, tzinfo=dt.UTC) + draw(st.integers(0, 24 * 364)) * HOUR
    return zone, moment - draw(seldom(0, 29)) * HOUR / 60


# ---- what stands there ---------------------------------------------------------------------------------------


@st.composite
def arrays(draw: st.DrawFn, number: int, south: bool) -> Array:
    return Array(
        name=f"array {number}",
        panels=draw(st.sampled_from((4, 1, 2, 8))),
        panel_w=draw(st.sampled_from((250.0, 100.0, 410.0))),
        tilt_deg=draw(st.sampled_from((0.0, 15.0, 35.0, 90.0))),
        azimuth_deg=draw(st.sampled_from((0.0 if south else 180.0, 90.0, 235.0))),
        mounting=draw(st.sampled_from(("open_rack", "close_roof", "insulated_back"))),
        input_limit_w=draw(seldom(None, 300.0)),
        horizon_deg=draw(seldom(None, ((80.0, 5.0), (200.0, 25.0)))),
        soiling_pct=draw(seldom(None, (3.0,) * 12)),
    )


@st.composite
def outlets(draw: st.DrawFn, number: int) -> Outlet:
    kind = draw(seldom("ac", "dc")) if number > 1 else "ac"
    return Outlet(
        name=f"outlet {number}",
        kind=kind,
        max_w=draw(seldom(None, 300.0)),
        breaker_a=draw(st.sampled_from((None, None, 3.0, 5.0, 15.0))),
        timer=draw(seldom(False, False, True)),
    )


@st.composite
def needs(draw: st.DrawFn, machine: dict, unit: int, first_day: dt.date) -> Need:
    capacity_wh = machine["battery_wh"]
    able_pct = 100.0 - machine["floor_pct"]
    share = draw(st.sampled_from((0.2, 0.5, 0.7, 0.95))) * able_pct / 100.0
    ways = (
        {"energy_wh": capacity_wh * share},
        {"charge_pct": draw(st.sampled_from((30.0, 60.0, 80.0, 90.0, 100.0)))},
        {"hours": 2.0, "draw_w": capacity_wh * share / 2.0},
        {"distance_km": 10.0, "wh_per_km": capacity_wh * share / 10.0},
    )
    minute = draw(st.integers(0, 24 * 60 // unit - 1)) * unit
    when: dict = {"ready_by": clock(minute)}
    if draw(seldom(False, True)):
        day = first_day + dt.timedelta(days=draw(st.integers(0, 2)))
        when = {"ready_by": dt.datetime.combine(day, dt.time(minute // 60, minute % 60))}
    elif draw(seldom(False, True)):
        when["weekdays"] = tuple(draw(st.sets(st.sampled_from(WEEKDAYS), min_size=3).map(sorted)))
    return Need(
        away_h=draw(st.sampled_from((0.0, 1.0, 2.0, 4.0, 9.0))),
        priority=draw(seldom(None, "must", "could")),
        **when,
        **draw(st.sampled_from(ways)),
    )


@st.composite
def machines(draw: st.DrawFn, number: int, unit: int, begin: dt.datetime, standing: tuple[Outlet, ...]) -> Machine:
    supplies = sorted({outlet.kind for outlet in standing})
    supply = draw(seldom("ac", "dc")) if "dc" in supplies else "ac"
    limit_w = max(outlet.limit_w for outlet in standing if outlet.kind == supply)
    battery_wh = float(draw(st.sampled_from((150, 400, 700, 1200, 2500, 5000))))
    machine: dict = {
        "name": f"machine {number}",
        "battery_wh": battery_wh,
        "charger_w": min(limit_w, float(draw(st.sampled_from((45, 90, 180, 320, 480, 900))))),
        "charger_efficiency_pct": draw(st.sampled_from((100.0, 88.0, 75.0))),
        "taper_from_pct": draw(st.sampled_from((80.0, 100.0, 60.0, 0.0))),
        "supply": supply,
        "charge_temp_c": draw(st.sampled_from(((0.0, 45.0), (5.0, 30.0), (-20.0, 60.0)))),
        "self_protecting": draw(seldom(False, True)),
        "floor_pct": draw(st.sampled_from((0.0, 10.0, 20.0))),
        "priority": draw(st.sampled_from(("must", "must", *PRIORITIES))),
        "charge_pct": draw(figures(0, 100)),
    }
    if draw(seldom(False, False, True)):
        machine["away_until"] = begin.replace(minute=0) + draw(st.integers(1, 20)) * dt.timedelta(minutes=unit)
    return Machine(
        **machine,
        needs=tuple(draw(st.lists(needs(machine, unit, begin.date()), min_size=1, max_size=3))),
    )


@st.composite
def plugged_in(draw: st.DrawFn, fleet: tuple[Machine, ...], standing: tuple[Outlet, ...]) -> tuple[Machine, ...]:
    """Leave some machines in the outlets in which they were last charged."""
    free = list(standing)
    found = []
    for machine in fleet:
        fits = [o for o in free if o.kind == machine.supply and machine.charger_w <= o.limit_w]
        if fits and machine.away_until is None and draw(seldom(False, True)):
            outlet = draw(st.sampled_from(fits))
            free.remove(outlet)
            machine = machine.model_copy(update={"outlet": outlet.name})
        found.append(machine)
    return tuple(found)


@st.composite
def house_loads(draw: st.DrawFn, number: int, unit: int) -> HouseLoad:
    """Always on, by its hours, or by the humidity that is wanted."""
    name = f"load {number}"
    watts = float(draw(st.sampled_from((20, 5, 60, 150, 300))))
    surge_w = draw(seldom(None, watts + 40.0, watts + 150.0))
    kind = draw(st.sampled_from(("always", "hours", "hours", "dry")))
    if kind == "always":
        watts = min(watts, 20.0)
        return HouseLoad(name=name, watts=watts, surge_w=surge_w, always_on=True)
    opens, length = draw(st.integers(0, 23)), draw(st.integers(2, 12))
    window = None if draw(seldom(False, True)) else (f"{opens:02d}:00", clock((opens + length) % 24 * 60))
    length_h = 24.0 if window is None else float(length)
    hours = max(draw(st.sampled_from((0.25, 0.5, 1.0))) * length_h, unit / 60)
    block_h = draw(st.sampled_from((None, 1.0, 2.0)))
    duty: dict = {"hours_per_day": hours} if kind == "hours" else {"wanted_rh_pct": 60.0, "room_m3": 60.0}
    if block_h is not None:
        duty["min_block_h"] = min(block_h, hours if kind == "hours" else length_h)
    return HouseLoad(name=name, watts=watts, surge_w=surge_w, window=window, **duty)


@st.composite
def banks(draw: st.DrawFn, least_w: float) -> Bank:
    """A bank that may give at least so much."""
    reserve_pct = draw(st.sampled_from((20.0, 10.0, 0.0, 50.0)))
    return Bank(
        modules_wh=(float(draw(st.sampled_from((2560, 5120, 1000)))),) * draw(st.integers(1, 3)),
        reserve_pct=reserve_pct,
        level_pct=reserve_pct + draw(st.sampled_from((0.5, 0.3, 0.8, 1.0, 0.1, 0.0))) * (100.0 - reserve_pct),
        charge_max_w=draw(seldom(None, 200.0, 800.0)),
        discharge_max_w=draw(seldom(None, max(450.0, least_w), 1500.0)),
        charge_efficiency_pct=draw(st.sampled_from((97.0, 100.0, 85.0))),
        discharge_efficiency_pct=draw(st.sampled_from((97.0, 100.0, 85.0))),
    )


@st.composite
def inverters(draw: st.DrawFn, loads: tuple[HouseLoad, ...]) -> Inverter:
    """One that runs and starts each of the loads beside those that are always on, as a fleet file asks."""
    always_w = sum(load.watts for load in loads if load.always_on)
    others_w = [always_w - load.watts * load.always_on + load.start_w for load in loads]
    continuous_w = max(float(draw(st.sampled_from((1200, 450, 700, 3000)))), *others_w, 0.0)
    return Inverter(
        continuous_w=continuous_w,
        surge_w=draw(st.sampled_from((None, continuous_w * 1.5, continuous_w * 2.0))),
        efficiency_pct=draw(st.sampled_from((90.0, 100.0, 80.0))),
        idle_w=draw(st.sampled_from((20.0, 5.0, 0.0))),
        off_when_unused=draw(seldom(False, True)),
    )


@st.composite
def visits(draw: st.DrawFn, unit: int) -> Visits:
    """One to four a day, seldom none, at any minute for whole hours: the plan moves them to the quarter hour."""
    odd = draw(seldom(0, 0, 7, 52))
    days = st.lists(st.integers(0, 24 * 60 // unit - 1), min_size=1, max_size=4, unique=True)
    lists = days.map(lambda times: tuple(clock(min(time * unit + odd, 24 * 60 - 1)) for time in sorted(times)))
    return Visits(times=draw(lists), sun=draw(st.none() | st.just(()) | lists))


@st.composite
def fleets(draw: st.DrawFn, zone: str, begin: dt.datetime, unit: int, most_machines: int) -> Yard:
    """A yard as a fleet file may hold it."""
    local = begin.astimezone(ZoneInfo(zone))
    offset = local.utcoffset()
    latitude = draw(figures(-66, 66))
    standing = tuple(draw(outlets(number)) for number in range(1, 1 + draw(st.integers(1, 5))))
    n_machines = draw(st.sampled_from([n for n in (1, 2, 2, 3, 3, 4, 4, 5, 6, 8, 10, 15) if n <= most_machines]))
    wall = local.replace(tzinfo=None)
    fleet = tuple(draw(machines(number, unit, wall, standing)) for number in range(1, n_machines + 1))
    loads = tuple(draw(house_loads(number, unit)) for number in range(1, 1 + draw(st.integers(0, 3))))
    inverter = draw(inverters(loads))
    always_w = sum(load.watts for load in loads if load.always_on)
    longitude = 0.0 if offset is None else offset.total_seconds() / 240.0
    return Yard(
        site=Site(
            name="yard",
            latitude=latitude,
            longitude=(longitude + 180.0) % 360.0 - 180.0,
            timezone=zone,
            shed_offset_c=draw(seldom(0.0, 4.0)),
            shed_lag_h=draw(seldom(0.0, 3.0)),
            shed_loss_w_per_c=draw(seldom(None, 200.0)),
        ),
        arrays=tuple(draw(arrays(number, latitude < 0)) for number in range(1, 1 + draw(st.integers(1, 3)))),
        bank=draw(banks(always_w / inverter.efficiency + inverter.idle_w)),
        inverter=inverter,
        outlets=standing,
        house_loads=loads,
        visits=draw(visits(unit)),
        machines=draw(plugged_in(fleet, standing)),
    )


@st.composite
def read_off(draw: st.DrawFn, yard: Yard) -> Yard:
    """The same yard with what its displays show, which may be below the reserve (`--bank`, `--charge`)."""
    bank, fleet = yard.bank, list(yard.machines)
    if draw(seldom(False, True)):
        bank = bank.model_copy(update={"level_pct": draw(figures(0, 100))})
    if draw(seldom(False, True)):
        number = draw(st.integers(0, len(fleet) - 1))
        fleet[number] = fleet[number].model_copy(update={"charge_pct": draw(figures(0, 100))})
    return yard.model_copy(update={"bank": bank, "machines": tuple(fleet)})


# ---- what comes ----------------------------------------------------------------------------------------------


@st.composite
def forecasts(draw: st.DrawFn, site: Site, begin: dt.datetime) -> Forecast:
    """Three days from the day on which the plan begins: cloud alone, the sun on the level, or a spread besides."""
    zone = site.zone
    first = moment_on_clock(begin.astimezone(zone).date(), 0, zone)
    first = min(first.replace(minute=0), begin.replace(minute=0)) - 24 * HOUR
    hours = pd.date_range(first, periods=5 * 24 + 2, freq="h")
    days = np.arange(len(hours)) // 24
    clear = np.array(draw(st.lists(figures(0, 1), min_size=6, max_size=6)))[days]
    warm_c = np.array(draw(st.lists(seldom(20, 2, -25, 40), min_size=6, max_size=6)))[days]
    local_h = np.array([moment.astimezone(zone).hour for moment in hours.to_pydatetime()])
    temp_c = warm_c + draw(st.sampled_from((0.0, 8.0))) * np.sin(np.pi * (local_h - 9) / 12)
    columns: dict[str, np.ndarray] = {"temp_c": temp_c}
    gives = draw(st.sampled_from(("cloud", "sun", "spread")))
    if gives == "cloud":
        columns["cloud_pct"] = 100.0 * (1.0 - clear)
    else:
        sun = clear_ghi_w_m2(site, hours) * (0.15 + 0.8 * clear)
        columns["ghi_w_m2"] = sun
    if gives == "spread":
        columns["ghi_dull_w_m2"] = sun * draw(st.sampled_from((0.2, 0.6, 1.0)))
        columns["ghi_bright_w_m2"] = sun * 1.05
    if draw(st.booleans()):
        columns["rh_pct"] = np.full(len(hours), draw(st.sampled_from((40.0, 75.0, 98.0))))
    return read_forecast(Path("drawn.csv"), _forecast_text(hours, columns), site)


def _forecast_text(hours: pd.DatetimeIndex, columns: dict[str, np.ndarray]) -> str:
    rows = [
        ",".join([moment.isoformat(), *(f"{series[number]:.3f}" for series in columns.values())])
        for number, moment in enumerate(hours)
    ]
    return "\n".join([",".join(["time", *columns]), *rows, ""])


@st.composite
def whole_yards(draw: st.DrawFn, most_machines: int = 15, most_machine_steps: int = MOST_MACHINE_STEPS) -> Case:
    """A yard as it is found when its plan begins, with what clock and sky ask of it."""
    zone, begin = draw(beginnings())
    unit = draw(st.sampled_from((60, 60, 60, 30, 30, 15)))
    yard = draw(fleets(zone, begin, unit, most_machines))
    yard = draw(read_off(yard))
    weather = draw(forecasts(yard.site, begin))
    hours = draw(st.sampled_from((None, None, 12.0, 24.0, 36.0)))
    span = Span(begin, None, hours, here=draw(st.booleans()), weather_end=weather.ends)
    agenda = build_agenda(yard, span)
    share = 4 if any(outlet.timer for outlet in yard.outlets) else 1
    longest = max(8, min(most_machine_steps // len(yard.machines) // share, 100 // share))
    if agenda.grid.n_steps > longest:
        span = Span(begin, None, longest * agenda.grid.step_h, None, span.here, weather.ends)
        agenda = build_agenda(yard, span)
    drying = drying_over(yard, weather, agenda.grid)
    if drying:
        agenda = build_agenda(yard, span, run_hours(drying))
    return Case(yard, agenda, build_suns(yard, agenda.grid, weather))


# ---- of what kind it is ----------------------------------------------------------------------------------------


def kinds_of(case: Case) -> list[str]:
    """What is odd about a yard, for the tally."""
    yard, grid = case.yard, case.agenda.grid
    offsets = [grid.local(edge).utcoffset() for edge in range(grid.n_steps + 1)]
    pairs = itertools.pairwise(offset.total_seconds() for offset in offsets if offset is not None)
    steps = {after - before for before, after in pairs} - {0.0}
    outside = [
        bool(((case.suns.shed_temp_c < m.charge_temp_c[0]) | (case.suns.shed_temp_c > m.charge_temp_c[1])).any())
        for m in yard.machines
    ]
    offset_s = offsets[0].total_seconds() if offsets[0] is not None else 0.0
    told = {
        f"steps of {grid.step_minutes} min": True,
        "8 to 15 machines": len(yard.machines) >= 8,
        "the clock goes forward": any(step > 0 for step in steps),
        "the clock goes back": any(step < 0 for step in steps),
        "zone off the whole hour": offset_s % 3600 != 0,
        "beyond 55 degrees": abs(yard.site.latitude) > 55,
        "timer": any(outlet.timer for outlet in yard.outlets),
        "DC port": any(machine.supply == "dc" for machine in yard.machines),
        "several arrays": len(yard.arrays) > 1,
        "away": any(away.any() for away in case.agenda.away.values()),
        "away at the start": any(away[0] for away in case.agenda.away.values()),
        "plugged in at the start": any(machine.outlet for machine in yard.machines),
        "duty load": bool(case.agenda.duties),
        "shed too cold or hot for some machine": any(outside),
        "battery that protects itself": any(machine.self_protecting for machine in yard.machines),
        "floor": any(machine.floor_pct for machine in yard.machines),
        "80 % of a breaker may bind": any(
            outlet.kind == machine.supply and outlet.continuous_w < machine.charger_w <= outlet.limit_w
            for outlet in yard.outlets
            for machine in yard.machines
        ),
        "several duty loads": len({window.load for window in case.agenda.duties}) > 1,
        "inverter off when unused": yard.inverter.off_when_unused,
        "bank below its reserve": yard.bank.level_pct < yard.bank.reserve_pct,
        "nobody comes": not case.agenda.visits,
    }
    return [kind for kind, is_so in told.items() if is_so]
