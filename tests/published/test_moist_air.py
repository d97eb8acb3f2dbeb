"""Humidity and dehumidifiers, against the published handbooks and rules."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pvlib import iotools

from scheduler.sun.drying import dry_days
from scheduler.sun.moistair import LATENT_KWH_PER_LITRE, dew_point_c, saturation_pa, vapour_g_m3
from scheduler.timegrid import Grid
from scheduler.yard.models import HouseLoad

GREENSBORO = Path(__file__).parents[2] / "forecasts" / "greensboro-tmy3.csv"
STANDARD_PA = 101_325.0
MIDNIGHT = dt.datetime(2027, 6, 9, tzinfo=dt.UTC)


def one(value: float) -> np.ndarray:
    return np.array([value])


# H-01: ASHRAE Handbook Fundamentals 2017, chapter 1, Table 3; within 300 ppm.
@pytest.mark.parametrize(
    ("temp_c", "pressure_pa"),
    [(-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)],
)
def test_saturation_pressure_is_that_of_the_handbook(temp_c, pressure_pa):
    assert saturation_pa(one(temp_c))[0] == pytest.approx(pressure_pa, rel=300e-6)


# H-02: same, Table 2, at 101325 Pa; 1 percent, the air taken as an ideal gas.
@pytest.mark.parametrize(
    ("temp_c", "ratio"),
    [(-20.0, 0.0006373), (-5.0, 0.0024863), (5.0, 0.005425), (25.0, 0.020173), (50.0, 0.086863)],
)
def test_the_humidity_ratio_of_saturated_air_is_that_of_the_handbook(temp_c, ratio):
    held_pa = saturation_pa(one(temp_c))[0]
    assert 0.621945 * held_pa / (STANDARD_PA - held_pa) == pytest.approx(ratio, rel=0.01)


def test_the_handbooks_moist_air_of_example_1_has_its_dew_point_and_humidity_ratio():
    # H-03: same, Example 1, read from a chart: 40 C at 14 % has a dew point of 7 C and 0.0065 kg/kg.
    assert dew_point_c(one(40.0), one(14.0))[0] == pytest.approx(7.0, abs=0.5)
    vapour_pa = 0.14 * saturation_pa(one(40.0))[0]
    assert 0.621945 * vapour_pa / (STANDARD_PA - vapour_pa) == pytest.approx(0.0065, abs=0.0001)


# H-05: Magnus with the constants of the World Meteorological Organization (from memory), computed.
@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "dew_c"),
    [(20.0, 50.0, 9.26), (25.0, 60.0, 16.69), (25.0, 80.0, 21.31), (35.0, 40.0, 19.38)],
)
def test_the_dew_point_is_that_of_magnus_and_air_at_it_is_saturated(temp_c, rh_pct, dew_c):
    found_c = dew_point_c(one(temp_c), one(rh_pct))
    assert found_c[0] == pytest.approx(dew_c, abs=0.03)
    # The handbook's saturation pressure at that point is the vapour pressure of the air.
    assert saturation_pa(found_c)[0] == pytest.approx(
        rh_pct / 100.0 * saturation_pa(one(temp_c))[0], rel=0.003
    )


# H-06: ideal gas with H-01, computed.
@pytest.mark.parametrize(("rh_pct", "grams"), [(80.0, 18.43), (60.0, 13.82), (50.0, 11.52)])
def test_air_at_25_c_carries_the_computed_water(rh_pct, grams):
    assert vapour_g_m3(one(25.0), rh_pct)[0] == pytest.approx(grams, abs=0.02)


def test_the_air_of_a_container_gives_up_the_computed_water():
    # H-07: 33.2 m3 at 25 C from 80 to 50 %: 0.229 kg, computed.
    grams = 33.2 * (vapour_g_m3(one(25.0), 80.0) - vapour_g_m3(one(25.0), 50.0))[0]
    assert grams / 1000.0 == pytest.approx(0.229, rel=0.01)


def test_greensboros_hours_of_wetness_are_those_of_its_typical_year():
    # H-08 and WX-02: more than 80 % above 0 C (ISO 9223) in 3050 hours, more than 60 % in 5739; computed.
    data, _ = iotools.read_tmy3(GREENSBORO)
    humid = data["relative_humidity"]
    assert int(((humid > 80.0) & (data["temp_air"] > 0.0)).sum()) == 3050
    assert int((humid > 60.0).sum()) == 5739
    assert humid.mean() == pytest.approx(69.52, abs=0.005)


def test_a_small_dehumidifier_at_the_legal_least_takes_the_published_energy_for_its_water():
    # H-10: 1.30 L/kWh up to 25 pints a day (10 CFR 430.32(v)), the default here.
    plain = HouseLoad(name="dryer", watts=500.0, wanted_rh_pct=50.0, room_m3=50.0)
    assert plain.litres_per_kwh == 1.30
    # H-12: 25 pints of 0.473176 L a day at 1.30 and 1.57 L/kWh: 9.10 kWh a day, 0.769 and 0.637 kWh/L.
    day = Grid(MIDNIGHT, 60, 24, ZoneInfo("UTC"))
    warm = np.full(24, 25.0)
    excess = (vapour_g_m3(one(25.0), 80.0) - vapour_g_m3(one(25.0), 50.0))[0]
    room_m3 = 25.0 * 473.176 / (excess * 0.5 * 24.0)
    for litres_per_kwh, kwh_per_litre in ((1.30, 0.769), (1.57, 0.637)):
        load = plain.model_copy(update={"room_m3": room_m3, "litres_per_kwh": litres_per_kwh})
        (asked,) = dry_days(load, day, warm, warm, np.full(24, 80.0)).values()
        assert asked.water_litres == pytest.approx(11.83, abs=0.01)
        kwh = asked.needed_h * load.watts / 1000.0
        assert kwh / asked.water_litres == pytest.approx(kwh_per_litre, abs=0.001)
        if litres_per_kwh == 1.30:
            assert kwh == pytest.approx(9.10, abs=0.01)


def test_condensing_gives_off_the_heat_of_the_steam_tables():
    # H-13: 0.683 kWh a litre at 18.3 C (steam tables fit), so that 1.30 L/kWh is a ratio of 0.89.
    fit_kwh_per_litre = (2501.0 - 2.361 * 18.3) / 3600.0
    assert fit_kwh_per_litre == pytest.approx(LATENT_KWH_PER_LITRE, abs=0.005)
    ratio = 1.30 * LATENT_KWH_PER_LITRE
    assert ratio == pytest.approx(0.89, abs=0.005)
