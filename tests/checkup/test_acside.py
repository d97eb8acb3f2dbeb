"""The AC side: everybody at once, what can never be planned, motors that start, the idle draw."""

from __future__ import annotations

import datetime as dt
import functools
from pathlib import Path

import numpy as np
import pytest

from scheduler.checkup.acside import check_ac_side, dull_winter_day_wh
from scheduler.checkup.bankside import check_bank
from scheduler.checkup.findings import Grade, Part
from scheduler.checkup.siteyear import SiteYear, build_site_year
from scheduler.planning.planner import Settings, make_plan
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Need, Site, Visits, Yard
from tests.checkup.storeyard import figure, grave, load, machine, of_grade, outlet, store_yard, year_of
from tests.random_yards import SITE, START, clock, make_case

ROOT = Path(__file__).parents[2]
FRIDGE = load("fridge", 60.0, 500.0, always_on=True)
TWO_OUTLETS = (outlet("a"), outlet("b"))


# ---- whole files -------------------------------------------------------------------------------------------


@functools.cache
def of_file(path: Path) -> tuple[Yard, SiteYear]:
    yard = read_yard(path)
    year = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", yard.site)
    assert isinstance(year, TypicalYear)
    return yard, build_site_year(yard, year)


def test_the_demo_has_nothing_grave_on_its_ac_side_and_at_its_bank() -> None:
    yard, year = of_file(ROOT / "fleets" / "field-edge.toml")
    for report in (check_ac_side(yard, year), check_bank(yard, year)):
        assert not grave(report)
        assert 4 <= len([one for one in report.figures if "cable" not in one.about]) <= 8


def test_of_a_yard_with_one_mistake_that_one_is_found_and_its_mend_named() -> None:
    yard, year = of_file(ROOT / "tests" / "checkup" / "yards" / "compressor-start.toml")
    assert not grave(check_bank(yard, year))
    (found,) = grave(check_ac_side(yard, year))
    assert (found.grade, found.about) == (Grade.WARNING, "air compressor")
    # 40 W always on, 500 and 300 W of chargers, 2900 W of start.
    assert (found.found, found.limit) == (3740.0, 3500.0)
    assert "soft starter" in found.mend
    assert "stands 3740 W" in found.mend
    assert found.caution


def test_without_weather_the_same_mistake_is_found() -> None:
    yard, _ = of_file(ROOT / "tests" / "checkup" / "yards" / "compressor-start.toml")
    (found,) = grave(check_ac_side(yard, None))
    assert found.about == "air compressor"
    assert not grave(check_bank(yard, None))


# ---- watts -------------------------------------------------------------------------------------------------


def test_more_than_the_inverter_only_with_everybody_plugged_in_is_a_note() -> None:
    yard = store_yard(
        outlets=TWO_OUTLETS,
        machines=(machine(1400.0, "mower"), machine(1200.0, "cart"), machine(900.0, "saw")),
        house_loads=(load("lamp", 100.0, 100.0, always_on=True), load("pump", 400.0, 400.0)),
    )
    report = check_ac_side(yard, None)
    (found,) = report.findings
    assert found.grade is Grade.NOTE
    assert (found.found, found.limit) == (3100.0, 3000.0)
    assert "mower and cart and the house (500 W)" in found.title
    assert figure(report, "all chargers") == (3100.0, 3000.0)


def test_a_charger_that_with_the_always_on_loads_is_too_much_is_a_stop_and_can_not_be_planned() -> None:
    lamp = load("lamp", 100.0, 100.0, always_on=True)
    for watts, stops in ((2900.0, 0), (2901.0, 1)):
        yard = store_yard(outlets=(outlet(breaker_a=None),), machines=(machine(watts),), house_loads=(lamp,))
        found = of_grade(check_ac_side(yard, None), Grade.STOP)
        assert len(found) == stops
        assert can_charge(yard) is not bool(stops)
    assert found[0].mend.endswith("or a charger of at most 2900 W.")


def test_a_charger_beside_which_a_load_that_is_always_on_can_not_start_is_a_stop_too() -> None:
    freezer = load("freezer", 100.0, 2500.0, always_on=True)
    for watts, stops in ((1000.0, 0), (1001.0, 1)):
        yard = store_yard(inverter={"surge_w": 3500.0}, machines=(machine(watts),), house_loads=(freezer,))
        found = of_grade(check_ac_side(yard, None), Grade.STOP)
        assert len(found) == stops
        assert can_charge(yard) is not bool(stops)
    assert (found[0].found, found[0].limit) == (3501.0, 3500.0)


def can_charge(yard: Yard) -> bool:
    """Whether the planner gets the one machine full in 6 hours with all the sun that it may want."""
    (only,) = yard.machines
    wanted = only.model_copy(update={"needs": (Need(ready_by=clock(6), charge_pct=100.0),)})
    told = {"site": SITE, "visits": Visits(times=("06:00",)), "machines": (wanted,)}
    case = make_case(yard.model_copy(update=told), 6.0, 60, lambda grid: np.full(grid.n_steps, 9000.0))
    plan = make_plan(case.yard, case.agenda, case.suns, Settings(), made_at=START - dt.timedelta(hours=1))
    return plan.machines[0].needs[0].ready


def test_a_charger_on_the_banks_side_does_not_burden_the_inverter() -> None:
    yard = store_yard(
        outlets=(outlet(), outlet("shelf", None, kind="dc")), machines=(machine(5000.0, supply="dc"),)
    )
    report = check_ac_side(yard, None)
    assert not report.findings
    assert figure(report, "all chargers") == (0.0, 3000.0)


# ---- starts ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("surge_w", "warnings"), [(4660.0, 0), (4659.0, 1)])
def test_a_start_on_top_of_everything_is_within_the_surge_or_a_warning(surge_w: float, warnings: int) -> None:
    # 60 W fridge, 400 W pump, 1200 W of chargers, and the compressor's 3000 W.
    yard = store_yard(
        inverter={"surge_w": surge_w},
        outlets=TWO_OUTLETS,
        machines=(machine(700.0, "mower"), machine(500.0, "cart"), machine(300.0, "saw")),
        house_loads=(FRIDGE, load("pump", 400.0), load("compressor", 800.0, 3000.0)),
    )
    report = check_ac_side(yard, None)
    found = grave(report)
    assert [one.grade for one in found] == [Grade.WARNING] * warnings
    assert figure(report, "start on top") == (4660.0, surge_w)
    assert all("mower, cart and pump and what is always on" in one.title for one in found)


def test_a_set_that_the_watts_forbid_anyway_is_no_mistake_of_the_start() -> None:
    # Within 2000 W run the compressor's 1000, the fridge's 60 and no more than 900 of chargers: 700, not 700 + 600;
    # its start then comes to 60 + 700 + 2500 = 3260 W.
    kept = {
        "outlets": TWO_OUTLETS,
        "machines": (machine(700.0, "mower"), machine(600.0, "cart")),
        "house_loads": (FRIDGE, load("compressor", 1000.0, 2500.0)),
    }
    fine = store_yard(inverter={"continuous_w": 2000.0, "surge_w": 3260.0}, **kept)
    assert not grave(check_ac_side(fine, None))
    assert figure(check_ac_side(fine, None), "start on top") == (3260.0, 3260.0)
    weak = store_yard(inverter={"continuous_w": 2000.0, "surge_w": 3259.0}, **kept)
    (found,) = grave(check_ac_side(weak, None))
    assert "on top of mower and what is always on" in found.title


def test_a_start_beside_which_no_charger_may_run_is_told_so() -> None:
    yard = store_yard(
        inverter={"surge_w": 3500.0},
        machines=(machine(1400.0),),
        house_loads=(load("compressor", 800.0, 3000.0),),
    )
    (found,) = grave(check_ac_side(yard, None))
    # The plan can keep the two apart: no stop.
    assert found.grade is Grade.WARNING
    assert "No charger at all may run beside it" in found.meaning
    # What is left for it: 3500 - 1400 W.
    assert "start down to 2100 W" in found.mend


def test_the_start_of_a_load_that_is_always_on_has_no_timer_for_a_mend() -> None:
    freezer = load("freezer", 100.0, 2800.0, always_on=True)
    yard = store_yard(
        inverter={"surge_w": 3500.0},
        outlets=TWO_OUTLETS,
        machines=(machine(600.0, "a"), machine(500.0, "b")),
        house_loads=(freezer,),
    )
    (found,) = grave(check_ac_side(yard, None))
    assert (found.about, found.found) == ("freezer", 2800.0 + 600.0 + 500.0)
    assert "timer" not in found.mend


def test_loads_and_inverters_without_a_figure_for_starting_are_told_as_unchecked() -> None:
    yard = store_yard(
        inverter={"surge_w": None}, house_loads=(load("fan", 100.0), load("pump", 200.0, 200.0))
    )
    surge = [text for text in check_ac_side(yard, None).unchecked if "surge_w" in text]
    assert len(surge) == 2
    assert surge[0].startswith("how much fan draws while it starts")
    assert surge[1].endswith("surge_w in [inverter]")


# ---- the idle draw -----------------------------------------------------------------------------------------


def test_a_dull_winter_day_is_the_tenth_percentile_of_december_to_february() -> None:
    # 90 winter days of 12 h: the first 31 of January have 10, 20, ... 310 W, all others 500 W. The quantile lies at
    # 0.1 x 89 = 8.9 of the sorted days, counted from 0: 90 + 0.9 x 10 = 99 W, 12 h of it.
    year = year_of(lambda day: 10.0 * (day + 1) if day < 31 else 500.0)
    assert dull_winter_day_wh(store_yard(), year) == pytest.approx(99.0 * 12.0)
    south = store_yard(site=Site(latitude=-36.1, longitude=145.0, timezone="Australia/Melbourne"))
    assert dull_winter_day_wh(south, year) == pytest.approx(500.0 * 12.0)


@pytest.mark.parametrize(
    ("sun_w", "grades"), [(400.1, []), (399.9, [Grade.NOTE]), (40.1, [Grade.NOTE]), (39.9, [Grade.WARNING])]
)
def test_an_idle_draw_is_told_from_a_tenth_of_the_dull_day_and_grave_from_all_of_it(
    sun_w: float, grades: list[Grade]
) -> None:
    # 20 W for 24 h are 480 Wh; 12 h of 400 W are ten times that.
    report = check_ac_side(store_yard(), year_of(lambda _: sun_w))
    assert [found.grade for found in report.findings] == grades
    assert figure(report, "idle draw")[0] == 480.0


def test_an_inverter_that_is_off_between_loads_idles_only_if_a_load_is_always_on() -> None:
    off = {"off_when_unused": True}
    resting = check_ac_side(store_yard(inverter=off), year_of(lambda _: 1.0))
    assert not [one for one in resting.figures if "idle" in one.name]
    assert not resting.findings
    busy = check_ac_side(store_yard(inverter=off, house_loads=(FRIDGE,)), year_of(lambda _: 1.0))
    assert figure(busy, "idle draw")[0] == 480.0


def test_without_weather_the_idle_draw_says_which_key_is_wanted() -> None:
    report = check_ac_side(store_yard(), None)
    assert [text for text in report.unchecked if text.endswith("typical_year in [site]")]


def test_all_that_is_told_belongs_to_the_ac_side_and_has_its_source() -> None:
    yard, year = of_file(ROOT / "fleets" / "field-edge.toml")
    report = check_ac_side(yard, year)
    assert {one.part for one in (*report.figures, *report.findings)} == {Part.AC}
    assert all(one.source for one in (*report.figures, *report.findings))
