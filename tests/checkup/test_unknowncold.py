"""How cold it gets is not known: at which temperature a string passes its limit is told, and never nothing."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.arrayinput import check_array_input
from scheduler.checkup.findings import Finding, Grade
from scheduler.checkup.strings import passes_below_c
from tests.checkup.wired_yard import short_year, wired_yard

BY_TABLE = {"voc_coeff_pct_per_c": None}


def told(*changes: dict[str, object], low_c: float | None = None, **site: object) -> list[Finding]:
    report = check_array_input(wired_yard(*changes, low_c=low_c, **site), None)
    return [finding for finding in report.findings if "how cold it gets is not known" in finding.title]


def test_a_string_at_its_limit_on_the_label_passes_it_in_any_colder_air() -> None:
    # 4 x 37.5 V = 150 V of 150 V at 25 C; by Table 690.7(A) 2 % more from below 25 C on, 18 % at -20 C: 177 V.
    string = BY_TABLE | {"panels": 8, "series": 4, "voc_v": 37.5, "input_min_v": 40.0}
    (found,) = told(string)
    assert found.grade is Grade.WARNING
    assert found.title == (
        "4 panels in series pass the 150 V that the input stands in air below 25 C, and how cold it gets is not known"
    )
    assert (found.found, found.limit) == (pytest.approx(177.0), 150.0)
    assert "At 25 C they give 150 V, at a guessed -20 C 177 V" in found.meaning
    assert "common practice, no source" in found.source
    assert found.mend == (
        "Give record_low_c in [site], the coldest air ever known there, or a typical_year, and check again. No way to "
        "wire these 8 panels suits this input: it takes an input that stands more, or other panels."
    ), "2 in series bring 4 x 10 A x 1.25 = 50 A of 30 A"
    (found,) = told(string | {"input_max_a": 60.0})
    assert "2 in series x 4 in parallel would suit down to -20 C." in found.mend
    assert found.caution
    assert not told(string, low_c=10.0)
    assert not [
        one for one in check_array_input(wired_yard(string, low_c=None), short_year([0.0] * 4)).findings
        if "not known" in one.title
    ], "a year tells how cold it gets"


@pytest.mark.parametrize(
    ("change", "input_max_v", "below_c", "grade"),
    [
        # 120 V at 25 C, 0.3 % more a degree: 136.2 V at -20 C, 134.4 V at -15 C, 150 V at 25 - 0.25 / 0.003 C.
        ({}, 134.4, -15, Grade.WARNING),
        ({}, 136.1, -19, Grade.WARNING),
        ({}, 136.2, -20, Grade.NOTE),
        ({}, 150.0, -58, Grade.NOTE),
        # By the table 141.6 V (1.18) from -20 C on, 150 V (1.25) at -40 C, beyond it 0.4 % a degree: 152.4 V at -45 C.
        (BY_TABLE, 134.4, -5, Grade.WARNING),
        (BY_TABLE, 141.5, -15, Grade.WARNING),
        (BY_TABLE, 141.6, -20, Grade.NOTE),
        (BY_TABLE, 149.9, -35, Grade.NOTE),
        (BY_TABLE, 150.0, -40, Grade.NOTE),
        (BY_TABLE, 152.4, -45, Grade.NOTE),
    ],
)
def test_the_temperature_is_that_of_the_rule_by_hand(
    change: dict[str, object], input_max_v: float, below_c: int, grade: Grade
) -> None:
    (found,) = told(change | {"input_max_v": input_max_v})
    assert f"in air below {below_c} C" in found.title
    assert found.grade is grade
    assert "record_low_c" in found.mend


def test_what_is_too_much_at_25_degrees_needs_no_cold_and_its_mend_counts_on_some() -> None:
    changes = BY_TABLE | {"panels": 12, "series": 4, "parallel": 3, "input_max_v": 130.0, "input_min_v": 40.0}
    report = check_array_input(wired_yard(changes | {"input_max_a": 90.0}, low_c=None), None)
    (found,) = report.findings
    assert found.grade is Grade.STOP
    # 3 x 40 V = 120 V stay below 130 V at 25 C and come to 141.6 V at -20 C.
    assert found.mend.startswith("2 in series x 6 in parallel would suit down to -20 C.")


def test_the_code_s_volts_are_told_where_they_are_the_smaller() -> None:
    # 14 x 40 V = 560 V of 600 V: 7.1 % more from 25 - 23.8 C on.
    (found,) = told({"panels": 14, "series": 14, "parallel": 1, "input_max_v": 800.0})
    assert "pass the 600 V that the code allows there (NEC 690.7) in air below 2 C" in found.title


def test_no_air_is_cold_enough_for_a_single_panel() -> None:
    assert not told({"panels": 1, "series": 1, "parallel": 1, "input_min_v": 20.0})


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([None, -0.25, -0.4]), st.floats(1.0, 1.4), st.floats(0.01, 30.0))
def test_it_is_passed_below_that_air_and_not_in_it(
    coeff_pct_per_c: float | None, most_factor: float, colder_c: float
) -> None:
    limit_v = 120.0 * most_factor
    changes = {"voc_coeff_pct_per_c": coeff_pct_per_c, "input_max_v": limit_v}
    array = wired_yard(changes).arrays[0]
    below_c = passes_below_c(array, most_factor)

    def is_stopped(air_c: float) -> bool:
        findings = check_array_input(wired_yard(changes, low_c=air_c), None).findings
        return any(one.grade is Grade.STOP and one.limit == limit_v for one in findings)

    assert not is_stopped(below_c + 1e-6)
    assert is_stopped(below_c - colder_c)
