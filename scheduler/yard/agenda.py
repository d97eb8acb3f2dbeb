"""What the clock asks of the yard: visits, needs, absences, duty windows as edges of a grid (R1, R9 to R11).

The planner and the replay both read this; it holds no physics.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
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
MOST_HOURS = 8784.0  #: hours of a leap year


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
    """A local day's window of a duty load: `on_steps` of the steps `first` to `last` - 1, in blocks (R11)."""

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

    @classmethod
    def of(cls, machine: Machine, need: Need, asked: dt.datetime) -> _Due:
        """Move ready-by to the earlier quarter hour and the return to the later."""
        ready_by = floor_to(asked, QUARTER)
        back = ceil_to(asked + dt.timedelta(hours=need.away_h), QUARTER) if need.away_h else ready_by
        return cls(machine, need, asked, ready_by, back)


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


@dataclass(frozen=True)
class _Draft:
    """A grid with what should fall on its edges, and what does not."""

    grid: Grid
    marks: _Marks
    misfits: tuple[str, ...]


#: Hours that a duty load is to run on a local day, by its name, where they differ from day to day [h].
DutyHours = Mapping[str, Mapping[dt.date, float]]


def build_agenda(yard: Yard, span: Span, duty_hours: DutyHours | None = None) -> Agenda:
    """Choose the grid (R1) and put everything with a time on it.

    A load that follows the weather runs its whole window on days that `duty_hours` does not know.

    Raises
    ------
    UsageError
        If the asked step is too long or none of 60, 30 and 15 minutes, if the hours are none or more than a
        year's, or if the weather ends before the first step does.
    """
    _check_span(span)
    for step_minutes in STEP_MINUTES if span.step_minutes is None else (span.step_minutes,):
        draft = _draft(yard, span, step_minutes)
        if not draft.misfits:
            return _place(yard, draft.grid, draft.marks, span, duty_hours or {})
    shorter = (minutes for minutes in STEP_MINUTES if minutes < draft.grid.step_minutes)
    fitting = next((minutes for minutes in shorter if not _draft(yard, span, minutes).misfits), None)
    msg = f"--step {span.step_minutes}: {draft.misfits[0]} falls between two steps; try --step {fitting}"
    raise UsageError(msg)


def _check_span(span: Span) -> None:
    if span.step_minutes is not None and span.step_minutes not in STEP_MINUTES:
        msg = f"--step {span.step_minutes}: wanted 60, 30 or 15 minutes"
        raise UsageError(msg)
    if span.hours is not None and not 0 < span.hours <= MOST_HOURS:
        msg = f"--hours {span.hours:g}: wanted more than 0 and at most {MOST_HOURS:g}, a year; 48 is usual"
        raise UsageError(msg)


def _draft(yard: Yard, span: Span, step_minutes: int) -> _Draft:
    marks = _Marks()
    if span.start is None:
        begin = next_full_step(span.now, step_minutes, yard.site.zone)
    else:
        begin = ceil_to(span.start, QUARTER)
        if begin != span.start:
            marks.note(f"the start moves to {_clock(begin, yard)}, the next quarter hour")
    step = dt.timedelta(minutes=step_minutes)
    asked = None if span.hours is None else -(-dt.timedelta(hours=span.hours) // step) * step
    _collect_marks(yard, begin, begin + (asked or LOOK_AHEAD), marks)
    end = _choose_end(yard, begin, asked, span.weather_end, marks)
    n_steps = (end - begin) // step
    if n_steps < 1:
        msg = (
            f"the weather is known until {_clock(end, yard)}; the plan would begin at {_clock(begin, yard)}: "
            "give a newer forecast or an earlier --from"
        )
        raise UsageError(msg)
    misfits = tuple(
        f"{what} at {_clock(moment, yard)}"
        for moment, what in marks.moments()
        if begin <= moment <= end and (moment - begin) % step
    )
    return _Draft(Grid(begin, step_minutes, n_steps, yard.site.zone), marks, misfits)


def _choose_end(
    yard: Yard, begin: dt.datetime, asked: dt.timedelta | None, weather_end: dt.datetime | None, marks: _Marks
) -> dt.datetime:
    """Return the end that is asked for, else the last need, at least 24 h on; no further than the weather."""
    last_need = max((due.ready_by for due in marks.dues), default=begin)
    end = max(last_need, begin + AT_LEAST) if asked is None else begin + asked
    if weather_end is None or weather_end >= end:
        return end
    late = sum(due.ready_by > weather_end for due in marks.dues)
    left_out = f"; needs after that are left out ({late})" if late else ""
    marks.note(f"the weather is known until {_clock(weather_end, yard)}: the plan ends there{left_out}")
    return weather_end


def _collect_marks(yard: Yard, begin: dt.datetime, end: dt.datetime, marks: _Marks) -> None:
    for day in _local_days(yard, begin, end):
        for minute in yard.visits.on_weekday(day.weekday()):
            asked = moment_on_clock(day, minute, yard.site.zone)
            moment = nearest_to(asked, QUARTER)
            if begin <= moment < end:
                marks.visits.append(moment)
                if moment != asked:
                    marks.note(
                        f"the visit at {_time(asked, yard)} is planned for {_time(moment, yard)}, "
                        "the nearest quarter hour"
                    )
    for machine in yard.machines:
        _collect_absence(yard, machine, begin, marks)
        for need in machine.needs:
            for asked in _occurrences(need, yard, begin, end):
                _collect_due(yard, _Due.of(machine, need, asked), begin, end, marks)


def _collect_absence(yard: Yard, machine: Machine, begin: dt.datetime, marks: _Marks) -> None:
    if machine.away_until is None:
        return
    asked = on_clock(machine.away_until, yard.site.zone)
    back = ceil_to(asked, QUARTER)
    if back > begin:
        marks.away_until[machine.name] = back
        _note_return(yard, machine, asked, back, marks)


def _collect_due(yard: Yard, due: _Due, begin: dt.datetime, end: dt.datetime, marks: _Marks) -> None:
    machine, need = due.machine, due.need
    if due.ready_by < begin:
        if isinstance(need.ready_by, dt.datetime):
            marks.note(f"{machine.name}: the need of {_clock(due.asked, yard)} is past and left out")
        elif due.back > begin and machine.away_until is None and machine.outlet is None:
            marks.note(
                f"{machine.name}: the need of {_clock(due.asked, yard)} is past; it is taken to be in "
                "the yard at the start (away_until says otherwise)"
            )
        return
    if due.ready_by > end:
        return
    marks.dues.append(due)
    if due.ready_by != due.asked:
        marks.note(
            f"{machine.name}: ready by {_time(due.asked, yard)} is planned for {_time(due.ready_by, yard)}, "
            "the earlier quarter hour"
        )
    if need.away_h:
        _note_return(yard, machine, due.asked + dt.timedelta(hours=need.away_h), due.back, marks)


def _note_return(yard: Yard, machine: Machine, asked: dt.datetime, back: dt.datetime, marks: _Marks) -> None:
    if back != asked:
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


def _place(yard: Yard, grid: Grid, marks: _Marks, span: Span, duty_hours: DutyHours) -> Agenda:
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
        for duty in _duty_windows(yard, load, grid, marks, duty_hours.get(load.name, {}))
    )
    return Agenda(grid, tuple(sorted(visits)), needs, away, duties, tuple(marks.notes))


def _place_need(due: _Due, grid: Grid) -> DueNeed:
    return DueNeed(
        edge=grid.index_of(due.ready_by),
        return_edge=grid.index_of(due.back) if due.back <= grid.end else grid.n_steps,
        need_wh=due.machine.need_wh(due.need),
        work_wh=due.need.work_wh,
        priority=due.machine.priority_of(due.need),
    )


def _duty_windows(
    yard: Yard, load: HouseLoad, grid: Grid, marks: _Marks, hours_on: Mapping[dt.date, float]
) -> Iterator[DutyWindow]:
    if load.hours_per_day is not None:
        whole_h = grid.steps_in(load.hours_per_day) * grid.step_h
        if whole_h > load.hours_per_day + 1e-9:
            marks.note(f"{load.name}: {load.hours_per_day:g} h a day become {whole_h:g} h, whole steps")
    min_steps = grid.steps_in(load.min_block_h) if load.min_block_h else 1
    start, end = load.window_minutes
    for day in _local_days(yard, grid.start, grid.end):
        opens = moment_on_clock(day, start, yard.site.zone)
        closes = moment_on_clock(day, end, yard.site.zone)
        first = max(0, -((grid.start - opens) // grid.step))
        last = min(grid.n_steps, (closes - grid.start) // grid.step)
        hours = hours_on.get(day, load.most_hours_per_day)
        if last <= first or hours <= 0.0:
            continue
        on_steps = wanted = grid.steps_in(hours)
        if opens < grid.start or closes > grid.end:
            # A cut window gets its share of the hours: part of them belongs to the time outside the plan.
            inside = (min(closes, grid.end) - max(opens, grid.start)) / (closes - opens)
            on_steps = max(min_steps, grid.steps_in(hours * inside))
            if on_steps > last - first:
                on_steps = last - first if last - first >= min_steps else 0
        elif last - first < wanted:
            on_steps = last - first
            marks.note(
                f"{load.name}: its window of {_clock(opens, yard)} holds only "
                f"{on_steps * grid.step_h:g} h of whole steps"
            )
        if on_steps:
            yield DutyWindow(load.name, first, last, on_steps, min(min_steps, on_steps))


def _time(moment: dt.datetime, yard: Yard) -> str:
    return moment.astimezone(yard.site.zone).strftime("%H:%M")


def _clock(moment: dt.datetime, yard: Yard) -> str:
    return moment.astimezone(yard.site.zone).strftime("%a %d %b %H:%M")
