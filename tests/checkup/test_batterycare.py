from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.checkup.batterycare import check_batteries, hours_by_month, longest_spell_h
from scheduler.checkup.batteryrates import charge_rate_per_h
from scheduler.checkup.findings import Finding, Grade, PartReport
from scheduler.checkup.siteyear import SiteYear, build_site_year
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Machine
from tests.checkup.small_yard import make_yard
from tests.strategies import yards

ROOT = Path(__file__).parents[2]
N_HOURS = 8760
MONTH = np.repeat(np.arange(1, 13), np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24)

#: 100 W arrive in a battery of 400 Wh: a quarter of it an hour.
CART: dict[str, Any] = {
    "name": "cart",
    "battery_wh": 400.0,
    "charger_w": 125.0,
    "charger_efficiency_pct": 80.0,
    "charge_pct": 50.0,
}
LEAD_ACID: dict[str, Any] = {"charge_temp_c": (-20.0, 50.0)}


def shed_year(*spells: tuple[int, int, float], otherwise_c: float = 20.0) -> SiteYear:
    """A year of 20 C in the shed but for some hours, told as first, last and temperature."""
    shed_c = np.full(N_HOURS, otherwise_c)
    for first, last, temp_c in spells:
        shed_c[first:last] = temp_c
    return SiteYear("a made-up year", MONTH, shed_c, shed_c, np.zeros(N_HOURS, dtype=bool), ())


def of_machines(*machines: dict[str, Any], year: SiteYear | None = None) -> PartReport:
    return check_batteries(make_yard(machines=[CART | machine for machine in machines]), year)


def about(report: PartReport, words: str) -> Finding:
    (finding,) = [finding for finding in report.findings if words in finding.title]
    return finding


def titles(report: PartReport) -> list[str]:
    return [finding.title for finding in report.findings]


# ---- chargers ------------------------------------------------------------------------------------


def test_a_charger_over_the_makers_figure_is_a_stop_with_the_caution_and_the_largest_that_would_do():
    finding = about(of_machines({"battery_charge_max_w": 99.0}), "charger")
    assert finding.grade is Grade.STOP
    assert (finding.found, finding.limit, finding.unit) == (pytest.approx(100.0), 99.0, "W")
    assert finding.title == "The charger of cart puts 100 W into a battery that stands 99 W"
    assert "no more than 123 W" in finding.mend  # 99 / 0.8 is 123.75
    assert "burn" in finding.caution


@pytest.mark.parametrize("most_w", [100.0, 101.0])
def test_a_charger_at_the_makers_figure_is_nothing_however_fast_it_fills(most_w):
    report = of_machines({"battery_charge_max_w": most_w, "battery_wh": 60.0})
    assert report.findings == ()
    assert report.figures[0].limit == most_w


@pytest.mark.parametrize(
    ("battery_wh", "grade"),
    [(400.0, None), (200.0, None), (199.0, Grade.NOTE), (100.0, Grade.NOTE), (99.5, Grade.WARNING)],
)
def test_without_a_makers_figure_half_the_battery_an_hour_is_usual_and_all_of_it_too_fast(battery_wh, grade):
    found = of_machines({"battery_wh": battery_wh}).findings
    assert [finding.grade for finding in found] == ([] if grade is None else [grade])


def test_the_figure_is_of_the_charger_that_is_hardest_on_its_battery():
    figure = of_machines(
        {"name": "large", "charger_w": 500.0, "battery_wh": 4000.0},
        {"name": "small", "battery_wh": 250.0},
        {"name": "strong", "battery_wh": 100.0, "battery_charge_max_w": 400.0},
    ).figures[0]
    assert (figure.about, figure.value, figure.limit) == ("small", pytest.approx(100.0), pytest.approx(125.0))


@given(st.floats(20.0, 2000.0), st.floats(100.0, 8000.0), st.floats(1.0, 3.0))
def test_the_rate_grows_with_the_charger_and_shrinks_with_the_battery(charger_w, battery_wh, times):
    def rate(charger_w: float, battery_wh: float) -> float:
        return charge_rate_per_h(Machine(**(CART | {"charger_w": charger_w, "battery_wh": battery_wh})))

    assert rate(times * charger_w, battery_wh) == pytest.approx(times * rate(charger_w, battery_wh))
    assert rate(charger_w, times * battery_wh) == pytest.approx(rate(charger_w, battery_wh) / times)


def test_machines_that_are_alike_are_told_in_one():
    twins = [
        {"name": name, "battery_wh": 150.0, "charge_pct": pct} for name, pct in (("a", 10.0), ("b", 90.0))
    ]
    assert about(of_machines(*twins), "charger").about == "a and b"
    assert len(of_machines(twins[0], twins[1] | {"battery_wh": 140.0}).findings) == 2


# ---- lead-acid emptied fast ----------------------------------------------------------------------


def work(hours: float, draw_w: float) -> dict[str, Any]:
    return {"needs": [{"ready_by": "07:00", "hours": hours, "draw_w": draw_w}]}


def emptied(machine: dict[str, Any]) -> list[str]:
    return [title for title in titles(of_machines(machine)) if "Lead-acid" in title]


def test_work_that_empties_lead_acid_too_fast_is_a_warning_and_for_lithium_nothing():
    # 1000 Wh for 20 h are 50 W; at 200 W 20 h x (1/4)^1.2 = 3.79 h.
    load = {"battery_wh": 1000.0} | work(4.0, 200.0)
    finding = about(of_machines(load | LEAD_ACID), "Lead-acid")
    assert finding.grade is Grade.WARNING
    assert (finding.found, finding.limit) == (4.0, pytest.approx(3.789, abs=1e-3))
    assert "about 758 Wh" in finding.mend
    assert not emptied(load)


def test_work_within_what_lead_acid_gives_above_its_floor_is_nothing():
    cart = {"battery_wh": 1000.0} | LEAD_ACID
    assert not emptied(cart | work(3.78, 200.0))
    assert about(of_machines(cart | work(3.78, 200.0) | {"floor_pct": 1.0}), "Lead-acid").limit < 3.78
    assert not emptied(cart | work(20.0, 50.0))


# ---- the shed's year -----------------------------------------------------------------------------


def test_frost_is_a_note_with_its_hours_by_month_and_its_longest_spell():
    year = shed_year((0, 10, -3.0), (8755, 8760, 0.0), (40 * 24, 40 * 24 + 6, -1.0))
    finding = about(of_machines({}, {"name": "trike"}, year=year), "at or below 0 C")
    assert finding.grade is Grade.NOTE
    assert (finding.found, finding.unit) == (21.0, "h")
    assert "21 h of a typical year, when cart and trike cannot be charged" in finding.title
    assert "Jan 10, Feb 6, Dec 5; 15 h on end" in finding.meaning


def test_each_battery_is_held_against_its_own_window():
    year = shed_year((0, 10, -3.0), (5000, 5007, 47.0))
    told = titles(of_machines({}, LEAD_ACID | {"name": "loader"}, year=year))
    assert [title for title in told if "cannot be charged" in title] == [
        "The shed is at or below 0 C for 10 h of a typical year, when cart cannot be charged",
        "The shed is above 45 C for 7 h of a typical year, when cart cannot be charged",
    ]


def test_a_battery_that_protects_itself_may_stay_plugged_in():
    year = shed_year((0, 10, -3.0))
    finding = about(
        of_machines({}, {"name": "pruner", "self_protecting": True}, year=year), "cannot be charged"
    )
    assert finding.meaning.endswith("refuses by itself: pruner.")


@pytest.mark.parametrize(("charger_w", "grade"), [(150.0, Grade.NOTE), (151.0, Grade.WARNING)])
def test_what_plans_charge_in_frost_is_told_and_too_fast_for_lead_acid_is_a_warning(charger_w, grade):
    """120 W into 400 Wh are 0.3 C."""
    year = shed_year((0, 10, -3.0), (10, 12, -25.0))
    finding = about(
        of_machines(LEAD_ACID | {"charger_w": charger_w}, year=year), "lets cart be charged below 0 C"
    )
    assert finding.grade is grade
    assert "in 10 h of" in finding.title
    assert "Lithium" in finding.caution


def test_a_mild_shed_has_nothing_to_tell_but_ageing():
    report = of_machines({}, LEAD_ACID | {"name": "loader"}, year=shed_year())
    assert [title.split()[0] for title in titles(report)] == ["Lead-acid", "Lithium"]


def test_the_sheds_hours_are_among_a_handful_of_figures():
    year = shed_year((0, 10, 0.0), (10, 30, 9.9), (30, 60, 30.1), (60, 100, 45.1))
    figures = {figure.name: figure.value for figure in of_machines({}, year=year).figures}
    assert figures["shed at or below 0 C"] == 10
    assert figures["shed above 45 C"] == 40
    assert figures["shed at 10 to 30 C, best for charging"] == N_HOURS - 100
    assert len(figures) <= 7


# ---- ageing --------------------------------------------------------------------------------------


def test_resting_full_is_told_beside_resting_half_full_and_beside_a_cooler_place():
    finding = about(of_machines({}, year=shed_year(otherwise_c=25.0)), "rests full")
    assert finding.grade is Grade.NOTE
    assert (finding.found, finding.limit) == (pytest.approx(80.0), pytest.approx(96.0))
    assert "about 80 % of its capacity, at 80 % charge 85 %, at 40 % charge 96 %" in finding.title
    assert "10 degrees cooler a full one keeps 86 %" in finding.mend  # 94 - 15 / 25 x 14 = 85.6


def test_machines_with_rare_needs_are_named_the_longest_rest_first():
    def needed(*weekdays: str) -> dict[str, Any]:
        return {"needs": [{"ready_by": "07:00", "weekdays": weekdays, "charge_pct": 80.0}]}

    report = of_machines(
        {"name": "daily"} | needed("mon", "tue", "wed", "thu", "fri", "sat", "sun"),
        {"name": "weekly"} | needed("mon"),
        {"name": "spare"},
        {"name": "old loader"} | LEAD_ACID,
        year=shed_year(),
    )
    meaning = about(report, "rests full").meaning
    assert "spare (no need of every week) and weekly (up to 168 h)" in meaning
    assert "daily" not in meaning
    assert "loader" not in meaning


def test_a_yard_in_daily_use_is_told_that_nothing_rests_for_long():
    daily = {"needs": [{"ready_by": "07:00", "charge_pct": 80.0, "away_h": 4.0}]}
    assert (
        "No machine rests longer than 20 h"
        in about(of_machines(daily, year=shed_year()), "rests full").meaning
    )


def test_what_is_parked_near_40_pct_is_told_with_what_a_winter_leaves_and_when_to_look():
    """40 % less 4 months of 2 to 3 %; 20 % are lost by 3 % a month in 6 2/3 months."""
    finding = about(of_machines({}, year=shed_year()), "rests full")
    assert (
        "for weeks near 40 %. After 4 months of winter 28 to 32 % are left: look at it after 6 months, "
        "before it falls below 20 %." in finding.mend
    )
    assert "self-discharge" in finding.source


def test_lead_acid_is_never_advised_to_rest_half_full_and_is_looked_at_earlier():
    """100 % less 4 months of 4 to 6 %; 20 % are lost by 6 % a month in 3 1/3 months."""
    (finding,) = of_machines(LEAD_ACID, year=shed_year()).findings
    assert finding.grade is Grade.NOTE
    assert (finding.found, finding.limit) == (pytest.approx(76.0), pytest.approx(80.0))
    assert "4 to 6 % a month at rest, and no week needs cart" in finding.title
    assert finding.mend == (
        "Park it full and charge it again on the way. After 4 months of winter 76 to 84 % are left: look at it "
        "after 3 months, before it falls below 80 %."
    )


# ---- as a whole ----------------------------------------------------------------------------------


def test_without_weather_chargers_are_checked_and_the_missing_key_is_named():
    report = of_machines({"battery_charge_max_w": 50.0})
    assert [finding.grade for finding in report.findings] == [Grade.STOP]
    assert "typical_year" in report.unchecked[0]
    assert of_machines({}, year=shed_year()).unchecked == ()


def test_a_yard_without_machines_has_nothing_to_check():
    assert of_machines(year=shed_year()) == of_machines() == PartReport()


def test_the_demo_has_notes_only():
    demo = read_yard(ROOT / "fleets" / "field-edge.toml")
    year = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", demo.site)
    assert isinstance(year, TypicalYear)
    report = check_batteries(demo, build_site_year(demo, year))
    assert {finding.grade for finding in report.findings} == {Grade.NOTE}
    assert report.unchecked == ()
    assert len(report.figures) <= 9


@settings(max_examples=25, deadline=None)
@given(yards(), st.none() | st.tuples(st.floats(-40.0, 55.0), st.floats(-40.0, 55.0)))
def test_any_yard_in_any_shed_is_told_in_sentences(yard, temps_c):
    year = None if temps_c is None else shed_year((0, 5000, temps_c[0]), otherwise_c=temps_c[1])
    for finding in check_batteries(yard, year).findings:
        assert all((finding.title, finding.meaning, finding.mend, finding.source, finding.unit))
        assert finding.found != finding.limit
        assert (finding.grade is Grade.NOTE) or finding.caution or "Lead-acid" in finding.title


# ---- counting hours ------------------------------------------------------------------------------

flags = st.lists(st.booleans(), min_size=1, max_size=40).map(np.array)


def slow_spell(is_so: Sequence[bool]) -> int:
    """By looking on from every hour."""
    n_hours = len(is_so)
    twice = [*is_so, *is_so]
    return max(
        next((length for length in range(n_hours) if not twice[first + length]), n_hours)
        for first in range(n_hours)
    )


@given(flags)
def test_the_longest_spell_goes_round_the_year(is_so):
    assert longest_spell_h(is_so) == slow_spell(list(is_so))


@given(flags)
def test_hours_by_month_add_up(is_so):
    month = np.arange(len(is_so)) % 12 + 1
    by_month = hours_by_month(month, is_so)
    assert len(by_month) == 12
    assert by_month.sum() == is_so.sum()
    assert by_month[0] == is_so[::12].sum()
