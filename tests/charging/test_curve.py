"""R7: the closed form against the differential equation itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from scheduler.charging.curve import ChargeCurve

CURVES = st.builds(
    ChargeCurve,
    capacity_wh=st.sampled_from([200.0, 1000.0, 7000.0]),
    charger_w=st.sampled_from([55.0, 300.0, 1300.0]),
    efficiency=st.sampled_from([0.8, 0.93, 1.0]),
    taper_from=st.sampled_from([0.0, 0.5, 0.8, 0.95, 1.0]),
)


def integrated(curve: ChargeCurve, fraction: float, hours: float) -> float:
    """Charge fraction by a library's integrator, straight from the rule's own words."""

    def power_w(s: float) -> float:
        k = curve.taper_from
        return curve.charger_w if s <= k else curve.charger_w * (1 - 0.95 * (s - k) / (1 - k))

    def full(_: float, s: np.ndarray) -> float:
        return s[0] - 1.0

    full.terminal = True  # type: ignore[attr-defined]
    slope = lambda _, s: [curve.efficiency * power_w(min(s[0], 1.0)) / curve.capacity_wh]  # noqa: E731
    answer = solve_ivp(
        slope, (0.0, hours), [fraction], events=full, rtol=1e-9, atol=1e-12, max_step=hours / 50
    )
    return min(1.0, float(answer.y[0, -1]))


@settings(max_examples=60, deadline=None)
@given(curve=CURVES, fraction=st.sampled_from([0.0, 0.3, 0.79, 0.9, 0.999]), hours=st.floats(0.01, 12.0))
def test_the_closed_form_solves_the_charger_equation(
    curve: ChargeCurve, fraction: float, hours: float
) -> None:
    after = float(curve.charge_after_wh(fraction * curve.capacity_wh, hours))
    assert after / curve.capacity_wh == pytest.approx(integrated(curve, fraction, hours), abs=2e-5)


@settings(max_examples=60, deadline=None)
@given(curve=CURVES, fraction=st.floats(0.0, 1.0), first=st.floats(0.0, 5.0), second=st.floats(0.0, 5.0))
def test_the_curve_has_no_memory(curve: ChargeCurve, fraction: float, first: float, second: float) -> None:
    start = fraction * curve.capacity_wh
    in_two = curve.charge_after_wh(curve.charge_after_wh(start, first), second)
    assert float(in_two) == pytest.approx(
        float(curve.charge_after_wh(start, first + second)), abs=1e-6 * curve.capacity_wh
    )


def test_power_is_full_to_the_taper_point_and_a_twentieth_just_below_full() -> None:
    curve = ChargeCurve(1000.0, 500.0, 0.9, 0.8)
    assert curve.power_w([0.0, 800.0]).tolist() == [500.0, 500.0]
    assert float(curve.power_w(900.0)) == pytest.approx(262.5)
    assert float(curve.power_w(999.9999)) == pytest.approx(25.0, abs=0.01)
    assert float(curve.power_w(1000.0)) == 0.0


def test_a_full_battery_is_exactly_full_and_stays_so() -> None:
    curve = ChargeCurve(1000.0, 500.0, 0.9, 0.8)
    assert float(curve.charge_after_wh(950.0, 24.0)) == 1000.0
    assert float(curve.charge_after_wh(1000.0, 1.0)) == 1000.0


def test_hours_above_a_power_are_those_after_which_the_power_is_that() -> None:
    curve = ChargeCurve(1000.0, 500.0, 0.9, 0.8)
    for charge in (100.0, 700.0, 820.0):
        hours = float(curve.hours_above(charge, 400.0))
        assert float(curve.power_w(curve.charge_after_wh(charge, hours))) == pytest.approx(400.0, abs=1e-6)
    assert float(curve.hours_above(950.0, 400.0)) == 0.0
    assert float(curve.hours_above(100.0, 500.0)) == 0.0
    assert float(ChargeCurve(1000.0, 500.0, 1.0, 1.0).hours_above(0.0, 400.0)) == pytest.approx(2.0)


def test_hours_above_less_than_the_last_power_are_those_to_full() -> None:
    curve = ChargeCurve(1000.0, 500.0, 0.9, 0.8)
    hours = float(curve.hours_above(100.0, 20.0))  # it stops at 25 W
    assert float(curve.charge_after_wh(100.0, hours)) == 1000.0
    assert float(curve.charge_after_wh(100.0, hours - 0.01)) < 1000.0
    assert float(curve.hours_above(1000.0, 20.0)) == 0.0
