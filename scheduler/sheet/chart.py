"""A chart of the plan for whoever likes to look: power, bank and every machine's charge over the hours.

Black on white, told apart by hatches and line styles, so that it reads in grey.
"""

from __future__ import annotations

import textwrap
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from scheduler.planning.bank import dc_demand_w
from scheduler.planning.record import MachinePlan, Plan
from scheduler.sheet import words
from scheduler.sheet.glyphs import FAMILY, printable
from scheduler.sheet.strip import build_strip, machine_runs
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import kwh_from_wh, pct_from_fraction
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Style = dict[str, Any]  #: what matplotlib takes as keywords

#: One look for a sun wherever it is drawn.
SUN_STYLES: dict[str, Style] = {
    "dull": {"color": "black", "linestyle": "-", "linewidth": 2.2},
    "likely": {"color": "black", "linestyle": "--", "linewidth": 1.4},
    "bright": {"color": "black", "linestyle": ":", "linewidth": 1.4},
}
#: Shade and hatch of a use of power, from the axis up.
USE_STYLES: dict[str, Style] = {
    "house": {"facecolor": "0.45", "hatch": ""},
    "inverter: idle and losses": {"facecolor": "white", "hatch": "////"},
    "machines": {"facecolor": "0.85", "hatch": "..."},
}

_CHARGE_STYLE: Style = {"facecolor": "0.85", "edgecolor": "black", "linewidth": 0.8}
_DRAWING_STYLE: Style = {"facecolor": "0.4", "linewidth": 0}
_VISIT_STYLE: Style = {"color": "black", "linewidth": 0.5}

#: Sizes on paper [in].
_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 11.0, 3.2, 0.25, 0.95, 0.55
_POWER, _BANK, _GAP, _ROW_GAP = 2.9, 2.1, 0.8, 0.08
_ROW_LINE, _ROW_LEAST, _TITLE_LINE = 0.17, 0.42, 0.22

#: How far left of its row a machine's name ends, in points.
_LABEL_OFFSET = -42

#: Letters of a machine's name on one line; so many of the widest capitals still fit left of the row.
_LABEL_LETTERS = 18
_TITLE_LETTERS = 60

_PPI = 150

SETTINGS: Any = {
    "font.family": FAMILY,
    "font.size": 9.0,
    "svg.hashsalt": "sunroster",
    "hatch.linewidth": 0.6,
    "axes.linewidth": 0.8,
}


def render_chart(plan: Plan, yard: Yard, fmt: Literal["png", "svg"]) -> bytes:
    """Draw power by use against the three suns, the bank under each, and the machines' charge.

    Returns
    -------
    bytes
        The same for the same plan.
    """
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):
        figure = build_figure(plan, yard)
        out = BytesIO()
        unsigned = {"Software": None} if fmt == "png" else {"Date": None, "Creator": None}
        figure.savefig(out, format=fmt, dpi=_PPI, metadata=unsigned)
    return out.getvalue()


def uses_w(plan: Plan, yard: Yard) -> dict[str, FloatArray]:
    """Power of each kind of use in each step [W], as taken from sun and bank together."""
    grid = plan.grid
    supply = {machine.name: machine.supply for machine in yard.machines}
    machines_w = {"ac": np.zeros(grid.n_steps), "dc": np.zeros(grid.n_steps)}
    for machine in plan.machines:
        machines_w[supply[machine.name]] += grid.power_w(machine.wall_wh)
    house_w = np.zeros(grid.n_steps)
    for load in plan.house_loads:
        house_w += grid.power_w(load.wall_wh)
    ac_w = house_w + machines_w["ac"]
    taken_w = dc_demand_w(yard.inverter, ac_w, machines_w["dc"], ac_w > 0)
    return {
        "house": house_w,
        "inverter: idle and losses": taken_w - ac_w - machines_w["dc"],
        "machines": machines_w["ac"] + machines_w["dc"],
    }


def build_figure(plan: Plan, yard: Yard) -> Figure:
    """Lay the panels out, one below the other on one time axis."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    labels = [textwrap.wrap(printable(machine.name), _LABEL_LETTERS) or [" "] for machine in plan.machines]
    row_heights = [max(_ROW_LEAST, _ROW_LINE * len(label)) for label in labels]
    rows_height = sum(height + _ROW_GAP for height in row_heights)
    title = textwrap.wrap(printable(f"{plan.site}, {_period(plan)}"), _TITLE_LETTERS)
    head = _TOP + _TITLE_LINE * (len(title) - 1)
    height = head + _POWER + _GAP + _BANK + _GAP + rows_height + _BOTTOM
    figure = Figure(figsize=(_WIDTH, height), facecolor="white")
    FigureCanvasAgg(figure)
    top = height - head
    place = (_LEFT / _WIDTH, 1 - 0.12 / height)
    figure.text(*place, "\n".join(title), size=12, weight="bold", va="top").set_parse_math(False)
    _draw_power(_panel(figure, top, _POWER), plan, yard)
    top -= _POWER + _GAP
    bank = _panel(figure, top, _BANK)
    _draw_bank(bank, plan)
    top -= _BANK + _GAP
    for machine, label, row_height in zip(plan.machines, labels, row_heights, strict=True):
        axes = _panel(figure, top, row_height)
        if machine is plan.machines[0]:
            _machine_legend(axes)
        _draw_machine(axes, machine, yard, plan.grid, "\n".join(label))
        top -= row_height + _ROW_GAP
    for axes in figure.axes:
        _time_axis(axes, plan, with_labels=axes in (figure.axes[0], bank, figure.axes[-1]))
    return figure


def _period(plan: Plan) -> str:
    return f"{words.date_and_time(plan.grid, 0)} to {words.date_and_time(plan.grid, plan.grid.n_steps)}"


def _panel(figure: Figure, top: float, height: float) -> Axes:
    """Axes with their upper edge `top` inches above the figure's lower one."""
    total = figure.get_figheight()
    place = (_LEFT / _WIDTH, (top - height) / total, (_WIDTH - _LEFT - _RIGHT) / _WIDTH, height / total)
    return figure.add_axes(place)


def _time_axis(axes: Axes, plan: Plan, *, with_labels: bool) -> None:
    strip = build_strip(plan)
    n_steps = plan.grid.n_steps
    axes.set_xlim(0, n_steps)
    axes.set_xticks([label.at * n_steps for label in strip.hours])
    axes.set_xticklabels([label.text if with_labels else "" for label in strip.hours])
    for at in strip.visits:
        axes.axvline(at * n_steps, zorder=0.5, **_VISIT_STYLE)
    if with_labels:
        place: Style = {"xycoords": ("data", "axes fraction"), "textcoords": "offset points"}
        for day in strip.days:
            axes.annotate(day.text, (day.at * n_steps, 0), (0, -25), weight="bold", **place)


def _draw_power(axes: Axes, plan: Plan, yard: Yard) -> None:
    edges = np.arange(plan.grid.n_steps + 1)
    base = np.zeros(plan.grid.n_steps)
    for name, power_w in uses_w(plan, yard).items():
        top = base + power_w
        style = {**USE_STYLES[name], "edgecolor": "black", "linewidth": 0.5}
        axes.stairs(top, edges, baseline=base, fill=True, label=name, **style)
        base = top
    for name, sun_w in plan.suns.by_name.items():
        axes.stairs(sun_w, edges, baseline=None, label=f"{name} sun", **SUN_STYLES[name])
    axes.set_ylabel("power [W], mean of a step")
    axes.set_ylim(bottom=0)
    _legend(axes)


def _draw_bank(axes: Axes, plan: Plan) -> None:
    edges = np.arange(plan.grid.n_steps + 1)
    for name, level_wh in plan.bank.level_wh.items():
        axes.plot(edges, _pct(level_wh, plan.bank.capacity_wh), label=f"bank, {name} sun", **SUN_STYLES[name])
    reserve_pct = pct_from_fraction(plan.bank.reserve_wh / plan.bank.capacity_wh)
    below: Style = {"facecolor": "white", "edgecolor": "0.5", "hatch": "\\\\\\\\", "linewidth": 0}
    axes.fill_between(edges, 0, reserve_pct, label="reserve", **below)
    axes.axhline(reserve_pct, color="black", linestyle="-.", linewidth=1.0)
    axes.set_ylim(0, 105)
    axes.set_ylabel(f"bank [% of {kwh_from_wh(plan.bank.capacity_wh):.1f} kWh]")
    _legend(axes)


def _legend(axes: Axes, handles: list[Artist] | None = None) -> None:
    """Put the key above the panel, where it covers nothing."""
    handles = axes.get_legend_handles_labels()[0] if handles is None else handles
    columns = 3 if len(handles) > 5 else 5
    place: Style = {"loc": "lower left", "bbox_to_anchor": (0, 1.0), "ncols": columns, "borderaxespad": 0.3}
    axes.legend(handles=handles, frameon=False, handlelength=2.8, **place)


def _machine_legend(axes: Axes) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marker: Style = {"color": "black", "linestyle": "none"}
    handles: list[Artist] = [
        Patch(label="charge", **_CHARGE_STYLE),
        Patch(label="while it draws", **_DRAWING_STYLE),
        Line2D([], [], marker="v", label="needed, ready", **marker),
        Line2D([], [], marker="x", label="needed, not ready", **marker, markeredgewidth=2),
        Line2D([], [], label="visit", **_VISIT_STYLE),
    ]
    _legend(axes, handles)


def _draw_machine(axes: Axes, machine: MachinePlan, yard: Yard, grid: Grid, label: str) -> None:
    """Charge as a filled curve, darker while it draws; a mark at each need."""
    capacity_wh = next(known.capacity_wh for known in yard.machines if known.name == machine.name)
    edges, charge_wh = charge_curve(machine)
    axes.fill_between(edges, 0, _pct(charge_wh, capacity_wh), **_CHARGE_STYLE)
    for run in machine_runs(machine, grid):
        if run.kind == "on":
            inside = (edges >= run.first) & (edges <= run.last)
            axes.fill_between(edges[inside], 0, _pct(charge_wh[inside], capacity_wh), **_DRAWING_STYLE)
    for need in machine.needs:
        marker: Style = {"marker": "v"} if need.ready else {"marker": "x", "markeredgewidth": 2}
        level_pct = pct_from_fraction(need.need_wh / capacity_wh)
        axes.plot([need.edge], [level_pct], color="black", markersize=7, clip_on=False, **marker)
    axes.set_ylim(0, 105)
    axes.set_yticks([0, 100])
    axes.set_yticklabels(["", "100 %"])
    place: Style = {"xycoords": "axes fraction", "textcoords": "offset points", "ha": "right", "va": "center"}
    axes.annotate(label, (0, 0.5), (_LABEL_OFFSET, 0), **place).set_parse_math(False)


def charge_curve(machine: MachinePlan) -> tuple[FloatArray, FloatArray]:
    """Charge over the edges [Wh], with a second point where work is taken: before it and after it."""
    before = {need.edge: need.have_wh for need in machine.needs}
    points = [
        (float(edge), level_wh)
        for edge, after_wh in enumerate(machine.charge_wh)
        for level_wh in ([before[edge]] if edge in before else []) + [float(after_wh)]
    ]
    edges, levels_wh = np.array(points).T
    return edges, levels_wh


def _pct(level_wh: FloatArray, capacity_wh: float) -> FloatArray:
    return 100.0 * level_wh / capacity_wh
