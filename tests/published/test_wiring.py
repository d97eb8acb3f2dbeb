"""Wiring and overcurrent protection against published tables and worked figures, source beside each check.

*Seen*, *computed* and *from memory* as in DEVELOPERS.md. The code is the National Electrical Code, NFPA 70.
"""

from __future__ import annotations

import pytest

from scheduler.checkup.bankcable import allowed_fuse_a, drawn_a
from scheduler.checkup.cables import DROP_LIMIT_PCT, Size
from scheduler.checkup.strings import (
    CODE_LIMIT_V,
    CONTINUOUS_FACTOR,
    carried_current_a,
    cold_factor_by_coefficient,
    cold_factor_by_table,
    sun_current_a,
)
from scheduler.checkup.wire import area_mm2, connector_a, resistance_ohm_per_m, voltage_drop_v
from tests.checkup.storeyard import store_yard

M_PER_FT = 0.3048
MM2_PER_CIRCULAR_MIL = 5.067e-4


def ohm_per_kft(awg: str, temp_c: float = 75.0) -> float:
    return resistance_ohm_per_m(awg, None, temp_c) * 1000.0 * M_PER_FT


# ---- W-01: NEC Chapter 9 Table 8, uncoated stranded copper at 75 C (seen in two reproductions) ------

TABLE_8 = {
    "18": (1620, 7.95),
    "16": (2580, 4.99),
    "14": (4110, 3.14),
    "12": (6530, 1.98),
    "10": (10380, 1.24),
    "8": (16510, 0.778),
    "6": (26240, 0.491),
    "4": (41740, 0.308),
    "3": (52620, 0.245),
    "2": (66360, 0.194),
    "1": (83690, 0.154),
    "1/0": (105600, 0.122),
    "2/0": (133100, 0.0967),
    "3/0": (167800, 0.0766),
    "4/0": (211600, 0.0608),
}


@pytest.mark.parametrize("awg", TABLE_8)
def test_a_gauge_has_the_tables_resistance_and_area(awg: str) -> None:
    circular_mils, ohms = TABLE_8[awg]
    assert ohm_per_kft(awg) == pytest.approx(ohms, rel=1e-9)
    assert area_mm2(awg, None) / MM2_PER_CIRCULAR_MIL == pytest.approx(circular_mils, rel=1e-9)
    assert 12.8 <= ohm_per_kft(awg) * circular_mils / 1000.0 <= 12.95, "K, computed"


def test_square_millimetres_have_the_tables_resistivity() -> None:
    k = resistance_ohm_per_m(None, 10.0) * 10.0 / MM2_PER_CIRCULAR_MIL * M_PER_FT
    assert 12.8 <= k <= 12.95
    # By hand: 10 mm2 are 19736 circular mils, 12.9 / 19.736 = 0.6536 ohm per 1000 ft = 2.144 mohm/m.
    assert resistance_ohm_per_m(None, 10.0) == pytest.approx(2.144e-3, rel=1e-3)


# ---- W-02: NEC Table 690.7(A), 2017 and 2023 (seen in three reproductions) --------------------------

COLD = {
    (24, 20): 1.02,
    (19, 15): 1.04,
    (14, 10): 1.06,
    (9, 5): 1.08,
    (4, 0): 1.10,
    (-1, -5): 1.12,
    (-6, -10): 1.14,
    (-11, -15): 1.16,
    (-16, -20): 1.18,
    (-21, -25): 1.20,
    (-26, -30): 1.21,
    (-31, -35): 1.23,
    (-36, -40): 1.25,
}


@pytest.mark.parametrize(("warm_c", "cold_c"), COLD)
def test_the_cold_table_from_end_to_end_of_each_row(warm_c: int, cold_c: int) -> None:
    for air_c in (warm_c, (warm_c + cold_c) / 2, cold_c):
        assert cold_factor_by_table(air_c) == COLD[(warm_c, cold_c)]


# ---- W-03: course example on Chapter 9 Table 8 (seen); W-04: K method, licence preparation text (seen)


def test_16_awg_over_100_ft_at_4_a_loses_4_v_of_24() -> None:
    drop_v = voltage_drop_v(4.0, 100.0 * M_PER_FT, resistance_ohm_per_m("16", None))
    assert drop_v == pytest.approx(4.0, abs=0.01)
    # The source divides its rounded 4.0 V: 16.7 %; unrounded, 16.63 % (computed).
    assert 100.0 * drop_v / 24.0 == pytest.approx(16.63, abs=0.01)
    # Two-way: the same over the one-way length alone would be half of it.
    assert drop_v > 1.9 * 4.0 * 100.0 * M_PER_FT * resistance_ohm_per_m("16", None)


@pytest.mark.parametrize(("awg", "volts", "pct"), [("12", 7.9, 6.6), ("8", 3.1, 2.6)])
def test_20_a_over_100_ft_at_120_v(awg: str, volts: float, pct: float) -> None:
    by_k_v = voltage_drop_v(20.0, 100.0 * M_PER_FT, resistance_ohm_per_m(None, area_mm2(awg, None)))
    assert by_k_v == pytest.approx(volts, abs=0.05)
    assert 100.0 * by_k_v / 120.0 == pytest.approx(pct, abs=0.05)


def test_the_same_by_the_table_of_resistances() -> None:
    # W-04's first, by W-01 (computed).
    by_table_v = voltage_drop_v(20.0, 100.0 * M_PER_FT, resistance_ohm_per_m("12", None))
    assert by_table_v == pytest.approx(7.92, abs=0.005)


# ---- W-05: informational note to 210.19 (seen) -------------------------------------------------------


def test_3_percent_is_the_recommended_drop() -> None:
    assert DROP_LIMIT_PCT == 3.0


# ---- W-06, W-07: NEC 690.7(A)(1) and (2) (computed) --------------------------------------------------


def test_49_and_a_half_volts_at_minus_10_by_coefficient_and_by_table() -> None:
    assert cold_factor_by_coefficient(-10.0, -0.27) == pytest.approx(1.0945, abs=1e-9)
    assert 49.5 * cold_factor_by_coefficient(-10.0, -0.27) == pytest.approx(54.18, abs=0.01)
    assert 49.5 * cold_factor_by_table(-10.0) == pytest.approx(56.43, abs=0.01)


# ---- W-08: NEC 690.8(A); W-09: 690.8(B), 690.9(B) (rules seen, figures computed) ---------------------


def test_three_strings_of_9_6_a_bring_36_a_and_ask_for_45() -> None:
    assert sun_current_a(3 * 9.6) == pytest.approx(36.0, rel=1e-12)
    assert carried_current_a(3 * 9.6) == pytest.approx(45.0, rel=1e-12)
    assert carried_current_a(1.0) == pytest.approx(1.5625, rel=1e-12)


# ---- W-10: NEC 690.7 (seen) --------------------------------------------------------------------------


def test_how_many_volts_the_code_allows() -> None:
    assert CODE_LIMIT_V == {"dwelling": 600.0, "other_building": 1000.0, "off_building": 1500.0}


# ---- W-11: summary of connectors' data (seen) --------------------------------------------------------


@pytest.mark.parametrize(("awg", "amperes"), [("14", 20.0), ("12", 30.0), ("10", 40.0)])
def test_what_plugs_commonly_stand_by_cable(awg: str, amperes: float) -> None:
    assert connector_a(awg, None) == amperes


# ---- W-13: NEC 690.8 as worked in a course for PV installers on wire between battery and inverter (seen) ----


def test_2500_watts_on_24_volts_draw_134_a_and_ask_for_167() -> None:
    # 22 V, an efficiency of 85 %.
    yard = store_yard(
        bank={"nominal_v": 24.0, "lowest_v": 22.0}, inverter={"continuous_w": 2500.0, "efficiency_pct": 85.0}
    )
    amperes = drawn_a(yard)
    assert amperes is not None
    assert amperes == pytest.approx(134.0, abs=0.5)
    assert amperes * CONTINUOUS_FACTOR == pytest.approx(167.0, abs=0.5)


# ---- W-14: what a dealer's text on battery cables pairs (seen): 110 A or less on 2 AWG, 175 A on 2/0, 250 A on 4/0 ---


@pytest.mark.parametrize(("awg", "amperes"), [("2", 110.0), ("2/0", 175.0), ("4/0", 250.0)])
def test_breakers_that_are_sold_for_a_bank_cable_are_allowed_on_it(awg: str, amperes: float) -> None:
    assert amperes <= allowed_fuse_a(Size(awg, None)) < 1.15 * amperes


# ---- W-12: note to Table 8, alpha 0.00323 (from memory) ----------------------------------------------


def test_cold_copper_resists_less() -> None:
    assert ohm_per_kft("10", 20.0) / ohm_per_kft("10", 75.0) == pytest.approx(0.822, abs=0.002)
