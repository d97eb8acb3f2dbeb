from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.sun.arraypower import (
    Air,
    Radiation,
    array_power_w,
    arrays_power_w,
    behind_inputs_w,
    complete_radiation,
    plane_irradiance_w_m2,
)
from scheduler.sun.ongrid import step_middles
from scheduler.sun.skies import SunPath, sun_path
from scheduler.timegrid import Grid
from scheduler.yard.models import Array, Shade, Site

ZONE = ZoneInfo("America/New_York")
STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
DAY = Grid(dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC), 60, 24, ZONE)


def array(**changes: Any) -> Array:
    plain = {"name": "roof", "panels": 10, "panel_w": 400.0, "tilt_deg": 25.0, "azimuth_deg": 180.0}
    return Array(**(plain | changes))


def sun_over(grid: Grid = DAY, site: Site = STORE) -> SunPath:
    return sun_path(site, step_middles(grid))


def cloudless(sun: SunPath, clearness: float = 0.7) -> Radiation:
    return complete_radiation(sun, clearness * sun.extra_horizontal_w_m2)


def mild(grid: Grid = DAY, temp_c: float = 20.0) -> Air:
    return Air(np.full(grid.n_steps, temp_c), np.full(grid.n_steps, 1.0))


def day_power_w(**changes: Any) -> np.ndarray:
    sun = sun_over()
    return array_power_w(array(**changes), DAY, sun, cloudless(sun), mild())


# Splitting and closing


def test_global_irradiance_is_split_so_that_its_parts_close():
    sun = sun_over()
    sky = cloudless(sun)
    height = np.maximum(np.cos(np.radians(sun.zenith_seen_deg)), 0.0)
    assert sky.dni_w_m2 * height + sky.dhi_w_m2 == pytest.approx(sky.ghi_w_m2)
    assert sky.dni_w_m2.max() > 600.0


def test_a_duller_sky_has_the_larger_share_of_diffuse():
    sun = sun_over()
    shares = [cloudless(sun, clearness) for clearness in (0.2, 0.45, 0.7)]
    diffuse = [sky.dhi_w_m2.sum() / sky.ghi_w_m2.sum() for sky in shares]
    assert diffuse[0] > 0.95
    assert diffuse[0] > diffuse[1] > diffuse[2]


@pytest.mark.parametrize("known", ["dni", "dhi"])
def test_one_known_component_gives_back_the_other(known):
    sun = sun_over()
    whole = cloudless(sun)
    part = {f"{known}_w_m2": getattr(whole, f"{known}_w_m2")}
    closed = complete_radiation(sun, whole.ghi_w_m2, **part)
    high = sun.zenith_seen_deg < 88.0
    assert closed.dni_w_m2[high] == pytest.approx(whole.dni_w_m2[high], abs=1e-6)
    assert closed.dhi_w_m2[high] == pytest.approx(whole.dhi_w_m2[high], abs=1e-6)


def test_a_low_sun_does_not_blow_up_the_direct_component():
    sun = sun_over()
    closed = complete_radiation(sun, np.full(24, 50.0), dhi_w_m2=np.full(24, 10.0))
    low = sun.zenith_seen_deg > 88.0
    assert (closed.dni_w_m2[low] == 0.0).all()
    assert (closed.dhi_w_m2[low] == 50.0).all()


def test_direct_sun_stronger_than_above_the_atmosphere_is_taken_for_diffuse():
    sun = sun_path(STORE, pd.DatetimeIndex(["2027-06-09T10:25Z"]))
    assert 85.0 < sun.zenith_seen_deg[0] < 88.0
    closed = complete_radiation(sun, np.array([150.0]), dhi_w_m2=np.array([10.0]))
    assert (closed.dni_w_m2[0], closed.dhi_w_m2[0]) == (0.0, 150.0)


def test_more_diffuse_than_global_is_all_diffuse():
    closed = complete_radiation(sun_over(), np.full(24, 50.0), dhi_w_m2=np.full(24, 60.0))
    assert not closed.dni_w_m2.any()
    assert (closed.dhi_w_m2 == 50.0).all()


@pytest.mark.parametrize("name", ["ghi_w_m2", "dni_w_m2", "dhi_w_m2"])
def test_what_is_not_a_number_is_refused(name):
    given_ = {"ghi_w_m2": np.full(24, 50.0)} | {name: np.full(24, np.nan)}
    with pytest.raises(ValueError, match=f"{name[:3]}: a value is not a number"):
        complete_radiation(sun_over(), **given_)


@pytest.mark.parametrize("where", ["temp_c", "wind_m_s"])
def test_air_that_is_not_a_number_is_refused(where):
    sun = sun_over()
    air = Air(**({"temp_c": np.full(24, 20.0), "wind_m_s": np.full(24, 1.0)} | {where: np.full(24, np.nan)}))
    with pytest.raises(ValueError, match="roof: a value is not a number"):
        array_power_w(array(), DAY, sun, cloudless(sun), air)


# On the plane


def test_a_level_plane_gets_the_global_irradiance():
    sun = sun_over()
    sky = cloudless(sun)
    assert plane_irradiance_w_m2(0.0, 180.0, sun, sky) == pytest.approx(sky.ghi_w_m2)


def test_an_east_plane_has_its_sun_before_a_west_plane():
    sun = sun_over()
    hour = np.arange(24)
    east, west = (plane_irradiance_w_m2(60.0, azimuth, sun, cloudless(sun)) for azimuth in (90.0, 270.0))
    assert np.average(hour, weights=west) - np.average(hour, weights=east) > 3.0


@pytest.mark.parametrize("shift_min", [-30, 30])
def test_a_sun_half_an_hour_off_makes_the_plane_worse(shift_min):
    # Truth: five-minute steps of an unchanging sky; compared: hourly means with the sun at mid-hour, and off
    # it.
    fine = pd.date_range(DAY.start, periods=288, freq="5min") + pd.Timedelta(seconds=150)
    sky = cloudless(sun_path(STORE, fine))
    truth = plane_irradiance_w_m2(35.0, 90.0, sun_path(STORE, fine), sky).reshape(24, 12).mean(axis=1)
    hourly = sky.ghi_w_m2.reshape(24, 12).mean(axis=1)

    def error(moments: pd.DatetimeIndex) -> float:
        sun = sun_path(STORE, moments)
        return float(
            np.abs(plane_irradiance_w_m2(35.0, 90.0, sun, complete_radiation(sun, hourly)) - truth).mean()
        )

    assert error(step_middles(DAY)) < 0.3 * error(step_middles(DAY) + pd.Timedelta(minutes=shift_min))


def test_a_setting_sun_does_not_blow_up_the_plane():
    sun = sun_path(STORE, pd.DatetimeIndex(["2027-06-09T10:07Z"]))  # just risen
    assert 88.0 < sun.zenith_seen_deg[0] < 90.0
    much = Radiation(*(np.array([watts]) for watts in (300.0, 900.0, 300.0)))
    assert plane_irradiance_w_m2(90.0, 62.0, sun, much)[0] == sun.extra_normal_w_m2[0]


# Behind the controller


def test_hot_cells_give_less():
    sun = sun_over()
    cold, hot = (
        array_power_w(array(), DAY, sun, cloudless(sun), mild(temp_c=temp_c)) for temp_c in (0.0, 35.0)
    )
    # 35 degrees at 0.4 % each.
    assert hot.max() / cold.max() == pytest.approx(1.0 - 0.14, abs=0.02)


def test_panels_flat_on_a_roof_give_less_than_on_an_open_rack():
    energy = {
        mounting: day_power_w(mounting=mounting).sum()
        for mounting in ("open_rack", "close_roof", "insulated_back")
    }
    assert energy["open_rack"] > energy["close_roof"] > energy["insulated_back"]


def test_losses_take_their_share():
    assert day_power_w(losses_pct=20.0) == pytest.approx(0.8 * day_power_w(losses_pct=0.0))
    assert day_power_w(losses_pct={"dirt": 10.0, "wires": 10.0}) == pytest.approx(
        0.81 * day_power_w(losses_pct=0.0)
    )


def test_power_is_clipped_at_the_controllers_input():
    free, clipped = day_power_w(), day_power_w(input_limit_w=1500.0)
    assert free.max() > 1500.0
    assert clipped == pytest.approx(np.minimum(free, 1500.0))


def test_shade_comes_before_the_controllers_limit():
    noon = (Shade(between=("12:00", "13:00"), lost_pct=50.0),)
    free = day_power_w()
    assert day_power_w(shade=noon, input_limit_w=1200.0)[12] == pytest.approx(min(0.5 * free[12], 1200.0))
    assert day_power_w(shade=noon, input_limit_w=1200.0)[12] == 1200.0


def test_arrays_add_up():
    sun = sun_over()
    both = (array(), array(azimuth_deg=270.0, input_limit_w=900.0))
    each = [array_power_w(one, DAY, sun, cloudless(sun), mild()) for one in both]
    assert arrays_power_w(both, DAY, sun, cloudless(sun), mild()) == pytest.approx(each[0] + each[1])


def both_power_w(**input_keys: Any) -> tuple[np.ndarray, np.ndarray]:
    """An east and a west array: what the panels of each could give added up, and what comes of it."""
    sun = sun_over()
    sky = cloudless(sun)
    planes = ({"azimuth_deg": 90.0}, {"azimuth_deg": 270.0, "panels": 5})
    free = [array_power_w(array(**plane), DAY, sun, sky, mild()) for plane in planes]
    arrays = tuple(
        array(**plane, **{key: value[place] for key, value in input_keys.items() if value[place] is not None})
        for place, plane in enumerate(planes)
    )
    return free[0] + free[1], arrays_power_w(arrays, DAY, sun, sky, mild())


def test_arrays_on_one_input_are_clipped_together():
    free, power = both_power_w(input=("1", "1"), input_limit_w=(2500.0, 2500.0))
    assert free.max() > 3500.0
    assert power == pytest.approx(np.minimum(free, 2500.0))


def test_the_smallest_limit_given_for_an_input_counts_for_all_of_it():
    for limits in ((2500.0, None), (None, 2500.0), (2500.0, 2600.0), (9000.0, 2500.0)):
        free, power = both_power_w(input=("1", "1"), input_limit_w=limits)
        assert power == pytest.approx(np.minimum(free, 2500.0))
    free, power = both_power_w(input=("1", "1"))
    assert power == pytest.approx(free)


@pytest.mark.parametrize("names", [("1", "2"), (None, None), ("1", None)])
def test_arrays_on_inputs_of_their_own_are_clipped_each(names):
    limit_w = 1500.0
    sun = sun_over()
    sky = cloudless(sun)
    planes = ({"azimuth_deg": 90.0}, {"azimuth_deg": 270.0, "panels": 5})
    each = [array_power_w(array(**plane, input_limit_w=limit_w), DAY, sun, sky, mild()) for plane in planes]
    assert each[0].max() == limit_w
    _, power = both_power_w(input=names, input_limit_w=(limit_w, limit_w))
    assert power == pytest.approx(each[0] + each[1])
    assert power.max() > limit_w


@given(
    watts=st.lists(st.lists(st.floats(0.0, 5000.0), min_size=6, max_size=6), min_size=1, max_size=4),
    inputs=st.lists(st.sampled_from([None, "1", "2"]), min_size=4, max_size=4),
    limits=st.lists(st.none() | st.floats(1.0, 4000.0), min_size=4, max_size=4),
)
def test_what_is_clipped_together_is_never_more_than_what_is_clipped_each(watts, inputs, limits):
    panels_w = [np.array(one) for one in watts]
    apart = [array(input_limit_w=limit) for limit in limits[: len(watts)]]
    shared = [one.model_copy(update={"input": name}) for one, name in zip(apart, inputs, strict=False)]
    together_w = behind_inputs_w(shared, panels_w)
    assert (together_w <= behind_inputs_w(apart, panels_w) * (1 + 1e-12) + 1e-9).all()
    assert (together_w >= 0.0).all()


def test_polar_night_gives_nothing():
    winter = Grid(dt.datetime(2027, 12, 20, tzinfo=dt.UTC), 60, 48, ZoneInfo("Europe/Oslo"))
    north = Site(latitude=78.2, longitude=15.6, timezone="Europe/Oslo")
    sun = sun_over(winter, north)
    sky = complete_radiation(sun, np.zeros(48))
    assert not array_power_w(array(), winter, sun, sky, mild(winter)).any()


@settings(max_examples=30, deadline=None)
@given(
    latitude=st.sampled_from([-45.0, 0.0, 36.1, 70.0]),
    day=st.integers(0, 364),
    tilt_deg=st.sampled_from([0.0, 25.0, 60.0, 90.0]),
    azimuth_deg=st.sampled_from([0.0, 90.0, 180.0, 270.0]),
    clearness=st.lists(st.floats(0.0, 0.82), min_size=24, max_size=24),
    temp_c=st.sampled_from([-20.0, 0.0, 40.0]),
    components=st.booleans(),
)
def test_power_lies_between_nothing_and_what_cold_panels_can_give(
    latitude, day, tilt_deg, azimuth_deg, clearness, temp_c, components
):
    grid = Grid(dt.datetime(2027, 1, 1, tzinfo=dt.UTC) + dt.timedelta(days=day), 60, 24, ZONE)
    sun = sun_over(grid, Site(latitude=latitude, longitude=0.0, timezone="UTC"))
    ghi = np.array(clearness) * sun.extra_horizontal_w_m2
    sky = complete_radiation(sun, ghi, dhi_w_m2=0.2 * ghi) if components else complete_radiation(sun, ghi)
    roof = array(tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    power_w = array_power_w(roof, grid, sun, sky, mild(grid, temp_c))
    assert (power_w >= 0.0).all()
    assert (power_w <= 1.3 * roof.rated_w).all()
