"""The hour strip in plain letters: one mark a machine and column, and the bank in tens of percent.

A column is one step, or several where the plan is too long for the width. What happens in any part of a
column shows: charging before standing idle, that before a timer that is off, that before being away.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.text import Text

from scheduler.planning.record import MachinePlan, Plan
from scheduler.sheet.glyphs import visible
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.models import Yard

#: Lengths that a column may have [min].
COLUMN_MINUTES = (15, 30, 60, 120, 180, 240, 360, 720, 1440)

#: More columns than this are hard to follow with the eye.
MOST_COLUMNS = 48

#: In the order in which a column that holds several of them shows one.
MARKS = {
    "#": "charging",
    "=": "plugged in, draws nothing",
    "-": "timer off",
    "/": "away",
    ".": "unplugged",
}
READY, SHORT = "R", "X"
DUE_MARKS = {READY: "due and ready", SHORT: "due and NOT ready"}
FULL = "F"

_STYLES = {
    "#": "green",
    "=": "cyan",
    "-": "cyan",
    "/": "dim",
    ".": "dim",
    READY: "bold green",
    SHORT: "bold red",
}

#: A machine that draws less than this in a step stands idle there [Wh].
_IDLE_WH = 0.5

_ELLIPSIS = "..."
_GAP = "   "


@dataclass(frozen=True)
class Columns:
    """How steps share the columns; after the last one stands the plan's end, a column without length."""

    grid: Grid
    stride: int

    @property
    def count(self) -> int:
        """Number of columns, the end not among them."""
        return -(-self.grid.n_steps // self.stride)

    @property
    def minutes(self) -> int:
        """Length of a column [min]."""
        return self.stride * self.grid.step_minutes

    def steps(self, column: int) -> range:
        """Return the steps of a column."""
        return range(column * self.stride, min((column + 1) * self.stride, self.grid.n_steps))

    def column_of(self, edge: int) -> int:
        """Column in which an edge falls; the end has its own."""
        return self.count if edge == self.grid.n_steps else edge // self.stride


def choose_columns(grid: Grid, room: int) -> Columns:
    """Return the shortest columns that fit into `room` letters, the end included."""
    most = min(room - 1, MOST_COLUMNS)
    for minutes in COLUMN_MINUTES:
        columns = Columns(grid, max(1, minutes // grid.step_minutes))
        if minutes % grid.step_minutes == 0 and columns.count <= most:
            return columns
    return Columns(grid, -(-grid.n_steps // max(most, 1)))


def render_strip(plan: Plan, yard: Yard, width: int) -> list[Text]:
    """Draw time, visits, machines and bank, a line each, no wider than `width` cells."""
    names = short_labels([machine.name for machine in plan.machines], width // 4)
    label_cells = max([*(cell_len(name) for name in names), cell_len("bank, likely")])
    columns = choose_columns(plan.grid, width - label_cells - 2)
    away = _away(plan, yard)
    rows = [
        ("", day_row(columns)),
        ("hour", hour_row(columns)),
        ("visit", _visit_row(plan, columns)),
        *(
            (name, machine_row(machine, away[machine.name], columns))
            for name, machine in zip(names, plan.machines, strict=True)
        ),
        ("bank, dull", bank_row(plan.bank.level_wh["dull"], plan.bank.capacity_wh, columns)),
        ("bank, likely", bank_row(plan.bank.level_wh["likely"], plan.bank.capacity_wh, columns)),
    ]
    return [_line(label, row, label_cells) for label, row in rows] + list(_legend(rows, width))


def _line(label: str, row: str, label_cells: int) -> Text:
    line = Text(label + " " * (label_cells - cell_len(label) + 2), no_wrap=True, overflow="crop")
    for mark in row:
        line.append(mark, _STYLES.get(mark, ""))
    return line


def _legend(rows: Sequence[tuple[str, str]], width: int) -> Iterator[Text]:
    """Explain the marks that occur, none torn apart at a line's end."""
    seen = {mark for _, row in rows[3:-2] for mark in row}
    line = ""
    for mark, meaning in (MARKS | DUE_MARKS).items():
        told = f"{mark} {meaning}"
        if mark not in seen:
            continue
        if line and len(line) + len(_GAP) + len(told) > width:
            yield Text(line, style="dim")
            line = ""
        line += f"{_GAP}{told}" if line else told
    yield Text(line, style="dim")


def _away(plan: Plan, yard: Yard) -> dict[str, Sequence[bool]]:
    """When each machine is out; the record leaves that to the yard's clock (R9)."""
    grid = plan.grid
    hours = grid.n_steps * grid.step_h
    agenda = build_agenda(yard, Span(grid.start, grid.start, hours=hours, step_minutes=grid.step_minutes))
    return {name: [bool(gone) for gone in series] for name, series in agenda.away.items()}


def machine_row(machine: MachinePlan, away: Sequence[bool], columns: Columns) -> str:
    """One mark a column, the ready-by times over them."""
    ranks = list(MARKS)
    states = [_state(machine, away[step], step) for step in range(columns.grid.n_steps)]
    marks = [
        min((states[step] for step in columns.steps(column)), key=ranks.index)
        for column in range(columns.count)
    ]
    marks.append(" ")
    for need in sorted(machine.needs, key=lambda need: not need.ready):
        marks[columns.column_of(need.edge)] = READY if need.ready else SHORT
    return "".join(marks)


def _state(machine: MachinePlan, away: bool, step: int) -> str:
    if machine.outlet[step] is None:
        return "/" if away else "."
    if not machine.plugged[step]:
        return "-"
    return "#" if machine.wall_wh[step] > _IDLE_WH else "="


def bank_row(level_wh: FloatArray, capacity_wh: float, columns: Columns) -> str:
    """Lowest level of each column in tens of percent, rounded down; the level at the end last."""
    lowest = [min(float(level_wh[step]) for step in columns.steps(column)) for column in range(columns.count)]
    return "".join(_tens(level / capacity_wh) for level in [*lowest, float(level_wh[-1])])


def _tens(fraction: float) -> str:
    tens = math.floor(fraction * 10 + 1e-6)
    return FULL if tens >= 10 else str(max(tens, 0))


def _visit_row(plan: Plan, columns: Columns) -> str:
    visited = {columns.column_of(visit.edge) for visit in plan.visits}
    return "".join("v" if column in visited else " " for column in range(columns.count + 1))


def hour_row(columns: Columns) -> str:
    """Hours of the site's clock, as close together as two digits and a gap allow."""
    hours = columns.minutes / 60
    every = next((n for n in (1, 2, 3, 6, 12) if n / hours >= 3), 24)
    labels = []
    for edge in range(columns.grid.n_steps + 1):
        local = columns.grid.local(edge)
        # In autumn the clock shows an hour twice; the second has no label of its own.
        # Steps that begin off the hour stand under the hour that they begin in.
        if local.minute < columns.grid.step_minutes and local.hour % every == 0 and not local.fold:
            labels.append((columns.column_of(edge), (f"{local.hour:02d}",)))
    return _place(labels, columns.count + 2)


def day_row(columns: Columns) -> str:
    """Days of the site's clock, each where it begins, with the date where there is room."""
    labels = []
    for column in range(columns.count):
        first, last = columns.steps(column)[0], columns.steps(column)[-1]
        local = columns.grid.local(last)
        if not column or local.date() != columns.grid.local(first - 1).date():
            labels.append((column, (f"{local:%a} {local.day} {local:%b}", f"{local:%a}")))
    return _place(labels, columns.count + 2)


def _place(labels: Sequence[tuple[int, Sequence[str]]], length: int) -> str:
    """Write each label at its column in the first of its forms that leaves a gap to the next, or leave it."""
    row = ""
    ends = ([at - 1 for at, _ in labels[1:]] + [length])[: len(labels)]
    for (at, forms), end in zip(labels, ends, strict=True):
        row = row.ljust(at) + next((form for form in forms if at + len(form) <= end), "")
    return row


def short_labels(names: Sequence[str], cells: int) -> list[str]:
    """Return the names, those wider than `cells` cut in one way that leaves all of them different.

    The end of a name is kept as far as is needed to tell the names apart, for it is often a number; where
    that is not enough they are numbered.
    """
    shown = [visible(name) for name in names]
    for tail_cells in range(max(cells - cell_len(_ELLIPSIS), 0)):
        labels = [_cut(name, cells, tail_cells) for name in shown]
        if len(set(labels)) == len(labels):
            return labels
    return list(_numbered(shown, cells))


def _cut(name: str, cells: int, tail_cells: int) -> str:
    if cell_len(name) <= cells:
        return name
    tail = _last_letters(name, tail_cells)
    head = _first_letters(name, cells - cell_len(_ELLIPSIS) - cell_len(tail))
    return f"{head.rstrip()}{_ELLIPSIS}{tail.lstrip()}"


def _numbered(names: Sequence[str], cells: int) -> Iterator[str]:
    for number, name in enumerate(names, 1):
        mark = f"{_ELLIPSIS}{number}"
        yield name if cell_len(name) <= cells else _first_letters(name, cells - len(mark)) + mark


def _first_letters(text: str, cells: int) -> str:
    """Return as much of the start as fits."""
    end = len(text)
    while end and cell_len(text[:end]) > cells:
        end -= 1
    return text[:end]


def _last_letters(text: str, cells: int) -> str:
    """Return as much of the end as fits, from a letter that has a width of its own; numbers stay whole."""
    start = 0
    while start < len(text) and (cell_len(text[start:]) > cells or not cell_len(text[start])):
        start += 1
    while start and text[start - 1 : start + 1].isdecimal():
        start -= 1
    return text[start:]
