from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.checkup.findings import Finding, Grade, PartReport
from scheduler.checkup.roofwind import (
    CAUTION,
    LEAST_NET_PA,
    array_uplift,
    check_roof,
    exposure_coefficient,
    panels_kg,
    velocity_pressure_pa,
)
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Array, Site, Yard
from tests.checkup.small_yard import make_yard

gusts = st.floats(5.0, 100.0)
heights = st.floats(0.5, 200.0)
exposures = st.sampled_from(["B", "C", "D"])

#: 10 panels of 2 m2 and 22 kg, in a gust of 1150.4 N/m2 (51 m/s, exposure C, no higher than 4.6 m).
ROOF: dict[str, Any] = {
    "name": "roof",
    "panels": 10,
    "panel_w": 400.0,
    "tilt_deg": 15.0,
    "azimuth_deg": 180.0,
    "mounting": "close_roof",
    "panel_m2": 2.0,
    "panel_kg": 22.0,
    "roof_height_m": 4.0,
    "uplift_coefficient": 1.5,
}
SITE: dict[str, Any] = {"wind_gust_m_s": 51.0, "wind_exposure": "C"}


def of_roof(site: dict[str, Any] | None = None, **changes: Any) -> PartReport:
    return check_roof(make_yard(site=SITE if site is None else site, arrays=[ROOF | changes]), None)


def only(report: PartReport) -> Finding:
    (finding,) = report.findings
    return finding


# ---- the physics ---------------------------------------------------------------------------------


@given(exposures, heights, gusts, st.floats(1.0, 4.0))
def test_twice_the_wind_pulls_four_times_as_hard(exposure, height_m, gust_m_s, times):
    slow = velocity_pressure_pa(gust_m_s, exposure, height_m)
    assert velocity_pressure_pa(times * gust_m_s, exposure, height_m) == pytest.approx(times**2 * slow)


@given(heights, heights)
def test_higher_up_and_in_the_open_it_blows_no_less(one_m, other_m):
    low_m, high_m = sorted((one_m, other_m))
    for exposure in ("B", "C", "D"):
        assert exposure_coefficient(exposure, low_m) <= exposure_coefficient(exposure, high_m)
    for height_m in (low_m, high_m):
        braked = [exposure_coefficient(exposure, height_m) for exposure in ("B", "C", "D")]
        assert braked == sorted(braked)


@given(gusts, st.integers(1, 500), st.integers(1, 500))
def test_more_tie_downs_never_carry_more_each_and_together_carry_it_all(gust_m_s, few, more):
    site = Site(latitude=36.1, longitude=-79.95, timezone="America/New_York", wind_gust_m_s=gust_m_s)
    few, more = sorted((few, more))
    by_few, by_more = (array_uplift(site, Array(**ROOF, tie_downs=count)) for count in (few, more))
    assert by_few is not None
    assert by_more is not None
    assert by_more.each_n <= by_few.each_n
    assert by_few.each_n * few == pytest.approx(by_more.total_n)


def test_uplift_is_pressure_times_coefficient_times_all_panels_and_no_weight_is_taken_off():
    uplift = array_uplift(make_yard(site=SITE).site, Array(**ROOF, tie_downs=40))
    assert uplift is not None
    assert uplift.total_n == pytest.approx(1150.4 * 1.5 * 20.0, rel=1e-4)
    assert uplift.each_n == pytest.approx(1150.4 * 1.5 * 20.0 / 40, rel=1e-4)


def test_no_gust_pulls_with_less_than_the_code_asks_of_any_skin():
    # 16 lb/ft2 are 0.766 kN/m2, which the code rounds to 0.77; on 20 m2 that is 15,400 N.
    assert pytest.approx(16.0 * 47.880, rel=0.006) == LEAST_NET_PA
    # 40 m/s press with 1150.4 x (40 / 51)^2 = 707.7 N/m2: times 1 less than 770, times 1.1 more (778.5).
    weak, least = {"wind_gust_m_s": 40.0, "wind_exposure": "C"}, "30.2.2, from memory: no less than 770 N/m2"
    lifted, above = (only(of_roof(weak, uplift_coefficient=times)) for times in (1.0, 1.1))
    assert lifted.found == pytest.approx(15_400.0)
    assert "708 N/m2; times 1, as in the fleet file" in lifted.source
    assert least in lifted.source
    assert lifted.meaning.startswith("The gust alone would do less")
    assert above.meaning.startswith("In all it lifts")
    assert above.found == pytest.approx(778.5 * 20.0, rel=1e-3)
    assert least not in above.source
    assert all(least in one.source for one in of_roof(weak, uplift_coefficient=1.0).figures if "uplift" in one.name)


@given(gusts, st.floats(0.1, 4.0), heights)
def test_uplift_is_never_below_the_least_nor_below_what_the_gust_does(gust_m_s, coefficient, height_m):
    site = Site(latitude=36.1, longitude=-79.95, timezone="America/New_York", wind_gust_m_s=gust_m_s)
    uplift = array_uplift(site, Array(**(ROOF | {"uplift_coefficient": coefficient, "roof_height_m": height_m})))
    assert uplift is not None
    assert uplift.net_pa == max(LEAST_NET_PA, velocity_pressure_pa(gust_m_s, "C", height_m) * coefficient)
    assert uplift.is_least == (uplift.net_pa > uplift.gust_pa * coefficient)


# ---- what is told --------------------------------------------------------------------------------


def test_a_tie_down_that_may_carry_less_is_a_warning_with_the_caution_and_how_many_would_do():
    finding = only(of_roof(tie_downs=20, tie_down_n=1500.0))
    assert finding.grade is Grade.WARNING
    assert (finding.about, finding.unit, finding.limit) == ("roof", "N", 1500.0)
    assert finding.found == pytest.approx(1725.7, abs=0.1)
    assert "each of the 20 tie-downs of roof with about 1730 N; one may carry 1500 N" in finding.title
    assert "24 of this kind" in finding.mend  # 34513 N over 1500 N is 23.009
    assert "someone qualified" in finding.mend
    assert finding.caution.startswith("Falling panels kill")


def test_just_enough_is_a_note_and_just_too_little_a_warning():
    assert only(of_roof(tie_downs=20, tie_down_n=1726.0)).grade is Grade.NOTE
    assert only(of_roof(tie_downs=20, tie_down_n=1725.0)).grade is Grade.WARNING


def test_the_caution_stands_with_every_figure_of_force():
    for changes in ({}, {"tie_downs": 20}, {"tie_downs": 20, "tie_down_n": 3000.0}):
        assert only(of_roof(**changes)).caution == CAUTION


def test_without_tie_downs_the_force_is_told_beside_the_weight_and_not_judged():
    report = of_roof()
    finding = only(report)
    assert finding.grade is Grade.NOTE
    assert finding.found == pytest.approx(34513.5, abs=1)
    assert finding.limit == pytest.approx(220 * 9.80665)
    assert "about 34.5 kN in all; its panels weigh 2.2 kN" in finding.title
    assert report.unchecked == ("whether the tie-downs of roof stand the wind: tie_downs and tie_down_n",)


@pytest.mark.parametrize("changes", [{"tie_downs": 20}, {"tie_down_n": 2000.0}])
def test_half_of_what_is_asked_about_tie_downs_is_named_as_missing(changes):
    assert "tie_downs and tie_down_n" in of_roof(**changes).unchecked[0]
    assert only(of_roof(**changes)).grade is Grade.NOTE


def test_without_a_gust_nothing_is_found_and_the_key_is_named():
    report = of_roof({}, tie_downs=2, tie_down_n=1.0)
    assert report.findings == ()
    assert "wind_gust_m_s" in report.unchecked[0]
    assert [figure.name for figure in report.figures] == ["weight of the panels"]


def test_a_missing_coefficient_is_cautious_and_is_told():
    given_one, guessed = only(of_roof(uplift_coefficient=3.0)), only(of_roof(uplift_coefficient=None))
    assert guessed.found == given_one.found
    assert "times 3, as in the fleet file" in given_one.source
    assert "times 3, 29.4.4 for a roof's edge, from memory" in guessed.source


def test_panels_in_an_open_rack_are_left_to_the_files_own_coefficient():
    assert only(of_roof(mounting="open_rack", uplift_coefficient=2.0)).grade is Grade.NOTE
    report = of_roof(mounting="open_rack", uplift_coefficient=None)
    assert report.findings == ()
    assert "uplift_coefficient" in report.unchecked[0]


def test_figures_that_the_labels_would_tell_are_taken_as_the_starter_file_says():
    bare = {"panel_m2": None, "panel_kg": None, "roof_height_m": None}
    array = Array(**(ROOF | bare))
    assert panels_kg(array) == pytest.approx(10 * 1.95 * 11.0)
    known = Array(**(ROOF | bare | {"panel_m2": 1.95, "roof_height_m": 5.0}))
    site = make_yard(site=SITE).site
    assert array_uplift(site, array) == array_uplift(site, known)
    assert "5 m (taken)" in only(of_roof(**bare)).source


def test_the_weight_on_a_square_metre_and_the_force_a_tie_down_are_among_the_figures():
    figures = {figure.name: figure for figure in of_roof(tie_downs=20, tie_down_n=3000.0).figures}
    assert figures["weight of the panels"].value == pytest.approx(11.0)
    assert figures["uplift in the gust"].value == pytest.approx(34.5135, abs=1e-3)
    assert figures["uplift a tie-down"].value == pytest.approx(1725.7, abs=0.1)
    assert figures["uplift a tie-down"].limit == 3000.0
    assert len(figures) <= 4


def test_the_demo_has_nothing_to_mend_on_its_roofs_and_nothing_left_unchecked():
    demo: Yard = read_yard(Path(__file__).parents[2] / "fleets" / "field-edge.toml")
    report = check_roof(demo, None)
    assert [finding.grade for finding in report.findings] == [Grade.NOTE] * len(demo.arrays)
    assert report.unchecked == ()
