from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.sun.outlook import build_outlook
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid
from tests.sun.test_suns import SOUTH, WEST, yard

NEW_YORK = ZoneInfo("America/New_York")


def suns(start: dt.datetime, hours: int, step_minutes: int = 30) -> ThreeSuns:
    grid = Grid(start, step_minutes, hours * 60 // step_minutes, NEW_YORK)
    flat = np.ones(grid.n_steps)
    return ThreeSuns(grid, 100.0 * flat, 200.0 * flat, 300.0 * flat, 20.0 * flat, "made up")


def test_energy_is_added_up_by_the_sites_own_days():
    outlook = build_outlook(yard(), suns(dt.datetime(2027, 6, 8, 20, tzinfo=dt.UTC), 36))
    assert [(day.first, day.last) for day in outlook.days] == [(0, 16), (16, 64), (64, 72)]
    assert [day.energy_wh["likely"] for day in outlook.days] == pytest.approx([1600.0, 4800.0, 800.0])
    assert outlook.days[1].energy_wh == pytest.approx({"dull": 2400.0, "likely": 4800.0, "bright": 7200.0})


@pytest.mark.parametrize(("start", "hours"), [((2027, 3, 14, 5), 23), ((2027, 11, 7, 4), 25)])
def test_days_of_23_and_25_hours_are_one_day_each(start, hours):
    outlook = build_outlook(yard(), suns(dt.datetime(*start, tzinfo=dt.UTC), hours))
    assert len(outlook.days) == 1
    assert outlook.days[0].energy_wh["dull"] == pytest.approx(100.0 * hours)


def test_hours_of_full_sun_are_energy_over_all_panels_rated_watts():
    outlook = build_outlook(yard(arrays=(SOUTH, WEST)), suns(dt.datetime(2027, 6, 8, 4, tzinfo=dt.UTC), 24))
    assert outlook.rated_w == 4000.0
    assert outlook.full_sun_h(6000.0) == 1.5
