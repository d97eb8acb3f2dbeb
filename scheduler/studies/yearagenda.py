"""What the clock asks of the yard over a whole year (R1, R9 to R11), and the stretch of it that one plan sees.

The keeper plans at the last visit of each day, where the bank and the machines can be read, and tapes up the page
that holds until the last visit of the next day.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from scheduler.errors import UsageError
from scheduler.timegrid import Grid, moment_on_clock
from scheduler.yard.agenda import MOST_HOURS, Agenda, DueNeed, DutyHours, DutyWindow, Span, build_agenda
from scheduler.yard.models import Yard

#: So far apart are plans where nobody comes by [h].
UNVISITED_H = 24.0

#: A plan looks at least so far ahead [h].
LEAST_AHEAD_H = 24.0


@dataclass(frozen=True)
class YearAgenda:
    """Everything with a time, over the days that are lived and a little further.

    Attributes
    ----------
    whole : Agenda
    last : int
        The edge on which the last lived day ends.
    plan_edges : tuple of int
        Where plans are made, from 0 on.
    """

    whole: Agenda
    last: int
    plan_edges: tuple[int, ...]

    def end_of_plan(self, edge: int, ahead_h: float) -> int:
        """Return the edge up to which a plan made on `edge` looks.

        That is the last need within `ahead_h`, at least a day on, and not before the next plan is made.
        """
        grid = self.whole.grid
        furthest = edge + round(ahead_h / grid.step_h)
        due = (
            need.edge for needs in self.whole.needs.values() for need in needs if edge < need.edge <= furthest
        )
        following = self.plan_edges[bisect_right(self.plan_edges, edge) :]
        least = max(edge + round(LEAST_AHEAD_H / grid.step_h), *following[:1], 0)
        return min(max(least, max(due, default=0)), grid.n_steps)

    def window_of(self, load: str, step: int) -> DutyWindow | None:
        """Return the window of a duty load in which a step lies, the later of two."""
        inside = (duty for duty in self.whole.duties if duty.load == load and duty.first <= step < duty.last)
        return max(inside, key=lambda duty: duty.first, default=None)


def weekly_yard(yard: Yard) -> tuple[Yard, tuple[str, ...]]:
    """Return the yard with the needs that come every week alone, and what was left out in words.

    Raises
    ------
    UsageError
        If no machine is needed weekly.
    """
    notes = []
    machines = []
    for machine in yard.machines:
        weekly = tuple(need for need in machine.needs if not isinstance(need.ready_by, dt.datetime))
        if len(weekly) < len(machine.needs):
            notes.append(
                f"{machine.name}: needs with a date are left out; a year is lived by what comes every week"
            )
        machines.append(machine.model_copy(update={"needs": weekly, "away_until": None}))
    if not any(machine.needs for machine in machines):
        msg = "no machine has a need that comes every week: give one a ready_by without a date, such as 07:00"
        raise UsageError(msg)
    return yard.model_copy(update={"machines": tuple(machines)}), tuple(notes)


def build_year_agenda(
    yard: Yard,
    first_day: dt.date,
    n_days: int,
    step_minutes: int | None = None,
    duty_hours: DutyHours | None = None,
) -> YearAgenda:
    """Put a year's visits, needs and duty windows on one grid, the longest step on which all of them fall."""
    zone = yard.site.zone
    start = moment_on_clock(first_day, 0, zone)
    end = moment_on_clock(first_day + dt.timedelta(days=n_days), 0, zone)
    hours = min((end - start) / dt.timedelta(hours=1) + 2 * LEAST_AHEAD_H, MOST_HOURS)
    span = Span(now=start, start=start, hours=hours, step_minutes=step_minutes)
    whole = build_agenda(yard, span, duty_hours)
    last = whole.grid.index_of(end)
    return YearAgenda(whole, last, tuple(_plan_edges(whole, last)))


def _plan_edges(whole: Agenda, last: int) -> list[int]:
    """Return the start, the last visit of each local day, and an edge a day where nobody comes by."""
    grid = whole.grid
    visits = [visit for visit in whole.visits if visit < last]
    evenings = [
        visit
        for visit, following in pairwise([*visits, last])
        if following == last or grid.local(visit).date() != grid.local(following).date()
    ]
    apart = round(UNVISITED_H / grid.step_h)
    edges = sorted({0, *evenings})
    for edge, following in pairwise([*edges, last]):
        # A day and a half without a visit is an ordinary weekend; the page still hangs there.
        if following - edge > 2 * apart:
            edges.extend(range(edge + apart, following - apart // 2, apart))
    return sorted(edges)


def cut_agenda(whole: Agenda, first: int, last: int, already_run: Mapping[tuple[str, int], int]) -> Agenda:
    """Return what a plan from edge `first` to `last` has to do with.

    Parameters
    ----------
    whole : Agenda
    first, last : int
        What comes due on `first` is past.
    already_run : mapping
        Steps that a duty load has run before `first`, by its name and the window's first step.
    """
    grid = Grid(whole.grid.edge(first), whole.grid.step_minutes, last - first, whole.grid.zone)
    return Agenda(
        grid=grid,
        visits=tuple(visit - first for visit in _between(whole.visits, first, last)),
        needs={name: _cut_needs(needs, first, last) for name, needs in whole.needs.items()},
        away={name: away[first:last] for name, away in whole.away.items()},
        duties=tuple(
            cut
            for duty in duties_between(whole, first, last)
            if (cut := _cut_duty(duty, first, last, already_run.get((duty.load, duty.first), 0))) is not None
        ),
        notes=(),
    )


def duties_between(whole: Agenda, first: int, last: int) -> list[DutyWindow]:
    """Return the windows of duty loads that touch the steps from `first` to `last`."""
    return [duty for duty in whole.duties if duty.first < last and duty.last > first]


def _between(edges: tuple[int, ...], first: int, last: int) -> tuple[int, ...]:
    return edges[bisect_left(edges, first) : bisect_left(edges, last)]


def _cut_needs(needs: tuple[DueNeed, ...], first: int, last: int) -> tuple[DueNeed, ...]:
    begin = bisect_right(needs, first, key=lambda need: need.edge)
    end = bisect_right(needs, last, key=lambda need: need.edge)
    return tuple(
        replace(need, edge=need.edge - first, return_edge=min(need.return_edge, last) - first)
        for need in needs[begin:end]
    )


def _cut_duty(duty: DutyWindow, first: int, last: int, already_run: int) -> DutyWindow | None:
    """R11: what is left of a window's hours; of a window that the plan's end cuts its share, no less than a block."""
    begin, end = max(duty.first, first) - first, min(duty.last, last) - first
    left = min(duty.on_steps - already_run, end - begin)
    if duty.last > last:
        share = -(-duty.on_steps * (end - begin) // (duty.last - duty.first))
        least = max(duty.min_steps, share)
        left = min(left, least) if least <= end - begin else 0
    return (
        replace(duty, first=begin, last=end, on_steps=left, min_steps=min(duty.min_steps, left))
        if left > 0
        else None
    )
