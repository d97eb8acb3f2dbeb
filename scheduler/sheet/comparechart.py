"""A chart of the last weeks: the bank's readings over what was expected, ready days, energy to machines."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Literal

from scheduler.logbook.history import DayPast
from scheduler.logbook.verdicts import Interval
from scheduler.sheet.chart import SETTINGS
from scheduler.sheet.glyphs import printable
from scheduler.units import kwh_from_wh
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Size on paper [in].
_SIZE = (11.0, 6.0)
_PPI = 150
_MOST_DATES = 15

#: The lower axis: over its bars stand figures; where nothing went to machines it still is an axis [kWh].
_ROOM_ABOVE = 1.15
_NOTHING_KWH = 1.0


def render_history_chart(
    yard: Yard, intervals: Sequence[Interval], days: Sequence[DayPast], title: str, fmt: Literal["png", "svg"]
) -> bytes:
    """Draw the weeks; the same bytes for the same weeks."""
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):
        figure = build_history_figure(yard, intervals, days, title)
        out = BytesIO()
        unsigned = {"Software": None} if fmt == "png" else {"Date": None, "Creator": None}
        figure.savefig(out, format=fmt, dpi=_PPI, metadata=unsigned)
    return out.getvalue()


def build_history_figure(
    yard: Yard, intervals: Sequence[Interval], days: Sequence[DayPast], title: str
) -> Figure:
    """Put the bank above, each reading over the band that was expected of it; a bar a day below."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    zone = yard.site.zone
    figure = Figure(figsize=_SIZE, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    bank, machines = figure.subplots(2, 1, sharex=True, height_ratios=(2, 1))

    def clock(moment: dt.datetime) -> dt.datetime:
        return moment.astimezone(zone).replace(tzinfo=None)

    for number, one in enumerate(intervals):
        ends, began = clock(one.until), clock(one.since)
        for sun, style in (("dull", "-"), ("bright", ":")):
            label = f"expected, {sun} sun" if number == 0 else None
            bank.plot([began, ends], [one.before_pct, one.expected_pct[sun]], f"k{style}", linewidth=0.7, label=label)
        band = [one.expected_pct["dull"], one.expected_pct["bright"]]
        bank.plot([ends, ends], band, color="0.7", linewidth=5.0, solid_capstyle="butt")
    shown = [(clock(one.until), one.after_pct, one.is_sound) for one in intervals]
    for is_sound, mark, label in ((True, "o", "shown"), (False, "X", "shown, something may be the matter")):
        points = [(at, pct) for at, pct, sound in shown if sound is is_sound]
        if points:
            bank.plot(*zip(*points, strict=True), f"k{mark}", markersize=5.0, label=label)
    bank.axhline(yard.bank.reserve_pct, color="black", linewidth=0.8, linestyle="--")
    bank.set_ylim(-3, 105)
    bank.set_ylabel("bank [%]")
    # Above the axes: a bank may be as good as empty, or full, for weeks.
    bank.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2, ncols=4)
    middays = [dt.datetime.combine(day.date, dt.time(12)) for day in days]
    energy_kwh = [kwh_from_wh(day.machines_wh) for day in days]
    machines.bar(middays, energy_kwh, width=0.6, facecolor="0.85", edgecolor="black", linewidth=0.6)
    for midday, day, kwh in zip(middays, days, energy_kwh, strict=True):
        told = f"{day.ready}/{day.asked}" if day.asked else ""
        machines.annotate(told, (midday, kwh), (0, 2), textcoords="offset points", ha="center")
    machines.set_ylim(0.0, _ROOM_ABOVE * max(energy_kwh, default=0.0) or _NOTHING_KWH)
    machines.set_ylabel("to machines [kWh]\nneeds ready/asked")
    every = max(1, -(-len(middays) // _MOST_DATES))
    dates = middays[::every]
    machines.set_xticks(dates, [f"{at.day} {at:%b}" for at in dates])
    heading = figure.suptitle(printable(title), weight="bold")
    heading.set_parse_math(False)
    return figure
