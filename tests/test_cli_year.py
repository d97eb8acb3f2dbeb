"""``sunroster year`` from its files to its outputs, and left in the middle."""

from __future__ import annotations

import csv
import json
import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from scheduler.cli.app import app
from tests.cli_yard import FLEET, ROOT, START

WEATHER = ROOT / "forecasts" / "greensboro-tmy3.csv"
DAYS = ("--from", "2027-05-03", "--days", "3")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "yard.toml").write_text(FLEET, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    return tmp_path


def run(*flags: str) -> Result:
    return CliRunner().invoke(app, ["year", "yard.toml", "--weather", str(WEATHER), *flags])


def test_a_few_days_are_lived_and_written_whole(folder: Path) -> None:
    done = run(*DAYS, "--json", "y.json", "--csv", "y.csv", "--chart", "y.svg")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Over 3 days machines were ready: should ")
    assert "written: y.json" in done.stderr
    told = json.loads((folder / "y.json").read_text(encoding="utf-8"))
    assert (told["days_lived"], told["readiness"]["should"]["asked"]) == (3, 6)
    assert len(list(csv.reader((folder / "y.csv").read_text(encoding="utf-8").splitlines()))) == 4
    assert (folder / "y.svg").read_bytes().startswith(b"<?xml")


def test_a_state_file_spares_what_was_lived_and_changes_nothing(folder: Path) -> None:
    first = run(*DAYS, "--resume", "y.state")
    kept = (folder / "y.state").read_bytes()
    again = run(*DAYS, "--resume", "y.state")
    assert (first.exit_code, again.exit_code) == (0, 0)
    assert again.stdout == first.stdout == run(*DAYS).stdout
    assert (folder / "y.state").read_bytes() == kept
    other = run(*DAYS, "--seed", "1", "--resume", "y.state")
    assert other.exit_code == 3
    assert "another year" in other.stderr
    assert (folder / "y.state").read_bytes() == kept


def test_yardsticks_stand_beside_the_plan() -> None:
    done = run(*DAYS, "--yardsticks")
    assert done.exit_code == 0, done.output
    for row in (
        "the plan",
        "all in turn",
        "earliest deadline first",
        "priority first",
        "nobody could better",
    ):
        assert f"\n{row}" in done.stdout


@pytest.mark.parametrize(
    ("flags", "told"),
    [
        (("--from", "May"), "wanted a date"),
        (("--chart", "y.pdf"), ".png or .svg"),
        (("--json", "nowhere/y.json"), "no folder nowhere"),
        (("--resume", "nowhere/y.state"), "no folder nowhere"),
        (("--scheduler", "tcp://127.0.0.1:1"), "--years"),
    ],
)
def test_flags_that_cannot_be_are_told_before_a_day_is_lived(flags: tuple[str, ...], told: str) -> None:
    done = run(*flags)
    assert done.exit_code == 2
    assert told in done.stderr
    assert done.stdout == ""


def test_a_forecast_is_no_year(folder: Path) -> None:
    forecast = ROOT / "forecasts" / "field-edge-three-days.csv"
    done = CliRunner().invoke(app, ["year", "yard.toml", "--weather", str(forecast)])
    assert done.exit_code == 2
    assert "typical year" in done.stderr


def test_a_yard_without_weekly_needs_is_told(folder: Path) -> None:
    dated = FLEET.replace("ready_by = 07:00", f"ready_by = {START}").replace(
        "ready_by = 12:00", f"ready_by = {START}"
    )
    (folder / "yard.toml").write_text(dated, encoding="utf-8")
    done = run()
    assert done.exit_code == 2
    assert "every week" in done.stderr


def test_ctrl_c_shows_what_there_is_and_the_same_command_goes_on(folder: Path) -> None:
    """Stopped in the middle of a year, seen on a terminal by the bar that names the month."""
    command = [sys.executable, "-m", "scheduler", "year", "yard.toml", "--weather", str(WEATHER)]
    flags = ["--days", "60", "--resume", "y.state"]
    main, side = pty.openpty()
    began = subprocess.Popen(
        [*command, *flags],
        stdout=subprocess.PIPE,
        stderr=side,
        start_new_session=True,
        env={**os.environ, "COLUMNS": "100"},
    )
    os.close(side)
    seen = b""
    limit = time.monotonic() + 90
    while b"ready 1" not in seen and time.monotonic() < limit:
        seen += os.read(main, 4096)
    began.send_signal(signal.SIGINT)
    said, _ = began.communicate(timeout=60)
    seen += os.read(main, 65536)
    os.close(main)
    assert seen.count(b"stopped") == 1
    assert began.returncode == 130
    assert b"January" in seen
    assert b"(stopped: 60 were asked for)" in said
    lived = json.loads((folder / "y.state").read_text(encoding="utf-8"))["year"]["days"]
    assert 0 < len(lived) < 60
