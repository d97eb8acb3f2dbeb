"""What stands between sky and panels, against values worked out by hand and against counting rays."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from pydantic import ValidationError

from scheduler.sun.arraypower import Air, Radiation, array_power_w, plane_light
from scheduler.sun.ongrid import step_middles
from scheduler.sun.shading import (
    beam_seen_fraction,
    clean_fraction,
    horizon_at_deg,
    sky_seen_fraction,
    unshaded_fractions,
)
from scheduler.sun.skies import SunPath, sun_path
from scheduler.timegrid import Grid
from scheduler.yard.models import Array, Shade, Site

ZONE = ZoneInfo("America/New_York")
STORE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")
DAY = Grid(dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC), 60, 24, ZONE)
SUN = sun_path(STORE, step_middles(DAY))
MILD = Air(np.full(24, 20.0), np.full(24, 1.0))
#: Broad daylight all over the place: the parts of it are what is looked at.
SKY = Radiation(np.full(24, 600.0), np.full(24, 500.0), np.full(24, 200.0))


def array(**changes: Any) -> Array:
    plain = {"name": "roof", "panels": 10, "panel_w": 400.0, "tilt_deg": 25.0, "azimuth_deg": 180.0}
    return Array(**(plain | changes))


def power_w(**changes: Any) -> np.ndarray:
    return array_power_w(array(**changes), DAY, SUN, SKY, MILD)


def sun_at(azimuths_deg: list[float], elevations_deg: list[float]) -> SunPath:
    zenith = 90.0 - np.array(elevations_deg)
    moments = pd.date_range(DAY.start, periods=len(zenith), freq="h")
    return SunPath(moments, zenith, zenith, np.array(azimuths_deg), np.full(len(zenith), 1360.0))


# A horizon


def test_the_horizon_runs_straight_between_its_points_and_on_past_north():
    horizon = ((90.0, 10.0), (180.0, 20.0), (270.0, 10.0))
    looked = horizon_at_deg(horizon, np.array([90.0, 135.0, 180.0, 300.0, 0.0, 45.0, 495.0]))
    assert looked.tolist() == pytest.approx([10.0, 15.0, 20.0, 10.0, 10.0, 10.0, 15.0])
    assert horizon_at_deg(((10.0, 7.0),), np.array([0.0, 200.0])).tolist() == [7.0, 7.0]


@pytest.mark.parametrize(
    ("tilt_deg", "height_deg", "seen"),
    [
        # Flat, a ring of height h: cos^2 h.
        (0.0, 30.0, 0.75),
        (0.0, 60.0, 0.25),
        # Upright, a ring of height h: 1 - (2 h + sin 2 h) / pi, h in radians.
        (90.0, 30.0, 1.0 - (np.pi / 3.0 + np.sqrt(3.0) / 2.0) / np.pi),
        (90.0, 45.0, 0.5 - 1.0 / np.pi),
        (35.0, 0.0, 1.0),
    ],
)
def test_an_even_ring_leaves_as_much_of_the_sky_as_worked_out_by_hand(tilt_deg, height_deg, seen):
    assert sky_seen_fraction(tilt_deg, 200.0, ((0.0, height_deg),)) == pytest.approx(seen, abs=1e-4)


def test_a_wall_behind_an_upright_plane_takes_nothing_and_one_before_it_much():
    south_half = ((89.0, 0.0), (91.0, 40.0), (269.0, 40.0), (271.0, 0.0))
    assert sky_seen_fraction(90.0, 0.0, south_half) == pytest.approx(1.0, abs=1e-3)
    # Before it, all round in what it sees: as the ring of 40 degrees.
    ring = 1.0 - (2.0 * np.radians(40.0) + np.sin(np.radians(80.0))) / np.pi
    assert sky_seen_fraction(90.0, 180.0, south_half) == pytest.approx(ring, abs=2e-3)


@pytest.mark.parametrize(("tilt_deg", "azimuth_deg"), [(25.0, 172.0), (60.0, 250.0), (80.0, 20.0)])
def test_the_sky_that_is_seen_is_that_which_rays_count(tilt_deg, azimuth_deg):
    horizon = ((60.0, 5.0), (100.0, 32.0), (140.0, 4.0), (240.0, 4.0), (275.0, 45.0), (300.0, 8.0))
    # Directions spread evenly over the half sphere: even azimuths, even sines of the elevation.
    azimuths, sines = (
        grid.ravel() for grid in np.meshgrid(np.arange(0.25, 360.0, 0.5), np.arange(0.0005, 1.0, 0.001))
    )
    elevations = np.degrees(np.arcsin(sines))
    tilt, up, across = np.radians(tilt_deg), np.radians(elevations), np.radians(azimuths - azimuth_deg)
    facing = np.maximum(np.cos(tilt) * np.sin(up) + np.sin(tilt) * np.cos(up) * np.cos(across), 0.0)
    above = elevations > horizon_at_deg(horizon, azimuths)
    counted = facing[above].sum() / facing.sum()
    assert sky_seen_fraction(tilt_deg, azimuth_deg, horizon) == pytest.approx(counted, abs=3e-4)


def test_the_sun_is_followed_within_a_step_as_it_goes_behind_the_horizon():
    # It sinks 20 degrees a step from 40, and passes 25 degrees a quarter of a step behind the second middle's edge.
    sinking = sun_at([200.0, 215.0, 230.0], [40.0, 20.0, 0.1])
    seen = beam_seen_fraction(((0.0, 25.0),), sinking)
    # From 30 to 10 degrees in the second step: above 25 for the first quarter of it.
    assert seen.tolist() == pytest.approx([1.0, 0.25, 0.0], abs=0.05)


def test_a_narrow_tree_is_seen_between_the_middles_of_two_steps_and_north_is_passed():
    tree = ((354.0, 0.0), (355.0, 80.0), (5.0, 80.0), (6.0, 0.0))
    passing = sun_at([335.0, 350.0, 5.0, 20.0], [30.0] * 4)
    seen = beam_seen_fraction(tree, passing)
    # 15 degrees a step: the tree hides some 11 of them, from 354.4 to 5.6, in the second and third step.
    assert seen.tolist() == pytest.approx([1.0, 1.0 - 3.1 / 15.0, 1.0 - 8.1 / 15.0, 1.0], abs=0.09)


def test_a_step_without_daylight_loses_no_beam():
    assert beam_seen_fraction(((0.0, 10.0),), sun_at([10.0, 20.0], [-30.0, -20.0])).tolist() == [1.0, 1.0]


def test_behind_the_horizon_only_the_open_sky_and_the_ground_are_left():
    ring = ((0.0, 89.9),)
    sky_only = ((0.0, 30.0),)
    light = plane_light(25.0, 180.0, SUN, SKY)
    dark = power_w(horizon_deg=ring)
    # 25 degrees of tilt throw back 600 x 0.2 x (1 - cos 25) / 2 = 5.6 W/m2 of ground, and nothing else is left.
    assert light.ground_w_m2[0] == pytest.approx(5.622, abs=0.001)
    assert dark[14] == pytest.approx(5.622 * 4.0 * (1.0 - 0.1408), rel=0.02)
    # Before 06:30 the sun is below 30 degrees: no beam then, and all of it at noon, with the sky's share gone.
    hidden, open_ = power_w(horizon_deg=sky_only), power_w()
    assert hidden[8] < 0.5 * open_[8]
    assert 0.9 * open_[13] < hidden[13] < open_[13]


def test_a_flat_horizon_changes_nothing():
    assert power_w(horizon_deg=((0.0, 0.0),))[8:20] == pytest.approx(power_w()[8:20])


@pytest.mark.parametrize(
    "horizon", [(), ((10.0, 5.0), (10.0, 6.0)), ((20.0, 5.0), (10.0, 5.0)), ((360.0, 5.0),), ((10.0, 90.0),)]
)
def test_a_horizon_that_does_not_go_once_round_is_refused(horizon):
    with pytest.raises(ValidationError):
        array(horizon_deg=horizon)


# Passing shade


def test_shade_takes_beam_and_sky_alike_unless_the_sky_has_its_own_figure():
    alike = (Shade(between=("12:00", "13:00"), lost_pct=60.0),)
    apart = (Shade(between=("12:00", "13:00"), lost_pct=60.0, sky_lost_pct=20.0),)
    plain = power_w()
    assert power_w(shade=alike)[12] == pytest.approx(0.4 * plain[12])
    light = plane_light(25.0, 180.0, SUN, SKY)
    others = light.sky_w_m2[12] + light.ground_w_m2[12]
    left = (0.4 * light.beam_w_m2[12] + 0.8 * others) / light.total_w_m2[12]
    assert power_w(shade=apart)[12] == pytest.approx(left * plain[12])
    assert power_w(shade=apart)[13] == pytest.approx(plain[13])


def test_a_dull_sky_loses_by_its_own_figure_alone():
    dull = Radiation(np.full(24, 100.0), np.zeros(24), np.full(24, 100.0))
    shade = (Shade(between=("0:00", "24:00"), lost_pct=100.0, sky_lost_pct=25.0),)
    shaded, open_ = (array_power_w(array(shade=each), DAY, SUN, dull, MILD) for each in (shade, ()))
    assert shaded == pytest.approx(0.75 * open_)


def test_shade_on_part_of_a_step_counts_in_proportion():
    kept = unshaded_fractions((Shade(between=("16:15", "18:00"), lost_pct=40.0),), DAY).beam_fraction
    assert kept[15:19].tolist() == pytest.approx([1.0, 1.0 - 0.4 * 0.75, 0.6, 1.0])


def test_shade_comes_back_every_day_and_windows_multiply():
    two_days = Grid(DAY.start, 60, 48, ZONE)
    shades = (Shade(between=("8:00", "9:00"), lost_pct=50.0), Shade(between=("0:00", "24:00"), lost_pct=10.0))
    kept = unshaded_fractions(shades, two_days).beam_fraction
    assert kept[[8, 32]].tolist() == pytest.approx([0.45, 0.45])
    assert np.delete(kept, [8, 32]) == pytest.approx(0.9)


@pytest.mark.parametrize(
    "day", [dt.datetime(2027, 3, 14, 5, tzinfo=dt.UTC), dt.datetime(2027, 11, 7, 4, tzinfo=dt.UTC)]
)
def test_shade_keeps_to_the_clock_on_days_of_23_and_25_hours(day):
    grid = Grid(day, 60, 23, ZONE)
    kept = unshaded_fractions((Shade(between=("16:00", "17:00"), lost_pct=100.0),), grid).beam_fraction
    (shaded,) = np.flatnonzero(kept == 0.0)
    assert grid.local(int(shaded)).hour == 16


def test_shade_that_began_before_the_grid_still_counts():
    late = Grid(DAY.start + dt.timedelta(hours=12, minutes=30), 30, 4, ZONE)
    kept = unshaded_fractions((Shade(between=("12:00", "13:00"), lost_pct=100.0),), late).beam_fraction
    assert kept.tolist() == [0.0, 1.0, 1.0, 1.0]


def test_shade_over_several_steps_of_a_quarter_hour_grid_begins_and_ends_on_the_minute():
    fine = Grid(DAY.start, 15, 96, ZONE)
    kept = unshaded_fractions((Shade(between=("16:20", "17:00"), lost_pct=90.0),), fine).beam_fraction
    assert kept[64:69].tolist() == pytest.approx([1.0, 1.0 - 0.9 * 10.0 / 15.0, 0.1, 0.1, 1.0])


# Dirt


def test_dirt_takes_its_share_of_all_light_in_its_month_by_the_sites_clock():
    year_end = Grid(dt.datetime(2027, 7, 1, 2, tzinfo=dt.UTC), 60, 4, ZONE)  # 22:00 on 30 June
    by_month = tuple(float(number) for number in range(1, 13))
    assert clean_fraction(by_month, year_end).tolist() == pytest.approx([0.94, 0.94, 0.93, 0.93])
    assert power_w(soiling_pct=by_month) == pytest.approx(0.94 * power_w())
    assert clean_fraction(None, year_end).tolist() == [1.0] * 4


@pytest.mark.parametrize("months", [(5.0,) * 11, (5.0,) * 13, (5.0,) * 11 + (100.0,), (-1.0,) + (5.0,) * 11])
def test_dirt_wants_twelve_months(months):
    with pytest.raises(ValidationError):
        array(soiling_pct=months)


def test_dirt_and_shade_come_before_the_controllers_limit():
    limited = power_w(input_limit_w=1000.0)
    assert limited.max() == 1000.0
    assert power_w(input_limit_w=1000.0, soiling_pct=(50.0,) * 12) == pytest.approx(
        np.minimum(0.5 * power_w(), 1000.0)
    )
