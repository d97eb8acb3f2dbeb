"""The typical year as power of every day, true and forecast."""

from __future__ import annotations

import datetime as dt
from functools import cache

import numpy as np
import pytest

from scheduler.studies.typicalsuns import RUNG_FRACTION, TypicalSuns, prepare_suns
from scheduler.sun.arraypower import Air, arrays_power_w, complete_radiation
from scheduler.sun.ongrid import lay_on_grid, step_middles
from scheduler.sun.skies import clear_ghi_w_m2, sun_path
from scheduler.timegrid import Grid
from tests.studies.small_year import SITE, greensboro, plot

YARD = plot()


@cache
def suns() -> TypicalSuns:
    return prepare_suns(YARD, greensboro(), 60, 2027)


def running_mean(series: np.ndarray, days: int) -> np.ndarray:
    return np.convolve(series, np.ones(days) / days, mode="valid")


def test_the_years_sun_is_that_of_its_file() -> None:
    """Greensboro's TMY3: annual total and least means over 3, 5 and 7 days, worked out from the file by other means."""
    by_day = suns().ghi_wh_m2 / 1000.0
    assert by_day.sum() == pytest.approx(1566.203, abs=0.02)
    for days, least, ends_on in ((1, 0.694, 331), (3, 0.889, 333), (5, 1.215, 365), (7, 1.557, 365)):
        means = running_mean(by_day, days)
        assert means.min() == pytest.approx(least, abs=0.001)
        assert int(means.argmin()) + days == ends_on


def test_forecasts_as_clear_as_the_days_were_bring_as_much_sun_over_the_year() -> None:
    true_wh = suns().true_w.sum()
    said_wh = suns().power_w(np.arange(365), suns().clearness_fraction).sum()
    assert said_wh == pytest.approx(true_wh, rel=0.01)


def test_what_is_read_off_between_the_rungs_is_what_the_panels_give() -> None:
    """Every 20th day under a clearness half-way between two rungs, worked out by itself."""
    fraction = 9.5 * RUNG_FRACTION
    for day in range(10, 365, 60):
        start = dt.datetime(2027, 1, 1, 5, tzinfo=dt.UTC) + dt.timedelta(days=day)
        grid = Grid(start, 60, 24, SITE.zone)
        hours = greensboro().by_start_utc().iloc[day * 24 : day * 24 + 24]
        hours = hours.set_axis(hours.index + dt.timedelta(days=26 * 365 + 6), axis=0)
        assert hours.index[0].to_pydatetime() == start
        on_grid = lay_on_grid(SITE, hours.index, grid)
        sun = sun_path(SITE, step_middles(grid))
        air = Air(on_grid.air(hours["temp_c"].to_numpy()), on_grid.air(hours["wind_m_s"].to_numpy()))
        sky = complete_radiation(sun, fraction * on_grid.level(clear_ghi_w_m2(SITE, hours.index)))
        own_wh = arrays_power_w(YARD.arrays, grid, sun, sky, air).sum()
        read_wh = suns().power_w(np.array([day]), np.array([fraction])).sum()
        assert read_wh == pytest.approx(own_wh, rel=0.003)


def test_more_clearness_never_brings_less() -> None:
    by_rung = suns().rungs_w.sum(axis=2)
    assert (np.diff(by_rung, axis=0) >= 0.0).all()


def test_shorter_steps_bring_the_same_energy() -> None:
    halves = prepare_suns(YARD, greensboro(), 30, 2027)
    assert halves.true_w.sum() / 2 == pytest.approx(suns().true_w.sum(), rel=0.005)
