"""The year under the rules of thumb, by the same physics."""

from __future__ import annotations

import pytest

from scheduler.planning.thumb import RULES
from scheduler.studies.yardsticks import live_rules_of_thumb
from scheduler.studies.year import live_prepared, prepare_year
from tests.studies.small_year import a_week_in_may, days_from, greensboro, machine, plot


def test_the_rules_live_the_same_days_under_the_same_forecasts() -> None:
    plan = live_prepared(a_week_in_may())
    for year in live_rules_of_thumb(a_week_in_may()):
        assert year.hand in RULES
        assert [day.sun_wh for day in year.days] == [day.sun_wh for day in plan.days]
        assert year.readiness().asked == plan.readiness().asked
        assert abs(year.residual_wh) < 1e-6


def test_the_rules_know_no_reserve_and_leave_machines_plugged_in_through_frost() -> None:
    prepared = prepare_year(plot(), greensboro(), days_from(1, 4, 5))
    for year in live_rules_of_thumb(prepared):
        assert year.total(lambda day: day.misplugged_h) > 0
        assert year.total(lambda day: day.below_reserve_h) > 0


def test_a_rule_fills_outlets_in_its_order() -> None:
    """One outlet, visits at 8, 13 and 18: all in turn charges the first machine, priority the must one."""
    machines = (
        machine("first", needs=[{"ready_by": "12:00", "energy_wh": 900.0}], charge_pct=0.0),
        machine("must", needs=[{"ready_by": "12:00", "energy_wh": 900.0}], charge_pct=0.0, priority="must"),
    )
    yard = plot(machines=machines, outlets=({"name": "bench", "kind": "ac"},), visits={"times": ["08:00"]})
    years = {
        year.hand: year for year in live_rules_of_thumb(prepare_year(yard, greensboro(), days_from(6, 1, 2)))
    }
    charged = {
        hand: max(zip(year.machines, year.days[0].machines_wh, strict=True), key=lambda pair: pair[1])[0]
        for hand, year in years.items()
    }
    assert charged["all in turn"] == "first"
    assert charged["priority first"] == "must"


def test_progress_is_told_for_each_rule() -> None:
    told: list[tuple[str, float]] = []
    live_rules_of_thumb(a_week_in_may(), tell=lambda what, done: told.append((what, done)))
    assert {what.split(":")[0] for what, _ in told} == set(RULES)
    assert told[-1][1] == pytest.approx(1.0)
