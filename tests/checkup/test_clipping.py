from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.clipping import clipped_kwh, clipping_figures, clipping_findings, yearly_kwh
from scheduler.checkup.findings import Grade
from scheduler.checkup.strings import inputs_of
from tests.checkup.wired_yard import short_year, wired_yard

MORNING, EVENING = [0.0, 1500.0, 500.0, 0.0], [0.0, 500.0, 1500.0, 0.0]
EAST, WEST = {"azimuth_deg": 90.0}, {"azimuth_deg": 270.0}


def test_what_a_limit_takes_is_summed_hour_by_hour():
    yard, year = wired_yard({"input_limit_w": 1000.0}), short_year(MORNING)
    (one,) = inputs_of(yard)
    assert clipped_kwh(one, year) == (pytest.approx(0.5), pytest.approx(1.5))
    (figure,) = clipping_figures(one, year)
    assert (figure.value, figure.unit) == (pytest.approx(0.5), "kWh")
    (note,) = clipping_findings(yard, year)
    assert note.grade is Grade.NOTE
    assert (note.found, note.limit) == (1800.0, 1000.0)
    assert "25.0 %" in note.title


def test_without_a_limit_or_a_year_nothing_is_said():
    yard, year = wired_yard(), short_year(MORNING)
    assert not list(clipping_figures(inputs_of(yard)[0], year))
    assert not list(clipping_findings(yard, year))
    limited = wired_yard({"input_limit_w": 1000.0})
    assert not list(clipping_figures(inputs_of(limited)[0], None))
    assert not list(clipping_findings(limited, None))


def test_a_limit_that_takes_next_to_nothing_is_a_figure_and_no_note():
    yard, year = wired_yard({"input_limit_w": 1499.0}), short_year(MORNING)
    assert not list(clipping_findings(yard, year))
    assert [figure.value for figure in clipping_figures(inputs_of(yard)[0], year)] == [pytest.approx(0.001)]


def test_panels_on_one_input_are_clipped_together_and_told_once():
    shared = {"input": "1", "input_limit_w": 1800.0}
    yard, year = wired_yard(EAST | shared, WEST | shared), short_year(MORNING, EVENING)
    notes = list(clipping_findings(yard, year))
    assert [note.about for note in notes] == ["1 (roof 1, roof 2)", ""]
    # Two hours of 2000 W, of which 1800 W are kept.
    assert notes[0].title.endswith("lose 0 kWh a year, 10.0 %")


def test_planes_that_look_elsewhere_are_told_what_one_input_and_two_would_bring():
    yard, year = wired_yard(EAST | {"input_limit_w": 1800.0}, WEST), short_year(MORNING, EVENING)
    (note,) = clipping_findings(yard, year)
    # Together 1800 W twice; on one each nothing is clipped.
    assert (note.found, note.limit, note.unit) == (pytest.approx(3.6), pytest.approx(4.0), "kWh")
    alike = wired_yard(EAST | {"input_limit_w": 1800.0}, EAST)
    assert not list(clipping_findings(alike, year))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.lists(st.floats(0.0, 5000.0), min_size=4, max_size=4), min_size=2, max_size=2),
    st.floats(1.0, 9e3),
)
def test_one_input_never_brings_more_than_two_of_its_kind(watts, limit_w):
    year = short_year(*watts)
    shared, apart = (
        wired_yard(*({"input": name, "input_limit_w": limit_w} for _ in watts)).arrays for name in ("1", None)
    )
    assert yearly_kwh(shared, year, (0, 1)) <= yearly_kwh(apart, year, (0, 1)) + 1e-9
