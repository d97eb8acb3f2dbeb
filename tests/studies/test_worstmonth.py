"""The worst-month method on a yard: whose energy is counted, and how."""

from __future__ import annotations

from pathlib import Path

import pytest

from scheduler.studies.worstmonth import Step, machine_daily_wh, month_suns, worst_month
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Array, HouseLoad, Machine, Need
from tests.studies.small_yard import greensboro, small_yard

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def steps() -> dict[str, Step]:
    yard = read_yard(ROOT / "fleets" / "field-edge.toml")
    year = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", yard.site)
    return {step.name: step for step in worst_month(yard, year).steps}  # type: ignore[arg-type]


def cart(**need: object) -> Machine:
    return Machine(name="cart", battery_wh=2000.0, charger_w=200.0, charge_pct=50.0, needs=(Need(**need),))  # type: ignore[arg-type]


def test_a_weeks_work_is_spread_over_seven_days() -> None:
    assert machine_daily_wh(cart(ready_by="07:00", energy_wh=700.0)) == pytest.approx(700.0)
    assert machine_daily_wh(
        cart(ready_by="07:00", weekdays=("tue", "sat"), energy_wh=700.0)
    ) == pytest.approx(200.0)


def test_a_dated_need_and_a_mere_charge_level_take_nothing_every_day() -> None:
    assert machine_daily_wh(cart(ready_by="2027-06-09 07:00", energy_wh=700.0)) == 0.0
    assert machine_daily_wh(cart(ready_by="07:00", charge_pct=80.0)) == 0.0


def test_an_ac_machine_pays_charger_and_inverter_and_a_dc_one_its_charger(steps: dict[str, Step]) -> None:
    assert steps["two-wheel tractor"].value == pytest.approx(3 / 7 * 4400.0 / 0.91 / 0.91, rel=1e-9)
    assert steps["seed-bed pump"].value == pytest.approx(380.0 / 0.93, rel=1e-9)


def test_the_daily_load_is_the_sum_of_the_steps_before_it(steps: dict[str, Step]) -> None:
    names = list(steps)
    parts = [steps[name].value for name in names[: names.index("daily load")]]
    assert len(parts) == 12
    assert steps["daily load"].value == pytest.approx(sum(parts), rel=1e-12)


def test_every_step_says_how_it_comes_about_and_where_it_stands(steps: dict[str, Step]) -> None:
    assert all(step.equation and step.source for step in steps.values())


def test_only_a_lead_acid_bank_pays_for_the_cold(steps: dict[str, Step]) -> None:
    asked, cold = steps["bank asked for"].value, steps["bank, if lead-acid"].value
    assert cold == pytest.approx(1.59 * asked)
    assert steps["coldest day in the shed"].value < -6.7


def test_a_dehumidifier_that_follows_the_weather_counts_with_its_whole_window() -> None:
    yard = read_yard(ROOT / "fleets" / "field-edge.toml")
    dryer = HouseLoad(name="dryer", watts=200.0, wanted_rh_pct=55.0, room_m3=50.0, window=("08:00", "14:00"))
    yard = yard.model_copy(update={"house_loads": (dryer,), "machines": ()})
    year = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", yard.site)
    (dried,) = [step for step in worst_month(yard, year).steps if step.name == "dryer"]  # type: ignore[arg-type]
    assert dried.value == pytest.approx(200.0 * 6.0 / yard.inverter.efficiency)


def test_arrays_on_one_input_bring_a_month_what_the_input_takes_from_both() -> None:
    plane = {"panels": 1, "panel_w": 200.0, "tilt_deg": 30.0, "input_limit_w": 150.0}
    east, west = (Array(name=f"{azimuth}", azimuth_deg=azimuth, **plane) for azimuth in (120.0, 240.0))
    apart, shared = (
        small_yard(arrays=tuple(array.model_copy(update={"input": name}) for array in (east, west)))
        for name in (None, "1")
    )
    for own, together in zip(month_suns(apart, greensboro()), month_suns(shared, greensboro()), strict=True):
        assert together.peak_sun_h == own.peak_sun_h
        assert together.array_wh < 0.9 * own.array_wh
