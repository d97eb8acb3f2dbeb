"""The command as a process of its own: pipes, code pages, terminals, and being stopped in the middle."""

from __future__ import annotations

import os
import pty
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli_yard import FLEET, ROOT, START, everything_in, lay_out
from tests.planning.solver_stubs import stub

COMMAND = [sys.executable, "-m", "scheduler", "plan", "yard.toml", "--weather", "sky.csv", "--from", START]

#: Colour codes, not those for bold or for moving about.
COLOUR = re.compile(rb"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7]|38;)")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a yard; what is written for a time goes to one whose name has a space."""
    lay_out(tmp_path)
    (tmp_path / "for a time").mkdir()
    monkeypatch.chdir(tmp_path)
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "PYTHONIOENCODING"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    monkeypatch.setenv("TMPDIR", str(tmp_path / "for a time"))
    return tmp_path


def test_piped_it_is_plain_text_of_80_columns_and_nothing_else(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")  # a wish for colour is none for a progress bar
    done = subprocess.run(COMMAND, capture_output=True, timeout=120, check=True)
    assert done.stderr == b""
    monkeypatch.delenv("FORCE_COLOR")
    monkeypatch.setenv("COLUMNS", "80")
    done = subprocess.run(COMMAND, capture_output=True, timeout=120, check=True)
    assert done.stderr == b""
    assert b"\x1b" not in done.stdout
    assert re.match(rb"(Both|\d of 2) ma", done.stdout)
    assert b"HiGHS" not in done.stdout
    assert max(len(line) for line in done.stdout.decode().splitlines()) <= 80
    assert not list((folder / "for a time").iterdir())


def test_a_code_page_without_greek_letters_is_no_reason_to_stop(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lay_out(folder, FLEET.replace("cart", "ψεκαστήρας").replace("bean", "bön"))
    monkeypatch.setenv("PYTHONIOENCODING", "cp1252")
    done = subprocess.run(COMMAND, capture_output=True, timeout=120, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    told = done.stdout.decode("cp1252")
    assert "??????????" in told
    assert "bön shed" in told


def on_a_terminal() -> tuple[bytes, bytes]:
    """What it prints, and what it shows beside it, on a terminal."""
    shown = []
    ends = [pty.openpty() for _ in range(2)]
    process = subprocess.Popen(COMMAND, stdin=subprocess.DEVNULL, stdout=ends[0][1], stderr=ends[1][1])
    for ours, theirs in ends:
        os.close(theirs)
        shown.append(b"".join(iter(lambda end=ours: _read(end), b"")))
        os.close(ours)
    assert process.wait(60) == 0
    return shown[0], shown[1]


def _read(end: int) -> bytes:
    try:
        return os.read(end, 65536)
    except OSError:  # how a terminal says that nobody writes any more
        return b""


def test_on_a_terminal_a_bar_shows_what_is_done_and_goes_away_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    printed, beside = on_a_terminal()
    assert b"reading" in beside
    assert beside.rstrip().endswith(b"\x1b[2K")
    assert not COLOUR.search(printed)
    assert not COLOUR.search(beside)


def _solver_at_work(pid_file: Path, process: subprocess.Popen[bytes]) -> int:
    """The solver's process, once it runs."""
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline and process.poll() is None:
        if pid_file.exists() and pid_file.read_text().strip():
            return int(pid_file.read_text())
        time.sleep(0.02)
    pytest.fail(f"the solver was not called: {process.communicate()}")


def _is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_stopped_in_the_middle_it_leaves_no_solver_no_files_and_130(
    number: signal.Signals, folder: Path
) -> None:
    pid_file = folder / "pid"
    slow = stub(folder, f'echo $$ > "{pid_file}"; exec sleep 60')
    script = (
        f"import pulp; pulp.PULP_CBC_CMD.pulp_cbc_path = {str(slow)!r}\n"
        "from scheduler.cli.app import main; main()"
    )
    words = [sys.executable, "-c", script, *COMMAND[3:], "--sheet", "door.txt", "--json", "plan.json"]
    process = subprocess.Popen(
        words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    solver = _solver_at_work(pid_file, process)
    before = everything_in(folder).keys()
    process.send_signal(number)
    printed, beside = process.communicate(timeout=30)
    assert (process.returncode, printed, beside) == (130, b"", b"stopped\n")
    assert not _is_running(solver)
    assert not list((folder / "for a time").iterdir())
    assert {path for path in before if "for a time" not in path.parts} == everything_in(folder).keys()


def test_what_whoever_started_it_has_it_ignore_is_ignored(folder: Path) -> None:
    script = (
        "import signal; signal.signal(signal.SIGHUP, signal.SIG_IGN)\n"
        "from scheduler.cli import app\n"
        "app.app = lambda **_: print(signal.getsignal(signal.SIGHUP) == signal.SIG_IGN)\n"
        "from scheduler.__main__ import main; main()"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, timeout=60, check=True)
    assert done.stdout == b"True\n"
