"""The days to come on one terminal screen: how much sun under each of the three, and at which hours.

Plain letters only, so that it reads the same in colour, without, and piped into a file.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence

import numpy as np
from rich.console import Group, RenderableType
from rich.constrain import Constrain
from rich.table import Table
from rich.text import Text

from scheduler.sheet import words
from scheduler.sheet.glyphs import visible
from scheduler.sun.outlook import Outlook, OutlookDay
from scheduler.timegrid import FloatArray
from scheduler.units import kwh_from_wh

SUNS = ("dull", "likely", "bright")

#: Prose in longer lines than this is hard to read.
WIDEST = 100

HOURS_PER_DAY = 24

#: Cells of the longest bar.
_BAR_CELLS = 48

#: What stands for the energy up to the dull sun's, on to the likely one's, and on to the bright one's.
BAR_MARKS = {"dull": "#", "likely": "=", "bright": "-"}


def render_outlook(outlook: Outlook, width: int) -> RenderableType:
    """Lay the outlook out for a console of `width` cells."""
    width = min(width, WIDEST)
    told: list[RenderableType] = [
        Text(visible(headline(outlook)), style="bold"),
        Text(),
        Text(visible(_about(outlook))),
        Text(),
        Text("ENERGY", style="bold").append(f" {_FULL_SUN}", style="not bold dim"),
        *_energy_tables(outlook, width),
        Text(),
        *_bars(outlook, width),
        Text(),
        *_hours(outlook, width),
    ]
    if outlook.notes:
        told += [Text(), *(Text(visible(f"Note: {words.sentence(note)}")) for note in outlook.notes)]
    return Constrain(Group(*told), width)


def headline(outlook: Outlook) -> str:
    """Tell the sun of one day with its spread, or of several with the best and the least of them."""
    grid = outlook.suns.grid
    first, *others = outlook.days
    if not others:
        likely, dull = (words.energy(first.energy_wh[sun]) for sun in ("likely", "dull"))
        day = words.day(grid, first.first)
        return f"The likely sun brings {likely} on {day}; nine such days in ten bring more than {dull}."
    total_wh = sum(day.energy_wh["likely"] for day in outlook.days)
    best, least = (
        _told(outlook, choose(outlook.days, key=lambda day: day.energy_wh["likely"])) for choose in (max, min)
    )
    return (
        f"The likely sun brings {words.energy(total_wh)} by the end of "
        f"{words.day(grid, outlook.days[-1].first)}: most on {best}, least on {least}."
    )


def _told(outlook: Outlook, day: OutlookDay) -> str:
    return f"{words.day(outlook.suns.grid, day.first)} ({words.energy(day.energy_wh['likely'])})"


def _about(outlook: Outlook) -> str:
    grid = outlook.suns.grid
    period = f"{words.date_and_time(grid, 0)} to {words.date_and_time(grid, grid.n_steps)}"
    return f"{outlook.site}, {period}. Sun: {outlook.suns.source.rstrip(' .')}."


def _day_label(outlook: Outlook, day: OutlookDay) -> str:
    """Name a day, with its hours where it is there in part."""
    grid = outlook.suns.grid
    begins = "" if grid.local(day.first).time() == _MIDNIGHT else f" from {words.time(grid, day.first)}"
    ends = "" if grid.local(day.last).time() == _MIDNIGHT else f" to {words.time(grid, day.last)}"
    return f"{words.day(grid, day.first)}{begins}{ends}"


_MIDNIGHT = dt.time()

_FULL_SUN = "in kWh, and in hours of full sun: at all panels' rated watts"


def _energy_tables(outlook: Outlook, width: int) -> list[Table]:
    """Show energy, and how many hours of full sun it is worth: side by side, or one below the other."""
    label_cells = max(len(_day_label(outlook, day)) for day in outlook.days)
    units = [("kWh", kwh_from_wh), (" h", outlook.full_sun_h)]
    # Six figures under their heads take 53 cells.
    blocks = [units] if label_cells + 53 <= width else [[unit] for unit in units]
    return [_energy_table(outlook, block) for block in blocks]


def _energy_table(outlook: Outlook, units: Sequence[tuple[str, Callable[[float], float]]]) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column()
    for _ in range(len(units) * len(SUNS)):
        table.add_column(justify="right", no_wrap=True)
    heads = [f"{unit} {sun}" if sun == SUNS[0] else sun for unit, _ in units for sun in SUNS]
    table.add_row(Text(""), *(Text(head) for head in heads))
    for day in outlook.days:
        figures = [f"{counted(day.energy_wh[sun]):.1f}" for _, counted in units for sun in SUNS]
        table.add_row(Text(_day_label(outlook, day)), *(Text(figure) for figure in figures))
    return table


def _bars(outlook: Outlook, width: int) -> list[Text]:
    """Draw a bar a day: as far as the dull sun reaches, the likely and the bright one."""
    most_wh = max(day.energy_wh["bright"] for day in outlook.days)
    legend = ", ".join(f"{mark} to the {sun} sun" for sun, mark in BAR_MARKS.items())
    lines = [Text("DAY BY DAY", style="bold").append(f" {legend}", style="not bold dim")]
    label_cells = max(len(_day_label(outlook, day)) for day in outlook.days)
    room = max(min(_BAR_CELLS, width - label_cells - 2), 1)
    for day in outlook.days:
        bar, reached = "", 0
        for sun, mark in BAR_MARKS.items():
            cells = round(room * day.energy_wh[sun] / most_wh) if most_wh > 0.0 else 0
            bar += mark * (cells - reached)
            reached = max(reached, cells)
        lines.append(Text(f"{_day_label(outlook, day):<{label_cells}}  {bar}"))
    return lines


def _hours(outlook: Outlook, width: int) -> list[Text]:
    """Draw the likely power of each hour of the clock, in tenths of the panels' rated power."""
    grid = outlook.suns.grid
    label_cells = max(len(_day_label(outlook, day)) for day in outlook.days)
    aside = "likely power in tenths of the rated watts; . is next to none"
    scale = "".join(f"{hour:<6}" for hour in range(0, HOURS_PER_DAY, 6))
    lines = [Text("HOUR BY HOUR", style="bold").append(f" {aside}", style="not bold dim")]
    # Broken by the screen a row would lose its place under the hours.
    is_below = label_cells + 2 + HOURS_PER_DAY > width
    lines.append(Text(" " * (0 if is_below else label_cells + 2) + scale.rstrip(), style="dim"))
    for day in outlook.days:
        by_hour: list[list[float]] = [[] for _ in range(HOURS_PER_DAY)]
        for step in range(day.first, day.last):
            by_hour[grid.local(step).hour].append(float(outlook.suns.likely_w[step]))
        row = "".join(_tenth(np.array(watts), outlook.rated_w) for watts in by_hour)
        label = _day_label(outlook, day)
        beside = f"{label}\n" if is_below else f"{label:<{label_cells}}  "
        lines.append(Text(beside + row.rstrip()))
    return lines


def _tenth(power_w: FloatArray, rated_w: float) -> str:
    """One letter for the mean of an hour; a blank where the hour is not in the outlook or dark."""
    if not power_w.size or power_w.mean() <= 0.0:
        return " "
    tenths = min(round(10.0 * float(power_w.mean()) / rated_w), 9)
    return str(tenths) if tenths else "."
