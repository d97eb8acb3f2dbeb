"""Ctrl-C, SIGTERM and a closed terminal at random moments: 130 or done, no process left, no half file."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from scheduler.logbook.readings import read_logbook
from scheduler.studies.yearstate import FORMAT
from tests.attack.originals import STORE
from tests.cli_yard import ROOT, START, lay_out

PLAN = (
    "plan",
    "yard.toml",
    "--weather",
    "sky.csv",
    "--from",
    START,
    "--sheet",
    "door.txt",
    "--json",
    "door.json",
)
NOTE = ("note", "yard.toml", "--bank", "62", "--sure")
YEAR = (
    "year", "yard.toml", "--weather", str(ROOT / "forecasts" / "greensboro-tmy3.csv"), "--days", "125", "--years", "2",
    "--workers", "2", "--resume", "year.state",
)  # fmt: skip

#: What a process tells before it has loaded enough of itself to listen; nothing is begun by then.
NOT_YET = -signal.SIGINT, -signal.SIGTERM, -signal.SIGHUP


SIZE = ("size", str(ROOT / "fleets" / "field-edge.toml"), "--workers", "2")


@dataclass(frozen=True)
class Ended:
    """How a process ended, and what was left of it."""

    code: int
    told: str
    processes: int
    files: dict[str, bytes]


def stopped_after(seconds: float, words: tuple[str, ...], number: signal.Signals, folder: Path) -> Ended:
    """Run the program and stop it after some seconds, as a terminal or, by SIGTERM, the system does."""
    lay_out(folder)
    (folder / "for a time").mkdir()
    mark = f"SUNROSTER_TRIED={os.getpid()}-{time.monotonic_ns()}"
    name, _, value = mark.partition("=")
    process = subprocess.Popen(
        [sys.executable, "-m", "scheduler", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder / "for a time"), name: value},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    time.sleep(seconds)
    if number == signal.SIGTERM:
        process.send_signal(number)
    else:  # a terminal tells all that the program began, too
        os.killpg(process.pid, number)
    _, told = process.communicate(timeout=120)
    time.sleep(0.1)
    files = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    del files["yard.toml"], files["sky.csv"]
    return Ended(process.returncode, told.decode(), _running_with(mark), files)


def _running_with(mark: str) -> int:
    """How many processes carry this mark in their environment: the program and all that it began."""
    found = 0
    for folder in Path("/proc").iterdir():
        try:
            found += folder.name.isdigit() and mark.encode() in (folder / "environ").read_bytes().split(b"\0")
        except OSError:  # it has ended, or is somebody else's
            continue
    return found


def stop_many(words: tuple[str, ...], times: int, within_s: float, seed: int, folder: Path) -> list[Ended]:
    """Stop the program at random moments; what must hold each time is checked here."""
    rng = random.Random(seed)
    every = []
    for number in range(times):
        place = folder / str(number)
        place.mkdir()
        signals = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
        ended = stopped_after(rng.uniform(0.05, within_s), words, rng.choice(signals), place)
        assert ended.code in {0, 130, *NOT_YET}, ended
        assert ended.code in NOT_YET or "Traceback" not in ended.told, ended
        assert "Warning" not in ended.told, ended
        assert ended.processes == 0, ended
        assert not [name for name in ended.files if name.startswith(("for a time", "."))], ended
        shutil.rmtree(place)
        every.append(ended)
    return every


def check_plans(every: list[Ended]) -> None:
    for ended in every:
        assert set(ended.files) == ({"door.txt", "door.json"} if ended.code == 0 else set())
        if ended.code == 0:
            assert json.loads(ended.files["door.json"])["format"] == "sunroster.plan/1"
    assert {ended.code for ended in every} >= {130}


@pytest.mark.slow
def test_a_plan_stopped_at_any_moment_leaves_nothing(tmp_path: Path) -> None:
    check_plans(stop_many(PLAN, 6, 4.0, 1, tmp_path))


@pytest.mark.deep
def test_a_plan_stopped_at_50_moments_leaves_nothing(tmp_path: Path) -> None:
    check_plans(stop_many(PLAN, 50, 4.0, 2, tmp_path))


def check_notes(every: list[Ended], folder: Path) -> None:
    for ended in every:
        content = ended.files.get("yard-logbook.csv", b"")
        path = folder / "seen.csv"
        path.write_bytes(content)
        log = read_logbook(path, STORE)
        assert not log.problems
        assert not log.cut_off
        assert ended.code != 0 or [reading.value_pct for reading in log.readings] == [62.0]


@pytest.mark.slow
def test_a_note_stopped_at_any_moment_is_written_whole_or_not(tmp_path: Path) -> None:
    check_notes(stop_many(NOTE, 6, 1.5, 3, tmp_path), tmp_path)


@pytest.mark.deep
def test_a_note_stopped_at_50_moments_is_written_whole_or_not(tmp_path: Path) -> None:
    check_notes(stop_many(NOTE, 50, 1.5, 4, tmp_path), tmp_path)


def check_years(every: list[Ended]) -> None:
    for ended in every:
        assert set(ended.files) <= {"year.state"}
        if ended.files:
            assert json.loads(ended.files["year.state"])["format"] == FORMAT


@pytest.mark.slow
def test_a_year_on_several_cores_stopped_at_any_moment_goes_on_from_a_whole_state(tmp_path: Path) -> None:
    check_years(stop_many(YEAR, 3, 12.0, 5, tmp_path))


@pytest.mark.deep
def test_a_year_on_several_cores_stopped_at_50_moments_goes_on_from_a_whole_state(tmp_path: Path) -> None:
    check_years(stop_many(YEAR, 50, 25.0, 6, tmp_path))


#: Opens workers and hands them more work than they can begin at once, as the studies do.
OPEN_WORKERS = """
import os, signal, sys, time
from scheduler.commands.workers import worker_processes

def stop(number, frame):
    raise KeyboardInterrupt

for number in signal.SIGINT, signal.SIGTERM, signal.SIGHUP:
    signal.signal(number, stop)
print("listens", flush=True)
try:
    with worker_processes(2) as pool:
        for work in [pool.submit(time.sleep, 60) for _ in range(6)]:
            work.result()
except KeyboardInterrupt:
    os._exit(130)
"""


def stop_opening(
    seconds: float, number: signal.Signals, script: str = OPEN_WORKERS, told: int = 1
) -> tuple[int, str]:
    """Stop it so long after it has told so many lines; what came, and what was told beside."""
    with subprocess.Popen(
        [sys.executable, "-c", script],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    ) as process:
        assert process.stdout is not None
        for _ in range(told):
            process.stdout.readline()
        time.sleep(seconds)
        os.killpg(process.pid, number) if number != signal.SIGTERM else process.send_signal(number)
        _, beside = process.communicate(timeout=30)
    return process.returncode, beside.decode()


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_workers_stopped_while_they_are_begun_end_silently(number: signal.Signals) -> None:
    for step in range(30):
        assert stop_opening(step * 0.01, number) == (130, "")


#: Leaves workers with more work than they can do at once, as a study does that is cut short, and waits for them.
LEAVE_WORKERS = OPEN_WORKERS.replace("        for work in [", "        [").replace(
    "range(6)]:\n            work.result()", "range(6)]\n        print('leaves', flush=True)"
)


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_workers_stopped_while_their_last_work_is_waited_for_end_silently(number: signal.Signals) -> None:
    for step in range(10):
        assert stop_opening(step * 0.02, number, LEAVE_WORKERS, told=2) == (130, "")


@pytest.mark.slow
def test_workers_that_hold_work_for_later_end_all_the_same(tmp_path: Path) -> None:
    began = time.monotonic()
    assert all(not ended.files for ended in stop_many(SIZE, 3, 12.0, 7, tmp_path))
    assert time.monotonic() - began < 3 * (12.0 + 30.0)
