from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.wire import (
    GAUGES,
    ampacity_a,
    area_mm2,
    connector_a,
    gauge_name,
    resistance_ohm_per_m,
    voltage_drop_v,
)

areas = st.floats(0.05, 400.0)
temps = st.floats(-40.0, 90.0)


def test_the_large_gauges_have_two_names():
    assert [gauge_name(awg) for awg in ("0", "00", "000", "0000", "1/0", "10")] == [
        "1/0",
        "2/0",
        "3/0",
        "4/0",
        "1/0",
        "10",
    ]
    for short, long in (("0", "1/0"), ("0000", "4/0")):
        assert area_mm2(short, None) == area_mm2(long, None)
        assert resistance_ohm_per_m(short, None) == resistance_ohm_per_m(long, None)
        assert ampacity_a(short, None) == ampacity_a(long, None)


def test_gauges_that_the_table_leaves_out_lie_between_their_neighbours():
    # By the definition of the gauge 9 AWG is 2.906 mm across, 6.63 mm2.
    assert area_mm2("9", None) == pytest.approx(6.63, abs=0.01)
    for thin, between, thick in (("10", "9", "8"), ("14", "13", "12"), ("6", "5", "4")):
        assert area_mm2(thin, None) < area_mm2(between, None) < area_mm2(thick, None)
        assert (
            resistance_ohm_per_m(thin, None)
            > resistance_ohm_per_m(between, None)
            > resistance_ohm_per_m(thick, None)
        )
        assert ampacity_a(thin, None) < ampacity_a(between, None) < ampacity_a(thick, None)


@pytest.mark.parametrize("awg", GAUGES)
def test_the_definition_of_the_gauge_gives_the_tables_area(awg):
    number = 1 - int(awg[0]) if "/" in awg else int(awg)
    across_mm = 0.127 * 92 ** ((36 - number) / 39)
    assert area_mm2(awg, None) == pytest.approx(3.14159265 / 4 * across_mm**2, rel=0.005)


@pytest.mark.parametrize("awg", GAUGES)
def test_a_gauges_square_millimetres_have_its_resistance_and_ampacity(awg):
    mm2 = area_mm2(awg, None)
    assert resistance_ohm_per_m(None, mm2) == pytest.approx(resistance_ohm_per_m(awg, None), rel=0.008)
    assert ampacity_a(None, mm2) == pytest.approx(ampacity_a(awg, None), rel=1e-6)


def test_the_gauge_counts_where_both_are_given():
    assert area_mm2("10", 95.0) == area_mm2("10", None)
    assert resistance_ohm_per_m("10", 95.0) == resistance_ohm_per_m("10", None)
    assert ampacity_a("10", 95.0) == 35.0


@pytest.mark.parametrize("of_size", [area_mm2, resistance_ohm_per_m, ampacity_a, connector_a])
def test_no_size_at_all_is_refused(of_size):
    with pytest.raises(ValueError, match="a wire's size"):
        of_size(None, None)


def test_a_drop_by_hand():
    # 10 m of 4 mm2 at 75 C: 0.02145 ohm mm2/m / 4 mm2 = 5.36 mohm/m; 10 A there and back 20 m: 1.07 V.
    assert voltage_drop_v(10.0, 10.0, resistance_ohm_per_m(None, 4.0)) == pytest.approx(1.0722, abs=0.001)


def test_ampacities_are_those_of_the_75_c_column():
    assert [ampacity_a(awg, None) for awg in ("14", "12", "10", "8", "6", "4/0")] == [
        20.0,
        25.0,
        35.0,
        50.0,
        65.0,
        230.0,
    ]
    # 300,000 circular mils are 152 mm2, 500,000 are 253 mm2.
    assert ampacity_a(None, 152.01) == pytest.approx(285.0, abs=0.01)
    assert 335.0 < ampacity_a(None, 240.0) < 380.0
    assert ampacity_a(None, 300.0) == 380.0, "thicker than the table: no more than its last"


def test_thinner_than_18_gauge_carries_nothing():
    assert ampacity_a("18", None) == 7.0
    assert ampacity_a("19", None) == 0.0
    assert ampacity_a(None, 0.5) == 0.0


def test_plug_connectors_are_known_for_common_sizes_only():
    assert [connector_a(awg, None) for awg in ("16", "14", "13", "12", "10", "8")] == [
        None,
        20.0,
        20.0,
        30.0,
        40.0,
        None,
    ]
    assert [connector_a(None, mm2) for mm2 in (1.5, 2.5, 4.0, 6.0, 10.0)] == [None, 20.0, 30.0, 40.0, None]


@given(areas, areas, temps)
def test_thicker_copper_never_resists_more_and_never_carries_less(one, other, temp_c):
    thin, thick = sorted((one, other))
    assert resistance_ohm_per_m(None, thick, temp_c) <= resistance_ohm_per_m(None, thin, temp_c)
    assert ampacity_a(None, thick) >= ampacity_a(None, thin)


@given(st.sampled_from(GAUGES), temps, temps)
def test_warmer_copper_never_resists_less(awg, one, other):
    cold_c, warm_c = sorted((one, other))
    assert 0.0 < resistance_ohm_per_m(awg, None, cold_c) <= resistance_ohm_per_m(awg, None, warm_c)


@given(st.floats(0.0, 200.0), st.floats(0.0, 500.0), st.floats(0.0, 500.0), areas)
def test_a_longer_cable_never_drops_less(current_a, one_m, other_m, mm2):
    short_m, long_m = sorted((one_m, other_m))
    ohm_per_m = resistance_ohm_per_m(None, mm2)
    assert voltage_drop_v(current_a, short_m, ohm_per_m) <= voltage_drop_v(current_a, long_m, ohm_per_m)
