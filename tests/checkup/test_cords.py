"""Extension cords: amperes and volts."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.cords import check_cords, cord_ampacity_a
from scheduler.checkup.findings import Grade, PartReport
from tests.checkup.storeyard import figure, machine, outlet, store_yard


def check(charger_w: float, **cord: object) -> PartReport:
    return check_cords(store_yard(machines=(machine(charger_w),), outlets=(outlet(**cord),)))  # type: ignore[arg-type]


def test_the_drop_of_a_cord_is_that_of_both_its_wires() -> None:
    # 16 AWG: 4.99 ohm/kft; 600 W at 120 V are 5 A; 2 x 5 A x 20 m x 4.99 / 304.8 ohm/m = 3.274 V = 2.73 %.
    report = check(600.0, cord_awg=16, cord_m=20.0)
    assert not report.findings
    assert figure(report, "volts lost") == (pytest.approx(2.729, abs=0.001), 3.0)
    assert figure(report, "amperes") == (5.0, 13.0)


@pytest.mark.parametrize(
    ("cord_m", "grades"), [(21.0, []), (23.0, [Grade.NOTE]), (36.0, [Grade.NOTE]), (37.0, [Grade.WARNING])]
)
def test_more_than_3_percent_is_a_note_and_more_than_5_a_warning(cord_m: float, grades: list[Grade]) -> None:
    report = check(600.0, cord_awg=16, cord_m=cord_m)
    assert [found.grade for found in report.findings] == grades


def test_the_mend_is_the_thinnest_cord_that_would_do_or_a_shorter_one() -> None:
    # 40 m: 5.46 % on 16 AWG, 3.43 % on 14, 2.17 % on 12.
    (found,) = check(600.0, cord_awg=16, cord_m=40.0).findings
    assert found.found == pytest.approx(5.457, abs=0.002)
    assert found.mend == "A cord of 12 AWG, or no more than 22.0 m of this one."
    assert found.caution


def test_a_cord_that_is_too_thin_for_the_current_is_a_stop_with_the_caution() -> None:
    (found,) = check(1400.0, cord_awg=18, cord_m=2.0).findings
    assert found.grade is Grade.STOP
    assert (found.found, found.limit) == (pytest.approx(11.667, abs=0.001), 10.0)
    assert found.mend == "A cord of 16 AWG."
    assert found.caution
    assert not check(1200.0, cord_awg=18, cord_m=2.0).findings


def test_the_largest_charger_that_the_outlet_takes_counts() -> None:
    yard = store_yard(
        machines=(machine(300.0, "saw"), machine(1300.0, "mower"), machine(700.0, "cart")),
        outlets=(outlet("small", max_w=1000.0, cord_awg=16, cord_m=5.0), outlet("large")),
    )
    assert figure(check_cords(yard), "amperes in the cord with cart")[0] == pytest.approx(700.0 / 120.0)


def test_square_millimetres_are_taken_as_they_are_sold() -> None:
    # 230 V, 3000 W: 13.04 A; 1.5 mm2 has 0.02145 / 1.5 ohm/m: 2 x 13.04 x 10 x 0.0143 = 3.73 V.
    report = check(3000.0, cord_mm2=1.5, cord_m=10.0, volts=230.0, breaker_a=16.0)
    assert not report.findings
    assert figure(report, "amperes") == (pytest.approx(13.04, abs=0.01), 16.0)
    assert figure(report, "volts lost")[0] == pytest.approx(100 * 3.73 / 230, abs=0.01)


@pytest.mark.parametrize(
    ("cord", "key"),
    [({"cord_awg": 16}, "cord_m"), ({"cord_mm2": 1.5}, "cord_m"), ({"cord_m": 9.0}, "cord_awg or cord_mm2")],
)
def test_half_a_cord_is_told_as_unchecked(cord: dict[str, object], key: str) -> None:
    report = check(600.0, **cord)
    assert not report.findings
    assert report.unchecked == (f"the cord at wall: {key} in [[outlets]]",)


def test_an_outlet_without_a_cord_has_nothing_to_be_checked() -> None:
    assert check(600.0) == PartReport()


@pytest.mark.parametrize(
    ("awg", "mm2", "amperes"),
    [("20", None, 0.0), ("17", None, 10.0), ("00", None, 55.0), (None, 0.5, 0.0), (None, 2.0, 16.0)],
)
def test_a_size_between_two_counts_as_the_thinner(awg: str | None, mm2: float | None, amperes: float) -> None:
    assert cord_ampacity_a(awg, mm2) == amperes


def test_a_cord_thinner_than_any_allowed_is_a_stop() -> None:
    (found,) = check(60.0, cord_mm2=0.5, cord_m=1.0).findings
    assert found.grade is Grade.STOP
    assert "thinner than any that is allowed" in found.title


@settings(deadline=None, max_examples=60)
@given(st.floats(50.0, 1800.0), st.floats(1.0, 80.0), st.sampled_from([18, 16, 14, 12, 10]))
def test_a_thicker_cord_never_makes_it_worse(charger_w: float, cord_m: float, awg: int) -> None:
    thin, thick = (check(charger_w, cord_awg=size, cord_m=cord_m) for size in (awg, awg - 2))
    assert len(thick.findings) <= len(thin.findings)
    assert figure(thick, "volts lost")[0] < figure(thin, "volts lost")[0]
