"""The report as a whole: shape, suns and figures that a plan claims, each just inside and just outside."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from scheduler.planning.record import Plan, VisitPlan
from scheduler.planning.replay import replay_plan
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import Grid
from scheduler.yard.agenda import Agenda, DutyWindow
from scheduler.yard.models import HouseLoad, Yard
from tests.planning.replay_samples import (
    found,
    make_agenda,
    make_inverter,
    make_machine,
    make_need,
    make_plan,
    make_suns,
    make_yard,
    plug,
    visit,
)

FAN = HouseLoad(name="fan", watts=200.0, hours_per_day=2.0)
LAMP = HouseLoad(name="lamp", watts=50.0, always_on=True)


def sample() -> tuple[Yard, Agenda, Plan]:
    """Return a busy clean plan: two machines, a timer, a need with work, two loads, losses everywhere."""
    yard = make_yard(
        make_machine(charger_efficiency_pct=80.0, outlet="east"),
        make_machine("cart", battery_wh=1000.0),
        house_loads=[LAMP, FAN],
        inverter=make_inverter(efficiency_pct=90.0, idle_w=20.0),
    )
    agenda = make_agenda(
        yard,
        8,
        visits=(1, 4),
        needs={"mower": [make_need(6, 2200.0, work_wh=1500.0, back=7)]},
        duties=[DutyWindow("fan", 2, 8, 2, 1)],
    )
    suns = make_suns(agenda, [0.0, 300.0, 900.0, 1200.0])
    actions = [visit(1, [plug("cart", "west", (2, 4))]), visit(4, [], [plug("cart", "west")])]
    return yard, agenda, make_plan(yard, agenda, suns, actions, {"fan": [3, 4]})


def bent(series: np.ndarray, index: int, by: float) -> np.ndarray:
    other = np.array(series, dtype=float)
    other[index] += by
    return other


def bend_machine(plan: Plan, **changes: Any) -> Plan:
    return replace(plan, machines=(replace(plan.machines[0], **changes), *plan.machines[1:]))


def bend_level(plan: Plan, sun: str, edge: int, by: float) -> Plan:
    levels = {**plan.bank.level_wh, sun: bent(plan.bank.level_wh[sun], edge, by)}
    return replace(plan, bank=replace(plan.bank, level_wh=levels))


def test_a_true_plan_is_confirmed_to_the_last_digit() -> None:
    yard, agenda, plan = sample()
    report = replay_plan(yard, agenda, plan.suns, plan)
    assert report.violations == ()
    assert report.largest_difference_wh == 0.0


# Agreement: half a percent of 10 kWh is 50 Wh, of the mower's 5 kWh 25 Wh.


@pytest.mark.parametrize("sun", ["dull", "likely", "bright"])
def test_bank_levels_agree_under_every_sun(sun: str) -> None:
    yard, agenda, plan = sample()
    inside = replay_plan(yard, agenda, plan.suns, bend_level(plan, sun, 3, 49.9))
    assert found(inside) == []
    assert inside.largest_difference_wh == pytest.approx(49.9)
    outside = replay_plan(yard, agenda, plan.suns, bend_level(plan, sun, 3, -50.1))
    assert found(outside) == [("agreement", 3, 50.1)]
    assert f"bank level under the {sun} sun" in outside.violations[0].text
    assert outside.largest_difference_wh == pytest.approx(50.1)


def test_the_level_that_the_plan_calls_allowed_agrees() -> None:
    yard, agenda, plan = sample()
    for by, expected in ((49.9, []), (50.1, [("agreement", 0, 50.1)])):
        bank = replace(plan.bank, allowed_wh=bent(plan.bank.allowed_wh, 0, by))
        assert found(replay_plan(yard, agenda, plan.suns, replace(plan, bank=bank))) == expected


def test_charge_curves_agree() -> None:
    yard, agenda, plan = sample()
    for by, expected in ((24.9, []), (-25.1, [("agreement", 8, 25.1)])):
        other = bend_machine(plan, charge_wh=bent(plan.machines[0].charge_wh, 8, by))
        report = replay_plan(yard, agenda, plan.suns, other)
        assert found(report) == expected
        assert report.largest_difference_wh == pytest.approx(abs(by))


def test_energy_at_the_wall_agrees_in_its_sum_so_that_small_lies_do_not_pass() -> None:
    # 25 Wh in the battery are 31.25 Wh at the wall.
    yard, agenda, plan = sample()
    for by, expected in ((5.2, []), (5.3, [("agreement", 5, 31.8)])):
        other = bend_machine(plan, wall_wh=plan.machines[0].wall_wh + by * (np.arange(8) < 6))
        assert found(replay_plan(yard, agenda, plan.suns, other)) == expected


def test_inverter_peaks_agree() -> None:
    yard, agenda, plan = sample()
    for by, expected in ((24.9, []), (-25.1, [("agreement", 2, 25.1)])):
        other = replace(plan, inverter_peak_w=bent(plan.inverter_peak_w, 2, by))
        assert found(replay_plan(yard, agenda, plan.suns, other)) == expected


@pytest.mark.parametrize("sun", ["dull", "likely", "bright"])
def test_the_bank_at_a_visit_agrees(sun: str) -> None:
    yard, agenda, plan = sample()
    for by, expected in ((0.49, []), (-0.51, [("agreement", 4, 0.51)])):
        last = plan.visits[1]
        other = replace(last, bank_pct={**last.bank_pct, sun: last.bank_pct[sun] + by})
        assert (
            found(replay_plan(yard, agenda, plan.suns, replace(plan, visits=(plan.visits[0], other))))
            == expected
        )


@pytest.mark.parametrize("key", ["capacity_wh", "reserve_wh"])
def test_the_banks_sizes_are_the_yards(key: str) -> None:
    yard, agenda, plan = sample()
    bank = replace(plan.bank, **{key: getattr(plan.bank, key) + 1.0})
    assert found(replay_plan(yard, agenda, plan.suns, replace(plan, bank=bank))) == [("agreement", 0, 1.0)]


def test_the_plans_figures_are_claims_and_do_not_steer_the_replay() -> None:
    # A plan that claims an empty draw and a full bank is measured by what its plugs do.
    yard, agenda, plan = sample()
    lies = bend_machine(plan, wall_wh=np.zeros(8))
    lies = replace(lies, bank=replace(lies.bank, level_wh=dict.fromkeys(plan.bank.level_wh, np.full(9, 1e4))))
    rules = {violation.rule for violation in replay_plan(yard, agenda, plan.suns, lies).violations}
    assert rules == {"agreement"}


# R2


def test_r2_a_plan_made_for_other_suns_is_named() -> None:
    yard, agenda, plan = sample()
    other = replace(plan.suns, likely_w=bent(plan.suns.likely_w, 5, 1e-6))
    assert ("R2", 5, 1e-6) in found(replay_plan(yard, agenda, other, plan))
    warmer = replace(plan.suns, shed_temp_c=bent(plan.suns.shed_temp_c, 4, 1.0))
    assert found(replay_plan(yard, agenda, warmer, plan)) == [("R2", 4, 1.0)]


# R1


def one_fault(yard: Yard, agenda: Agenda, suns: ThreeSuns, plan: Plan) -> str:
    """Return the text of the one R1 violation that a plan has."""
    report = replay_plan(yard, agenda, suns, plan)
    assert [violation.rule for violation in report.violations] == ["R1"]
    assert report.largest_difference_wh == float("inf")
    return report.violations[0].text


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"outlet": ("east",) * 7}, "mower: wanted an outlet and a true or false in each of 8 steps"),
        (
            {"plugged": np.ones(9, dtype=bool)},
            "mower: wanted an outlet and a true or false in each of 8 steps",
        ),
        ({"plugged": np.ones(8)}, "mower: wanted an outlet and a true or false in each of 8 steps"),
        ({"outlet": ("north",) * 8}, "mower: there is no outlet north"),
        ({"wall_wh": np.zeros(9)}, "mower, energy at the wall: wanted 8 finite numbers"),
        ({"wall_wh": np.full(8, np.nan)}, "mower, energy at the wall: wanted 8 finite numbers"),
        ({"charge_wh": np.zeros(8)}, "mower, charge: wanted 9 finite numbers"),
        ({"charge_wh": np.full(9, np.inf)}, "mower, charge: wanted 9 finite numbers"),
        ({"name": "barge"}, "the plan's machines are barge, cart, the yard's mower, cart"),
    ],
)
def test_r1_a_machines_series_are_whole_and_finite(changes: dict[str, Any], text: str) -> None:
    yard, agenda, plan = sample()
    assert one_fault(yard, agenda, plan.suns, bend_machine(plan, **changes)) == f"{text} (R1)"


def test_r1_a_need_is_a_finite_number() -> None:
    yard, agenda, plan = sample()
    needs = (replace(plan.machines[0].needs[0], have_wh=float("nan")),)
    text = one_fault(yard, agenda, plan.suns, bend_machine(plan, needs=needs))
    assert text == "mower: a need is not a finite number (R1)"


def test_r1_loads_levels_peaks_and_visits_are_whole_too() -> None:
    yard, agenda, plan = sample()
    lamp, fan = plan.house_loads
    shorter = replace(plan, house_loads=(replace(lamp, wall_wh=np.zeros(7)), fan))
    assert "lamp, energy at the wall: wanted 8" in one_fault(yard, agenda, plan.suns, shorter)
    missing = replace(plan, house_loads=(lamp,))
    assert "the plan's house loads are lamp" in one_fault(yard, agenda, plan.suns, missing)
    peaks = replace(plan, inverter_peak_w=np.full(8, np.nan))
    assert "inverter peak: wanted 8" in one_fault(yard, agenda, plan.suns, peaks)
    allowed = replace(plan, bank=replace(plan.bank, allowed_wh=np.zeros(8)))
    assert "lowest bank level allowed: wanted 9" in one_fault(yard, agenda, plan.suns, allowed)
    levels = {"dull": plan.bank.level_wh["dull"], "likely": plan.bank.level_wh["likely"]}
    two_suns = replace(plan, bank=replace(plan.bank, level_wh=levels))
    assert "not for the three suns" in one_fault(yard, agenda, plan.suns, two_suns)
    blind: VisitPlan = replace(plan.visits[0], bank_pct={})
    no_level = replace(plan, visits=(blind, plan.visits[1]))
    assert "the visit at edge 1 wants" in one_fault(yard, agenda, plan.suns, no_level)


def test_r1_the_plan_stands_on_the_agendas_grid() -> None:
    yard, agenda, plan = sample()
    later = replace(plan.grid, start=plan.grid.start + dt.timedelta(hours=1))
    text = one_fault(yard, agenda, plan.suns, replace(plan, grid=later))
    assert text == "the plan is not on the agenda's grid (R1)"


def test_suns_on_another_grid_are_refused_outright() -> None:
    yard, agenda, plan = sample()
    grid = Grid(agenda.grid.start, 60, 7, agenda.grid.zone)
    short = ThreeSuns(grid, np.zeros(7), np.zeros(7), np.zeros(7), np.zeros(7), "made by hand")
    with pytest.raises(ValueError, match="one grid"):
        replay_plan(yard, agenda, short, plan)
