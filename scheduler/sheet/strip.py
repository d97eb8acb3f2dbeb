"""The hour strip of the page: machine rows and the bank's curve, as fractions of the plan's length."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from scheduler.planning.record import MachinePlan, Plan
from scheduler.sheet import words
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import pct_from_fraction

#: A machine that is on and draws less than this in a step stands idle there [Wh].
_IDLE_WH = 0.5

#: Hour labels are this far apart at the least, as a fraction of the strip: two digits and a gap.
_LABEL_ROOM = 0.045

#: A date needs this much of the strip, a weekday alone this much.
_DATE_ROOM, _WEEKDAY_ROOM = 0.16, 0.07


@dataclass(frozen=True)
class Run:
    """A stretch in which a machine is in an outlet: `kind` is on, idle (on, drawing nothing) or off."""

    start: float
    end: float
    kind: str
    outlet: str
    first: int
    last: int


@dataclass(frozen=True)
class Mark:
    """A ready-by time, and whether it is met."""

    at: float
    ready: bool


@dataclass(frozen=True)
class Row:
    """One machine on the strip."""

    machine: str
    runs: tuple[Run, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class Label:
    """A word on the time axis."""

    at: float
    text: str


@dataclass(frozen=True)
class Strip:
    """Everything drawn on the strip; levels in percent of the bank's capacity."""

    days: tuple[Label, ...]
    hours: tuple[Label, ...]
    visits: tuple[float, ...]
    rows: tuple[Row, ...]
    dull: tuple[tuple[float, float], ...]
    likely: tuple[tuple[float, float], ...]
    reserve_pct: float


def build_strip(plan: Plan) -> Strip:
    """Lay the plan out along its hours."""
    grid = plan.grid
    return Strip(
        days=_days(grid),
        hours=_hours(grid),
        visits=tuple(_at(visit.edge, grid) for visit in plan.visits),
        rows=tuple(_row(machine, grid) for machine in plan.machines),
        dull=_curve(plan.bank.level_wh["dull"], plan),
        likely=_curve(plan.bank.level_wh["likely"], plan),
        reserve_pct=round(pct_from_fraction(plan.bank.reserve_wh / plan.bank.capacity_wh), 2),
    )


def machine_runs(machine: MachinePlan, grid: Grid) -> tuple[Run, ...]:
    """Stretches of equal state in which the machine is in one outlet."""
    runs = []
    for (kind, outlet), steps in groupby(range(grid.n_steps), key=lambda step: _state(machine, step)):
        first, *rest = steps
        last = rest[-1] + 1 if rest else first + 1
        if outlet is not None:
            runs.append(Run(_at(first, grid), _at(last, grid), kind, outlet, first, last))
    return tuple(runs)


def _state(machine: MachinePlan, step: int) -> tuple[str, str | None]:
    outlet = machine.outlet[step]
    if outlet is None:
        return "", None
    if not machine.plugged[step]:
        return "off", outlet
    return ("on" if machine.wall_wh[step] > _IDLE_WH else "idle"), outlet


def _row(machine: MachinePlan, grid: Grid) -> Row:
    marks = tuple(Mark(_at(need.edge, grid), need.ready) for need in machine.needs)
    return Row(machine.name, machine_runs(machine, grid), marks)


def _at(edge: int, grid: Grid) -> float:
    return round(edge / grid.n_steps, 5)


def _curve(level_wh: FloatArray, plan: Plan) -> tuple[tuple[float, float], ...]:
    return tuple(
        (_at(edge, plan.grid), round(pct_from_fraction(float(level) / plan.bank.capacity_wh), 2))
        for edge, level in enumerate(level_wh)
    )


def _hours(grid: Grid) -> tuple[Label, ...]:
    hours_long = grid.n_steps * grid.step_h
    every = next((n for n in (1, 2, 3, 4, 6, 12) if n / hours_long >= _LABEL_ROOM), 24)
    labels = []
    for edge in range(grid.n_steps + 1):
        local = grid.local(edge)
        # In autumn the clock shows an hour twice; the second would stand too close to the next label.
        if local.minute == 0 and local.hour % every == 0 and not local.fold:
            labels.append(Label(_at(edge, grid), f"{local.hour:02d}"))
    return tuple(labels)


def _days(grid: Grid) -> tuple[Label, ...]:
    first_edges = [0]
    for edge in range(1, grid.n_steps):
        if grid.local(edge).date() != grid.local(edge - 1).date():
            first_edges.append(edge)
    ends = [*first_edges[1:], grid.n_steps]
    labels = []
    for edge, end in zip(first_edges, ends, strict=True):
        room = (end - edge) / grid.n_steps
        if room >= _WEEKDAY_ROOM:
            text = words.day(grid, edge) if room >= _DATE_ROOM else f"{grid.local(edge):%a}"
            labels.append(Label(_at(edge, grid), text))
    return tuple(labels)
