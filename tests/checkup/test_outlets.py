"""Chargers against what their outlets give for 3 hours and more."""

from __future__ import annotations

import pytest

from scheduler.checkup.findings import Grade
from scheduler.checkup.outlets import check_outlets
from tests.checkup.storeyard import figure, machine, outlet, store_yard


def test_a_charger_above_four_fifths_of_every_breaker_for_3_hours_is_a_warning_with_its_mend() -> None:
    # 6 kWh at 1500 W without losses or taper: 4 h above the 1440 W of 15 A and 120 V.
    yard = store_yard(machines=(machine(1500.0, battery_wh=6000.0),))
    (found,) = check_outlets(yard).findings
    assert found.grade is Grade.WARNING
    assert (found.found, found.limit) == (1500.0, 1440.0)
    assert "4.0 h" in found.title
    assert "circuit of 20 A" in found.mend
    assert "at most 1440 W" in found.mend
    assert found.caution


@pytest.mark.parametrize(
    ("charger_w", "battery_wh", "grades"),
    [
        (1440.0, 6000.0, []),
        (1441.0, 3 * 1441.0, [Grade.WARNING]),
        (1441.0, 2.99 * 1441.0, [Grade.NOTE]),
    ],
)
def test_neither_four_fifths_nor_less_than_3_hours_is_a_warning(
    charger_w: float, battery_wh: float, grades: list[Grade]
) -> None:
    yard = store_yard(machines=(machine(charger_w, battery_wh=battery_wh),))
    assert [found.grade for found in check_outlets(yard).findings] == grades


def test_the_taper_counts_until_the_draw_has_fallen_to_four_fifths_of_the_breaker() -> None:
    # R7: 1600 W, taper from 50 % of 4800 Wh: 1.5 h in a line, then u = exp(-a t), a = 0.95 / 2400 x 1600 / h, down to
    # 1440 / 1600 = 0.9: t = ln(1 / 0.9) / 0.6333 = 0.1664 h. Below 3 h, though a full charge takes 6.2 h.
    yard = store_yard(machines=(machine(1600.0, battery_wh=4800.0, taper_from_pct=50.0),))
    (found,) = check_outlets(yard).findings
    assert found.grade is Grade.NOTE
    assert "1.7 h of a full charge (6.2 h)" in found.title


def test_one_good_outlet_is_enough_and_the_others_are_told() -> None:
    yard = store_yard(
        machines=(machine(1500.0, battery_wh=6000.0),), outlets=(outlet("a"), outlet("gate", 20.0))
    )
    (found,) = check_outlets(yard).findings
    assert found.grade is Grade.NOTE
    assert "gate gives it for good, a no more than 1440 W" in found.title


def test_an_outlet_without_a_breaker_takes_all_and_is_told_as_unchecked() -> None:
    report = check_outlets(store_yard(machines=(machine(5000.0),), outlets=(outlet(breaker_a=None),)))
    assert not report.findings
    assert not report.figures
    assert report.unchecked == ("what may be drawn for 3 h and more at wall: breaker_a in [[outlets]]",)


def test_the_figure_is_of_the_charger_nearest_to_its_limit() -> None:
    yard = store_yard(
        machines=(machine(1400.0, "mower"), machine(900.0, "saw", supply="dc")),
        outlets=(outlet(), outlet("gate", 20.0), outlet("shelf", 25.0, kind="dc", volts=48.0)),
    )
    # 1400 of 1920 W are 73 %, 900 of 0.8 x 1200 W 94 %.
    report = check_outlets(yard)
    assert figure(report, "shelf") == (900.0, pytest.approx(960.0))


def test_machines_of_one_kind_are_one_finding() -> None:
    yard = store_yard(machines=tuple(machine(1500.0, f"cart {n}", battery_wh=6000.0) for n in (1, 2, 3)))
    (found,) = check_outlets(yard).findings
    assert found.title.startswith("cart 1, cart 2 and cart 3: ")
