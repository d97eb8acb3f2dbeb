"""Readiness over sizes of array and bank as a contour chart, today's yard marked."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Literal

import numpy as np

from scheduler.studies.sizing import Sizing
from scheduler.units import kwh_from_wh, pct_from_fraction

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

#: Lines of equal readiness [%].
LEVELS_PCT = (10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 99)

#: How far today's mark and its words reach, to the left, to the right, up and down [px at 100 dpi].
MARK_LEFT_PX, MARK_RIGHT_PX, MARK_UP_PX = 10.0, 110.0, 30.0


def render_size_chart(sizing: Sizing, form: Literal["png", "svg"]) -> bytes:
    """Draw the chart.

    Raises
    ------
    ValueError
        If there are not two sizes of each to draw a line between.
    """
    import matplotlib as mpl

    if len(sizing.panels) < 2 or len(sizing.modules) < 2:
        msg = "a contour chart wants at least two sizes of the array and two of the bank"
        raise ValueError(msg)
    with mpl.rc_context({"font.family": "DejaVu Sans", "svg.hashsalt": "sunroster"}):
        out = BytesIO()
        metadata = {"Date": None} if form == "svg" else None
        draw_sizes(sizing).savefig(out, format=form, dpi=150, metadata=metadata)
    return out.getvalue()


def draw_sizes(sizing: Sizing) -> Figure:
    """Put the chart together."""
    from matplotlib.figure import Figure

    array_kw = [sizing.at(panels, sizing.modules[0]).array_w / 1000.0 for panels in sizing.panels]
    bank_kwh = [kwh_from_wh(sizing.at(sizing.panels[0], modules).bank_wh) for modules in sizing.modules]
    ready_pct = np.array(
        [
            [pct_from_fraction(sizing.at(panels, modules).must.fraction) for panels in sizing.panels]
            for modules in sizing.modules
        ]
    )
    figure = Figure(figsize=(7.0, 4.6), layout="constrained")
    axes = figure.subplots()
    axes.contourf(array_kw, bank_kwh, ready_pct, levels=np.linspace(0.0, 100.0, 21), cmap="Greys", alpha=0.35)
    inside = [level for level in LEVELS_PCT if ready_pct.min() < level < ready_pct.max()]
    if inside:
        lines = axes.contour(array_kw, bank_kwh, ready_pct, levels=inside, colors="black", linewidths=0.8)
        labels = axes.clabel(lines, fmt="%d %%")
    else:
        labels = []
    grid = np.meshgrid(array_kw, bank_kwh)
    axes.plot(grid[0].ravel(), grid[1].ravel(), ".", color="0.35", markersize=4, clip_on=False)
    today = sizing.today
    axes.plot(
        today.array_w / 1000.0, kwh_from_wh(today.bank_wh), "o", color="black", markersize=9, clip_on=False
    )
    axes.annotate(
        f"today, {pct_from_fraction(today.must.fraction):.0f} %",
        (today.array_w / 1000.0, kwh_from_wh(today.bank_wh)),
        xytext=(8, 8),
        textcoords="offset points",
        weight="bold",
    )
    asked_kw = sizing.rule.array_asked_w[0] / 1000.0
    if array_kw[0] <= asked_kw <= array_kw[-1]:
        axes.axvline(asked_kw, color="black", linestyle="--", linewidth=1.0)
        axes.annotate(
            "worst-month rule",
            (asked_kw, bank_kwh[-1]),
            xytext=(-4, -6),
            textcoords="offset points",
            rotation=90,
            va="top",
            ha="right",
        )
    axes.set_xlabel("panels, rated [kW]")
    axes.set_ylabel("bank [kWh]")
    days = sizing.days_a_month
    axes.set_title(f"Must needs met, {days} day{'s' if days > 1 else ''} of each month")
    _clear_around(figure, axes, labels, (today.array_w / 1000.0, kwh_from_wh(today.bank_wh)))
    return figure


def _clear_around(figure: Figure, axes: Axes, labels: list[Text], mark: tuple[float, float]) -> None:
    """Take away the lines' labels that would lie on today's mark or its words."""
    figure.draw_without_rendering()  # places everything
    right, up = axes.transData.transform(mark)
    for label in labels:
        box = label.get_window_extent()
        beside = box.x1 > right - MARK_LEFT_PX and box.x0 < right + MARK_RIGHT_PX
        if beside and box.y1 > up - MARK_UP_PX and box.y0 < up + MARK_UP_PX:
            label.set_visible(False)
