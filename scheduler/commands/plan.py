"""What ``sunroster plan`` does, free of the command line: from files and flags to a plan that its replay confirms."""

from __future__ import annotations

import datetime as dt
import difflib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.weather import check_begun, choose_weather, day_of, parse_start
from scheduler.errors import OutputError, ReplayRefused, UsageError
from scheduler.writing import write_whole
from scheduler.yard.agenda import Span, build_agenda
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
    sky: str | None = None
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
    from scheduler.sun.drying import run_hours
    from scheduler.sun.shed import climate_notes, drying_over
    from scheduler.sun.suns import build_suns

    start = parse_start(request.start, request.now, yard)
    today = day_of(request.now if start is None else start, yard)
    weather = choose_weather(yard, request.fleet, request.weather, request.sky, today)
    span = Span(
        now=request.now,
        start=start,
        hours=request.hours,
        step_minutes=request.step_minutes,
        here=request.here,
        weather_end=weather.ends,
    )
    agenda = build_agenda(yard, span)
    check_begun(weather, agenda.grid.start, "the plan", yard)
    tell("the sun", 0.1)
    drying = drying_over(yard, weather, agenda.grid)
    if drying:
        agenda = build_agenda(yard, span, run_hours(drying))
    suns = build_suns(yard, agenda.grid, weather)
    made = make_plan(yard, agenda, suns, Settings(), request.now, tell)
    climate = climate_notes(yard, agenda.grid, suns.shed_temp_c, drying)
    return replace(made, notes=(*made.notes, *weather.notes, *climate, *yard_notes(yard)))


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
