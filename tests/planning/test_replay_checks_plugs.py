"""R6 and R8 to R10: for each a plan that just keeps it and a sibling that just breaks it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from scheduler.planning.record import Plan
from scheduler.planning.replay import replay_plan
from scheduler.planning.replay_physics import Decisions
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import Outlet, Yard
from tests.planning.replay_samples import (
    found,
    make_agenda,
    make_machine,
    make_need,
    make_plan,
    make_suns,
    make_yard,
    plan_from,
    plug,
    replay,
    visit,
)

# R6


def test_r6_an_outlet_holds_one_machine() -> None:
    yard = make_yard(make_machine(), make_machine("cart"))
    agenda = make_agenda(yard, 4)
    clean = make_plan(yard, agenda, make_suns(agenda), [visit(0, [plug(), plug("cart", "west")])])
    assert found(replay_plan(yard, agenda, clean.suns, clean)) == []
    outlet = (("east",) * 4, (None, "east", "east", None))
    both = place(yard, agenda, outlet)
    assert ("R6", 1, 2.0) in found(replay_plan(yard, agenda, both.suns, both))


@pytest.mark.parametrize(("supply", "expected"), [("ac", []), ("dc", [("R6", 2, 1.0)])])
def test_r6_the_kinds_match(supply: str, expected: list[Any]) -> None:
    yard = make_yard(make_machine(supply=supply))
    agenda = make_agenda(yard, 4, visits=(2,))
    assert found(replay(yard, agenda, [visit(2, [plug()])])) == expected


@pytest.mark.parametrize(
    ("outlet", "expected"),
    [
        (Outlet(name="east", kind="ac", max_w=500.0), []),
        (Outlet(name="east", kind="ac", max_w=499.0), [("R6", 2, 1.0)]),
        (Outlet(name="east", kind="ac", breaker_a=5.0, volts=100.0), []),
        (Outlet(name="east", kind="ac", breaker_a=4.98, volts=100.0), [("R6", 2, 2.0)]),
    ],
)
def test_r6_the_charger_fits_the_outlet_and_its_breaker(outlet: Outlet, expected: list[Any]) -> None:
    yard = make_yard(make_machine(), outlets=[outlet])
    agenda = make_agenda(yard, 4, visits=(2,))
    assert found(replay(yard, agenda, [visit(2, [plug()])])) == expected


def test_r6_a_charger_too_large_for_an_outlet_that_never_goes_on_draws_nothing_there() -> None:
    small = Outlet(name="east", kind="ac", max_w=400.0, timer=True)
    yard = make_yard(make_machine(), outlets=[small])
    agenda = make_agenda(yard, 4)
    assert found(replay(yard, agenda, [visit(0, [plug(timer=(8, 9))])])) == []
    assert found(replay(yard, agenda, [visit(0, [plug(timer=(3, 4))])])) == [("R6", 0, 100.0)]


BREAKER = Outlet(name="east", kind="ac", breaker_a=10.0, volts=60.0, timer=True)  # 600 W, 480 W for long


def on_breaker(charger_w: float, n_steps: int, *visits: Any, **machine: Any) -> list[Any]:
    """Return the violations on a 600 W breaker, in quarter hours."""
    first = make_machine(charger_w=charger_w, **machine)
    yard = make_yard(first, make_machine("cart", charger_w=charger_w), outlets=[BREAKER])
    edges = sorted({item.edge for item in visits})
    return found(replay(yard, make_agenda(yard, n_steps, step_minutes=15, visits=edges), visits))


@pytest.mark.parametrize(
    ("charger_w", "quarters", "expected"),
    [(481.0, 11, []), (481.0, 12, [("R6", 0, 3.0)]), (481.0, 14, [("R6", 0, 3.5)]), (480.0, 14, [])],
)
def test_r6_over_80_percent_of_the_breaker_takes_less_than_three_hours(
    charger_w: float, quarters: int, expected: list[Any]
) -> None:
    assert on_breaker(charger_w, 16, visit(0, [plug(timer=(0, quarters))])) == expected


def test_r6_counts_on_when_another_machine_follows_and_anew_after_a_pause() -> None:
    swap = [visit(0, [plug()]), visit(6, [plug("cart", timer=(6, 12))], [plug()])]
    assert on_breaker(500.0, 16, *swap) == [("R6", 0, 3.0)]
    pause = [visit(0, [plug()]), visit(6, [plug("cart", timer=(7, 13))], [plug()])]
    assert on_breaker(500.0, 16, *pause) == []


def test_r6_counts_anew_after_a_taper_that_passed_80_percent_in_the_minute_before_the_swap() -> None:
    # 1234 Wh are at 480 W after 1.9957 h, a quarter of a minute before the visit (the sum stands below).
    swap = [visit(0, [plug()]), visit(8, [plug("cart", timer=(8, 18))], [plug()])]
    assert on_breaker(500.0, 20, *swap, battery_wh=1234.0, charge_pct=0.0) == []


@pytest.mark.parametrize(
    ("battery_wh", "taper_from_pct", "hours"),
    [
        # From empty with 500 W: 0.8 C / 500 W to the taper point, then 480 W after another
        # ln(1 / 0.96) * C / (4.75 * 500 W): together 3 h with a battery of C = 1855.07 Wh.
        (1854.5, 80.0, None),
        (1855.6, 80.0, 3.0009),
        # Without a taper it stops at once when it is full, after C / 500 W.
        (1499.5, 100.0, None),
        (1500.5, 100.0, 3.001),
    ],
)
def test_r6_ends_where_the_charger_falls_below_80_percent_even_within_a_minute(
    battery_wh: float, taper_from_pct: float, hours: float | None
) -> None:
    machine = {"battery_wh": battery_wh, "charge_pct": 0.0, "taper_from_pct": taper_from_pct}
    here = on_breaker(500.0, 24, visit(0, [plug()]), **machine)
    assert here == ([] if hours is None else [("R6", 0, pytest.approx(hours, abs=1e-4))])


# R8


@pytest.mark.parametrize(
    ("temp_c", "expected"),
    [
        (0.0, []),
        (45.0, []),
        (-1.5, [("R8", 1, 1.5), ("R8", 2, 1.5)]),
        (47.0, [("R8", 1, 2.0), ("R8", 2, 2.0)]),
    ],
)
def test_r8_nothing_is_plugged_in_outside_its_charging_window(temp_c: float, expected: list[Any]) -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, visits=(0, 3))
    suns = make_suns(agenda, temp_c=[20.0, temp_c, temp_c, 20.0])
    assert found(replay(yard, agenda, [visit(0, [plug()]), visit(3, unplugs=[plug()])], suns)) == expected


def test_r8_a_battery_that_protects_itself_may_stay_and_draws_nothing() -> None:
    yard = make_yard(make_machine(self_protecting=True))
    agenda = make_agenda(yard, 3)
    plan = make_plan(yard, agenda, make_suns(agenda, temp_c=[20.0, -5.0, 20.0]), [visit(0, [plug()])])
    assert found(replay_plan(yard, agenda, plan.suns, plan)) == []
    assert plan.machines[0].wall_wh == pytest.approx([500.0, 0.0, 500.0])


def test_r8_what_was_plugged_in_in_the_cold_is_no_violation_before_the_first_visit() -> None:
    yard = make_yard(make_machine(outlet="east"))
    agenda = make_agenda(yard, 3, visits=(2,))
    suns = make_suns(agenda, temp_c=[-4.0])
    assert found(replay(yard, agenda, [visit(2, unplugs=[plug()])], suns)) == []
    assert found(replay(yard, agenda, [], suns)) == [("R8", 2, 4.0)]


# What stands wrong at the start, R6


def test_r6_a_machine_found_in_an_outlet_too_small_is_no_violation_before_the_first_visit() -> None:
    small = Outlet(name="east", kind="ac", max_w=400.0)
    yard = make_yard(make_machine(outlet="east"), outlets=[small])
    agenda = make_agenda(yard, 4, visits=(2,))
    assert found(replay(yard, agenda, [visit(2, unplugs=[plug()])])) == []
    assert found(replay(yard, agenda)) == [("R6", 2, 100.0)]


def test_r6_three_hours_over_80_percent_before_the_first_visit_are_no_violation() -> None:
    yard = make_yard(make_machine(outlet="east"), outlets=[BREAKER])
    agenda = make_agenda(yard, 6, visits=(4,))
    assert found(replay(yard, agenda, [visit(4, unplugs=[plug()])])) == []
    assert found(replay(yard, agenda)) == [("R6", 0, 6.0)]


# R9


def place(
    yard: Yard, agenda: Agenda, outlet: Sequence[Sequence[str | None]], visits: Sequence[Any] = ()
) -> Plan:
    """Return a plan with any outlets, on wherever there is one."""
    n_steps = agenda.grid.n_steps
    plugged = np.array([[name is not None for name in own] for own in outlet], dtype=bool).T
    on = np.ones((n_steps, len(yard.house_loads)), dtype=bool)
    decisions = Decisions(tuple(tuple(own) for own in outlet), plugged, on)
    return plan_from(yard, agenda, make_suns(agenda), decisions, visits)


def test_r9_a_machine_that_is_away_is_in_no_outlet() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, needs={"mower": [make_need(2, 2000.0, work_wh=500.0, back=3)]})
    clean = place(yard, agenda, [["east", "east", None, None]], [visit(0, [plug()])])
    assert found(replay_plan(yard, agenda, clean.suns, clean)) == []
    left_in = place(yard, agenda, [["east", "east", "east", None]], [visit(0, [plug()])])
    report = replay_plan(yard, agenda, left_in.suns, left_in)
    assert found(report) == [("R9", 2, 1.0), ("R10", 2, 1.0)]
    assert "mower is away, yet in east for 1 h" in report.violations[0].text


def test_r9_an_outlet_that_is_off_does_not_hold_who_is_away_either() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, needs={"mower": [make_need(2, 2000.0, work_wh=500.0, back=3)]})
    outlet = ("west", "west", "west", None)
    decisions = Decisions((outlet,), np.zeros((4, 1), bool), np.ones((4, 0), bool))
    actions = [visit(0, [plug(outlet="west", timer=(4, 5))])]
    plan = plan_from(yard, agenda, make_suns(agenda), decisions, actions)
    assert found(replay_plan(yard, agenda, plan.suns, plan)) == [("R9", 2, 1.0), ("R10", 2, 1.0)]


# R10


def test_r10_the_plan_is_what_follows_from_the_visits() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, visits=(1,))
    clean = place(yard, agenda, [[None, "east", "east", "east"]], [visit(1, [plug()])])
    assert found(replay_plan(yard, agenda, clean.suns, clean)) == []
    for outlet, expected in (
        ([None, None, "east", "east"], [("R10", 1, 1.0)]),
        (["east", "east", "east", "east"], [("R10", 0, 1.0)]),
        ([None, "west", "west", "west"], [("R10", 1, 3.0)]),
        ([None, "east", None, "east"], [("R10", 2, 1.0)]),
    ):
        other = place(yard, agenda, [outlet], [visit(1, [plug()])])
        assert found(replay_plan(yard, agenda, other.suns, other)) == expected


def test_r10_on_and_off_are_what_the_timer_makes_them() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, visits=(0,))
    plan = make_plan(yard, agenda, make_suns(agenda), [visit(0, [plug(outlet="west", timer=(1, 3))])])
    assert found(replay_plan(yard, agenda, plan.suns, plan)) == []
    on = np.array([[False], [True], [True], [True]])
    decisions = Decisions((plan.machines[0].outlet,), on, np.ones((4, 0), bool))
    longer = plan_from(yard, agenda, plan.suns, decisions, plan.visits)
    report = replay_plan(yard, agenda, plan.suns, longer)
    assert found(report) == [("R10", 3, 1.0)]
    assert report.violations[0].text == (
        "Wed 09 Jun 09:00: mower is planned in west (on), but who follows the visits has it in west (off), "
        "for 1 h (R10)"
    )


def test_r10_an_action_without_a_visit_is_a_violation() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 4, visits=(1,))
    assert found(replay(yard, agenda, [visit(2, [plug()])])) == [("R10", 2, 1.0)]
