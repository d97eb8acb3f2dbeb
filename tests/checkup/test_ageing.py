from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.ageing import capacity_kept_fraction, kept_over_year_fraction, longest_rest_h
from scheduler.yard.models import Machine, Need

charges = st.floats(0.4, 1.0)
temps = st.floats(0.0, 40.0)


@given(st.tuples(charges, charges), st.tuples(temps, temps))
def test_fuller_or_warmer_never_ages_less(charge, temp):
    best, worst = (
        capacity_kept_fraction(some_charge, some_temp_c)
        for some_charge, some_temp_c in ((min(charge), min(temp)), (max(charge), max(temp)))
    )
    assert 0.65 - 1e-12 <= worst <= best + 1e-12 <= 0.98 + 2e-12


def test_halfway_between_the_tables_points_it_is_their_mean():
    # At 12.5 C: 97 % and 87 %; at 70 % charge their mean.
    assert capacity_kept_fraction(0.7, 12.5) == pytest.approx(0.92)
    assert capacity_kept_fraction(1.0, [12.5, 32.5]) == pytest.approx([0.87, 0.725])


def test_a_year_is_the_mean_of_its_hours_and_the_tables_ends_hold_beyond_it():
    assert kept_over_year_fraction(1.0, np.array([0.0, 25.0])) == pytest.approx(0.87)
    assert kept_over_year_fraction(1.0, np.array([-30.0, 55.0])) == pytest.approx((0.94 + 0.65) / 2)


def machine(*needs: dict[str, Any]) -> Machine:
    return Machine(
        name="cart",
        battery_wh=500.0,
        charger_w=100.0,
        charge_pct=50.0,
        needs=tuple(Need(charge_pct=80.0, **need) for need in needs),
    )


@pytest.mark.parametrize(
    ("needs", "rest_h"),
    [
        ([{"ready_by": "07:00", "away_h": 4.0}], 20.0),
        ([{"ready_by": "07:00", "weekdays": ("mon",)}], 7 * 24.0),
        ([{"ready_by": "07:00", "weekdays": ("mon", "thu"), "away_h": 10.0}], 4 * 24.0 - 10.0),
        ([{"ready_by": "12:00", "weekdays": ("sun",)}, {"ready_by": "07:00", "weekdays": ("mon",)}], 149.0),
        ([{"ready_by": "07:00", "away_h": 30.0}], 0.0),
        ([{"ready_by": "2027-06-09 07:00"}], math.inf),
        ([], math.inf),
    ],
)
def test_a_machine_rests_from_its_return_to_its_next_need_round_the_week(needs, rest_h):
    assert longest_rest_h(machine(*needs)) == rest_h
