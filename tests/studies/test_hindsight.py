"""A lived year never does better than the bound that knew its sun (ID-05)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.planning.foresight import Foresight
from scheduler.studies.hindsight import bound_year, leave_of, lived_part
from scheduler.studies.year import PreparedYear, YearSettings, live_prepared, prepare_year
from scheduler.studies.yearrecord import YearLived
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import PRIORITIES

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module", params=[1, 6], ids=["January", "June"])
def week(request: pytest.FixtureRequest) -> tuple[PreparedYear, YearLived]:
    """Six days of the demo yard."""
    yard = read_yard(ROOT / "fleets" / "field-edge.toml")
    weather = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", yard.site)
    prepared = prepare_year(yard, weather, YearSettings(first_day=dt.date(2027, request.param, 3), n_days=6))  # type: ignore[arg-type]
    return prepared, live_prepared(prepared)


def lived_counts(lived: YearLived) -> tuple[int, ...]:
    return tuple(lived.readiness(priority).ready for priority in PRIORITIES)


def test_the_days_lived_are_within_the_bound(week: tuple[PreparedYear, YearLived]) -> None:
    prepared, lived = week
    bound = bound_year(prepared, lived=lived)
    assert tuple(bound.met_most.values()) >= lived_counts(lived)
    assert bound.met_most_altogether >= sum(lived_counts(lived))


def test_the_bound_is_asked_about_the_needs_that_were_lived(week: tuple[PreparedYear, YearLived]) -> None:
    prepared, lived = week
    bound: Foresight = bound_year(prepared)
    assert bound.asked == {priority: lived.readiness(priority).asked for priority in PRIORITIES}


def test_a_year_that_kept_every_rule_is_granted_no_leave(week: tuple[PreparedYear, YearLived]) -> None:
    prepared, lived = week
    kept = replace(lived, days=tuple(replace(day, lowest_wh=3000.0) for day in lived.days))
    leave = leave_of(prepared, lived_part(prepared), kept)
    assert leave.floor_wh == prepared.yard.bank.reserve_wh
    assert leave.unserved_wh == pytest.approx(0.0, abs=1e-6)


def test_what_a_year_took_below_the_rules_is_granted(week: tuple[PreparedYear, YearLived]) -> None:
    prepared, lived = week
    day = lived.days[2]
    went_without = replace(day, lowest_wh=1000.0, ac_off_h=2.0, house_wh=tuple(wh / 2 for wh in day.house_wh))
    days = (*lived.days[:2], went_without, *lived.days[3:])
    leave = leave_of(prepared, lived_part(prepared), replace(lived, days=days))
    assert leave.floor_wh == 1000.0
    assert leave.unserved_wh == pytest.approx(sum(day.house_wh) / 2 / 0.91 + 2 * 28.0)
