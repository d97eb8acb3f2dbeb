"""What ``sunroster plan`` does, free of the command line: from files and flags to a plan that its replay confirms."""

from __future__ import annotations

import datetime as dt
import difflib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.errors import OutputError, ReplayRefused, UsageError
from scheduler.timegrid import on_clock
from scheduler.writing import write_whole
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.clock import parse_minute_of_day, parse_moment
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Machine, Yard
from scheduler.yard.notes import yard_notes

if TYPE_CHECKING:
    from scheduler.planning.planner import Tell
    from scheduler.planning.record import Plan


@dataclass(frozen=True)
class PlanRequest:
    """What was asked for on the command line; `now` is the clock, in UTC."""

    fleet: Path
    now: dt.datetime
    weather: Path | None = None
    start: str | None = None
    here: bool = False
    hours: float | None = None
    step_minutes: int | None = None
    bank_pct: float | None = None
    charges: tuple[str, ...] = ()


def read_yard_as_found(request: PlanRequest) -> Yard:
    """Read the fleet file, with the readings given by hand in place of the file's.

    Raises
    ------
    FleetFileError
        With every mistake of the file.
    UsageError
        For a reading of a machine that is not there.
    """
    yard = read_yard(request.fleet)
    if request.bank_pct is not None:
        # A reading is what it is: one below the reserve is planned from, where in a file it is a mistake.
        yard = yard.model_copy(update={"bank": yard.bank.model_copy(update={"level_pct": request.bank_pct})})
    readings = dict(_parse_reading(text, yard) for text in request.charges)
    machines = tuple(_as_read(machine, readings) for machine in yard.machines)
    return yard.model_copy(update={"machines": machines})


def _parse_reading(text: str, yard: Yard) -> tuple[str, float]:
    name, separator, value = text.rpartition("=")
    name = name.strip()
    known = [machine.name for machine in yard.machines]
    try:
        pct = float(value.strip().removesuffix("%")) if separator else None
    except ValueError:
        pct = None
    if pct is None or not 0 <= pct <= 100:
        example = f"{known[0] if known else 'cart'}=40"
        msg = f'--charge "{text}": wanted a machine and its percent, such as --charge "{example}"'
        raise UsageError(msg)
    if name not in known:
        near = difflib.get_close_matches(name, known, 1, 0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"there are: {', '.join(known) or 'none'}"
        msg = f'--charge "{text}": no machine of that name; {hint}'
        raise UsageError(msg)
    return name, pct


def _as_read(machine: Machine, readings: Mapping[str, float]) -> Machine:
    if machine.name not in readings:
        return machine
    return machine.model_copy(update={"charge_pct": readings[machine.name]})


def plan_yard(yard: Yard, request: PlanRequest, tell: Tell) -> Plan:
    """Plan the yard on its weather.

    Raises
    ------
    UsageError, WeatherFileError
    """
    from scheduler.planning.planner import Settings, make_plan
    from scheduler.sun.suns import build_suns
    from scheduler.sun.weather import read_weather

    start = None if request.start is None else _parse_start(request.start, request.now, yard)
    weather = read_weather(_weather_path(yard, request), yard.site)
    span = Span(
        now=request.now,
        start=start,
        hours=request.hours,
        step_minutes=request.step_minutes,
        here=request.here,
        weather_end=weather.ends,
    )
    agenda = build_agenda(yard, span)
    if weather.begins is not None and weather.begins > agenda.grid.start:
        begins = weather.begins.astimezone(yard.site.zone)
        msg = (
            f"the plan would begin at {agenda.grid.local(0):%a %d %b %H:%M}, the weather only at "
            f'{begins:%a %d %b %H:%M}: give --from "{begins:%Y-%m-%d %H:%M}" or an older forecast'
        )
        raise UsageError(msg)
    tell("the sun", 0.1)
    suns = build_suns(yard, agenda.grid, weather)
    made = make_plan(yard, agenda, suns, Settings(), request.now, tell)
    return replace(made, notes=(*made.notes, *weather.notes, *yard_notes(yard)))


def _weather_path(yard: Yard, request: PlanRequest) -> Path:
    if request.weather is not None:
        return request.weather
    if yard.site.typical_year is not None:
        return request.fleet.parent / yard.site.typical_year
    msg = (
        "no weather: give a forecast with --weather FILE, or name a typical year of your place in the fleet file "
        '([site] typical_year = "FILE")'
    )
    raise UsageError(msg)


def _parse_start(text: str, now: dt.datetime, yard: Yard) -> dt.datetime:
    try:
        minute = parse_minute_of_day(text)
    except ValueError:
        try:
            return on_clock(parse_moment(text), yard.site.zone)
        except ValueError as fault:
            msg = f'--from "{text}": {fault}, or a time such as "06:00"'
            raise UsageError(msg) from fault
    today = now.astimezone(yard.site.zone).date()
    midnight = dt.datetime.combine(today, dt.time())
    return on_clock(midnight + dt.timedelta(minutes=minute), yard.site.zone)


def check_replayed(made: Plan, yard: Yard) -> None:
    """Stop a plan that its replay does not confirm; what is needed to see why is saved in this folder.

    Raises
    ------
    ReplayRefused
    """
    if made.replay is not None and not made.replay.violations:
        return
    found = ["it was not replayed"] if made.replay is None else [v.text for v in made.replay.violations]
    case_path = Path(f"refused-plan-{made.made_at:%Y%m%d-%H%M%S}.json")
    try:
        write_whole({case_path: render_case(made, yard)})
    except OutputError as fault:
        raise ReplayRefused(found, None) from fault
    raise ReplayRefused(found, case_path)


def render_case(made: Plan, yard: Yard) -> bytes:
    """Put a plan and its yard into one JSON text: with the plan's own sun, all that a replay reads."""
    from scheduler.planning.planjson import plan_to_json

    case = {"plan": plan_to_json(made, yard), "yard": yard.model_dump(mode="json")}
    return json.dumps(case, ensure_ascii=False, indent=1).encode()
