"""A chart of a year by month: readiness of each class, where the energy went, the bank day by day."""

from __future__ import annotations

import calendar
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from scheduler.sheet.chart import SETTINGS
from scheduler.sheet.glyphs import printable
from scheduler.studies.yearrecord import YearLived
from scheduler.studies.yearstudy import YearStudy
from scheduler.units import kwh_from_wh, pct_from_fraction
from scheduler.yard.models import PRIORITIES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CLASS_STYLES: dict[str, dict[str, Any]] = {
    "must": {"facecolor": "0.25", "hatch": ""},
    "should": {"facecolor": "0.8", "hatch": "..."},
    "could": {"facecolor": "white", "hatch": "////"},
}
_USE_STYLES: dict[str, dict[str, Any]] = {
    "house": {"facecolor": "0.45", "hatch": ""},
    "machines": {"facecolor": "0.85", "hatch": "..."},
    "lost": {"facecolor": "white", "hatch": "////"},
    "no room": {"facecolor": "white", "hatch": ""},
}

#: Sizes on paper [in].
_SIZE = (10.0, 9.0)
_PPI = 150


def render_year_chart(study: YearStudy, fmt: Literal["png", "svg"]) -> bytes:
    """Draw a year; the same bytes for the same year."""
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):
        figure = build_year_figure(study)
        out = BytesIO()
        unsigned = {"Software": None} if fmt == "png" else {"Date": None, "Creator": None}
        figure.savefig(out, format=fmt, dpi=_PPI, metadata=unsigned)
    return out.getvalue()


def build_year_figure(study: YearStudy) -> Figure:
    """Lay three panels out, one below the other."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    ready, energy, bank = figure.subplots(3, 1)
    title = figure.suptitle(printable(f"{study.year.site}: {study.year.source}"), weight="bold")
    title.set_parse_math(False)
    _draw_readiness(ready, study)
    _draw_energy(energy, study.year)
    _draw_bank(bank, study.year)
    return figure


def _month_axis(axes: Axes, year: YearLived) -> None:
    axes.set_xticks(range(len(year.months)), [calendar.month_abbr[month] for month in year.months])


def _draw_readiness(axes: Axes, study: YearStudy) -> None:
    """Bars by class; with resampled years a line from the low to the high end of 8 in 10."""
    year = study.year
    classes = [priority for priority in PRIORITIES if year.readiness(priority).asked]
    width = 0.8 / max(len(classes), 1)
    for number, priority in enumerate(classes):
        at = np.arange(len(year.months)) - 0.4 + width * (number + 0.5)
        heights = [pct_from_fraction(year.readiness(priority, month=month).fraction) for month in year.months]
        axes.bar(
            at, heights, width, label=priority, edgecolor="black", linewidth=0.6, **_CLASS_STYLES[priority]
        )
        for place, month in zip(at, year.months, strict=True):
            interval = study.interval(priority, month=month)
            if interval is not None:
                ends = [pct_from_fraction(end) for end in (interval.low_fraction, interval.high_fraction)]
                axes.plot([place, place], ends, color="0.5", linewidth=2.0, solid_capstyle="butt")
    axes.set_ylim(0, 105)
    axes.set_ylabel("ready [% of the times asked]")
    _month_axis(axes, year)
    _legend(axes)


def _draw_energy(axes: Axes, year: YearLived) -> None:
    """Stack where the sun of each month went."""
    bottom = np.zeros(len(year.months))
    for name, amounts_wh in monthly_uses_wh(year).items():
        heights = np.array([kwh_from_wh(amount) for amount in amounts_wh])
        style = {**_USE_STYLES[name], "edgecolor": "black", "linewidth": 0.6}
        axes.bar(range(len(year.months)), heights, 0.7, bottom=bottom, label=name, **style)
        bottom += heights
    axes.set_ylabel("sun [kWh a month]")
    _month_axis(axes, year)
    _legend(axes)


def monthly_uses_wh(year: YearLived) -> dict[str, list[float]]:
    """Energy of each kind of use in each month [Wh]."""
    return {
        "house": [year.total(lambda day: sum(day.house_wh), month) for month in year.months],
        "machines": [year.total(lambda day: sum(day.machines_wh), month) for month in year.months],
        "lost": [
            year.total(lambda day: day.inverter_loss_wh + day.bank_in_loss_wh + day.bank_out_loss_wh, month)
            for month in year.months
        ],
        "no room": [year.total(lambda day: day.curtailed_wh, month) for month in year.months],
    }


def _draw_bank(axes: Axes, year: YearLived) -> None:
    """The bank's lowest level of each day, and its reserve."""
    lowest = [pct_from_fraction(day.lowest_wh / year.bank_capacity_wh) for day in year.days]
    axes.plot(range(len(lowest)), lowest, color="black", linewidth=0.9, label="bank, lowest of the day")
    reserve_pct = pct_from_fraction(year.reserve_wh / year.bank_capacity_wh)
    axes.axhline(reserve_pct, color="black", linestyle="-.", linewidth=1.0, label="reserve")
    firsts = {(day.date.year, day.date.month): at for at, day in reversed(list(enumerate(year.days)))}
    axes.set_xticks(
        list(reversed(firsts.values())),
        [calendar.month_abbr[month] for _, month in reversed(firsts)],
        ha="left",
    )
    axes.set_xlim(0, max(len(lowest) - 1, 1))
    axes.set_ylim(0, 105)
    axes.set_ylabel(f"bank [% of {kwh_from_wh(year.bank_capacity_wh):.1f} kWh]")
    _legend(axes)


def _legend(axes: Axes) -> None:
    place: dict[str, Any] = {
        "loc": "lower left",
        "bbox_to_anchor": (0, 1.0),
        "ncols": 4,
        "borderaxespad": 0.3,
    }
    axes.legend(frameon=False, handlelength=2.8, **place)
