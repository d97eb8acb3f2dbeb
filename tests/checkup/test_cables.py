from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.cables import Size, check_cables, drop_fraction, yearly_loss_kwh
from scheduler.checkup.findings import Grade
from scheduler.checkup.strings import Wiring
from scheduler.checkup.wire import GAUGES
from tests.checkup.wired_yard import grave, short_year, value_of, wired_yard

YEAR = short_year([0.0, 990.0, 1980.0, 495.0])
TEN = Size("10", None)

#: 10 AWG at 75 C: 1.24 ohm per 1000 ft.
OHM_PER_M = 1.24 / 304.8


def test_a_cable_that_is_thick_enough_is_told_in_figures_and_one_note():
    report = check_cables(wired_yard(), YEAR)
    assert not grave(report)
    assert not report.unchecked
    # 19 A there and back over 10 m, of 99 V.
    assert value_of(report, "voltage drop") == (pytest.approx(100 * 19 * 20 * OHM_PER_M / 99), 3.0)
    assert value_of(report, "amperes that the cable must carry") == (pytest.approx(31.25), 35.0)
    # 10, 20 and 5 A through 20 m for an hour each.
    assert value_of(report, "lost in the cable")[0] == pytest.approx((100 + 400 + 25) * 20 * OHM_PER_M / 1000)
    (note,) = report.findings
    assert "10 AWG 1.6 %" in note.meaning
    assert "8 AWG 1 %" in note.meaning
    assert "6 AWG 0.7 %" in note.meaning
    assert note.caution


def test_without_a_year_only_the_yearly_loss_is_left_out():
    report = check_cables(wired_yard(), None)
    assert [figure.name for figure in report.figures] == [
        "voltage drop at full power",
        "amperes that the cable must carry",
    ]
    assert "kWh" not in report.findings[0].meaning


def test_more_than_3_percent_is_a_warning_and_3_is_not():
    metres = 0.03 * 99 / (19 * 2 * OHM_PER_M)
    assert not grave(check_cables(wired_yard({"cable_m": metres}), YEAR))
    (found,) = grave(check_cables(wired_yard({"cable_m": metres * 1.001}), YEAR))
    assert (found.grade, found.limit, found.unit) == (Grade.WARNING, 3.0, "%")
    assert found.mend == "8 AWG copper is the thinnest that keeps 3 % and carries the current."
    assert "210.19" in found.source
    assert found.caution


def test_a_metric_cable_is_mended_in_metric():
    # 30 m: 19 x 60 x 0.02145 / 4 = 6.1 V of 99; 10 mm2 2.5 %, 6 mm2 4.1 %.
    metric = {"cable_awg": None, "cable_mm2": 4.0, "cable_m": 30.0, "isc_a": None}
    (found,) = grave(check_cables(wired_yard(metric), YEAR))
    assert found.found == pytest.approx(6.17, abs=0.02)
    assert found.mend == "10 mm2 copper is the thinnest that keeps 3 %."


@pytest.mark.parametrize(("isc_a", "stops"), [(11.2, 0), (11.21, 1)])
def test_a_cable_may_carry_its_ampacity_and_no_more(isc_a, stops):
    # 35 A / 1.5625 / 2 strings.
    found = grave(check_cables(wired_yard({"isc_a": isc_a, "connector_a": 60.0}), YEAR))
    assert [one.grade for one in found] == [Grade.STOP] * stops
    assert all(one.limit == 35.0 and "690.8(B)" in one.source and "8 AWG" in one.mend for one in found)


def test_where_no_size_is_thick_enough_the_mend_is_another():
    (found,) = grave(check_cables(wired_yard({"cable_m": 3000.0}), YEAR))
    assert found.mend.startswith("No common size is thick enough")


@pytest.mark.parametrize(("connector_a", "stops"), [(25.0, 0), (24.9, 1), (12.0, 1)])
def test_plugs_may_carry_what_they_are_rated_for_and_no_more(connector_a, stops):
    found = grave(check_cables(wired_yard({"connector_a": connector_a}), YEAR))
    assert [one.grade for one in found] == [Grade.STOP] * stops
    for one in found:
        assert "Strings of 10 A, 2 in parallel, bring up to 25 A" in one.title
        assert ("no more than 1 of" in one.mend) is (connector_a == 24.9)
        assert ("none of these strings" in one.mend) is (connector_a == 12.0)


def test_plugs_of_unknown_rating_are_as_common_on_the_cable():
    # 12 AWG: 30 A.
    assert not [
        one
        for one in grave(check_cables(wired_yard({"cable_awg": "12", "isc_a": 12.0}), YEAR))
        if "plugs" in one.title
    ]
    (found,) = (
        one
        for one in grave(check_cables(wired_yard({"cable_awg": "12", "isc_a": 12.1}), YEAR))
        if "plugs" in one.title
    )
    assert found.limit == 30.0
    assert "what is common" in found.source


def test_a_cable_without_a_size_is_told_which_would_do():
    report = check_cables(wired_yard({"cable_awg": None, "connector_a": 30.0}), YEAR)
    assert report.unchecked == (
        "voltage drop in the cable of roof 1: cable_awg or cable_mm2",
        "what has to be carried by the cable of roof 1: cable_awg or cable_mm2",
    )
    (note,) = report.findings
    assert note.grade is Grade.NOTE
    assert note.title.startswith("10 m of 10 AWG would lose 1.5 of 99.0 V")
    assert note.mend == "10 AWG copper is the thinnest that keeps 3 % and carries the current."


@pytest.mark.parametrize(
    ("changes", "lines"),
    [
        ({"cable_m": None}, ("voltage drop in the cable of roof 1: cable_m",)),
        ({"imp_a": None}, ("voltage drop in the cable of roof 1: imp_a",)),
        (
            {"isc_a": None},
            (
                "what has to be carried by the cable of roof 1: isc_a",
                "the plugs that carry all strings of roof 1: isc_a",
            ),
        ),
        ({"cable_awg": "6"}, ("the plugs that carry all strings of roof 1: connector_a",)),
        (
            {"series": None, "parallel": None},
            (
                "voltage drop in the cable of roof 1: series, parallel",
                "what has to be carried by the cable of roof 1: series, parallel",
                "the plugs that carry all strings of roof 1: series, parallel",
                "the fuses of the strings of roof 1: series, parallel",
            ),
        ),
    ],
)
def test_what_is_missing_is_named_by_its_keys(changes, lines):
    assert check_cables(wired_yard(changes), YEAR).unchecked == lines


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 300.0), st.floats(0.1, 300.0), st.sampled_from(GAUGES), st.sampled_from(GAUGES))
def test_longer_never_loses_less_and_thicker_never_more(one_m, other_m, one_awg, other_awg):
    (short_m, long_m), thin_to_thick = (
        sorted((one_m, other_m)),
        sorted((one_awg, other_awg), key=GAUGES.index),
    )
    thin, thick = (Size(awg, None) for awg in thin_to_thick)
    short, long = (wired_yard({"cable_m": metres}).arrays[0] for metres in (short_m, long_m))
    wiring, hours = Wiring(3, 2), YEAR.arrays[0]
    assert drop_fraction(short, wiring, thin) <= drop_fraction(long, wiring, thin)
    assert drop_fraction(short, wiring, thick) <= drop_fraction(short, wiring, thin)
    assert yearly_loss_kwh(short, wiring, thin, hours) <= yearly_loss_kwh(long, wiring, thin, hours)
    assert yearly_loss_kwh(short, wiring, thick, hours) <= yearly_loss_kwh(short, wiring, thin, hours)


def test_the_same_panels_lose_least_in_the_longest_strings():
    (array,) = wired_yard().arrays
    losses = [drop_fraction(array, Wiring(series, 6 // series), TEN) for series in (1, 2, 3, 6)]
    # Twice the volts, half the amperes: a quarter.
    assert losses[1] == pytest.approx(losses[0] / 4)
    assert losses == sorted(losses, reverse=True)
