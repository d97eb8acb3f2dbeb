from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.leadacid import peukert_hours

capacities = st.floats(100.0, 20_000.0)
exponents = st.floats(1.0, 1.6)


@given(capacities, st.floats(1.0, 5000.0), st.floats(1.0, 10.0), exponents)
def test_a_larger_draw_never_gets_more_energy_out(capacity_wh, draw_w, times, exponent):
    small_wh = peukert_hours(capacity_wh, draw_w, exponent=exponent) * draw_w
    large_wh = peukert_hours(capacity_wh, times * draw_w, exponent=exponent) * times * draw_w
    assert large_wh <= small_wh * (1 + 1e-9)


@given(capacities, st.floats(1.0, 100.0), exponents)
def test_at_its_rated_draw_it_gives_its_rated_energy_and_with_exponent_1_always(
    capacity_wh, rated_h, exponent
):
    assert peukert_hours(capacity_wh, capacity_wh / rated_h, rated_h, exponent) == pytest.approx(rated_h)
    assert peukert_hours(capacity_wh, 70.0, rated_h, 1.0) == pytest.approx(capacity_wh / 70.0)
