"""The chart of the last weeks: nothing lies on the readings, and no axis goes below nothing."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from scheduler.logbook.causes import Cause
from scheduler.logbook.history import DayPast
from scheduler.logbook.verdicts import Interval, Named
from scheduler.sheet.comparechart import build_history_figure
from tests.sheet.sample import field_yard

FIRST = dt.datetime(2027, 6, 8, 12, tzinfo=dt.UTC)


def figure(pct: float, machines_wh: float) -> Any:
    """Five days with one reading each, all of the same level."""
    intervals = [
        Interval(
            FIRST + dt.timedelta(days=number),
            FIRST + dt.timedelta(days=number + 1),
            pct,
            pct,
            dict.fromkeys(("dull", "likely", "bright"), pct),
            (Named(Cause.NONE, 0.9, ""),),
            "",
            is_clear=True,
        )
        for number in range(5)
    ]
    days = [DayPast(dt.date(2027, 6, 9 + number), machines_wh, 2, 0) for number in range(5)]
    return build_history_figure(field_yard(), intervals, days, "five days")


@pytest.mark.parametrize("pct", [0.0, 3.0, 50.0, 100.0])
def test_the_legend_lies_on_no_reading(pct: float) -> None:
    drawn = figure(pct, 500.0)
    drawn.draw_without_rendering()
    bank, _ = drawn.axes
    legend, inside = bank.get_legend().get_window_extent(), bank.get_window_extent()
    assert legend.y0 >= inside.y1 - 0.5
    assert legend.x1 <= drawn.bbox.x1


@pytest.mark.parametrize(("machines_wh", "top_kwh"), [(0.0, 1.0), (500.0, 0.575)])
def test_energy_to_machines_starts_at_nothing(machines_wh: float, top_kwh: float) -> None:
    _, machines = figure(50.0, machines_wh).axes
    assert machines.get_ylim() == pytest.approx((0.0, top_kwh))
