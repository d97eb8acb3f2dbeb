from __future__ import annotations

import pytest

from scheduler.checkup.findings import Grade
from scheduler.checkup.fuses import fuse_findings, unchecked_fuses
from tests.checkup.wired_yard import wired_yard

THREE = {"series": 2, "parallel": 3}


def test_two_strings_need_no_fuse():
    assert not list(fuse_findings(wired_yard()))
    assert not list(fuse_findings(wired_yard({"panel_fuse_a": None})))
    assert not list(unchecked_fuses(wired_yard()))


def test_three_strings_do():
    (found,) = fuse_findings(wired_yard(THREE))
    assert (found.grade, found.unit) == (Grade.STOP, "A")
    # Two others of 10 A with 125 % into a panel that stands 20 A.
    assert (found.found, found.limit) == (25.0, 20.0)
    assert "the others can drive 25 A into a faulty one, which stands 20 A" in found.title
    assert found.mend == "A fuse in each string: 20 A, made for direct current."
    assert found.caution
    assert found.source.startswith("NEC 690.9(A)")
    assert not list(fuse_findings(wired_yard(THREE | {"fuse_a": 20.0})))


@pytest.mark.parametrize(("panel_fuse_a", "stops"), [(25.0, 0), (24.9, 1)])
def test_panels_that_stand_what_comes_back_need_none(panel_fuse_a, stops):
    assert len(list(fuse_findings(wired_yard(THREE | {"panel_fuse_a": panel_fuse_a})))) == stops


def test_without_the_panels_label_three_strings_are_one_too_many():
    (found,) = fuse_findings(wired_yard(THREE | {"panel_fuse_a": None}))
    assert (found.found, found.limit, found.unit) == (3.0, 2.0, "strings")
    assert (
        found.mend == "A fuse in each string: 20 A, made for direct current, if the panel's label allows it."
    )
    (found,) = fuse_findings(wired_yard(THREE | {"isc_a": None}))
    assert "the current of 2 strings" in found.title
    assert "1.5625 times isc_a" in found.mend


def test_strings_of_all_arrays_on_an_input_count():
    east, west = {"input": "1"}, {"input": "1", "series": 6, "parallel": 1}
    found = list(fuse_findings(wired_yard(east, west)))
    assert [one.about for one in found] == ["roof 1", "roof 2"]
    assert {one.found for one in found} == {25.0}
    assert not list(fuse_findings(wired_yard(east | {"input": "2"}, west)))


@pytest.mark.parametrize(
    ("fuse_a", "grades"),
    [
        (15.6, [Grade.WARNING]),
        (15.625, []),
        (20.0, []),
        (20.1, [Grade.STOP]),
    ],
)
def test_a_fuse_lies_between_what_the_sun_asks_and_what_the_panel_stands(fuse_a, grades):
    found = list(fuse_findings(wired_yard(THREE | {"fuse_a": fuse_a})))
    assert [one.grade for one in found] == grades
    assert all(one.mend == "Other fuses: 20 A, made for direct current." and one.caution for one in found)
    assert all("690.9(B)" in one.source for one in found)


def test_a_label_that_leaves_no_fuse_is_told():
    (found,) = fuse_findings(wired_yard(THREE | {"panel_fuse_a": 15.0}))
    assert "none that is sold fits between 15.7 A and the panel's label" in found.mend


def test_a_fuse_that_cannot_be_judged_is_told_once():
    yard = wired_yard({"fuse_a": 15.0, "isc_a": None, "panel_fuse_a": None})
    assert list(unchecked_fuses(yard)) == ["the fuses of the strings of roof 1: isc_a, panel_fuse_a"]
