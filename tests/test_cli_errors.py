"""What the command does when it cannot: one clear message, the right exit code, and nothing written."""

from __future__ import annotations

import json
import os
import re
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import typer

from scheduler import errors, writing
from scheduler.cli.telling import errors_told
from scheduler.commands import plan as plan_command
from scheduler.planning import planner
from scheduler.planning.record import Plan
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
from tests.cli_yard import FLEET, FORECAST, everything_in, lay_out, plan, run

OUTPUTS = ("--sheet", "door.txt", "--calendar", "visits.ics", "--chart", "chart.svg", "--json", "plan.json")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(exit_code: int, *words: str, **more: Any) -> str:
    """What is said by a command that ends with this code, prints nothing, and leaves the folder as it was."""
    before = everything_in(Path.cwd())
    result = plan(*words, **more)
    assert result.exit_code == exit_code, result.output
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert everything_in(Path.cwd()) == before
    return result.stderr


USAGE = {
    "unknown machine": (("--charge", "crat=40"), 'did you mean "cart"?'),
    "machine far from any": (("--charge", "zeppelin=40"), "there are: cart, mower"),
    "charge without a number": (("--charge", "cart"), 'such as --charge "cart=40"'),
    "charge past full": (("--charge", "cart=101"), 'such as --charge "cart=40"'),
    "charge that is no number": (("--charge", "cart=nan"), 'such as --charge "cart=40"'),
    "bank past full": (("--bank", "101"), "cannot be planned from; if the bank is full, write --bank 100"),
    "bank below empty": (("--bank", "-1"), "--bank -1: wanted a percent from 0 for empty to 100 for full"),
    "bank that is no number": (("--bank", "nan"), "wanted a percent from 0 for empty to 100"),
    "bank in letters": (("--bank", "half"), '--bank "half": that is no number; write one, such as --bank 62.5'),
    "step of 20": (("--step", "20"), "wanted 60, 30 or 15"),
    "no hours": (("--hours", "0"), "--hours 0: wanted a length from 0.25 to 168 hours, such as --hours 48"),
    "more than a week": (("--hours", "168.25"), "a plan is no longer than a week; write --hours 168 or less"),
    "endless hours": (("--hours", "inf"), "write --hours 168 or less"),
    "hours that are no number": (("--hours", "nan"), "such as --hours 48"),
    "hours in words": (("--hours", "2 days"), '--hours "2 days": that is no number; write one, such as --hours 48'),
    "unknown ending": (("--sheet", "door.doc"), "wanted a name that ends in .pdf or .png or .svg or .txt"),
    "no ending": (("--chart", "chart"), "wanted a name that ends in .png or .svg"),
    "calendar as text": (("--calendar", "visits.txt"), ".ics"),
    "folder as a file": (("--json", "."), "this is a folder"),
    "device as a file": (("--json", "/dev/full"), "no ordinary file"),
    "no such folder": (("--json", "nowhere/plan.json"), "there is no folder nowhere; make it first"),
    "a name too long": (("--json", 300 * "x"), "File name too long"),
    "over the fleet file": (("--json", "yard.toml"), "choose another name"),
    "over the forecast": (("--json", "../{folder}/sky.csv"), "choose another name"),
    "two in one": (("--sheet", "a.png", "--chart", "a.png"), "choose another name"),
    "unknown paper": (("--paper", "a5"), "wanted a4 or us-letter"),
    "unknown flag": (("--wether", "sky.csv"), "--wether"),
}


@pytest.mark.parametrize("slip", USAGE)
def test_a_slip_in_the_flags_ends_with_2_and_says_what_is_wanted(slip: str, folder: Path) -> None:
    words, told = USAGE[slip]
    assert told in refused(2, *(word.replace("{folder}", folder.name) for word in words))


@pytest.mark.parametrize(("start", "told"), [
    ("tomorrow", 'such as "2027-06-09 07:30", or a time such as "06:00"'),
    ("2027-06-31 06:00", 'such as "2027-06-09 07:30"'),
    ("25:00", "--from"),
    ("0001-01-01 00:00", "wanted a year from 2000 to 2100"),
    ("9999-12-31 23:59", "wanted a year from 2000 to 2100"),
    ("2027-06-01 06:00", 'the weather only at Tue 08 Jun 00:00: give --from "2027-06-08 00:00" or an older forecast'),
    ("2027-06-11 06:00", "give a newer forecast or an earlier --from"),
])  # fmt: skip
def test_a_start_that_cannot_be_says_what_can(start: str, told: str) -> None:
    assert told in refused(2, start=start)


def test_a_step_too_long_for_the_visits_names_one_that_fits(folder: Path) -> None:
    lay_out(folder, FLEET.replace("[07:00, 17:00]", "[07:30, 17:00]"))
    told = refused(2, "--step", "60")
    assert "a visit at Wed 09 Jun 07:30 falls between two steps; try --step 30" in told


FLEETS: dict[str, tuple[bytes, list[str]]] = {
    "unknown key": (
        FLEET.replace("charger_w = 260", "chargr_w = 260").encode(),
        ["yard.toml: line 36", 'machine "cart"', "chargr_w", 'did you mean "charger_w"'],
    ),
    "reserve above the level": (
        FLEET.replace("reserve_pct = 25", "reserve_pct = 80").encode(),
        ["yard.toml: line 17", "70 is below reserve_pct 80", "write level_pct = 80 or more", "plan --bank 70"],
    ),
    "charger larger than any outlet": (
        FLEET.replace('kind = "ac"', 'kind = "ac"\nmax_w = 400').encode(),
        ['machine "mower"', "480 W is more than any ac outlet gives"],
    ),
    "a year of a slip": (
        FLEET.replace("ready_by = 12:00", "ready_by = 9999-12-31 23:00").encode(),
        ["wanted a year from 2000 to 2100"],
    ),
    "empty": (b"", ["the file is empty", "sunroster new"]),
    "50 MB": (b"#" * 50_000_000, ["50.0 MB is no fleet file"]),
    "binary": (bytes(range(256)) * 40, ["a binary file"]),
}


@pytest.mark.parametrize("slip", FLEETS)
def test_a_fleet_file_that_cannot_be_used_ends_with_3_and_names_place_and_want(slip: str) -> None:
    content, told = FLEETS[slip]
    Path("yard.toml").write_bytes(content)
    message = refused(3, *OUTPUTS)
    for words in told:
        assert words in message


def test_every_mistake_of_a_fleet_file_is_told_in_one_go() -> None:
    wrong = FLEET.replace("panels = 4", "panels = 0").replace("charge_pct = 45", "charge_pct = 145")
    Path("yard.toml").write_text(wrong.replace('kind = "ac"', 'kind = "three-phase"', 1))
    told = refused(3).splitlines()
    assert len(told) == 3
    assert [line.split(": ")[0] for line in told] == ["yard.toml"] * 3


ROWS = FORECAST.read_text().splitlines(keepends=True)
GAP = "time,ghi_w_m2,temp_c\n2027-03-14T01:00,0,5\n2027-03-14T02:00,0,5\n2027-03-14T03:00,0,5\n"
SKIES: dict[str, tuple[bytes, list[str]]] = {
    "hour missing": ("".join(ROWS[:20] + ROWS[21:]).encode(), ["row 21", "the hour 2027-06-08T19:00-04:00 is missing"]),
    "hour doubled": ("".join(ROWS[:20] + ROWS[19:]).encode(), ["row 21", "is already in row 20; keep one"]),
    "NaN": (
        "".join([*ROWS[:20], "2027-06-08T19:00-04:00,nan,1,9,20,50,70,1\n", *ROWS[21:]]).encode(),
        ["row 21: ghi_w_m2: nan cannot be; wanted 0 to 1500"],
    ),
    "a time that the clock skips": (GAP.encode(), ["row 3", "is skipped as the clock", "with their offset"]),
    "a year before all years": (GAP.replace("2027", "0001").encode(), ["row 2", "is not a time"]),
    "empty": (b"", ["the file is empty"]),
    "50 MB": (b"0,0\n" * 12_500_000, ["more than 20 MB is no weather file"]),
    "binary": (bytes(range(256)) * 40, ["not a text file"]),
}  # fmt: skip


@pytest.mark.parametrize("slip", SKIES)
def test_a_forecast_that_cannot_be_used_ends_with_3_and_names_the_row(slip: str) -> None:
    content, told = SKIES[slip]
    Path("sky.csv").write_bytes(content)
    message = refused(3, *OUTPUTS)
    assert message.startswith("sky.csv: ")
    for words in told:
        assert words in message


@pytest.mark.parametrize("name", ["nowhere.toml", ".", 300 * "x"], ids=["nowhere", "folder", "too long"])
def test_a_fleet_file_that_is_not_there_ends_with_3(name: str) -> None:
    refused(3, fleet=name)


@pytest.mark.parametrize("name", ["nowhere.csv", ".", 300 * "x"], ids=["nowhere", "folder", "too long"])
def test_a_forecast_that_is_not_there_ends_with_3(name: str) -> None:
    assert "cannot be read" in refused(3, weather=name)


def full_disk(monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    """The disk is full once `after` files are written."""
    written = []

    def fsync(handle: int) -> None:
        written.append(handle)
        if len(written) > after:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing.os, "fsync", fsync)


@pytest.mark.parametrize("after", [0, 2])
def test_a_disk_that_is_full_ends_with_6_and_leaves_the_old_files(
    after: int, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "plan.json").write_text("old")
    full_disk(monkeypatch, after)
    told = refused(6, *OUTPUTS)
    assert "No space left on device; choose another place" in told


def test_a_file_that_cannot_be_written_ends_with_6_and_leaves_the_others_unwritten() -> None:
    name = 250 * "x"  # a file may be called so, but the one that is written beside it first may not
    assert "cannot be written" in refused(6, "--sheet", "door.txt", "--json", name)


def test_the_starter_too_is_written_whole_or_not_at_all(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    full_disk(monkeypatch, 0)
    before = everything_in(folder)
    assert run("new", "mine.toml").exit_code == 6
    assert run("new", 300 * "x").exit_code == 6
    assert everything_in(folder) == before


def test_a_page_that_cannot_be_made_leaves_every_file_as_it_was(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from scheduler.planning import planjson

    def fail(*_: object) -> str:
        msg = "a fault"
        raise RuntimeError(msg)

    (folder / "door.txt").write_text("yesterday's")
    monkeypatch.setattr(planjson, "render_plan_json", fail)
    before = everything_in(folder)
    with pytest.raises(RuntimeError, match="a fault"):
        plan(*OUTPUTS)
    assert everything_in(folder) == before


def lie(monkeypatch: pytest.MonkeyPatch) -> None:
    """From here on the planner claims that everything stays in an outlet all the time."""
    assemble = planner._assemble

    def lying(*given: Any) -> Plan:
        made = assemble(*given)
        always = [
            replace(machine, outlet=(outlet,) * len(machine.outlet), plugged=machine.plugged | True)
            for machine, outlet in zip(made.machines, ("bench", "gate"), strict=True)
        ]
        return replace(made, machines=tuple(always))

    monkeypatch.setattr(planner, "_assemble", lying)


def test_a_plan_that_its_replay_does_not_confirm_ends_with_5_and_only_the_case_is_written(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lie(monkeypatch)
    before = everything_in(folder)
    result = plan(*OUTPUTS)
    assert (result.exit_code, result.stdout) == (5, "")
    (case_path,) = everything_in(folder).keys() - before.keys()
    assert case_path.name in result.stderr
    assert "(R4)" in result.stderr
    assert re.search(r"and \d+ more", result.stderr)
    assert "--hours 24" in result.stderr
    case = json.loads(case_path.read_text(encoding="utf-8"))
    assert case["plan"]["format"] == "sunroster.plan/1"
    assert case["plan"]["replay"]["violations"]
    assert Yard.model_validate_json(json.dumps(case["yard"])) == read_yard(folder / "yard.toml")


def test_a_case_that_cannot_be_saved_still_ends_with_5(monkeypatch: pytest.MonkeyPatch) -> None:
    lie(monkeypatch)
    full_disk(monkeypatch, 0)
    assert "the case could not be saved here" in refused(5, *OUTPUTS)


def test_a_plan_that_nobody_replayed_is_not_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(planner, "replay_plan", lambda *_: None)
    result = plan()
    assert (result.exit_code, result.stdout) == (5, "")
    assert "it was not replayed" in result.stderr


@pytest.mark.parametrize("moment", ["read_yard_as_found", "plan_yard", "check_replayed"])
def test_ctrl_c_ends_with_130_whenever_it_comes(moment: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(plan_command, moment, interrupted)
    assert refused(130, *OUTPUTS) == "stopped\n"


def test_every_exit_code_is_told_in_the_help() -> None:
    def branches(kind: type[errors.SunrosterError]) -> set[int]:
        return {kind.exit_code}.union(*(branches(inner) for inner in kind.__subclasses__()))

    told = " ".join(run("--help").stdout.split())
    for code in branches(errors.SunrosterError) | {0, 130}:
        assert f" {code} " in told[told.index("Exit codes:") :]
        assert f" {code} " in (errors.__doc__ or "") or code in {0, 130}


def test_a_worker_that_is_ended_from_outside_is_told_of(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit) as end, errors_told(), ProcessPoolExecutor(1) as pool:
        pool.submit(os._exit, 9).result()
    assert end.value.exit_code == 1
    assert "a worker process was ended from outside" in capsys.readouterr().err
