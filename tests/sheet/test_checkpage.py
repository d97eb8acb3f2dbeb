"""What the check-up says: the first sentence, the cautions, figures beside their limits, findings by gravity."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.checkup.findings import Grade, Part, PartReport
from scheduler.sheet.checkpage import CAUTIONS, amount, amounts, check_content, headline
from tests.sheet.check_samples import DC_CAUTION, every_grade, figure, finding, many, put, sound


def test_a_sound_yard_is_told_so_and_nothing_else():
    assert headline(sound()) == "Nothing found that would stop the plan."


def test_stops_come_first_with_their_parts_and_without_figures():
    assert headline(every_grade()) == (
        "1 thing should stop the plan (array to input): mend it first; "
        "1 warning (cable and connectors) and 1 note; 1 thing could not be checked."
    )


def test_parts_with_several_stops_are_named_once():
    told = headline(put(PartReport(findings=(finding(Grade.STOP),) * 2 + (finding(Grade.STOP, Part.AC),))))
    assert told == "3 things should stop the plan (array to input, AC side): mend them first."


def test_warnings_and_notes_do_not_stop_the_plan():
    told = headline(
        put(PartReport(findings=(finding(Grade.WARNING), finding(Grade.NOTE), finding(Grade.NOTE))))
    )
    assert told == "Nothing found that would stop the plan; 1 warning (array to input) and 2 notes."


def test_what_could_not_be_checked_is_part_of_the_first_sentence():
    told = headline(put(PartReport(unchecked=("one: a", "two: b"))))
    assert told == "Nothing found that would stop the plan; 2 things could not be checked."


def test_the_gravest_finding_comes_first():
    assert [box.grade for box in check_content(every_grade()).boxes] == ["STOP", "WARNING", "NOTE"]


def test_cautions_stand_in_full_once_after_those_of_every_check_up():
    assert check_content(many()).cautions == (*CAUTIONS, DC_CAUTION)
    assert check_content(sound()).cautions == CAUTIONS


def test_a_finding_repeats_its_caution_up_to_the_first_stop():
    stop, _, note = check_content(every_grade()).boxes
    assert stop.caution == "Direct current draws an arc that does not go out."
    assert note.caution == ""
    for caution in ("Arcs burn: keep off.", "Arcs burn; keep off.", "arcs burn"):
        told = check_content(put(PartReport(findings=(finding(Grade.STOP, caution=caution),))))
        assert told.boxes[0].caution == "Arcs burn."


def test_what_is_found_stands_against_its_limit_one_of_a_kind_in_the_singular():
    stop, _, note = check_content(every_grade()).boxes
    assert (stop.found, note.found) == ("163 V, limit 150 V", "163 V, against 150 V")
    ways = replace(finding(Grade.NOTE), found=1.0, limit=4.0, unit="ways")
    assert check_content(put(PartReport(findings=(ways,)))).boxes[0].found == "1 way, against 4 ways"


def test_figures_of_one_thing_stand_under_one_heading():
    figures = (figure(), figure(about="lean-to"), figure(value=120.0), figure(Part.BANK, about=""))
    report = PartReport(figures=figures)
    groups = check_content(put(report)).groups
    assert [(group.heading, len(group.rows)) for group in groups] == [
        ("array to input, roof", 2),
        ("array to input, lean-to", 1),
        ("bank", 1),
    ]


def test_each_figure_carries_the_number_of_its_source_which_stands_as_it_was_written():
    content = check_content(every_grade())
    sources = ["idle_w in the fleet file", "NEC 690.8(A)", "NEC 690.7(A)"]
    assert list(content.sources) == sources
    assert [row.source for group in content.groups for row in group.rows] == ["(1)", "(2)", "(3)"]


def test_sources_are_numbered_in_the_order_in_which_they_are_met():
    figures = (figure(), replace(figure(about="lean-to"), source="second"), replace(figure(), source="first"))
    content = check_content(put(PartReport(figures=figures)))
    assert content.sources == ("NEC 690.7(A)", "first", "second")
    assert [row.source for group in content.groups for row in group.rows] == ["(1)", "(2)", "(3)"]


def test_a_figure_without_a_limit_shows_none():
    rows = [row for group in check_content(every_grade()).groups for row in group.rows]
    assert [(row.found, row.limit, row.unit) for row in rows] == [
        ("2,304.4", "2,304", "W"),
        ("17.4", "", "A"),
        ("163", "150", "V"),
    ]


def test_a_limit_that_is_the_least_says_so():
    least = replace(figure(value=95.2, limit=55.0), at_least=True)
    rows = check_content(put(PartReport(figures=(least, replace(least, limit=None))))).groups[0].rows
    assert [row.limit for row in rows] == ["min 55", ""]


def test_without_a_typical_year_it_says_so_and_what_to_give():
    told = " ".join(check_content(replace(sound(), weather="")).about)
    assert told.startswith(
        "No typical year: what hangs on the weather was left out. Give one with --weather FILE"
    )
    assert "Weather" in check_content(sound()).about[0]


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (0.0, "0"),
        (150.0, "150"),
        (2304.0, "2,304"),
        (2304.4, "2,304"),
        (54.178, "54.2"),
        (0.01234, "0.01"),
        (0.671, "0.67"),
        (3.0004, "3"),
        (999.96, "1,000"),
        (123456.7, "123,457"),
        (-17.84, "-17.8"),
    ],
)
def test_a_figure_has_the_digits_that_mean_something(value, told):
    assert amount(value) == told


def test_a_figure_never_looks_like_a_limit_that_it_passes():
    assert amounts(150.04, 150.0) == ("150.04", "150")
    assert amounts(162.534, 150.0) == ("163", "150")
    assert amounts(150.0, 150.0) == ("150", "150")
