from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.strings import (
    Wiring,
    cold_factor,
    cold_factor_by_coefficient,
    cold_factor_by_table,
    inputs_of,
    is_above,
    wiring_of,
    working_factor,
)
from scheduler.yard.models import Array
from tests.checkup.small_yard import PANELS
from tests.checkup.wired_yard import wired_yard

temps = st.floats(-70.0, 60.0)


def array(**changes: Any) -> Array:
    return Array(**PANELS | changes)


def test_the_table_adds_nothing_in_the_warm_and_goes_on_below_its_end():
    assert [cold_factor_by_table(air_c) for air_c in (40.0, 25.0, 24.9)] == [1.0, 1.0, 1.02]
    assert cold_factor_by_table(-40.0) == 1.25
    assert cold_factor_by_table(-45.0) == pytest.approx(1.27)


def test_between_whole_degrees_the_colder_row_counts():
    assert (cold_factor_by_table(-10.0), cold_factor_by_table(-10.1)) == (1.14, 1.16)


def test_either_the_coefficient_counts_or_the_table():
    assert cold_factor(array(voc_coeff_pct_per_c=-0.3), -15.0) == pytest.approx(1.12)
    assert cold_factor(array(), -15.0) == 1.16


def test_working_volts_fall_with_the_power():
    assert working_factor(array(temp_coeff_pct_per_c=-0.4), 65.0) == pytest.approx(1.0 - 40 * 0.004)
    assert working_factor(array(temp_coeff_pct_per_c=-2.0), 90.0) == 0.0


@given(temps, temps, st.floats(-1.0, 0.0))
def test_colder_air_never_lowers_the_open_volts(one, other, coeff_pct_per_c):
    cold_c, warm_c = sorted((one, other))
    assert cold_factor_by_table(cold_c) >= cold_factor_by_table(warm_c)
    assert cold_factor_by_coefficient(cold_c, coeff_pct_per_c) >= cold_factor_by_coefficient(
        warm_c, coeff_pct_per_c
    )


@given(temps, temps, st.floats(-2.0, 0.0))
def test_hotter_cells_never_raise_the_working_volts(one, other, coeff_pct_per_c):
    cool_c, hot_c = sorted((one, other))
    panels = array(temp_coeff_pct_per_c=coeff_pct_per_c)
    assert working_factor(panels, hot_c) <= working_factor(panels, cool_c)


def test_how_an_array_is_wired_follows_from_one_of_the_two_figures():
    assert wiring_of(array(series=2)) == wiring_of(array(parallel=2)) == Wiring(2, 2)
    assert wiring_of(array(panels=1)) == Wiring(1, 1)
    assert wiring_of(array()) is None
    assert wiring_of(array(series=3)) is None, "four panels are not strings of three"


@given(st.integers(1, 300))
def test_every_way_to_wire_uses_every_panel_and_no_way_is_missing(panels):
    (one,) = inputs_of(wired_yard({"panels": panels, "series": None, "parallel": None}))
    ways = [way for (way,) in one.ways()]
    assert all(way.series * way.parallel == panels for way in ways)
    assert len(ways) == sum(panels % number == 0 for number in range(1, panels + 1))


def test_a_shared_input_has_strings_of_one_length_and_the_least_of_its_limits():
    (one,) = inputs_of(
        wired_yard(
            {"input": "east and west", "panels": 6, "input_max_v": 150.0},
            {"input": "east and west", "panels": 4, "series": 2, "input_max_v": 145.0, "input_min_v": 70.0},
        )
    )
    assert one.ways() == ((Wiring(1, 6), Wiring(1, 4)), (Wiring(2, 3), Wiring(2, 2)))
    assert (one.least("input_max_v"), one.greatest("input_min_v")) == (145.0, 70.0)
    assert one.least("input_limit_w") is None
    assert one.name == "east and west (roof 1, roof 2)"


def test_at_the_limit_is_allowed():
    assert not is_above(0.1 + 0.2, 0.3)
    assert is_above(0.3001, 0.3)
