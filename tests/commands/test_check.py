"""The check-up end to end: the demo, and five yards in each of which one thing is wrong."""

from __future__ import annotations

from functools import cache

import pytest

from scheduler.checkup.findings import Checkup, Finding, Grade, Part
from scheduler.checkup.study import quick_stops
from scheduler.commands.check import CheckRequest, check_over, read_checked_yard
from scheduler.yard.fleetfile import read_yard
from tests.cli_yard import ROOT

YARDS = ROOT / "tests" / "checkup" / "yards"

#: What is wrong, how grave it is, where, and words of what would mend it.
PLANTED = {
    "three-in-series": (Grade.STOP, Part.INPUT, "barn roof", "V", "2 in series x 3 in parallel"),
    "parallel-current": (Grade.STOP, Part.CABLE, "hut roof", "A", "no more than 2 of these strings"),
    "compressor-start": (Grade.WARNING, Part.AC, "air compressor", "W", "A soft starter"),
    "thin-bank-cable": (
        Grade.STOP,
        Part.BANK,
        "cable to the inverter",
        "A",
        "95 mm2 copper is the thinnest that does, with a fuse or breaker of 200 A",
    ),
    "thin-cable": (Grade.WARNING, Part.CABLE, "meadow rack", "%", "10 mm2 copper"),
}


@cache
def checked(name: str) -> Checkup:
    folder = ROOT / "fleets" if name == "field-edge" else YARDS
    return check_over(*read_checked_yard(CheckRequest(folder / f"{name}.toml")))


def mistakes(name: str) -> list[Finding]:
    return [finding for finding in checked(name).report.findings if finding.grade is not Grade.NOTE]


def test_the_demo_has_nothing_that_must_be_mended() -> None:
    assert mistakes("field-edge") == []
    assert {figure.part for figure in checked("field-edge").report.figures} == set(Part)


@pytest.mark.parametrize("name", PLANTED)
def test_the_planted_mistake_is_found_and_no_other_and_its_mend_named(name: str) -> None:
    grade, part, about, unit, mend = PLANTED[name]
    (found,) = mistakes(name)
    assert (found.grade, found.part, found.about, found.unit) == (grade, part, about, unit)
    assert found.found > found.limit
    assert mend in found.mend
    assert found.caution


@pytest.mark.parametrize("name", PLANTED)
def test_it_comes_first_and_the_notes_behind_it(name: str) -> None:
    grades = [finding.grade for finding in checked(name).report.findings]
    assert grades[0] is PLANTED[name][0]
    assert grades[1:] == [Grade.NOTE] * len(grades[1:])


@pytest.mark.parametrize("name", PLANTED)
def test_a_plan_sees_those_that_need_no_weather(name: str) -> None:
    seen = quick_stops(read_yard(YARDS / f"{name}.toml"))
    assert list(seen) == [found for found in mistakes(name) if found.grade is Grade.STOP]
