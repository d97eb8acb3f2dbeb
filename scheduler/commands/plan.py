"""What ``sunroster plan`` does, free of the command line: from files and flags to a plan that its replay confirms."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.note import parse_machine_reading
from scheduler.commands.weather import check_begun, choose_weather, day_of, parse_start
from scheduler.errors import OutputError, ReplayRefused, UsageError
from scheduler.logbook.readings import logbook_path, read_logbook
from scheduler.writing import write_whole
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
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
    door: Path | None = None


@dataclass(frozen=True)
class Found:
    """The yard as the plan finds it: with the latest readings, where they are from, and the page on the door."""

    yard: Yard
    notes: tuple[str, ...] = ()
    door: Plan | None = None


def read_yard_as_found(request: PlanRequest) -> Found:
    """Read the fleet file, with the latest levels in place of the file's.

    Readings given by hand come first, then the logbook's, then what the page on the door expects.

    Raises
    ------
    FleetFileError, LogbookError, SavedPlanError
    UsageError
        For a reading of a machine that is not there, or a start that cannot be.
    """
    from scheduler.logbook.savedplan import read_saved_plan
    from scheduler.logbook.startingpoint import Known, yard_at
    from scheduler.logbook.strangers import strange_outlets, strangers_in_plan

    yard = read_yard(request.fleet)
    known = Known(
        bank_pct=request.bank_pct,
        charge_pct=dict(_parse_charge(text, yard) for text in request.charges),
        log=read_logbook(logbook_path(request.fleet), yard.site),
        door=None if request.door is None else read_saved_plan(request.door, yard),
    )
    # The levels that are still to be found do not move the start.
    begin = build_agenda(yard, _span(request, yard)).grid.start
    found, notes = yard_at(yard, known, begin)
    if request.door is None or known.door is None:
        return Found(found, notes)
    instead = "its outlet and charge there are left aside"
    strangers = strangers_in_plan(known.door, request.door.name, yard, instead)
    return Found(found, (*strangers, *strange_outlets(known.door, request.door.name, yard), *notes), known.door)


def _parse_charge(text: str, yard: Yard) -> tuple[str, float]:
    name, pct = parse_machine_reading("--charge", text, yard)
    if not 0 <= pct <= 100:
        msg = f'--charge "{text}": wanted a percent from 0 to 100, such as --charge "{name}=40"'
        raise UsageError(msg)
    return name, pct


def _span(request: PlanRequest, yard: Yard, weather_end: dt.datetime | None = None) -> Span:
    return Span(
        now=request.now,
        start=parse_start(request.start, request.now, yard),
        hours=request.hours,
        step_minutes=request.step_minutes,
        here=request.here,
        weather_end=weather_end,
    )


def plan_yard(
    yard: Yard, request: PlanRequest, tell: Tell, told: Sequence[str] = (), door: Plan | None = None
) -> Plan:
    """Plan the yard on its weather; `told` says where the levels at its start are from, `door` what hangs there.

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
    span = _span(request, yard, weather.ends)
    agenda = build_agenda(yard, span)
    check_begun(weather, agenda.grid.start, "the plan", yard)
    tell("the sun", 0.1)
    drying = drying_over(yard, weather, agenda.grid)
    if drying:
        agenda = build_agenda(yard, span, run_hours(drying))
    suns = build_suns(yard, agenda.grid, weather)
    made = make_plan(yard, agenda, suns, Settings(), request.now, tell, door)
    climate = climate_notes(yard, agenda.grid, suns.shed_temp_c, drying)
    stops = _stop_notes(yard, request.fleet)
    return replace(made, notes=(*stops, *told, *made.notes, *weather.notes, *climate, *yard_notes(yard)))


def _stop_notes(yard: Yard, fleet: Path) -> Iterator[str]:
    """Tell in one line what should stop a plan of this yard, without figures: their cautions stand in the check-up."""
    from scheduler.checkup.study import quick_stops
    from scheduler.sheet.checkpage import whereabouts
    from scheduler.sheet.words import counted, listed

    stops = quick_stops(yard)
    if stops:
        where = listed(list(dict.fromkeys(whereabouts(stop) for stop in stops)))
        things = counted(len(stops), "thing")
        yield f"the check-up finds {things} that should stop this plan ({where}); see `sunroster check {fleet}`"


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
