"""The design rules of stand-alone solar against worked figures of handbooks and texts, source beside each check.

*Seen* and *from memory* as in DEVELOPERS.md.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from scheduler.studies import designrules as rule
from scheduler.studies.worstmonth import WorstMonth, worst_month
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Outlet, Site, Visits, Yard

GREENSBORO = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")


# ---- SZ-01, SZ-02: IEEE Std 1013-2000, clause 3.1 (seen); IEEE Std 1562, clause 4.1 (seen) ----------


def test_the_ratio_is_sun_hours_times_array_current_over_daily_load() -> None:
    # 4 h x 30 A over 100 Ah; the definition is the standard's, the figures are ours.
    assert rule.array_to_load_ratio(4.0, 30.0, 100.0) == pytest.approx(1.2, rel=1e-12)
    # The same in watts and watt-hours at 24 V.
    assert rule.array_to_load_ratio(4.0, 30.0 * 24.0, 100.0 * 24.0) == pytest.approx(1.2, rel=1e-12)


def small_yard(**changed: object) -> Yard:
    """1000 W flat on a Greensboro roof, a load of 100 W; no idle draw, nothing lost, reserve 20 %."""
    tables = {
        "site": GREENSBORO,
        "arrays": (
            Array(name="roof", panels=1, panel_w=1000.0, tilt_deg=0.0, azimuth_deg=180.0, losses_pct=0.0),
        ),
        "bank": Bank(
            modules_wh=(6000.0,),
            reserve_pct=20.0,
            level_pct=50.0,
            charge_efficiency_pct=100.0,
            discharge_efficiency_pct=100.0,
        ),
        "inverter": Inverter(continuous_w=1000.0, efficiency_pct=100.0, idle_w=0.0),
        "outlets": (Outlet(name="wall", kind="ac"),),
        "house_loads": (HouseLoad(name="lamp", watts=100.0, always_on=True),),
        "visits": Visits(times=("08:00",)),
    }
    return Yard.model_validate({**tables, **changed})


@pytest.fixture(scope="module")
def year() -> TypicalYear:
    read = read_weather(Path(__file__).parents[2] / "forecasts" / "greensboro-tmy3.csv", GREENSBORO)
    assert isinstance(read, TypicalYear)
    return read


@pytest.fixture(scope="module")
def flat(year: TypicalYear) -> WorstMonth:
    return worst_month(small_yard(), year)


def test_the_worst_month_of_a_flat_plane_is_the_month_of_least_sun(flat: WorstMonth) -> None:
    # WX-03: monthly means of daily global irradiance at Greensboro [kWh/m2], computed from the published TMY3;
    # a plane is lit by direct and diffuse, which close with the global one to 1.2 W/m2 (rms, WX-06f): 0.02 kWh a day.
    published_kwh = (2.414, 3.063, 4.251, 5.410, 5.636, 6.251, 6.083, 5.615, 4.427, 3.589, 2.435, 2.243)
    assert [month.peak_sun_h for month in flat.months] == pytest.approx(published_kwh, abs=0.02)
    assert flat.month == 12


def test_ratio_and_autonomy_follow_from_load_and_worst_month(flat: WorstMonth) -> None:
    # 2.243 h x 1000 W / 2400 Wh; 6000 Wh x 0.8 / 2400 Wh.
    assert flat.array_ratio == pytest.approx(2.243 / 2.4, abs=0.02 / 2.4)
    assert flat.autonomy_days == pytest.approx(2.0, rel=1e-12)


def test_losses_of_bank_and_inverter_are_replaced_too(year: TypicalYear, flat: WorstMonth) -> None:
    lossy = Bank(
        modules_wh=(6000.0,),
        reserve_pct=20.0,
        level_pct=50.0,
        charge_efficiency_pct=90.0,
        discharge_efficiency_pct=100.0,
    )
    half = Inverter(continuous_w=1000.0, efficiency_pct=50.0, idle_w=0.0)
    found = worst_month(small_yard(bank=lossy, inverter=half), year)
    assert found.array_ratio == pytest.approx(flat.array_ratio * 0.9 * 0.5, rel=1e-9)
    assert found.autonomy_days == pytest.approx(flat.autonomy_days * 0.5, rel=1e-9)


# ---- SZ-03, SZ-04: guidance of IEEE Std 1562 and IEEE Std 1013, from memory --------------------------


def test_the_guidance_spans_are_those_of_the_standards() -> None:
    assert rule.RATIO_NOT_CRITICAL == (1.1, 1.2)
    assert rule.RATIO_CRITICAL == (1.3, 1.4)
    assert rule.AUTONOMY_DAYS_NOT_CRITICAL == (5.0, 7.0)
    assert rule.AUTONOMY_DAYS_CRITICAL == (7.0, 14.0)


def test_what_is_asked_for_is_the_lower_end_of_each_span(flat: WorstMonth) -> None:
    sun_h = flat.months[11].peak_sun_h
    assert flat.array_asked_w == pytest.approx((1.1 * 2400.0 / sun_h, 1.3 * 2400.0 / sun_h), rel=1e-9)
    assert flat.bank_asked_wh == pytest.approx((2400.0 * 5 / 0.8, 2400.0 * 7 / 0.8), rel=1e-9)


# ---- SZ-05, SZ-06: the simplified IEEE steps as reproduced in battery texts (seen) -------------------


def test_a_battery_for_1000_wh_a_day_by_the_simplified_steps() -> None:
    # 1000 Wh/day, 2.5 days, 50 % depth, 40 F (x 1.30), 12 V: 6500 Wh, 541.7 Ah.
    capacity_wh = rule.bank_for_autonomy_wh(1000.0, 2.5, 0.5, rule.lead_acid_cold_factor(4.4))
    assert capacity_wh == pytest.approx(6500.0, rel=1e-3)
    assert capacity_wh / 12.0 == pytest.approx(541.7, rel=1e-3)


def test_the_rule_of_thumb_of_five_days() -> None:
    assert rule.bank_for_autonomy_wh(1000.0, 5.0) / 12.0 == pytest.approx(416.7, abs=0.1)


# ---- SZ-07, SZ-09: G. M. Masters, Renewable and Efficient Electric Power Systems, from memory ---------


def test_days_of_storage_for_95_and_99_percent() -> None:
    assert rule.storage_days_95(3.1) == pytest.approx(4.6, abs=0.05)
    assert rule.storage_days_99(3.1) == pytest.approx(12.2, abs=0.1)


def test_the_cabin_battery() -> None:
    # 3000 Wh/day AC, inverter 85 %, 24 V, 4.6 days, depth 0.8, temperature and rate factor 0.97.
    load_ah = rule.battery_side_wh(3000.0, 0.85) / 24.0
    assert load_ah == pytest.approx(147.0, abs=1.0)
    assert rule.bank_for_autonomy_wh(load_ah, 4.6) == pytest.approx(676.0, abs=1.0)
    assert rule.bank_for_autonomy_wh(load_ah, 4.6, 0.8, 1.0 / 0.97) == pytest.approx(871.0, abs=1.0)


# ---- SZ-08: R. A. Messenger, J. Ventre, Photovoltaic Systems Engineering, from memory -----------------


def test_days_of_storage_for_critical_and_other_loads() -> None:
    assert rule.storage_days_critical(4.0) == pytest.approx(10.7, abs=0.01)
    assert rule.storage_days_not_critical(4.0) == pytest.approx(2.66, abs=0.01)


# ---- SZ-10: a stand-alone design article in Home Power (seen) -----------------------------------------


def test_three_strings_of_four_6_v_225_ah_batteries() -> None:
    bank = Bank(modules_wh=(6.0 * 225.0,) * 12, reserve_pct=20.0, level_pct=50.0)
    assert bank.capacity_wh == pytest.approx(16_200.0, rel=1e-12)
    assert bank.capacity_wh / (4 * 6.0) == pytest.approx(675.0, rel=1e-12)


def test_an_inverter_is_sized_with_90_percent_unless_the_file_says_otherwise() -> None:
    assert Inverter(continuous_w=1000.0).efficiency == pytest.approx(0.90, rel=1e-12)


# ---- SZ-20: lead-acid in the cold, three reproductions of the table (seen) ----------------------------


@pytest.mark.parametrize(
    ("fahrenheit", "factor"),
    [(80, 1.00), (70, 1.04), (60, 1.11), (50, 1.19), (40, 1.30), (30, 1.40), (20, 1.59)],
)
def test_cold_multiplies_a_lead_acid_bank(fahrenheit: float, factor: float) -> None:
    assert rule.lead_acid_cold_factor((fahrenheit - 32.0) / 1.8) == pytest.approx(factor, abs=0.005)
