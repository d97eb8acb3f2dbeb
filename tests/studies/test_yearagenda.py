"""A year's agenda and the stretches of it that plans see."""

from __future__ import annotations

import datetime as dt

import pytest

from scheduler.errors import UsageError
from scheduler.studies.yearagenda import build_year_agenda, cut_agenda, weekly_yard
from scheduler.yard.agenda import Span, build_agenda
from scheduler.yard.models import Need, Visits
from tests.studies.small_year import machine, plot

MONDAY = dt.date(2027, 5, 3)


def test_needs_with_a_date_are_left_out_with_a_note() -> None:
    dated = Need(ready_by=dt.datetime(2027, 5, 4, 8), energy_wh=100.0)  # noqa: DTZ001
    weekly = Need(ready_by="09:00", energy_wh=100.0)
    yard, notes = weekly_yard(plot(machines=(machine("cart", needs=[dated, weekly]),)))
    assert yard.machines[0].needs == (weekly,)
    assert "cart" in notes[0]
    with pytest.raises(UsageError, match="every week"):
        weekly_yard(plot(machines=(machine("cart", needs=[dated]),)))


def test_plans_are_made_at_the_last_visit_of_each_day() -> None:
    yard = plot(visits=Visits(times=("08:00", "18:00"), sun=("09:00",)))
    agenda = build_year_agenda(yard, MONDAY, 7)
    made = [agenda.whole.grid.local(edge).strftime("%a %H:%M") for edge in agenda.plan_edges]
    assert made == [
        "Mon 00:00",
        *(f"{day} 18:00" for day in ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat")),
        "Sun 09:00",
    ]


def test_where_nobody_comes_by_for_days_there_is_a_plan_a_day() -> None:
    agenda = build_year_agenda(plot(visits=Visits(times=(), mon=("08:00",))), MONDAY, 14)
    made = [agenda.whole.grid.local(edge).strftime("%a %d %H:%M") for edge in agenda.plan_edges]
    assert made[:3] == ["Mon 03 00:00", "Mon 03 08:00", "Tue 04 08:00"]
    assert "Mon 10 08:00" in made
    apart = [
        two - one for one, two in zip(agenda.plan_edges, [*agenda.plan_edges[1:], agenda.last], strict=True)
    ]
    assert max(apart) <= 48


def test_a_plan_looks_to_the_last_need_within_its_reach_and_beyond_the_next_plan() -> None:
    agenda = build_year_agenda(plot(), MONDAY, 7)
    evening = agenda.plan_edges[1]
    assert evening == 18
    assert agenda.end_of_plan(evening, 48.0) == 18 + 38  # the second morning's need
    assert agenda.end_of_plan(evening, 36.0) == 18 + 24  # tomorrow morning's, but at least a day


def test_a_stretch_of_the_year_is_what_a_plan_of_that_time_sees() -> None:
    """All but what comes due on its first edge, and the windows of duty loads that are cut."""
    yard = plot()
    year = build_year_agenda(yard, MONDAY, 7)
    begin = year.whole.grid.edge(18)
    own = build_agenda(yard, Span(now=begin, start=begin, hours=38.0))
    cut = cut_agenda(year.whole, 18, 18 + 38, {})
    assert cut.grid == own.grid
    assert cut.visits == own.visits
    assert cut.needs == own.needs
    assert {name: away.tolist() for name, away in cut.away.items()} == {
        name: away.tolist() for name, away in own.away.items()
    }
    assert cut.duties == own.duties


def test_what_comes_due_as_a_plan_begins_is_past() -> None:
    whole = build_year_agenda(plot(), MONDAY, 7).whole
    assert [need.edge for need in cut_agenda(whole, 7, 31, {}).needs["cart"]] == [1]
    assert [need.edge for need in cut_agenda(whole, 8, 32, {}).needs["cart"]] == [24]
    assert cut_agenda(whole, 8, 32, {}).away["cart"][0]


def test_a_window_begun_before_the_plan_keeps_what_is_left_of_its_hours() -> None:
    whole = build_year_agenda(plot(), MONDAY, 7).whole
    (window, *_) = (duty for duty in whole.duties if duty.first == 20)
    assert (window.last, window.on_steps) == (28, 3)
    left = cut_agenda(whole, 22, 22 + 24, {("fan", 20): 1}).duties[0]
    assert (left.first, left.last, left.on_steps) == (0, 6, 2)
    assert cut_agenda(whole, 22, 22 + 24, {("fan", 20): 3}).duties[0].first == 22
