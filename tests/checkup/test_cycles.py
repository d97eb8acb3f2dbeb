"""Cycles by depth, a week's needs as depths, and the battery that is worn out soonest."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.batteryrates import group_alike
from scheduler.checkup.cycles import (
    TOLD_YEARS,
    cycle_figures,
    cycle_findings,
    cycles_at_depth,
    weekly_depths,
    worn_out_years,
)
from scheduler.checkup.findings import Figure, Finding, Grade
from scheduler.yard.models import Machine

CART: dict[str, Any] = {"name": "cart", "battery_wh": 1000.0, "charger_w": 100.0, "charge_pct": 50.0}
LEAD_ACID: dict[str, Any] = {"charge_temp_c": (-20.0, 50.0)}

depths = st.floats(1e-6, 1.0)


def need(energy_wh: float, *weekdays: str, **changed: Any) -> dict[str, Any]:
    return {"ready_by": "07:00", "energy_wh": energy_wh, "weekdays": weekdays or None} | changed


def machine(*needs: dict[str, Any], **changed: Any) -> Machine:
    return Machine.model_validate(CART | {"needs": needs} | changed)


def told(*machines: Machine) -> tuple[list[Figure], list[Finding]]:
    groups = group_alike(machines)
    return list(cycle_figures(groups)), list(cycle_findings(groups))


# ---- the table between its points ----------------------------------------------------------------


def test_between_two_points_it_is_a_straight_line_in_logarithms():
    # Halfway from 50 to 100 % in logarithms are 70.7 %: the geometric means of 300 and 1200, of 500 and 1500.
    assert cycles_at_depth(math.sqrt(0.5)) == pytest.approx((600.0, 866.025))


def test_what_is_shallower_than_the_table_is_counted_by_its_energy():
    assert cycles_at_depth(0.05) == pytest.approx((7500.0, 9400.0))


@pytest.mark.parametrize("depth", [0.0, -0.1, 1.001])
def test_no_cycle_takes_nothing_or_more_than_there_is(depth):
    with pytest.raises(ValueError, match="more than 0 and at most 1"):
        cycles_at_depth(depth)


@given(depths, depths)
def test_deeper_never_gives_more_cycles(one, other):
    shallow, deep = cycles_at_depth(min(one, other)), cycles_at_depth(max(one, other))
    assert all(few <= many * (1 + 1e-12) for few, many in zip(deep, shallow, strict=True))
    assert shallow[0] < shallow[1]


# ---- a week's needs ------------------------------------------------------------------------------


def test_each_need_counts_on_its_days_those_of_one_depth_together():
    cart = machine(
        need(500.0, "mon", "thu"),
        need(500.0, "sat", ready_by="12:00"),
        need(200.0),
        need(900.0, weekdays=None, ready_by="2027-06-09 07:00"),
        {"ready_by": "18:00", "charge_pct": 80.0},
    )
    assert weekly_depths(cart) == {0.5: 3, 0.2: 7}


def test_outings_of_one_depth_take_the_tables_cycles_in_their_time():
    # 1200 to 1500 of 50 %, 6 a week: 200 to 250 weeks.
    assert worn_out_years({0.5: 6}) == pytest.approx((200 * 7 / 365, 250 * 7 / 365))


def test_outings_of_two_depths_each_take_their_part():
    # A week of one outing of all and four of half takes 1/300 + 4/1200 of the battery: 150 weeks.
    assert worn_out_years({1.0: 1, 0.5: 4})[0] == pytest.approx(150 * 7 / 365)


def test_without_outings_nothing_is_worn():
    assert worn_out_years({}) == (math.inf, math.inf)


@given(st.dictionaries(depths, st.integers(1, 30), min_size=1, max_size=4), st.integers(2, 5))
def test_more_outings_wear_out_sooner_in_proportion(weekly, times):
    often = {depth: number * times for depth, number in weekly.items()}
    for seldom_years, often_years in zip(worn_out_years(weekly), worn_out_years(often), strict=True):
        assert often_years == pytest.approx(seldom_years / times)


# ---- what is told --------------------------------------------------------------------------------


def test_a_battery_worn_out_early_is_a_note_with_what_shallower_use_brings():
    # All of it daily: 300 to 500 days. Half of it: 1200 days with twice the battery, 600 charged halfway.
    figures, (finding,) = told(machine(need(1000.0)))
    assert [figure.value for figure in figures] == pytest.approx([300.0, 300 / 365])
    assert (figures[1].limit, figures[1].at_least) == (TOLD_YEARS, True)
    assert finding.grade is Grade.NOTE
    assert (finding.found, finding.limit, finding.unit) == (pytest.approx(300 / 365), TOLD_YEARS, "years")
    assert finding.title == (
        "By cycles alone the work of cart wears its battery out in 0.8 to 1.4 years: 7 outings a week that take 100 % "
        "of it, of which a table gives 300 to 500"
    )
    assert "at least 3.3 years with a battery twice the size, 1.6 if it is charged once" in finding.mend
    assert "Iron phosphate lasts longer" in finding.meaning
    assert finding.caution == ""


def test_where_a_charge_in_between_wears_it_out_sooner_none_is_advised():
    # 50 %, 14 a week: 1200 / 14 weeks; 25 %, 28 a week: 2000 / 28 weeks.
    _, (finding,) = told(machine(need(500.0), need(500.0, ready_by="15:00")))
    assert "2.7 years with a battery twice the size. Else" in finding.mend


@pytest.mark.parametrize(("battery_wh", "notes"), [(1999.0, 1), (2001.0, 0)])
def test_just_below_the_years_there_is_a_note_and_just_above_none(battery_wh, notes, monkeypatch):
    # 1200 cycles of half, 7 a week: 3.2877 years.
    monkeypatch.setattr("scheduler.checkup.cycles.TOLD_YEARS", 1200 / 365)
    figures, findings = told(machine(need(1000.0), battery_wh=battery_wh))
    assert len(findings) == notes
    assert len(figures) == 2


def test_the_figures_are_of_the_battery_that_is_worn_out_soonest_and_of_all_like_it():
    deep = [need(700.0, "mon", "tue", "wed", "thu", "fri")]
    figures, (finding,) = told(
        machine(need(1000.0, "mon"), name="deepest"),
        machine(*deep, name="a"),
        machine(need(300.0), name="most often"),
        machine(*deep, name="b"),
    )
    assert {figure.about for figure in figures} == {finding.about} == {"a and b"}
    assert figures[0].name == "outings until worn out, 70 % deep"
    assert figures[1].name == "years of 5 such outings a week until then"


def test_outings_of_several_depths_are_told_from_the_shallowest_to_the_deepest():
    figures, _ = told(machine(need(500.0, "mon"), need(200.0)))
    assert "20 to 50 % deep" in figures[0].name


@pytest.mark.parametrize(
    "silent",
    [
        machine(),
        machine({"ready_by": "07:00", "charge_pct": 90.0}),
        machine(need(1000.0), **LEAD_ACID),
        machine(need(1000.0, ready_by="2027-06-09 07:00")),
    ],
)
def test_a_machine_whose_work_is_not_told_and_lead_acid_have_no_cycles(silent):
    assert told(silent) == ([], [])
