from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.errors import WeatherFileError
from scheduler.sun.forecast import Forecast
from scheduler.sun.skies import hourly_mean, quarter_middles, sun_path
from scheduler.sun.suns import ThreeSuns, build_suns
from scheduler.sun.weather import read_weather
from scheduler.timegrid import Grid
from scheduler.yard.models import Array, Bank, Inverter, Outlet, Shade, Site, Visits, Yard

FORECASTS = Path(__file__).parents[2] / "forecasts"
STORE = Site(
    latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York", shed_offset_c=3.0
)
KOLKATA = Site(latitude=22.57, longitude=88.36, timezone="Asia/Kolkata")
SOUTH = Array(name="south", panels=6, panel_w=400.0, tilt_deg=25.0, azimuth_deg=180.0, mounting="close_roof")
WEST = Array(
    name="west",
    panels=4,
    panel_w=400.0,
    tilt_deg=25.0,
    azimuth_deg=270.0,
    input_limit_w=1000.0,
    shade=(Shade(between=("16:00", "19:00"), lost_pct=40.0),),
)
START = dt.datetime(2027, 6, 8, 4, tzinfo=dt.UTC)


def yard(site: Site = STORE, arrays: tuple[Array, ...] = (SOUTH, WEST)) -> Yard:
    return Yard(
        site=site,
        arrays=arrays,
        bank=Bank(modules_wh=(5000.0,), reserve_pct=20.0, level_pct=60.0),
        inverter=Inverter(continuous_w=2000.0),
        outlets=(Outlet(name="wall", kind="ac"),),
        visits=Visits(times=()),
    )


def grid(step_minutes: int = 60, hours: float = 48.0, start: dt.datetime = START) -> Grid:
    return Grid(start, step_minutes, int(hours * 60 / step_minutes), ZoneInfo("America/New_York"))


def suns(file: str, on: Grid) -> ThreeSuns:
    return build_suns(yard(), on, read_weather(FORECASTS / file, STORE))


def forecast(site: Site, begins: dt.datetime, hours: int, clearness: float, **columns: Any) -> Forecast:
    index = pd.date_range(begins, periods=hours, freq="h")
    above = hourly_mean(sun_path(site, quarter_middles(index)).extra_horizontal_w_m2)
    return Forecast(
        Path("f.csv"), site, pd.DataFrame({"ghi_w_m2": clearness * above, **columns}, index=index)
    )


@pytest.mark.parametrize("file", ["field-edge-three-days.csv", "greensboro-tmy3.csv"])
@pytest.mark.parametrize("step_minutes", [60, 30, 15])
def test_the_demonstration_weather_gives_three_suns_in_order(file, step_minutes):
    three = suns(file, grid(step_minutes))
    assert (three.dull_w <= three.likely_w).all()
    assert (three.likely_w <= three.bright_w).all()
    assert three.dull_w.sum() < 0.85 * three.likely_w.sum()
    assert three.bright_w.sum() > 1.1 * three.likely_w.sum()
    assert (three.dull_w >= 0.0).all()
    # 4 kW of panels on two days of June bring some 20 to 50 kWh.
    assert 20_000.0 < three.grid.energy_wh(three.likely_w).sum() < 50_000.0


@pytest.mark.parametrize("file", ["field-edge-three-days.csv", "greensboro-tmy3.csv"])
def test_the_step_hardly_changes_the_energy(file):
    hourly, quarterly = (suns(file, grid(step_minutes)) for step_minutes in (60, 15))
    for name, power_w in hourly.by_name.items():
        energy_wh = quarterly.grid.energy_wh(quarterly.by_name[name]).sum()
        assert hourly.grid.energy_wh(power_w).sum() == pytest.approx(energy_wh, rel=0.01)


def test_a_plan_may_begin_between_two_hours():
    whole = suns("field-edge-three-days.csv", grid(15))
    shifted = suns("field-edge-three-days.csv", grid(15, 24.0, START + dt.timedelta(minutes=45)))
    assert shifted.likely_w == pytest.approx(whole.likely_w[3 : 3 + 96])
    off_hour = suns("field-edge-three-days.csv", grid(60, 24.0, START + dt.timedelta(minutes=45)))
    assert off_hour.likely_w.sum() == pytest.approx(
        whole.likely_w[3 : 3 + 96].reshape(24, 4).mean(axis=1).sum(), rel=0.01
    )


def test_the_shed_is_the_air_and_its_offset():
    weather = read_weather(FORECASTS / "field-edge-three-days.csv", STORE)
    three = build_suns(yard(), grid(), weather)
    assert three.shed_temp_c[0] == pytest.approx(17.8 + 3.0)
    off_hour = build_suns(yard(), grid(60, 24.0, START + dt.timedelta(minutes=90)), weather)
    assert off_hour.shed_temp_c[0] == pytest.approx((17.8 + 18.3) / 2.0 + 3.0)


def test_the_source_says_which_file_and_which_days():
    assert suns("field-edge-three-days.csv", grid()).source == "forecast file field-edge-three-days.csv"
    assert suns("greensboro-tmy3.csv", grid()).source == "typical year 723170 (TMY3), days around 8 June"


def test_a_plan_beyond_the_forecast_is_refused():
    with pytest.raises(WeatherFileError, match="covers Tue 08 Jun 2027 00:00 to Fri 11 Jun 2027 00:00"):
        suns("field-edge-three-days.csv", grid(60, 73.0))


def test_suns_peak_at_the_suns_noon_in_a_half_hour_zone():
    midnight = dt.datetime(2027, 3, 20, 18, 30, tzinfo=dt.UTC)  # in Kolkata
    weather = forecast(KOLKATA, midnight, 24, 0.7)
    india = Grid(midnight, 30, 48, KOLKATA.zone)
    level = SOUTH.model_copy(update={"tilt_deg": 0.0})
    three = build_suns(yard(KOLKATA, (level,)), india, weather)
    # Noon of the sun at 88.36 E by the clock of 82.5 E: 23.4 minutes early, 7.5 late by the equation of time.
    centre_h = np.average((np.arange(48) + 0.5) / 2.0, weights=three.likely_w)
    assert centre_h == pytest.approx(12.0 - (23.4 - 7.5) / 60.0, abs=0.05)


@pytest.mark.parametrize(
    "day", [dt.datetime(2027, 3, 14, 5, tzinfo=dt.UTC), dt.datetime(2027, 11, 7, 4, tzinfo=dt.UTC)]
)
def test_days_of_23_and_25_hours_are_suns_like_others(day):
    three = suns("greensboro-tmy3.csv", grid(60, 48.0, day))
    noon_utc_h = 12.0 + 79.95 / 15.0
    hours = np.array(
        [(three.grid.edge(index) - day.replace(hour=0)).total_seconds() / 3600.0 + 0.5 for index in range(24)]
    )
    assert np.average(hours, weights=three.bright_w[:24]) == pytest.approx(noon_utc_h, abs=0.75)
    assert not three.likely_w[0]


def test_a_clear_sky_on_a_level_plane_gives_global_irradiance_before_losses_and_heat():
    weather = forecast(STORE, START, 24, 0.7, temp_c=20.0)
    level = Array(
        name="level",
        panels=1,
        panel_w=1000.0,
        tilt_deg=0.0,
        azimuth_deg=0.0,
        losses_pct=0.0,
        temp_coeff_pct_per_c=0.0,
    )
    three = build_suns(yard(STORE, (level,)), grid(60, 24.0), weather)
    assert three.likely_w == pytest.approx(weather.table["ghi_w_m2"].to_numpy())


def test_known_components_are_used_for_the_likely_sun():
    plain = forecast(STORE, START, 24, 0.6, temp_c=20.0)
    sunlit = plain.table["ghi_w_m2"] > 100.0
    diffuse = plain.table["ghi_w_m2"].where(~sunlit, 50.0)
    known = Forecast(plain.path, STORE, plain.table.assign(dhi_w_m2=diffuse))
    east = SOUTH.model_copy(update={"tilt_deg": 60.0, "azimuth_deg": 90.0})
    by_plain, by_known = (
        build_suns(yard(STORE, (east,)), grid(60, 24.0), weather) for weather in (plain, known)
    )
    assert by_known.likely_w[8:12].sum() > 1.05 * by_plain.likely_w[8:12].sum()
    assert by_known.likely_w[15:19].sum() < 0.5 * by_plain.likely_w[15:19].sum()


@settings(max_examples=15, deadline=None)
@given(
    ghi=st.lists(st.floats(0.0, 1500.0), min_size=24, max_size=24),
    dull_share=st.floats(0.0, 1.0),
    hour=st.integers(0, 23),
    tilt_deg=st.sampled_from([0.0, 45.0, 90.0]),
    azimuth_deg=st.sampled_from([0.0, 90.0, 270.0]),
)
def test_the_three_suns_keep_their_order_under_any_sky(ghi, dull_share, hour, tilt_deg, azimuth_deg):
    likely = np.array(ghi)
    columns = {"ghi_w_m2": likely, "ghi_dull_w_m2": dull_share * likely, "dhi_w_m2": 0.3 * likely}
    start = START + dt.timedelta(hours=hour)
    table = pd.DataFrame(columns, index=pd.date_range(start, periods=24, freq="h"))
    roof = SOUTH.model_copy(update={"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg})
    three = build_suns(yard(STORE, (roof,)), grid(30, 24.0, start), Forecast(Path("f.csv"), STORE, table))
    assert (three.dull_w <= three.likely_w).all()
    assert (three.likely_w <= three.bright_w).all()
    assert (three.dull_w >= 0.0).all()


def test_weather_with_a_hole_never_becomes_a_sun():
    table = pd.DataFrame(
        {"ghi_w_m2": [100.0, np.nan, 100.0], "ghi_dull_w_m2": 50.0, "ghi_bright_w_m2": 200.0},
        index=pd.date_range(START + dt.timedelta(hours=10), periods=3, freq="h"),
    )
    with pytest.raises(ValueError, match="not a number"):
        build_suns(
            yard(), grid(60, 3.0, START + dt.timedelta(hours=10)), Forecast(Path("f.csv"), STORE, table)
        )
