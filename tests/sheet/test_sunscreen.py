from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from rich.console import Console

from scheduler.sheet.sunchart import build_outlook_figure, render_outlook_chart
from scheduler.sheet.sunscreen import headline, render_outlook
from scheduler.sun.outlook import Outlook, OutlookDay
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid

ZONE = ZoneInfo("America/New_York")


def outlook(start_hour: int = 0, days: int = 3, scale: float = 1.0, end_hour: int = 24) -> Outlook:
    """Days of 4, 2 and 6 kWh likely sun of a yard of 1 kW, each from 10:00 to 14:00."""
    start = dt.datetime(2027, 6, 8, start_hour, tzinfo=ZONE).astimezone(dt.UTC)
    grid = Grid(start, 60, 24 * days - start_hour - (24 - end_hour), ZONE)
    local = [grid.local(step) for step in range(grid.n_steps)]
    likely = np.array([1000.0 * (1.0, 0.5, 1.5)[at.day - 8] * (10 <= at.hour < 14) for at in local]) * scale
    suns = ThreeSuns(grid, 0.5 * likely, likely, 1.25 * likely, np.zeros(grid.n_steps), "made up [by hand].")
    edges = [0, *(step for step in range(1, grid.n_steps) if local[step].hour == 0), grid.n_steps]
    parts = [
        OutlookDay(a, b, {name: float(w[a:b].sum()) for name, w in suns.by_name.items()})
        for a, b in pairwise(edges)
    ]
    return Outlook("bean [shed]", 1000.0, suns, tuple(parts), ("a note",))


def shown(what: Outlook, width: int = 80) -> list[str]:
    out = io.StringIO()
    console = Console(file=out, width=width, highlight=False)
    console.print(render_outlook(what, width))
    return out.getvalue().splitlines()


def test_the_first_sentence_tells_all_the_best_and_the_least_day():
    assert headline(outlook()) == (
        "The likely sun brings 12.0 kWh by the end of Thu 10 Jun: most on Thu 10 Jun (6.0 kWh), "
        "least on Wed 9 Jun (2.0 kWh)."
    )


def test_of_one_day_it_tells_how_dull_it_may_be():
    assert headline(outlook(days=1)) == (
        "The likely sun brings 4.0 kWh on Tue 8 Jun; nine such days in ten bring more than 2.0 kWh."
    )


def test_the_table_has_energy_and_hours_of_full_sun_under_each_sun():
    row = next(line for line in shown(outlook()) if line.startswith("Wed 9 Jun"))
    assert row.split()[3:] == ["1.0", "2.0", "2.5", "1.0", "2.0", "2.5"]


def test_bars_are_as_long_as_the_energy_and_parted_by_sun():
    lines = shown(outlook())
    bars = {line[:9]: line[10:].strip() for line in lines if set(line[10:].strip()) == set("#=-")}
    assert {label: len(bar) for label, bar in bars.items()} == {
        "Tue 8 Jun": 32,
        "Wed 9 Jun": 16,
        "Thu 10 Ju": 48,
    }
    assert bars["Wed 9 Jun"] == "#" * 6 + "=" * 7 + "-" * 3


def test_hours_are_in_tenths_of_the_rated_power_under_their_clock():
    lines = shown(outlook())
    scale = next(line for line in lines if line.split() == ["0", "6", "12", "18"])
    tuesday = next(line for line in lines if line.startswith("Tue 8 Jun") and line.endswith("9999"))
    assert tuesday.index("9999") == scale.index("6") + 4
    assert any(line.startswith("Wed 9 Jun") and line.endswith("5555") for line in lines)
    assert any(line.endswith("....") for line in shown(outlook(scale=0.02)))


def test_a_part_of_a_day_says_from_when_and_until_when():
    lines = shown(outlook(start_hour=12, end_hour=20))
    assert any(line.startswith("Tue 8 Jun from 12:00 ") for line in lines)
    assert any(line.startswith("Thu 10 Jun to 20:00 ") for line in lines)


@pytest.mark.parametrize("width", [80, 200])
def test_no_line_is_longer_than_the_console_and_all_is_plain(width):
    for what in (outlook(), outlook(start_hour=12, days=1, end_hour=20)):
        lines = shown(what, width)
        assert max(len(line.rstrip()) for line in lines) <= min(width, 100)
        assert all(line.isascii() for line in lines)


def test_on_a_narrow_console_no_figure_is_cut_and_every_hour_keeps_its_place():
    lines = shown(outlook(start_hour=9), 40)
    assert max(map(len, lines)) <= 40
    assert not any("…" in line for line in lines)
    wide = shown(outlook(start_hour=9), 100)
    at = wide[next(n for n, line in enumerate(wide) if line.endswith("0     6     12    18"))].index("0  ")
    rows = [line[at:] for line in wide if line.startswith("Wed 9 Jun  ")]
    assert rows[-1] in lines
    assert len([line for line in lines if line.startswith("Wed 9 Jun  ")]) == 3  # energy, hours of sun, bar


def test_names_and_sources_are_text_and_notes_are_told():
    told = "\n".join(shown(outlook()))
    assert "bean [shed]" in told
    assert "Sun: made up [by hand]." in told
    assert "Note: A note." in told


def test_a_polar_night_has_no_bars_and_no_error():
    dark = outlook(scale=0.0)
    assert headline(dark).startswith("The likely sun brings 0 Wh")
    assert not any("#" in line for line in shown(dark)[8:-1] if "to the dull" not in line)


def test_the_chart_shows_three_suns_and_each_days_energy():
    figure = build_outlook_figure(outlook())
    axes = figure.axes[0]
    assert [text.get_text() for text in axes.get_legend().get_texts()] == [
        "dull sun",
        "likely sun",
        "bright sun",
    ]
    assert "Wed 9 Jun\n1.0/2.0/2.5 kWh" in [text.get_text() for text in axes.texts]


@pytest.mark.parametrize(("fmt", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml")])
def test_the_chart_is_the_same_for_the_same_outlook(fmt, begins):
    named = replace(outlook(), site="shed $x_1$")
    first = render_outlook_chart(named, fmt)
    assert first.startswith(begins)
    assert first == render_outlook_chart(named, fmt)
