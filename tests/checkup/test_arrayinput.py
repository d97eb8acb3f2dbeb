from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.arrayinput import check_array_input
from scheduler.checkup.findings import Grade
from tests.checkup.wired_yard import grave, short_year, value_of, wired_yard

YEAR = short_year([0.0, 100.0, 300.0, 600.0])
COLD, WORKING, AMPERES = "string volts at -15 C", "string volts at full power", "amperes into the input"


def test_strings_that_suit_their_input_are_told_in_figures_alone():
    report = check_array_input(wired_yard(), YEAR)
    assert not grave(report)
    assert not report.unchecked
    assert value_of(report, COLD) == (pytest.approx(134.4), 150.0)
    # The hot hour of four: 59.4 C, 3 x 33 V x (1 - 0.004 x 34.4).
    assert value_of(report, WORKING) == (pytest.approx(99.0 * (1 - 0.004 * 34.4)), 60.0)
    assert value_of(report, AMPERES) == (pytest.approx(25.0), 30.0)


def test_the_other_rule_of_the_cold_is_named_and_not_multiplied_in():
    by_coefficient = check_array_input(wired_yard(), None).figures[0]
    assert by_coefficient.value == pytest.approx(3 * 40.0 * 1.12)
    assert by_coefficient.source == "NEC 690.7(A)(1), by coefficient; by the code's table 139.2 V"
    by_table = check_array_input(wired_yard({"voc_coeff_pct_per_c": None}), None).figures[0]
    assert by_table.value == pytest.approx(3 * 40.0 * 1.16)
    assert by_table.source == "NEC Table 690.7(A)"


@pytest.mark.parametrize(("input_max_v", "stops"), [(134.4, 0), (134.3, 1)])
def test_a_string_may_reach_the_inputs_volts_and_no_more(input_max_v, stops):
    found = grave(check_array_input(wired_yard({"input_max_v": input_max_v}), YEAR))
    assert [one.grade for one in found] == [Grade.STOP] * stops
    if found:
        assert (found[0].found, found[0].limit, found[0].unit) == (pytest.approx(134.4), 134.3, "V")
        assert "134.4 V at -15 C, more than the 134.3 V" in found[0].title
        assert "at 25 C it is 120 V" in found[0].meaning
        assert found[0].caution.startswith("Panels give their full voltage whenever there is light")


def test_a_string_that_is_too_much_without_any_cold_is_told_so():
    (found,) = grave(check_array_input(wired_yard({"input_max_v": 110.0}), YEAR))
    assert "too much at 25 C already" in found.meaning


@pytest.mark.parametrize(("input_max_v", "grade"), [(120.0, Grade.WARNING), (119.9, Grade.STOP)])
def test_without_any_cold_known_the_label_must_fit_at_least(input_max_v, grade):
    report = check_array_input(wired_yard({"input_max_v": input_max_v}, low_c=None), None)
    assert [one.grade for one in grave(report)] == [grade]
    assert value_of(report, "string volts at 25 C")[0] == 120.0
    assert report.figures[0].source == "the label; how cold it gets is not known"
    assert report.unchecked == ("volts of roof 1 in the cold: record_low_c in [site]",)
    assert not [one for one in report.findings if one.grade is Grade.NOTE], "no way to wire is called good"


def test_the_codes_volts_hang_on_what_carries_the_cable():
    # 14 x 40 V x 1.12 = 627.2 V.
    long = {"panels": 14, "series": 14, "parallel": 1, "input_max_v": 800.0}
    (found,) = grave(check_array_input(wired_yard(long), YEAR))
    assert (found.grade, found.limit) == (Grade.STOP, 600.0)
    assert found.source.startswith("NEC 690.7;")
    assert "7 in series x 2 in parallel" in found.mend
    assert not grave(check_array_input(wired_yard(long, building="other_building"), YEAR))


def test_a_mend_names_every_way_that_suits():
    # Twelve panels, so that strings of 3 (134.4 V) and shorter are left; 4 in parallel bring 50 A.
    roomy = {"panels": 12, "series": 4, "parallel": 3, "input_max_a": 80.0, "input_min_v": 45.0}
    (found,) = grave(check_array_input(wired_yard(roomy), YEAR))
    assert found.mend == (
        "2 in series x 6 in parallel or 3 in series x 4 in parallel would suit. Three and more strings in parallel "
        "want a fuse in each."
    )
    (found,) = grave(check_array_input(wired_yard(roomy | {"fuse_a": 20.0}), YEAR))
    assert found.mend.endswith("would suit.")


def test_a_mend_that_hangs_on_what_is_not_known_says_so():
    (found,) = grave(
        check_array_input(wired_yard({"input_max_v": 110.0, "input_min_v": 45.0, "isc_a": None}), YEAR)
    )
    assert found.mend.startswith(
        "2 in series x 3 in parallel would suit, as far as the fleet file's figures tell."
    )


def test_where_no_way_suits_the_input_is_what_must_change():
    # 40 A at the least for 5 panels in a row or side by side: neither 224 V nor 62.5 A.
    (found,) = grave(check_array_input(wired_yard({"panels": 5, "series": 5, "parallel": 1}), YEAR))
    assert found.mend.startswith("No way to wire these 5 panels suits this input")


@pytest.mark.parametrize(("input_max_a", "stops"), [(25.0, 0), (24.9, 1)])
def test_the_amperes_of_all_strings_with_125_percent_may_reach_what_the_input_stands(input_max_a, stops):
    found = grave(check_array_input(wired_yard({"input_max_a": input_max_a}), YEAR))
    assert [one.grade for one in found] == [Grade.STOP] * stops
    assert all("2 x 10 A" in one.title and one.source.startswith("NEC 690.8(A)") for one in found)


def test_volts_too_low_in_the_heat_alone_are_a_warning_with_their_part_of_the_year():
    # 99 V x (1 - 0.004 x 34.4) = 85.4 V on the hottest hour; 92 V are passed by the cells at 60 C alone.
    (found,) = grave(check_array_input(wired_yard({"input_min_v": 92.0}), YEAR))
    assert found.grade is Grade.WARNING
    assert found.found == pytest.approx(85.3776)
    assert "85.3 V with their cells at 59 C" in found.title
    assert "60.0 % of a year's energy" in found.meaning


def test_volts_too_low_on_the_label_are_a_stop_and_need_no_weather():
    for year in (None, YEAR):
        (found,) = grave(check_array_input(wired_yard({"input_min_v": 99.5}), year))
        assert (found.grade, found.found) == (Grade.STOP, pytest.approx(99.0))
    assert not grave(check_array_input(wired_yard({"input_min_v": 92.0}), None))


def test_all_ways_to_wire_the_same_panels_are_listed_with_what_the_input_says():
    (note,) = check_array_input(wired_yard(), YEAR).findings
    assert note.title == "Of 4 ways to wire these 6 panels the input takes 3 in series x 2 in parallel"
    assert (note.found, note.limit) == (1.0, 4.0)
    assert (
        "2 in series x 3 in parallel: 56.9 V in the heat, where 60 V are needed; 37.5 A of 30 A"
        in note.meaning
    )
    assert "6 in series x 1 in parallel: 268.8 V in the cold of 150 V" in note.meaning
    assert note.caution


# Several arrays on one input


EAST, WEST = {"input": "1"}, {"input": "1", "azimuth_deg": 270.0}


def test_amperes_of_a_shared_input_add_up():
    both = short_year([0.0] * 4, [0.0] * 4)
    (found,) = grave(check_array_input(wired_yard(EAST, WEST), both))
    assert (found.found, found.limit, found.about) == (50.0, 30.0, "1 (roof 1, roof 2)")
    assert not grave(
        check_array_input(wired_yard(EAST | {"input_max_a": 60.0}, WEST | {"input_max_a": None}), both)
    )
    assert grave(check_array_input(wired_yard(EAST | {"input_max_a": 60.0}, WEST), both))
    assert not grave(check_array_input(wired_yard(EAST | {"input": "2"}, WEST), both))


def test_strings_of_different_length_side_by_side_are_a_stop():
    roomy = {"input_max_a": 90.0, "input_min_v": 40.0}
    short = {"panels": 4, "series": 2, "parallel": 2}
    (found,) = grave(check_array_input(wired_yard(EAST | roomy, WEST | roomy | short), None))
    assert found.grade is Grade.STOP
    assert found.title == "Strings of 2 and 3 panels (80 and 120 V) lie side by side on one input"
    assert found.mend.startswith("2 in series (roof 1 x 3, roof 2 x 2) would suit.")
    assert not grave(check_array_input(wired_yard(roomy, roomy | short), None)), "on an input each"


def test_without_their_volts_the_lengths_of_strings_are_compared():
    roomy = {"input_max_a": 90.0, "voc_v": None, "vmp_v": None}
    short = {"panels": 4, "series": 2, "parallel": 2}
    (found,) = grave(check_array_input(wired_yard(EAST | roomy, WEST | roomy | short), None))
    assert (found.grade, found.found, found.unit) == (Grade.STOP, 3.0, "panels")


def test_strings_of_other_panels_may_lie_side_by_side_if_their_volts_agree():
    roomy = {"input_max_a": 90.0, "input_min_v": 30.0}
    # 2 x 60 V beside 3 x 40 V.
    alike = {"panels": 4, "series": 2, "parallel": 2, "voc_v": 60.0, "vmp_v": 49.0}
    assert not grave(check_array_input(wired_yard(EAST | roomy, WEST | roomy | alike), None))
    # 3 x 42 V are 5 % more, 3 x 43 V are not.
    for voc_v, grades in ((42.0, []), (43.0, [Grade.WARNING])):
        other = WEST | roomy | {"voc_v": voc_v}
        assert [
            one.grade for one in grave(check_array_input(wired_yard(EAST | roomy, other), None))
        ] == grades


# What is not known


def test_an_array_of_which_nothing_is_known_names_its_keys():
    bare = dict.fromkeys(
        ("series", "parallel", "voc_v", "vmp_v", "isc_a", "input_max_v", "input_min_v", "input_max_a")
    )
    report = check_array_input(wired_yard(bare, low_c=None), None)
    assert not report.figures
    assert not report.findings
    assert report.unchecked == (
        "volts of roof 1 in the cold: series, parallel, voc_v, input_max_v, record_low_c in [site]",
        "volts of roof 1 in the heat: series, parallel, vmp_v, input_min_v",
        "amperes into the input of roof 1: series, parallel, isc_a, input_max_a",
    )


@pytest.mark.parametrize(
    ("key", "what"),
    [
        ("voc_v", "volts of roof 1 in the cold"),
        ("vmp_v", "volts of roof 1 in the heat"),
        ("input_min_v", "volts of roof 1 in the heat"),
        ("isc_a", "amperes into the input of roof 1"),
        ("input_max_a", "amperes into the input of roof 1"),
    ],
)
def test_one_missing_key_is_one_line(key, what):
    assert check_array_input(wired_yard({key: None}), YEAR).unchecked == (f"{what}: {key}",)


def test_without_a_record_low_the_coldest_hour_counts_and_that_is_told():
    report = check_array_input(wired_yard(low_c=None), YEAR)
    assert value_of(report, "string volts at -12 C")[0] == pytest.approx(3 * 40.0 * 1.111)
    assert "coldest hour of the typical year" in report.figures[0].source
    (line,) = report.unchecked
    assert line.startswith("how cold it ever gets: record_low_c in [site]; -12 C was taken")


@settings(max_examples=40, deadline=None)
@given(st.floats(-60.0, 30.0), st.floats(-60.0, 30.0), st.sampled_from([None, -0.3]), st.floats(100.0, 180.0))
def test_more_cold_never_takes_a_stop_away(one, other, coeff_pct_per_c, input_max_v):
    cold_c, warm_c = sorted((one, other))
    changes = {"voc_coeff_pct_per_c": coeff_pct_per_c, "input_max_v": input_max_v}
    stops = [
        len(grave(check_array_input(wired_yard(changes, low_c=low_c), None))) for low_c in (cold_c, warm_c)
    ]
    assert stops[0] >= stops[1]


@settings(max_examples=40, deadline=None)
@given(st.floats(5.0, 200.0), st.floats(5.0, 200.0), st.floats(20.0, 300.0), st.floats(20.0, 300.0))
def test_an_input_that_stands_more_never_has_more_stops(one_a, other_a, one_v, other_v):
    (little_a, much_a), (little_v, much_v) = sorted((one_a, other_a)), sorted((one_v, other_v))
    tight, roomy = (
        grave(
            check_array_input(
                wired_yard({"input_max_a": most_a, "input_max_v": most_v, "input_min_v": None}), None
            )
        )
        for most_a, most_v in ((little_a, little_v), (much_a, much_v))
    )
    assert len(roomy) <= len(tight)
