"""A chart of the days to come: the arrays' power under each of the three suns."""

from __future__ import annotations

import textwrap
from io import BytesIO
from typing import TYPE_CHECKING, Literal

import numpy as np

from scheduler.sheet import words
from scheduler.sheet.chart import SETTINGS, SUN_STYLES
from scheduler.sheet.glyphs import printable
from scheduler.sun.outlook import Outlook
from scheduler.units import kwh_from_wh

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Sizes on paper [in].
_SIZE = (10.0, 4.0)
_PPI = 150

_TITLE_LETTERS = 90

#: Hours between the marks of the clock.
_TICK_HOURS = 6


def render_outlook_chart(outlook: Outlook, fmt: Literal["png", "svg"]) -> bytes:
    """Draw the outlook; the same bytes for the same outlook."""
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):
        figure = build_outlook_figure(outlook)
        out = BytesIO()
        unsigned = {"Software": None} if fmt == "png" else {"Date": None, "Creator": None}
        figure.savefig(out, format=fmt, dpi=_PPI, metadata=unsigned)
    return out.getvalue()


def build_outlook_figure(outlook: Outlook) -> Figure:
    """Draw the three suns over the clock, and each day's energy above it."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    grid = outlook.suns.grid
    figure = Figure(figsize=_SIZE, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    edges = np.arange(grid.n_steps + 1)
    for name, power_w in outlook.suns.by_name.items():
        axes.stairs(power_w, edges, baseline=None, label=f"{name} sun", **SUN_STYLES[name])
    clock = [
        edge
        for edge in range(grid.n_steps + 1)
        if grid.local(edge).hour % _TICK_HOURS == 0 and grid.local(edge).minute == 0
    ]
    axes.set_xticks(clock, [words.time(grid, edge) for edge in clock])
    for day in outlook.days:
        axes.axvline(day.first, color="0.6", linewidth=0.5)
        energy = "/".join(f"{kwh_from_wh(day.energy_wh[sun]):.1f}" for sun in SUN_STYLES)
        place = ((day.first + day.last) / 2.0, 1.0)
        told = f"{words.day(grid, day.first)}\n{energy} kWh"
        axes.annotate(told, place, (0, 4), xycoords=("data", "axes fraction"), textcoords="offset points", ha="center")
    axes.set_xlim(0, grid.n_steps)
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel("power of the arrays [W]")
    axes.legend(frameon=False, handlelength=2.8, loc="upper right")
    lines = textwrap.wrap(printable(f"{outlook.site}: {outlook.suns.source}"), _TITLE_LETTERS)
    title = figure.suptitle("\n".join(lines), weight="bold")
    title.set_parse_math(False)
    return figure
