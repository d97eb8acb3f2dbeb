"""R1: the grid, and the site's clock with its days of 23 and 25 hours."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.timegrid import (
    QUARTER,
    STEP_MINUTES,
    Grid,
    ceil_to,
    floor_to,
    moment_on_clock,
    nearest_to,
    next_full_step,
    on_clock,
)
from tests.strategies import ZONES, minutes_of_day, moments

NEW_YORK = ZoneInfo("America/New_York")
SPRING = dt.date(2027, 3, 14)  # the clock goes from 02:00 to 03:00
AUTUMN = dt.date(2027, 11, 7)  # the clock shows 01:00 to 02:00 twice
seconds = st.integers(0, 59).map(lambda second: dt.timedelta(seconds=second))


def utc(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


@given(moments, st.sampled_from(STEP_MINUTES), st.integers(1, 300), st.sampled_from(ZONES))
def test_edges_are_equal_steps_apart_and_found_again(
    start: dt.datetime, step_minutes: int, n_steps: int, zone: str
) -> None:
    grid = Grid(start, step_minutes, n_steps, ZoneInfo(zone))
    assert grid.edge(0) == start
    assert grid.end - start == dt.timedelta(minutes=step_minutes * n_steps)
    assert grid.index_of(grid.edge(n_steps)) == n_steps
    assert grid.index_of(start - grid.step) == -1
    assert grid.local(n_steps) == grid.end
    with pytest.raises(ValueError, match="between two edges"):
        grid.index_of(start + dt.timedelta(minutes=step_minutes - 1))


@pytest.mark.parametrize("step_minutes", STEP_MINUTES)
def test_a_constant_kilowatt_is_a_kilowatt_hour_an_hour(step_minutes: int) -> None:
    grid = Grid(utc("2027-06-08T05:00"), step_minutes, 24 * 60 // step_minutes, NEW_YORK)
    power_w = np.full(grid.n_steps, 1000.0)
    assert grid.energy_wh(power_w).sum() == pytest.approx(24_000.0)
    assert grid.power_w(grid.energy_wh(power_w)) == pytest.approx(power_w)


@pytest.mark.parametrize(
    ("hours", "step_minutes", "steps"),
    [
        (1, 60, 1),
        (1.01, 60, 2),
        (0.5, 30, 1),
        (0.75, 30, 2),
        (2.5, 15, 10),
        (0.1, 60, 1),
        (1 / 3, 15, 2),
        (sum([0.1] * 20), 60, 2),
    ],
)
def test_hours_off_the_step_are_rounded_up(hours: float, step_minutes: int, steps: int) -> None:
    grid = Grid(utc("2027-06-08T05:00"), step_minutes, 1, NEW_YORK)
    assert grid.steps_in(hours) == steps


@given(moments, seconds)
def test_rounding_to_the_quarter_hour_goes_down_up_and_to_the_nearest(
    moment: dt.datetime, more: dt.timedelta
) -> None:
    moment += more
    down, up, near = floor_to(moment, QUARTER), ceil_to(moment, QUARTER), nearest_to(moment, QUARTER)
    for rounded in (down, up, near):
        assert rounded.minute % 15 == rounded.second == rounded.microsecond == 0
    assert down <= moment <= up
    assert up - down in (dt.timedelta(), QUARTER)
    assert abs(near - moment) == min(moment - down, up - moment)
    if moment - down == QUARTER / 2:
        assert near == up


@given(moments, seconds, st.sampled_from(STEP_MINUTES), st.sampled_from(ZONES))
def test_the_next_full_step_shows_whole_on_the_sites_clock(
    now: dt.datetime, more: dt.timedelta, step_minutes: int, zone: str
) -> None:
    begin = next_full_step(now + more, step_minutes, ZoneInfo(zone))
    wait = begin - (now + more)
    assert dt.timedelta() <= wait < dt.timedelta(minutes=step_minutes)
    # over a change of summer time by half an hour the clock may jump past the full hour
    if zone != "Australia/Lord_Howe":
        local = begin.astimezone(ZoneInfo(zone))
        assert (local.minute % step_minutes, local.second) == (0, 0)


@pytest.mark.parametrize(
    ("zone", "now", "begin"),
    [
        ("America/New_York", "2027-06-08T09:20", "2027-06-08T10:00"),
        ("Asia/Kolkata", "2027-06-08T09:20", "2027-06-08T09:30"),
        ("Asia/Kolkata", "2027-06-08T09:30", "2027-06-08T09:30"),
        ("Asia/Kathmandu", "2027-06-08T09:20", "2027-06-08T10:15"),
        ("America/New_York", "2027-06-08T10:00", "2027-06-08T10:00"),
    ],
)
def test_half_and_quarter_hour_zones_begin_on_their_own_full_hour(zone: str, now: str, begin: str) -> None:
    assert next_full_step(utc(now), 60, ZoneInfo(zone)) == utc(begin)


@pytest.mark.parametrize(
    ("day", "minute", "moment"),
    [
        (SPRING, 90, "2027-03-14T06:30"),
        (SPRING, 150, "2027-03-14T07:30"),  # 02:30 does not exist: 03:30 summer time
        (SPRING, 210, "2027-03-14T07:30"),
        (AUTUMN, 90, "2027-11-07T05:30"),  # 01:30 comes twice: the first
        (AUTUMN, 150, "2027-11-07T07:30"),
        (AUTUMN, 1440, "2027-11-08T05:00"),
        (AUTUMN, 1500, "2027-11-08T06:00"),  # a window over midnight: 01:00 of the next day
        (dt.date(2027, 12, 31), 1440, "2028-01-01T05:00"),
    ],
)
def test_times_that_the_clock_skips_or_shows_twice(day: dt.date, minute: int, moment: str) -> None:
    assert moment_on_clock(day, minute, NEW_YORK) == utc(moment)


@given(st.dates(dt.date(2026, 1, 1), dt.date(2028, 12, 31)), minutes_of_day, st.sampled_from(ZONES))
def test_a_time_on_the_clock_shows_on_the_clock_unless_it_is_skipped(
    day: dt.date, minute: int, zone: str
) -> None:
    moment = moment_on_clock(day, minute, ZoneInfo(zone))
    wall = dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=minute)
    shown = moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    skipped = shown - wall
    assert skipped in (dt.timedelta(), dt.timedelta(hours=1), dt.timedelta(minutes=30))
    if skipped:
        assert (
            moment_on_clock(day, 0, ZoneInfo(zone)).astimezone(ZoneInfo(zone)).dst()
            != moment.astimezone(ZoneInfo(zone)).dst()
        )


def test_a_day_has_23_24_or_25_hours() -> None:
    lengths = {
        day: (moment_on_clock(day, 1440, NEW_YORK) - moment_on_clock(day, 0, NEW_YORK))
        / dt.timedelta(hours=1)
        for day in (SPRING, AUTUMN, dt.date(2027, 6, 8))
    }
    assert list(lengths.values()) == [23.0, 25.0, 24.0]


def test_a_moment_without_offset_is_the_sites_and_one_with_offset_is_itself() -> None:
    naive = dt.datetime(2027, 6, 9, 7, 30)  # noqa: DTZ001
    assert on_clock(naive, NEW_YORK) == utc("2027-06-09T11:30")
    assert on_clock(naive.replace(tzinfo=dt.UTC), NEW_YORK) == utc("2027-06-09T07:30")
    assert on_clock(naive, NEW_YORK).tzinfo is dt.UTC


def test_a_window_over_midnight_reaches_into_the_day_before_the_grid_and_past_its_end() -> None:
    # 21:30 to 01:15 of every day, on a grid from midnight to midnight of the site's clock.
    grid = Grid(dt.datetime(2027, 6, 9, 4, tzinfo=dt.UTC), 60, 24, ZoneInfo("America/New_York"))
    inside = grid.fraction_between(21 * 60 + 30, 25 * 60 + 15)
    assert inside.tolist() == [1.0, 0.25, *[0.0] * 19, 0.5, 1.0, 1.0]
