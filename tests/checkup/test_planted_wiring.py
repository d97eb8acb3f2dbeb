"""Three invented yards with one mistake each in their wiring: that one is found, only that, and its mend mends it."""

from __future__ import annotations

import functools
import re
from pathlib import Path
from typing import Any

import pytest

from scheduler.checkup.findings import Finding, Grade, Part
from scheduler.checkup.siteyear import SiteYear, build_site_year
from scheduler.checkup.study import check_yard, quick_stops
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard

ROOT = Path(__file__).parents[2]
YARDS = Path(__file__).parent / "yards"


@functools.cache
def of_file(path: Path) -> tuple[Yard, SiteYear]:
    yard = read_yard(path)
    weather = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", yard.site)
    assert isinstance(weather, TypicalYear)
    return yard, build_site_year(yard, weather)


def grave(yard: Yard, year: SiteYear | None) -> list[Finding]:
    return [found for found in check_yard(yard, year).report.findings if found.grade is not Grade.NOTE]


def mended(yard: Yard, **changes: Any) -> Yard:
    return yard.model_copy(update={"arrays": (yard.arrays[0].model_copy(update=changes),)})


@pytest.mark.parametrize(
    ("name", "grade", "part", "found", "limit", "mend", "changes"),
    [
        (
            "three-in-series",
            Grade.STOP,
            Part.INPUT,
            3 * 45.6 * 1.126,
            150.0,
            "2 in series x 3 in parallel would suit.",
            {"series": 2, "parallel": 3, "fuse_a": 20.0},
        ),
        (
            "parallel-current",
            Grade.STOP,
            Part.CABLE,
            3 * 11.3 * 1.25,
            30.0,
            "plugs and branches of 42.4 A or more",
            {"connector_a": 42.4},
        ),
        (
            "thin-cable",
            Grade.WARNING,
            Part.CABLE,
            # 12.9 A there and back over 55 m of 4 mm2, of 4 x 31.1 V.
            100 * 12.9 * 110 * 0.021445 / 4 / 124.4,
            3.0,
            "10 mm2 copper is the thinnest",
            {"cable_mm2": 10.0, "connector_a": 30.0},
        ),
    ],
)
def test_the_mistake_is_found_and_only_that_and_what_mends_it(name, grade, part, found, limit, mend, changes):
    yard, year = of_file(YARDS / f"{name}.toml")
    (one,) = grave(yard, year)
    assert (one.grade, one.part, one.about) == (grade, part, yard.arrays[0].name)
    assert (one.found, one.limit) == (pytest.approx(found, rel=1e-3), limit)
    assert mend in one.mend
    assert one.caution
    assert one.source
    assert not grave(mended(yard, **changes), year)


def test_three_in_series_are_too_much_on_a_cold_morning_only():
    yard, year = of_file(YARDS / "three-in-series.toml")
    mild = yard.model_copy(update={"site": yard.site.model_copy(update={"record_low_c": 0.0})})
    assert not grave(mild, year)
    array = yard.arrays[0]
    assert array.series * array.voc_v < array.input_max_v


@pytest.mark.parametrize(
    ("name", "stops"), [("three-in-series", 1), ("parallel-current", 1), ("thin-cable", 0)]
)
def test_a_plan_is_told_of_what_needs_no_weather_to_be_known(name, stops):
    assert len(quick_stops(read_yard(YARDS / f"{name}.toml"))) == stops


def test_the_demo_has_no_stop_and_no_warning_in_its_wiring():
    yard, year = of_file(ROOT / "fleets" / "field-edge.toml")
    assert not [one for one in grave(yard, year) if one.part in (Part.INPUT, Part.CABLE)]


@pytest.mark.parametrize("left_out", ["cable_mm2", "cable_awg"])
def test_the_figures_that_the_starter_shows_for_wiring_suit_each_other(left_out, tmp_path):
    text = (ROOT / "fleets" / "starter.toml").read_text(encoding="utf-8")
    keys = {"record_low_c", "series", "parallel", "voc_v", "isc_a", "vmp_v", "imp_a", "voc_coeff_pct_per_c"}
    keys |= {"panel_fuse_a", "fuse_a", "connector_a", "input_max_v", "input_min_v", "input_max_a", "cable_m"}
    keys |= {"cable_mm2", "cable_awg"} - {left_out}
    shown = re.sub(rf"(?m)^#({'|'.join(sorted(keys))}) = ", r"\1 = ", text)
    path = tmp_path / "shown.toml"
    path.write_text(shown, encoding="utf-8")
    yard, year = of_file(path)
    assert keys <= {*yard.arrays[0].model_fields_set, *yard.site.model_fields_set}
    report = check_yard(yard, year).report
    assert not [one for one in grave(yard, year) if one.part in (Part.INPUT, Part.CABLE)]
    assert not [line for line in report.unchecked if "roof" in line]
