"""Small yards and moments for property tests, and a fleet file written from a yard."""

from __future__ import annotations

import datetime as dt
from typing import Any

from hypothesis import strategies as st

from scheduler.yard.models import (
    PRIORITIES,
    Array,
    Bank,
    HouseLoad,
    Inverter,
    Machine,
    Need,
    Outlet,
    Record,
    Site,
    Visits,
    Yard,
)

#: Whole, half and quarter-hour zones, north and south, one whose summer time is half an hour, one at +14.
ZONES = (
    "America/New_York",
    "Asia/Kolkata",
    "Asia/Kathmandu",
    "Australia/Adelaide",
    "Australia/Lord_Howe",
    "Pacific/Kiritimati",
    "UTC",
)
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

#: Letters that an unwary writer or reader of files stumbles over, but no blanks at the ends.
names = st.text(st.sampled_from("abcXYZ019 -_.#'\"\\[]={}äßλЖ\u200f雪🌱"), min_size=1, max_size=12).filter(
    lambda name: name == name.strip()
)

minutes_of_day = st.integers(0, 24 * 60)
quarters_of_day = st.integers(0, 4 * 24).map(lambda quarter: 15 * quarter)
moments = st.integers(0, 3 * 365 * 24 * 60).map(
    lambda minutes: dt.datetime(2026, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=minutes)
)
zones = st.sampled_from(ZONES)


def figures(least: float, most: float) -> st.SearchStrategy[float]:
    """Numbers as people write them, to a tenth."""
    return st.integers(round(least * 10), round(most * 10)).map(lambda tenths: tenths / 10)


def clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


@st.composite
def needs(draw: st.DrawFn, capacity_wh: float, minutes: st.SearchStrategy[int] = quarters_of_day) -> Need:
    ways: dict[str, dict[str, Any]] = {
        "charge": {"charge_pct": draw(figures(1, 100))},
        "energy": {"energy_wh": capacity_wh * 0.7},
        "hours": {"hours": 2.0, "draw_w": capacity_wh * 0.3},
        "km": {"distance_km": 10.0, "wh_per_km": capacity_wh * 0.05},
        "miles": {"distance_miles": 6.0, "wh_per_mile": capacity_wh * 0.1},
    }
    days = draw(st.none() | st.sets(st.sampled_from(WEEKDAYS), min_size=1).map(sorted))
    return Need(
        ready_by=clock(draw(minutes)),
        weekdays=None if days is None else tuple(days),
        away_h=draw(st.sampled_from((0.0, 0.25, 1.5, 4.0, 9.0))),
        priority=draw(st.none() | st.sampled_from(PRIORITIES)),
        **ways[draw(st.sampled_from(sorted(ways)))],
    )


@st.composite
def machines(draw: st.DrawFn, name: str, minutes: st.SearchStrategy[int] = quarters_of_day) -> Machine:
    capacity_wh = draw(figures(100, 7000))
    return Machine(
        name=name,
        battery_wh=capacity_wh,
        charger_w=draw(figures(20, 1000)),
        floor_pct=draw(st.sampled_from((0.0, 10.0, 20.0))),
        priority=draw(st.sampled_from(PRIORITIES)),
        charge_pct=draw(figures(0, 100)),
        self_protecting=draw(st.booleans()),
        needs=tuple(draw(st.lists(needs(capacity_wh, minutes), max_size=3))),
    )


@st.composite
def house_loads(draw: st.DrawFn, name: str) -> HouseLoad:
    if draw(st.booleans()):
        return HouseLoad(name=name, watts=draw(figures(1, 60)), always_on=True)
    window = draw(
        st.none()
        | st.tuples(minutes_of_day, minutes_of_day).filter(lambda ends: ends[0] % 1440 != ends[1] % 1440)
    )
    length_h = 24.0 if window is None else ((window[1] - window[0]) % 1440) / 60
    hours = draw(st.sampled_from((0.25, 0.5, 0.8, 1.0))) * length_h
    return HouseLoad(
        name=name,
        watts=draw(figures(1, 400)),
        hours_per_day=hours,
        window=None if window is None else (clock(window[0]), clock(window[1])),
        min_block_h=draw(st.sampled_from((None, hours / 2, hours))),
    )


@st.composite
def yards(
    draw: st.DrawFn,
    minutes: st.SearchStrategy[int] = quarters_of_day,
    zone: st.SearchStrategy[str] = zones,
) -> Yard:
    """A yard of up to three machines that a fleet file may hold."""
    called = draw(st.lists(names, min_size=6, max_size=6, unique=True))
    visit_lists = st.lists(minutes.map(clock), max_size=4).map(tuple)
    return Yard(
        site=Site(
            name=called[0],
            latitude=draw(figures(-60, 60)),
            longitude=10.0,
            timezone=draw(zone),
            shed_lag_h=draw(st.sampled_from((0.0, 2.5))),
            shed_loss_w_per_c=draw(st.sampled_from((None, 250.0))),
        ),
        arrays=(
            Array(
                name=called[1],
                panels=2,
                panel_w=400.0,
                tilt_deg=20.0,
                azimuth_deg=180.0,
                horizon_deg=draw(st.sampled_from((None, ((10.0, 5.0), (200.0, 20.0))))),
                soiling_pct=draw(st.sampled_from((None, (3.0,) * 12))),
            ),
        ),
        bank=Bank(modules_wh=(5120.0, 2560.0), reserve_pct=20.0, level_pct=draw(figures(20, 100))),
        inverter=Inverter(continuous_w=2000.0),
        outlets=(Outlet(name=called[0], kind="ac"), Outlet(name=called[1], kind="ac", breaker_a=15.0)),
        house_loads=tuple(draw(house_loads(name)) for name in called[: draw(st.integers(0, 2))]),
        visits=Visits(times=draw(visit_lists), sun=draw(st.none() | visit_lists)),
        machines=tuple(draw(machines(name, minutes)) for name in called[3 : 3 + draw(st.integers(0, 3))]),
    )


def fleet_text(yard: Yard) -> str:
    """A yard as the text of a fleet file; what is left at its default is left out."""
    lines: list[str] = []
    for key in ("site", "bank", "inverter", "visits"):
        lines += [f"[{key}]", *_table_lines(getattr(yard, key))]
    for key in ("arrays", "outlets", "house_loads"):
        for record in getattr(yard, key):
            lines += [f"[[{key}]]", *_table_lines(record)]
    for machine in yard.machines:
        lines += ["[[machines]]", *_table_lines(machine)]
        for need in machine.needs:
            lines += ["[[machines.needs]]", *_table_lines(need)]
    return "\n".join((*lines, ""))


def _table_lines(record: Record) -> list[str]:
    times = ("ready_by", "window", "times", "sun") if not isinstance(record, Site) else ()
    lines = []
    for key in sorted(record.model_fields_set):
        value = getattr(record, key)
        if value is not None and key != "needs":
            lines.append(f"{key} = {_toml(value, is_time=key in times)}")
    return lines


def _toml(value: Any, *, is_time: bool) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(each, is_time=is_time) for each in value)}]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f'"{clock(value)}"' if is_time else repr(value)
