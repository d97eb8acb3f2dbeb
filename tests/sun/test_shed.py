"""The shed's temperature, against solutions of its equation worked out by hand."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from scheduler.sun.forecast import Forecast
from scheduler.sun.shed import (
    climate_notes,
    house_heat_w,
    lagged_temp_c,
    shed_climate,
    shed_notes,
    shed_temp_c,
)
from scheduler.sun.suns import build_suns
from scheduler.timegrid import Grid
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import HouseLoad, Inverter, Site, Yard

DEMO = read_yard(Path(__file__).parents[2] / "fleets" / "field-edge.toml")
ZONE = ZoneInfo("America/New_York")
MIDNIGHT = dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC)
DAY = Grid(MIDNIGHT, 60, 24, ZONE)
NO_SUN = np.zeros(24)


def site(**changes: Any) -> Site:
    return Site(latitude=36.1, longitude=-79.95, timezone="America/New_York", **changes)


def yard(*loads: HouseLoad, inverter: dict[str, Any] | None = None, **shed: Any) -> Yard:
    plain = {"continuous_w": 2000.0, "efficiency_pct": 91.0, "idle_w": 28.0}
    changes = {"site": site(**shed), "house_loads": loads, "inverter": Inverter(**(plain | (inverter or {})))}
    return DEMO.model_copy(update=changes)


def hours(temp_c: float | np.ndarray, ghi_w_m2: float = 0.0, n: int = 24, **columns: Any) -> pd.DataFrame:
    index = pd.date_range(MIDNIGHT, periods=n, freq="h")
    return pd.DataFrame({"temp_c": temp_c, "ghi_w_m2": ghi_w_m2, **columns}, index=index)


# The lump of heat


def test_without_figures_of_its_own_the_shed_is_the_air_and_its_offset():
    air_c = np.linspace(-5.0, 30.0, 24)
    found = shed_temp_c(site(shed_offset_c=2.0), air_c, np.full(24, 900.0), np.full(24, 400.0))
    assert found == pytest.approx(air_c + 2.0)


def test_a_step_is_followed_as_its_exponential_says():
    # Two hours of lag; a day at 0 C, then 10 C: means of 10 (1 - 2 (e^(-k/2) - e^(-(k+1)/2))).
    towards = np.concatenate([np.zeros(24), np.full(24, 10.0)])
    found = lagged_temp_c(towards, 2.0)
    assert found[:24] == pytest.approx(0.0, abs=1e-12)
    assert found[24:27] == pytest.approx([2.1306, 5.2270, 7.1051], abs=1e-4)


def test_a_daily_wave_is_damped_and_late_as_its_frequency_response_says():
    # omega tau = 2 pi 4 / 24: amplitude 1 / sqrt(1 + 1.0966) = 0.6906, late by atan(1.0472) = 3.088 h.
    at_h = np.arange(72) + 0.5
    found = lagged_temp_c(20.0 + 8.0 * np.cos(2.0 * np.pi * (at_h - 15.0) / 24.0), 4.0)
    waves = np.exp(2j * np.pi * at_h / 24.0)
    first = 2.0 * (found * waves.conj()).mean()
    assert np.abs(first) / 8.0 == pytest.approx(0.6906, abs=0.01)
    assert (-np.angle(first) * 24.0 / (2.0 * np.pi)) % 24.0 == pytest.approx(15.0 + 3.088, abs=0.05)


@pytest.mark.parametrize("lag_h", [0.2, 3.0, 30.0])
def test_a_day_that_repeats_is_the_same_from_its_first_hour_on(lag_h):
    one_day = 20.0 + 8.0 * np.cos(2.0 * np.pi * np.arange(24) / 24.0) + np.arange(24) % 5
    found = lagged_temp_c(np.tile(one_day, 3), lag_h)
    assert found[:24] == pytest.approx(found[48:], abs=1e-9)
    assert found.mean() == pytest.approx(one_day.mean())


def test_the_solution_is_that_of_small_steps():
    towards = np.random.default_rng(3).uniform(-10.0, 40.0, 48)
    at_c, small_c = 0.0, []
    # The first day over and over, until nothing is left of how it began; then both days.
    for hour_c in [*np.tile(towards[:24], 3), *towards]:
        within_c = []
        for _ in range(720):
            within_c.append(at_c)
            at_c += (hour_c - at_c) / (5.0 * 720.0)
        small_c.append(np.mean(within_c))
    assert lagged_temp_c(towards, 5.0) == pytest.approx(small_c[72:], abs=0.02)


def test_the_sun_on_the_roof_and_the_heat_inside_add_up():
    figures = site(shed_sun_c=12.0, shed_loss_w_per_c=250.0, shed_offset_c=1.0)
    found = shed_temp_c(figures, np.full(24, 20.0), np.full(24, 500.0), np.full(24, 400.0))
    # 20 + 1 + 12 x 0.5 + 400 / 250
    assert found == pytest.approx(28.6)


# What runs inside


def test_the_house_warms_the_shed_by_what_it_draws_and_the_inverter_by_its_losses():
    fridge = HouseLoad(name="fridge", watts=64.0, always_on=True)
    dryer = HouseLoad(name="dryer", watts=320.0, hours_per_day=6.0, window=("08:00", "20:00"))
    heat = house_heat_w(yard(fridge, dryer), DAY, {})
    # By night 64 / 0.91 + 28, in the window (64 + 320 / 2) / 0.91 + 28.
    assert heat[[0, 7, 20]].tolist() == pytest.approx([98.33] * 3, abs=0.01)
    assert heat[[8, 19]].tolist() == pytest.approx([274.15] * 2, abs=0.01)


def test_what_stands_outside_leaves_only_the_inverters_loss():
    pump = HouseLoad(name="pump", watts=182.0, always_on=True, outside=True)
    assert house_heat_w(yard(pump), DAY, {})[0] == pytest.approx(28.0 + 18.0)


def test_an_inverter_that_is_switched_off_gives_no_heat():
    fan = HouseLoad(name="fan", watts=91.0, hours_per_day=2.0, window=("10:00", "12:00"))
    heat = house_heat_w(yard(fan, inverter={"off_when_unused": True}), DAY, {})
    assert heat[9:13].tolist() == pytest.approx([0.0, 128.0, 128.0, 0.0])


def test_a_dehumidifier_gives_off_the_heat_of_its_water_too():
    dryer = HouseLoad(name="dryer", watts=300.0, wanted_rh_pct=50.0, room_m3=60.0)
    heat = house_heat_w(yard(dryer, inverter={"efficiency_pct": 100.0, "idle_w": 0.0}), DAY, {"dryer": 8.0})
    # A third of the day: 100 W, and 1.3 L/kWh x 0.683 kWh/L of it besides.
    assert heat[0] == pytest.approx(100.0 * (1.0 + 0.8879))


def test_a_dehumidifiers_own_heat_warms_the_shed_but_does_not_shorten_its_hours():
    dryer = HouseLoad(name="dryer", watts=300.0, wanted_rh_pct=50.0, room_m3=60.0)
    humid = hours(25.0, rh_pct=80.0)
    plain, warmed = (shed_climate(yard(dryer, **shed), humid) for shed in ({}, {"shed_loss_w_per_c": 100.0}))
    idle_c = 28.0 / 100.0
    assert warmed.temp_c.min() > plain.temp_c.min() + idle_c + 1.0
    cooler = shed_climate(yard(dryer, shed_offset_c=idle_c), humid).drying
    assert warmed.drying["dryer"][dt.date(2027, 6, 9)] == cooler["dryer"][dt.date(2027, 6, 9)]


# In the suns, and in words


def test_the_suns_carry_the_sheds_temperature_on_the_plans_steps():
    table = hours(np.arange(48.0), 0.0, 48)
    warm = yard(shed_lag_h=3.0)
    half_hours = Grid(MIDNIGHT + dt.timedelta(hours=6, minutes=30), 30, 40, ZONE)
    found = build_suns(warm, half_hours, Forecast(Path("f.csv"), warm.site, table)).shed_temp_c
    # The forecast's first hours are not part of the plan: the lag begins with the plan's own first day.
    by_hour = lagged_temp_c(np.arange(6.0, 27.0), 3.0)
    assert found[:4] == pytest.approx([by_hour[0], by_hour[1], by_hour[1], by_hour[2]])


def test_hours_too_cold_and_too_hot_to_charge_are_told_with_their_times():
    temp = np.full(24, 20.0)
    temp[2:5] = [-1.0, -3.4, -0.1]
    temp[14:16] = [45.2, 46.0]
    cold, hot = shed_notes(site(shed_sun_c=5.0), DAY, temp)
    assert cold == (
        "the shed is below 0 C for 3 h (down to -3 C): Wed 02:00 to 05:00; no lithium battery is charged then"
    )
    assert hot.startswith("the shed is above 45 C for 2 h (up to 46 C): Wed 14:00 to 16:00;")


def test_the_limits_themselves_are_not_too_cold_and_not_too_hot():
    assert not list(shed_notes(site(shed_sun_c=5.0), DAY, np.array([0.0, 45.0] * 12)))


def test_many_spells_are_counted_and_half_hours_too():
    fine = Grid(MIDNIGHT, 30, 48, ZONE)
    (note,) = shed_notes(site(), fine, np.where(np.arange(48) % 8 == 0, -1.0, 5.0))
    assert "for 3 h" in note
    assert note.count(" to ") == 4  # "down to" and three spells
    assert "and 3 times more" in note


def test_a_hot_day_in_a_shed_that_is_taken_for_open_is_questioned():
    (note,) = shed_notes(site(), DAY, np.full(24, 36.0))
    assert "12 degrees warmer" in note
    assert "shed_sun_c" in note
    assert not list(shed_notes(site(), DAY, np.full(24, 33.0)))
    assert not list(shed_notes(site(shed_sun_c=9.0), DAY, np.full(24, 36.0)))


def test_the_demo_has_nothing_to_tell_of_its_shed():
    assert climate_notes(DEMO, DAY, np.full(24, 25.0), {}) == ()
