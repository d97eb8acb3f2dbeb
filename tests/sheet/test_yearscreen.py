"""A year on the terminal: what it says, whatever the names, within the width."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rich.console import Console

from scheduler.planning.foresight import Foresight
from scheduler.sheet.yearscreen import describe_week, headline, render_year
from scheduler.studies.worstweek import worst_week
from scheduler.studies.year import YearSettings
from scheduler.studies.yearstudy import YearStudy
from scheduler.studies.yearsums import YearSums
from tests.studies.made_years import FIRST, day, need, study, two_weeks, year_of


def screen(told: YearStudy, width: int = 80) -> str:
    console = Console(width=width, highlight=False)
    with console.capture() as capture:
        console.print(render_year(told, width))
    return capture.get()


def test_the_first_sentence_says_how_often_each_class_was_ready() -> None:
    assert headline(study()).startswith(
        "Over 14 days machines were ready: must 12 times of 14 (85 %) and should 10 times of 14 (71 %)."
    )
    assert screen(study()).startswith("Over 14 days")


def test_the_worst_months_are_named_where_months_differ() -> None:
    assert "Worst: February (71 %) and January (85 %)." in headline(study())
    even = year_of(day(0, need("cart", ready=True)), day(10, need("cart", ready=True)))
    assert "Worst" not in headline(study(year=even))


def test_a_hundred_percent_means_always() -> None:
    nearly = year_of(*(day(n, need("cart", ready=n > 0)) for n in range(300)))
    assert "(99 %)" in headline(study(year=nearly))
    sums = tuple(YearSums.of(nearly, number) for number in (1, 2))
    row = next(line for line in screen(study(year=nearly, resampled=sums)).splitlines() if "99 to 99" in line)
    assert row.split() == ["cart", "99", "99", "to", "99", "99", "to", "99"]


def test_a_year_that_was_stopped_says_so_and_one_without_a_day_shows_nothing_else() -> None:
    settings = YearSettings(first_day=FIRST, n_days=30)
    assert "(stopped: 30 were asked for)" in headline(study(settings=settings))
    nothing = study(year=year_of(), resampled=(), rules=())
    assert screen(nothing).startswith("No day was lived")


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_screen_keeps_to_its_width_and_takes_no_name_for_markup(width: int) -> None:
    shown = screen(study(), width)
    assert max(len(line) for line in shown.splitlines()) <= width
    assert "mower [bold]" in shown


def test_every_section_stands_where_there_is_something_to_say() -> None:
    shown = screen(study())
    for title in ("READY", "HOW SURE THAT IS", "THE WORST WEEK", "YARDSTICKS", "ENERGY"):
        assert title in shown
    plain = screen(study(resampled=(), rules=()))
    assert "HOW SURE" not in plain
    assert "YARDSTICKS" not in plain
    fine = year_of(day(0, need("cart", ready=True)))
    assert "WORST WEEK" not in screen(study(year=fine, resampled=(), rules=()))


def test_the_plan_is_scored_against_what_nobody_could_better() -> None:
    bound = Foresight({"must": 14, "should": 14, "could": 0}, {"must": 13, "should": 10, "could": 0}, 23, 0.0)
    shown = " ".join(screen(study(foresight=bound)).split())
    assert "nobody could better 13/14 10/14" in shown
    assert "The plan meets 92 % of must and 100 % of should needs" in shown


def test_twelve_months_stand_on_eighty_columns() -> None:
    days = (day(30 * month, *[need("a machine of seventeen", ready=month > 2)] * 25) for month in range(12))
    year = replace(year_of(*days), machines=("a machine of seventeen", "other"))
    shown = screen(study(year=year, resampled=(), rules=()))
    row = next(line for line in shown.splitlines() if line.startswith("a machine of"))
    assert row.split()[-15:] == ["0", "0", "0", *["100"] * 9, "75", "300", "9"]


def test_the_table_gives_percent_by_month() -> None:
    row = next(line for line in screen(study()).splitlines() if line.startswith("cart"))
    assert row.split() == ["cart", "71", "100", "85", "14", "0"]


def test_the_worst_week_is_told_with_what_was_the_matter() -> None:
    later = worst_week(year_of(*two_weeks().days[3:]))
    assert later is not None
    told = describe_week(later)
    assert "not ready: mower [bold]" in told
    assert "For 40 of 168 hours it was too cold or too hot to charge" in told
    assert "100 % of what is usual" in told


@pytest.mark.parametrize("width", [40, 60, 80])
def test_on_a_narrow_console_every_month_and_every_figure_is_there(width: int) -> None:
    year = year_of(*(day(n, need("cart", ready=n % 3 > 0)) for n in range(365)))
    lines = screen(study(year=year), width).splitlines()
    assert max(map(len, lines)) <= width
    assert not any("…" in line for line in lines)
    heads = " ".join(line for line in lines if "Jan" in line or "Dec" in line or " Jul " in line)
    assert {"Jan", "Jul", "Dec", "all", "asked", "kWh"} <= set(heads.split())
    assert sum(len(line.split()) - 1 for line in lines if line.startswith("cart ")) >= 12 + 3 + 1
