"""The check-up as a whole: its parts in order, and the quick look that a plan takes."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from scheduler.checkup import study
from scheduler.checkup.findings import Grade, Part, PartReport
from scheduler.checkup.study import check_yard, quick_stops
from scheduler.yard.fleetfile import read_yard
from tests.cli_yard import FLEET
from tests.sheet.check_samples import figure, finding

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "fleets" / "field-edge.toml"

#: What the quick look may take of a plan's time [s]; on the demo it takes one thousandth.
QUICK_S = 0.010


def test_every_part_tells_of_itself_alone_and_in_its_place() -> None:
    yard = read_yard(DEMO)
    told = [
        {*(figure.part for figure in report.figures), *(finding.part for finding in report.findings)}
        for report in (check(yard, None) for check in study.PARTS)
    ]
    assert told == [{part} for part in Part]


def test_the_gravest_finding_of_all_parts_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    reports = (
        PartReport((figure(),), (finding(Grade.NOTE), finding(Grade.WARNING))),
        PartReport((figure(Part.AC),), (finding(Grade.STOP, Part.AC),), ("a cord: cord_m",)),
    )
    monkeypatch.setattr(study, "PARTS", tuple(lambda yard, year, told=told: told for told in reports))
    checkup = check_yard(read_yard(DEMO), None)
    assert (checkup.site, checkup.weather) == ("field-edge store", "")
    assert [found.grade for found in checkup.report.findings] == [Grade.STOP, Grade.WARNING, Grade.NOTE]
    assert [one.part for one in checkup.report.figures] == [Part.INPUT, Part.AC]
    assert checkup.report.unchecked == ("a cord: cord_m",)


#: Yards with a stop at the input, in the cable, on the AC side, at a cord, between bank and inverter and at a battery.
STOPPED = {
    "input": (ROOT / "tests" / "checkup" / "yards" / "three-in-series.toml", None),
    "cable": (ROOT / "tests" / "checkup" / "yards" / "parallel-current.toml", None),
    "inverter": (None, ("continuous_w = 1500", "continuous_w = 400")),
    "cord": (None, ('name = "bench"', 'name = "bench"\ncord_awg = 24\ncord_m = 10')),
    "bank": (ROOT / "tests" / "checkup" / "yards" / "thin-bank-cable.toml", None),
    "battery": (None, ("charger_w = 480", "charger_w = 480\nbattery_charge_max_w = 200")),
}


@pytest.mark.parametrize("name", STOPPED)
def test_the_quick_look_sees_every_stop_that_needs_no_weather(name: str, tmp_path: Path) -> None:
    path, change = STOPPED[name]
    if path is None:
        path = tmp_path / "yard.toml"
        path.write_text(FLEET.replace(*change), encoding="utf-8")
    yard = read_yard(path)
    stops = [found for found in check_yard(yard, None).report.findings if found.grade is Grade.STOP]
    assert stops
    assert list(quick_stops(yard)) == stops


def test_the_quick_look_is_quick() -> None:
    yard = read_yard(DEMO)
    took = []
    for _ in range(5):
        begun = time.perf_counter()
        quick_stops(yard)
        took.append(time.perf_counter() - begun)
    assert min(took) < QUICK_S
