"""What the clock asks of the yard: visits, needs, absences and duty windows as edges of a grid (R1, R9 to R11).

The planner and the replay both read this; it holds no physics.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import UsageError
from scheduler.timegrid import (
    QUARTER,
    STEP_MINUTES,
    Grid,
    ceil_to,
    floor_to,
    moment_on_clock,
    nearest_to,
    next_full_step,
    on_clock,
)
from scheduler.yard.clock import WEEKDAYS
from scheduler.yard.models import HouseLoad, Machine, Need, Priority, Yard

LOOK_AHEAD = dt.timedelta(hours=48)
AT_LEAST = dt.timedelta(hours=24)


@dataclass(frozen=True)
class Span:
    """What a plan is asked to cover.

    Parameters
    ----------
    now : datetime
        The clock, in UTC; the plan begins at the next full step after it unless `start` is given.
    start : datetime, optional
        `--from`, in UTC.
    hours : float, optional
        `--hours`; else to the last need within 48 hours, at least 24 hours.
    step_minutes : int, optional
        `--step`; else the longest on which everything falls.
    here : bool
        Somebody stands there at the start, whether or not a visit falls on it.
    weather_end : datetime, optional
        The weather is known up to here, in UTC.
    """

    now: dt.datetime
    start: dt.datetime | None = None
    hours: float | None = None
    step_minutes: int | None = None
    here: bool = False
    weather_end: dt.datetime | None = None


@dataclass(frozen=True)
class DueNeed:
    """One occurrence of a need.

    Attributes
    ----------
    edge : int
        Ready-by, 0 to n_steps.
    return_edge : int
        When the machine is back, at most n_steps; equal to `edge` if it is not away.
    need_wh, work_wh : float
        What it must hold at `edge`, and what the work then takes [Wh].
    priority : str
        must, should or could.
    """

    edge: int
    return_edge: int
    need_wh: float
    work_wh: float
    priority: Priority


@dataclass(frozen=True)
class DutyWindow:
    """One local day's window of a duty load: `on_steps` of the steps `first` to `last` - 1, in blocks (R11)."""

    load: str
    first: int
    last: int
    on_steps: int
    min_steps: int


@dataclass(frozen=True)
class Agenda:
    """Everything with a time, on one grid.

    Attributes
    ----------
    grid : Grid
    visits : tuple of int
        Edges at which plugs can be changed, rising; 0 only if somebody is there, never n_steps.
    needs : dict of str to tuple of DueNeed
        By machine name, in time order.
    away : dict of str to ndarray of bool, shape (n_steps,)
        By machine name: true in the steps in which it is not in the yard.
    duties : tuple of DutyWindow
    notes : tuple of str
        What was moved, cut or left out, for the reader.
    """

    grid: Grid
    visits: tuple[int, ...]
    needs: dict[str, tuple[DueNeed, ...]]
    away: dict[str, NDArray[np.bool_]]
    duties: tuple[DutyWindow, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Due:
    machine: Machine
    need: Need
    asked: dt.datetime
    ready_by: dt.datetime
    back: dt.datetime


@dataclass
class _Marks:
    """The moments that must fall on edges, and what had to be moved to get there."""

    visits: list[dt.datetime] = field(default_factory=list)
    dues: list[_Due] = field(default_factory=list)
    away_until: dict[str, dt.datetime] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def moments(self) -> Iterator[tuple[dt.datetime, str]]:
        """Each moment with what it is, for the message when it does not fit a step."""
        yield from ((visit, "a visit") for visit in self.visits)
        for due in self.dues:
            yield due.ready_by, f"ready-by of {due.machine.name}"
            yield due.back, f"the return of {due.machine.name}"
        yield from ((back, f"the return of {name}") for name, back in self.away_until.items())


def build_agenda(yard: Yard, span: Span) -> Agenda:
    """Choose the grid (R1) and put everything with a time on it.

    Raises
    ------
    UsageError
        If the asked step is too long, or the weather ends before the first step does.
    """
    notes: list[str] = []
    start = span.start
    if start is not None and ceil_to(start, QUARTER) != start:
        start = ceil_to(start, QUARTER)
        notes.append(f"the start moves to {_clock(start, yard)}, the next quarter hour")
    misfits: list[str] = []
    for step_minutes in STEP_MINUTES if span.step_minutes is None else (span.step_minutes,):
        begin = next_full_step(span.now, step_minutes, yard.site.zone) if start is None else start
        marks = _collect_marks(yard, begin, _latest_end(begin, span))
        end = _choose_end(begin, span, marks)
        grid = _grid_to(begin, end, step_minutes, span, yard)
        misfits = [
            f"{what} at {_clock(moment, yard)}"
            for moment, what in marks.moments()
            if begin <= moment <= end and (moment - begin) % grid.step
        ]
        if not misfits:
            return _place(yard, grid, marks, span, notes)
    fitting = " or ".join(str(minutes) for minutes in STEP_MINUTES if minutes < step_minutes)
    msg = f"--step {step_minutes}: {misfits[0]} falls between two steps; try {fitting or 'a start on a quarter hour'}"
    raise UsageError(msg)


def _latest_end(begin: dt.datetime, span: Span) -> dt.datetime:
    length = LOOK_AHEAD if span.hours is None else dt.timedelta(hours=span.hours)
    end = begin + length
    return end if span.weather_end is None else min(end, span.weather_end)


def _choose_end(begin: dt.datetime, span: Span, marks: _Marks) -> dt.datetime:
    latest = _latest_end(begin, span)
    if span.hours is not None:
        return latest
    last_need = max((due.ready_by for due in marks.dues), default=begin)
    return min(latest, max(last_need, begin + AT_LEAST))


def _grid_to(begin: dt.datetime, end: dt.datetime, step_minutes: int, span: Span, yard: Yard) -> Grid:
    step = dt.timedelta(minutes=step_minutes)
    n_steps = (end - begin) // step
    if span.hours is not None and begin + n_steps * step < end and span.weather_end != end:
        n_steps += 1
    if n_steps < 1:
        until = _clock(end, yard)
        msg = f"the weather is known until {until}; the plan would begin at {_clock(begin, yard)}: give a newer forecast or an earlier --from"
        raise UsageError(msg)
    return Grid(begin, step_minutes, n_steps, yard.site.zone)


def _collect_marks(yard: Yard, begin: dt.datetime, end: dt.datetime) -> _Marks:
    marks = _Marks()
    for day in _local_days(yard, begin, end):
        for minute in yard.visits.on_weekday(day.weekday()):
            asked = moment_on_clock(day, minute, yard.site.zone)
            moment = nearest_to(asked, QUARTER)
            if begin <= moment < end:
                marks.visits.append(moment)
                if moment != asked:
                    marks.note(f"the visit at {_time(asked, yard)} is planned for {_time(moment, yard)}, the nearest quarter hour")
    for machine in yard.machines:
        _collect_needs(yard, machine, begin, end, marks)
    return marks


def _collect_needs(yard: Yard, machine: Machine, begin: dt.datetime, end: dt.datetime, marks: _Marks) -> None:
    zone = yard.site.zone
    if machine.away_until is not None:
        asked = on_clock(machine.away_until, zone)
        back = ceil_to(asked, QUARTER)
        if back > begin:
            marks.away_until[machine.name] = back
        if back != asked:
            marks.note(f"{machine.name} is taken to be back at {_time(back, yard)}, the later quarter hour")
    for need in machine.needs:
        for asked in _occurrences(need, yard, begin, end):
            ready_by = floor_to(asked, QUARTER)
            if ready_by < begin:
                if isinstance(need.ready_by, dt.datetime):
                    marks.note(f"{machine.name}: the need of {_clock(asked, yard)} is past and left out")
                continue
            if ready_by > end:
                continue
            back_asked = asked + dt.timedelta(hours=need.away_h)
            back = ceil_to(back_asked, QUARTER) if need.away_h else ready_by
            marks.dues.append(_Due(machine, need, asked, ready_by, back))
            if ready_by != asked:
                marks.note(f"{machine.name}: ready by {_time(asked, yard)} is planned for {_time(ready_by, yard)}, the earlier quarter hour")
            if need.away_h and back != back_asked:
                marks.note(f"{machine.name} is taken to be back at {_time(back, yard)}, the later quarter hour")


def _occurrences(need: Need, yard: Yard, begin: dt.datetime, end: dt.datetime) -> Iterator[dt.datetime]:
    if isinstance(need.ready_by, dt.datetime):
        yield on_clock(need.ready_by, yard.site.zone)
        return
    wanted = WEEKDAYS if need.weekdays is None else need.weekdays
    for day in _local_days(yard, begin, end):
        if WEEKDAYS[day.weekday()] in wanted:
            yield moment_on_clock(day, need.ready_by, yard.site.zone)


def _local_days(yard: Yard, begin: dt.datetime, end: dt.datetime) -> Iterator[dt.date]:
    """Local days from the one before `begin` (a window may run over midnight) to that of `end`."""
    day = begin.astimezone(yard.site.zone).date() - dt.timedelta(days=1)
    while day <= end.astimezone(yard.site.zone).date():
        yield day
        day += dt.timedelta(days=1)


def _place(yard: Yard, grid: Grid, marks: _Marks, span: Span, notes: list[str]) -> Agenda:
    visits = {grid.index_of(visit) for visit in marks.visits if visit < grid.end}
    if span.here:
        visits.add(0)
    needs: dict[str, tuple[DueNeed, ...]] = {}
    away: dict[str, NDArray[np.bool_]] = {}
    for machine in yard.machines:
        due = [due for due in marks.dues if due.machine is machine and due.ready_by <= grid.end]
        placed = sorted((_place_need(item, grid) for item in due), key=lambda need: need.edge)
        needs[machine.name] = tuple(placed)
        gone = np.zeros(grid.n_steps, dtype=bool)
        if machine.name in marks.away_until:
            gone[: grid.index_of(min(marks.away_until[machine.name], grid.end))] = True
        for need in placed:
            gone[need.edge : need.return_edge] = True
        away[machine.name] = gone
    duties = tuple(
        duty
        for load in yard.house_loads
        if not load.always_on
        for duty in _duty_windows(yard, load, grid, marks)
    )
    return Agenda(grid, tuple(sorted(visits)), needs, away, duties, (*notes, *marks.notes))


def _place_need(due: _Due, grid: Grid) -> DueNeed:
    return DueNeed(
        edge=grid.index_of(due.ready_by),
        return_edge=grid.index_of(due.back) if due.back <= grid.end else grid.n_steps,
        need_wh=due.machine.need_wh(due.need),
        work_wh=due.need.work_wh,
        priority=due.machine.priority_of(due.need),
    )


def _duty_windows(yard: Yard, load: HouseLoad, grid: Grid, marks: _Marks) -> Iterator[DutyWindow]:
    wanted = grid.steps_in(load.hours_per_day or 0.0)
    if wanted * grid.step_h > (load.hours_per_day or 0.0) + 1e-9:
        marks.note(f"{load.name}: {load.hours_per_day:g} h a day become {wanted * grid.step_h:g} h, whole steps")
    min_steps = grid.steps_in(load.min_block_h) if load.min_block_h else 1
    start, end = load.window_minutes
    for day in _local_days(yard, grid.start, grid.end):
        opens = moment_on_clock(day, start, yard.site.zone)
        closes = moment_on_clock(day, end, yard.site.zone)
        first = max(0, -((grid.start - opens) // grid.step))
        last = min(grid.n_steps, (closes - grid.start) // grid.step)
        if last <= first:
            continue
        on_steps = wanted
        if opens < grid.start or closes > grid.end:
            # A cut window gets its share of the hours: part of them belongs to the time outside the plan.
            inside = (min(closes, grid.end) - max(opens, grid.start)) / (closes - opens)
            on_steps = max(min_steps, grid.steps_in((load.hours_per_day or 0.0) * inside))
            if on_steps > last - first:
                on_steps = last - first if last - first >= min_steps else 0
        elif last - first < wanted:
            on_steps = last - first
            marks.note(f"{load.name}: its window of {_clock(opens, yard)} holds only {on_steps * grid.step_h:g} h of whole steps")
        if on_steps:
            yield DutyWindow(load.name, first, last, on_steps, min(min_steps, on_steps))


def _time(moment: dt.datetime, yard: Yard) -> str:
    return moment.astimezone(yard.site.zone).strftime("%H:%M")


def _clock(moment: dt.datetime, yard: Yard) -> str:
    return moment.astimezone(yard.site.zone).strftime("%a %d %b %H:%M")
