"""A plan whose shed is worked out and whose dehumidifier follows the weather, as the command makes it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from scheduler.commands.plan import PlanRequest, plan_yard, read_yard_as_found
from scheduler.planning.record import Plan
from scheduler.yard.models import HouseLoad, Yard
from tests.cli_yard import FLEET, FORECAST, START, lay_out

DRYER = """
[[house_loads]]
name = "dryer"
watts = 250
wanted_rh_pct = 55
room_m3 = 40
window = ["08:00", "20:00"]
"""


def made(folder: Path, fleet: str, start: str = START, weather: Path = FORECAST) -> tuple[Plan, Yard]:
    lay_out(folder, fleet)
    now = dt.datetime(2027, 6, 7, tzinfo=dt.UTC)
    request = PlanRequest(folder / "yard.toml", now, weather, start=start)
    yard = read_yard_as_found(request).yard
    return plan_yard(yard, request, lambda what, done: None), yard


def notes_on(plan: Plan, word: str) -> list[str]:
    return [note for note in plan.notes if word in note]


def test_a_dehumidifier_runs_as_long_as_the_day_asks_for_and_the_plan_says_so(tmp_path: Path) -> None:
    plan, _ = made(tmp_path, FLEET + DRYER, "2027-06-08 06:00")
    (load,) = plan.house_loads
    tuesday, wednesday = notes_on(plan, "dryer, ")
    # By hand from the forecast: see tests/sun/test_drying.py for the arithmetic.
    needed_h = float(tuesday.split(": ")[1].split(" h for 55 %")[0])
    on = np.flatnonzero(load.wall_wh)
    assert sum(plan.grid.local(int(step)).day == 8 for step in on) == np.ceil(needed_h)
    assert all(8 <= plan.grid.local(int(step)).hour < 20 for step in on)
    assert "with none" in wednesday
    assert plan.replay is not None
    assert not plan.replay.violations


def test_more_room_asks_for_more_hours_until_the_window_is_full(tmp_path: Path) -> None:
    drawn = []
    for room_m3 in (10, 40, 400):
        plan, _ = made(tmp_path, FLEET + DRYER.replace("= 40", f"= {room_m3}"), "2027-06-08 06:00")
        drawn.append(plan.house_loads[0].wall_wh.sum())
    assert drawn[0] < drawn[1] < drawn[2]
    assert "its window has 12 h" in notes_on(plan, "dryer, Tue")[0]


def test_a_file_that_gives_hours_is_planned_by_them_and_tells_nothing_of_humidity(tmp_path: Path) -> None:
    hours = DRYER.replace("wanted_rh_pct = 55\nroom_m3 = 40", "hours_per_day = 4")
    plan, _ = made(tmp_path, FLEET + hours, "2027-06-08 06:00")
    assert not notes_on(plan, "dryer")
    assert np.count_nonzero(plan.house_loads[0].wall_wh[:18]) == 4


@pytest.mark.parametrize(("sun_c", "is_hot"), [(0, False), (25, True)])
def test_a_shed_too_hot_to_charge_in_is_told_and_no_machine_is_charged_then(
    sun_c: int, is_hot: bool, tmp_path: Path
) -> None:
    fleet = FLEET.replace("[[arrays]]", f"shed_sun_c = {sun_c}\n[[arrays]]", 1)
    plan, _ = made(tmp_path, fleet, "2027-06-08 06:00")
    hot = plan.suns.shed_temp_c > 45.0
    assert hot.any() == is_hot
    assert bool(notes_on(plan, "the shed is above 45 C")) == is_hot
    for machine in plan.machines:
        assert not machine.wall_wh[hot].any()
    assert plan.replay is not None
    assert not plan.replay.violations


def test_the_dehumidifier_is_a_duty_load_like_any_other_to_the_rest_of_the_program(tmp_path: Path) -> None:
    _, yard = made(tmp_path, FLEET + DRYER)
    (load,) = yard.house_loads
    assert isinstance(load, HouseLoad)
    assert load.most_hours_per_day == 12.0
