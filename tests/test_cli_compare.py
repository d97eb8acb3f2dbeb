"""The command that compares: from a logbook and a plan to a verdict, a chart, and what was learned."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from scheduler.cli.app import app
from scheduler.yard.fleetfile import read_yard
from tests.cli_yard import FLEET, lay_out

ROOT = Path(__file__).parents[1]

LOGBOOK = """time,what,value,who
2027-06-08 16:00,bank,50,
2027-06-08 17:00,bank,53,
2027-06-09 07:00,bank,40,
2027-06-09 12:00,bank,{noon},
2027-06-09 12:00,note,rain,
"""


def run(*words: str, columns: int = 100) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["compare", *words], env={"COLUMNS": str(columns)})
    return done.exit_code, done.stdout, done.stderr


def yard_in(folder: Path, noon: int = 78, noted: bool = False) -> Path:
    """The demo yard with a logbook beside it; with `noted` every machine shows the same at its begin and its end."""
    (folder / "fleets").mkdir()
    shutil.copytree(ROOT / "forecasts", folder / "forecasts")
    fleet = Path(shutil.copy(ROOT / "fleets" / "field-edge.toml", folder / "fleets"))
    machines = [machine.name for machine in read_yard(fleet).machines] if noted else []
    times = ("2027-06-08 16:00", "2027-06-09 12:00")
    lines = LOGBOOK.format(noon=noon) + "".join(f"{time},{name},50,\n" for time in times for name in machines)
    (folder / "fleets" / "field-edge-logbook.csv").write_text(lines, encoding="utf-8")
    return fleet


def test_every_interval_has_its_band_and_its_verdict(tmp_path: Path) -> None:
    code, told, _ = run(str(yard_in(tmp_path)))
    assert code == 0
    for moment in ("Tue 8 Jun 17:00", "Wed 9 Jun 07:00", "Wed 9 Jun 12:00"):
        assert moment in told
    assert "to 1" in told or "even" in told
    assert "--plan door.json" in told


def test_a_narrow_screen_shows_every_figure_of_a_wide_one(tmp_path: Path) -> None:
    fleet = str(yard_in(tmp_path, noon=30, noted=True))
    _, wide, _ = run(fleet)
    _, narrow, _ = run(fleet, columns=40)
    assert max(map(len, narrow.splitlines())) <= 40
    assert "..." not in narrow
    assert "\u2026" not in narrow
    bands = re.findall(r"\d+ / \d+ / \d+", wide)
    assert len(bands) == 3
    assert re.findall(r"\d+ / \d+ / \d+", narrow) == bands
    assert "Wed 9 Jun 12:00: 30, was 40" in narrow


def test_cautions_stand_before_what_to_look_at(tmp_path: Path) -> None:
    code, told, _ = run(str(yard_in(tmp_path, noon=30, noted=True)))
    assert code == 0
    assert told.index("BEFORE YOU TOUCH ANYTHING") < told.index("LOOK AT FIRST")
    assert "qualified" in told


def test_where_nobody_knows_what_was_plugged_in_nothing_is_accused(tmp_path: Path) -> None:
    code, told, _ = run(str(yard_in(tmp_path, noon=30)))
    assert code == 0
    assert "LOOK AT FIRST" not in told


def test_where_a_dull_sky_and_a_weak_array_look_alike_the_sky_is_asked_for_until_it_is_noted(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path, noon=44, noted=True)
    code, told, _ = run(str(fleet))
    assert code == 0
    assert told.index("WHAT WOULD SETTLE IT") < told.index("--sky fair")
    with (fleet.parent / "field-edge-logbook.csv").open("a", encoding="utf-8") as log:
        log.write("2027-06-09 12:00,sky,partly cloudy,\n")
    code, told, _ = run(str(fleet))
    assert code == 0
    assert "--sky fair" not in told


def test_a_sky_that_a_file_tells_is_not_told_again_by_its_words(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path, noted=True)
    with (fleet.parent / "field-edge-logbook.csv").open("a", encoding="utf-8") as log:
        log.write("2027-06-09 12:00,sky,clear,\n")
    forecast = tmp_path / "forecasts" / "field-edge-three-days.csv"
    code, told, _ = run(str(fleet), "--weather", str(forecast))
    assert code == 0
    assert "it counts once" in told.replace("\n", " ")
    assert "it counts once" not in run(str(fleet))[1].replace("\n", " ")


def test_the_chart_is_written_and_told(tmp_path: Path) -> None:
    chart = tmp_path / "weeks.png"
    code, _, beside = run(str(yard_in(tmp_path)), "--chart", str(chart))
    assert code == 0
    assert chart.read_bytes().startswith(b"\x89PNG")
    assert "weeks.png" in beside.replace("\n", "")


def test_learning_asks_for_a_fortnight_and_leaves_the_file(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path)
    before = fleet.read_bytes()
    code, _, beside = run(str(fleet), "--learn")
    assert code == 2
    assert "14 or more" in beside
    assert fleet.read_bytes() == before


@pytest.mark.parametrize("lines", ["", "2027-06-08 16:00,bank,50,\n"])
def test_less_than_two_readings_are_told_with_what_to_do(tmp_path: Path, lines: str) -> None:
    fleet = yard_in(tmp_path)
    (tmp_path / "fleets" / "field-edge-logbook.csv").write_text(f"time,what,value,who\n{lines}", encoding="utf-8")
    code, _, beside = run(str(fleet))
    assert code == 2
    assert "sunroster note" in beside


def log_of(folder: Path, *lines: str) -> None:
    text = "time,what,value,who\n" + "".join(f"{line}\n" for line in lines)
    (folder / "fleets" / "field-edge-logbook.csv").write_text(text, encoding="utf-8")


def test_one_line_of_a_year_to_come_moves_no_window(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path)
    read = ("2025-06-08 16:00,bank,50,", "2025-06-08 17:00,bank,53,")
    log_of(tmp_path, "2025-05-08 16:00,crane,50,", *read, "2099-06-08 17:00,note,typo,")
    code, told, _ = run(str(fleet))
    assert code == 0
    assert "crane" not in told  # of a machine sold long ago nothing is told
    assert "Sun 8 Jun 17:00" in told
    assert "field-edge-logbook.csv, line 5: 2099-06-08 17:00 has not come yet" in told.replace("\n", " ")


def test_three_hundred_lines_that_cannot_be_read_are_three_notes_and_their_number(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path)
    read = ("2025-06-08 16:00,bank,50,", "2025-06-08 17:00,bank,53,")
    log_of(tmp_path, *read, *["2025-06-08 18:00,bank,xx,"] * 300)
    code, told, _ = run(str(fleet))
    assert code == 0
    assert told.count("wanted a percent") == 3
    assert "The logbook field-edge-logbook.csv, line 4: " in told
    assert "The logbook field-edge-logbook.csv, 297 more lines cannot be read." in told.replace("\n", " ")


def test_where_no_date_can_be_read_the_lines_are_told(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path)
    log_of(tmp_path, "11/12/2025 06:30,bank,62,", "11/12/2025 12:30,bank,80,")
    code, _, beside = run(str(fleet))
    assert code == 2
    assert beside.count("day or month first?") == 2
    assert "field-edge-logbook.csv: no reading of the bank can be used" in beside


def test_a_machine_that_was_given_another_name_is_told_and_what_it_draws_is_counted(tmp_path: Path) -> None:
    """The plan has a heavy charger on through the night; by either name the bank is expected to show the same."""
    yard = tmp_path / "yard.toml"
    lay_out(tmp_path)
    read = ("2027-06-08 16:00,bank,70,", "2027-06-09 07:00,bank,60,", "2027-06-09 12:00,bank,60,")
    text = "time,what,value,who\n" + "".join(f"{line}\n" for line in read)
    (tmp_path / "yard-logbook.csv").write_text(text, encoding="utf-8")
    door = str(tmp_path / "door.json")
    forecast = str(tmp_path / "sky.csv")
    words = ("--weather", forecast, "--from", "2027-06-08 16:00", "--json", door)
    assert CliRunner().invoke(app, ["plan", str(yard), *words]).exit_code == 0
    before = run(str(yard), "--plan", door)[1]
    yard.write_text(FLEET.replace('"mower"', '"lawn mower"'), encoding="utf-8")
    after = run(str(yard), "--plan", door)[1]
    bands = re.findall(r"\d+ / \d+ / \d+", before)
    assert len(bands) == 2
    assert re.findall(r"\d+ / \d+ / \d+", after) == bands
    told = after.replace("\n", " ")
    assert 'The plan door.json names "mower", which is no machine of this yard; what it draws there is counted' in told
    assert 'did you mean "lawn mower"?' in told


def test_readings_outside_of_the_weathers_days_are_told(tmp_path: Path) -> None:
    fleet = yard_in(tmp_path)
    log_of(tmp_path, "2025-06-08 16:00,bank,50,", "2025-06-08 17:00,bank,53,")
    code, _, beside = run(str(fleet), "--weather", str(tmp_path / "forecasts" / "field-edge-three-days.csv"))
    assert code == 2
    assert "outside the weather's time, and left out: 2 readings; nothing to compare is left" in beside
