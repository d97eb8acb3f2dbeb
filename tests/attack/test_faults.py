"""Machines that fail while the program runs: solvers, disks, folders, streams, clocks; each in a process of its own."""

from __future__ import annotations

import datetime as dt
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from scheduler.commands.note import NoteRequest, note_readings
from scheduler.commands.plan import PlanRequest, plan_yard, read_yard_as_found
from scheduler.errors import SunrosterError
from tests.cli_yard import ROOT, START, everything_in, lay_out
from tests.planning.solver_stubs import answering, columns, stub

PLAN = ("plan", "yard.toml", "--weather", "sky.csv", "--from", START)
FILES = ("--sheet", "door.png", "--json", "door.json", "--calendar", "visits.ics")
NOTE = ("note", "yard.toml", "--bank", "62", "--at", "2027-06-08 15:00", "--sure", "--who", "Zoë")

#: A rule of thumb, because nobody could be asked: safe, and told.
THUMB = "a careful rule of thumb: no solver answered"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    lay_out(tmp_path)
    return tmp_path


def run(
    folder: Path,
    *words: str,
    script: str = "",
    limits: Callable[[], None] | None = None,
    user: int | None = None,
    **env: str,
) -> subprocess.CompletedProcess[bytes]:
    """Run the program in a folder; `script` is done to it before it begins."""
    program = f"{script}\nfrom scheduler.__main__ import main; main()"
    return subprocess.run(
        [sys.executable, "-c", program, *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", **env},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=120,
        check=False,
        preexec_fn=limits,
        user=user,
    )


def check_plain_end(done: subprocess.CompletedProcess[bytes], *codes: int) -> str:
    """What is told beside the answer, which never is a traceback or a warning of Python's."""
    told = done.stderr.decode()
    assert done.returncode in codes, told
    assert "Traceback" not in told
    assert "Warning" not in told
    return told


# ---- solvers -----------------------------------------------------------------------------------------


def _not_executable(folder: Path) -> Path:
    path = stub(folder, "exit 0")
    path.chmod(0o644)
    return path


def _rubbish(folder: Path) -> Path:
    return answering(folder, "Optimal - objective value -99\n" + columns(*[0.5] * 40, "nan", 1e30, -7, "inf"))


CBC: dict[str, Callable[[Path], Path]] = {
    "missing": lambda folder: folder / "nowhere",
    "not executable": _not_executable,
    "a folder": lambda folder: folder,
    "killed": lambda folder: stub(folder, "kill -9 $$"),
    "hung": lambda folder: stub(folder, "exec sleep 100"),
    "deaf": lambda folder: stub(folder, "trap '' INT TERM; sleep 100"),
    "lying": _rubbish,
    "answers noise": lambda folder: stub(
        folder, 'for last in "$@"; do :; done; head -c 5000 /dev/urandom > "$last"'
    ),
}

_WITHOUT_HIGHS = "import pulp\ndef gone(*_, **__): raise ImportError('not installed')\npulp.HiGHS = gone\n"
#: HiGHS gives every column its upper bound and calls that the optimum.
_LYING_HIGHS = (
    "import highspy\nrun = highspy.Highs.run\n"
    "def lie(self):\n"
    "    run(self)\n"
    "    bounds = list(self.getLp().col_upper_)\n"
    "    solution = self.getSolution()\n"
    "    solution.col_value = [min(bound, 1e6) for bound in bounds]\n"
    "    self.getSolution = lambda: solution\n"
    "highspy.Highs.run = lie\n"
)
HIGHS = {"well": "", "missing": _WITHOUT_HIGHS, "lying": _LYING_HIGHS}


def plan_with_solvers(folder: Path, cbc: str, highs: str) -> dict[str, object]:
    """A plan of the program with these solvers: it replays clean whatever they are."""
    folder_of_stub = folder / "solvers"
    folder_of_stub.mkdir()
    path = CBC[cbc](folder_of_stub)
    script = f"import pulp\npulp.PULP_CBC_CMD.pulp_cbc_path = {str(path)!r}\n" + HIGHS[highs]
    script += (
        "from scheduler.planning import asking, planner, solve\nasking.GRACE_S = solve.GRACE_S = 0.2\n"
        "planner.Settings.__init__.__defaults__ = (1.0, 0.5)\n"
    )
    done = run(folder, *PLAN, "--json", "door.json", script=script)
    check_plain_end(done, 0)
    plan = json.loads((folder / "door.json").read_text())
    assert plan["replay"]["violations"] == []
    assert isinstance(plan, dict)
    return plan


@pytest.mark.slow
@pytest.mark.parametrize("cbc", CBC)
def test_whatever_cbc_does_highs_answers(cbc: str, folder: Path) -> None:
    plan = plan_with_solvers(folder, cbc, "well")
    assert plan["made_by"] == "every aim proven"


@pytest.mark.slow
@pytest.mark.parametrize("highs", ["missing", "lying"])
@pytest.mark.parametrize("cbc", CBC)
def test_with_no_sound_solver_the_plan_is_a_safe_one_and_never_called_proven_by_their_word(
    cbc: str, highs: str, folder: Path
) -> None:
    plan = plan_with_solvers(folder, cbc, highs)
    sound = plan_without_solvers()
    if plan["made_by"] != "every aim proven":  # arithmetic alone may prove what the rule of thumb reaches
        assert plan["made_by"] == THUMB
        assert any("no solver answered" in note for note in plan["notes"])  # type: ignore[attr-defined]
    assert plan["machines"] == sound["machines"] or plan["made_by"] == "every aim proven"


def plan_without_solvers() -> dict[str, object]:
    with tempfile.TemporaryDirectory() as name:
        lay_out(Path(name))
        return plan_with_solvers(Path(name), "missing", "missing")


# ---- disks and folders -----------------------------------------------------------------------------------


def at_most(size_bytes: int) -> Callable[[], None]:
    """No file may grow beyond so many bytes: what a full disk does, without one."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, size_bytes))

    return limit


@pytest.mark.slow
@pytest.mark.parametrize("size_bytes", [0, 1_000, 10_000])
def test_files_that_cannot_grow_are_told_and_the_old_ones_stand(size_bytes: int, folder: Path) -> None:
    (folder / "door.json").write_text("old")
    before = everything_in(folder)
    done = run(folder, *PLAN, *FILES, limits=at_most(size_bytes))
    # With no room for temporary files either, the first to ask for one tells.
    told = check_plain_end(done, 6)
    assert (
        "No usable temporary directory" if size_bytes == 0 else "cannot be written: File too large"
    ) in told
    assert done.stdout == b""
    assert everything_in(folder) == before


@contextmanager
def disk(place: Path, size_kb: int) -> Iterator[bool]:
    """A small disk of its own at a place; whether this machine allows it."""
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={size_kb}k", "tmpfs", str(place)]
    is_there = os.geteuid() == 0 and subprocess.run(command, capture_output=True, check=False).returncode == 0
    try:
        yield is_there
    finally:
        if is_there:
            subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
def test_a_disk_that_runs_full_leaves_the_old_files_and_the_logbook_as_they_were(tmp_path: Path) -> None:
    folder = tmp_path / "disk"
    with disk(folder, 64) as is_there:
        lay_out(folder)
        if not is_there:
            # Without the right to mount, a logbook that may not grow has to do.
            check_full_logbook(folder, at_most(100))
            return
        (folder / "door.json").write_text("old")
        (folder / "ballast").write_bytes(bytes(30_000))
        before = everything_in(folder)
        done = run(folder, *PLAN, *FILES)
        assert "No space left on device" in check_plain_end(done, 6)
        assert everything_in(folder) == before
        check_full_logbook(folder, None)


def check_full_logbook(folder: Path, limits: Callable[[], None] | None) -> None:
    assert check_plain_end(run(folder, *NOTE), 0) == ""
    if limits is None:
        with (folder / "ballast").open("ab") as ballast:
            free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize
            ballast.write(bytes(free))
    before = everything_in(folder)
    long = ("--remark", 6000 * "x")
    done = run(folder, *NOTE, *long, limits=limits)
    assert "nothing was noted, keep it on paper" in check_plain_end(done, 6)
    assert everything_in(folder) == before


@pytest.mark.slow
def test_a_folder_that_may_not_be_written_to_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "disk"
    with disk(folder, 1000) as is_there:
        lay_out(folder)
        before = everything_in(folder)
        if is_there:
            subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        else:
            folder.chmod(0o555)
        why = "Read-only file system" if is_there else "Permission denied"
        assert f"cannot be written: {why}" in check_plain_end(run(folder, *PLAN, *FILES), 6)
        assert f"{why}; nothing was noted" in check_plain_end(run(folder, *NOTE), 6)
        assert everything_in(folder) == before
        check_plain_end(run(folder, *PLAN), 0)
        if not is_there:
            folder.chmod(0o755)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["gone", "a file", "with blanks", "unwritable"])
def test_a_folder_for_temporary_files_that_is_of_no_use_costs_nothing(kind: str, folder: Path) -> None:
    place = folder / "for a time"
    if kind in ("with blanks", "unwritable"):
        place.mkdir()
    if kind == "a file":
        place.touch()
    if kind == "unwritable":
        place = Path("/proc")
    done = run(folder, *PLAN, "--json", "door.json", TMPDIR=str(place))
    assert check_plain_end(done, 0) == "written: door.json\n"
    plan = json.loads((folder / "door.json").read_text())
    assert plan["made_by"] == "every aim proven"
    assert not [note for note in plan["notes"] if "CBC" in note]


@pytest.mark.slow
def test_runs_at_once_that_write_the_same_files_leave_whole_ones(folder: Path) -> None:
    words = [sys.executable, "-m", "scheduler", *PLAN, *FILES]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    runs = [subprocess.Popen(words, cwd=folder, env=env, stdout=subprocess.DEVNULL) for _ in range(3)]
    assert [one.wait(120) for one in runs] == [0, 0, 0]
    assert json.loads((folder / "door.json").read_text())["format"] == "sunroster.plan/1"
    assert (folder / "door.png").read_bytes().endswith(b"IEND\xaeB`\x82")
    assert (folder / "visits.ics").read_bytes().endswith(b"END:VCALENDAR\r\n")
    assert {path.name for path in folder.iterdir()} == {
        "yard.toml", "sky.csv", "door.json", "door.png", "visits.ics",
    }  # fmt: skip


# ---- streams ---------------------------------------------------------------------------------------------


def through_shell(folder: Path, command: str) -> subprocess.CompletedProcess[bytes]:
    """Run a line of bash in which SUNROSTER is the program."""
    line = command.replace("SUNROSTER", f"{sys.executable} -m scheduler")
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        ["bash", "-c", f"set -o pipefail; {line}"],
        cwd=folder,
        env=env,
        capture_output=True,
        timeout=120,
        check=False,
    )


WORDS = f"plan yard.toml --weather sky.csv --from '{START}' --json door.json"


@pytest.mark.slow
def test_an_answer_that_cannot_be_printed_is_told_and_ends_with_6(folder: Path) -> None:
    done = through_shell(folder, f"SUNROSTER {WORDS} > /dev/full")
    told = check_plain_end(done, 6)
    assert "the answer cannot be printed: No space left on device" in told
    assert "cannot be printed" in check_plain_end(through_shell(folder, "SUNROSTER --help > /dev/full"), 6)


@pytest.mark.slow
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&-", "<&- >&- 2>&-", "2> /dev/full"])
def test_streams_that_are_closed_cost_what_goes_to_them_and_no_more(closed: str, folder: Path) -> None:
    done = through_shell(folder, f"SUNROSTER {WORDS} {closed}")
    check_plain_end(done, 0)
    assert json.loads((folder / "door.json").read_text())["format"] == "sunroster.plan/1"
    assert bool(done.stdout) == (" >&-" not in f" {closed}")


@pytest.mark.slow
@pytest.mark.parametrize("reader", ["head -1", "true"])
def test_a_reader_that_goes_away_is_no_fault(reader: str, folder: Path) -> None:
    done = through_shell(folder, f"SUNROSTER {WORDS} | {reader}")
    assert b"Traceback" not in done.stderr
    assert b"Exception" not in done.stderr
    assert (folder / "door.json").exists()


CODE_PAGES: dict[str, dict[str, str]] = {
    "cp1252": {"PYTHONIOENCODING": "cp1252"},
    "ascii": {"PYTHONIOENCODING": "ascii"},
    "LANG=C": {"LANG": "C", "LC_ALL": "C"},
    "no UTF-8 anywhere": {"LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
}


@pytest.mark.slow
@pytest.mark.parametrize("page", CODE_PAGES)
def test_code_pages_change_no_file(page: str, folder: Path) -> None:
    fleet = (folder / "yard.toml").read_text().replace("cart", "čárt ψ")
    (folder / "yard.toml").write_text(fleet, encoding="utf-8")
    files = ("--sheet", "door.txt", "--json", "door.json")
    for words in ((*PLAN, *files), NOTE, ("sun", "yard.toml", "--weather", "sky.csv", "--from", START)):
        check_plain_end(run(folder, *words, **CODE_PAGES[page]), 0)
    assert "čárt ψ" in (folder / "door.txt").read_text(encoding="utf-8")
    assert json.loads((folder / "door.json").read_text(encoding="utf-8"))["machines"][0]["name"] == "čárt ψ"
    if page != "no UTF-8 anywhere":
        assert "62,Zoë\n" in (folder / "yard-logbook.csv").read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("columns_wide", ["40", "20", "1"])
def test_narrow_screens_are_laid_out_and_not_overrun(columns_wide: str, folder: Path) -> None:
    for words in (PLAN, ("sun", "yard.toml", "--weather", "sky.csv", "--from", START)):
        done = run(folder, *words, COLUMNS=columns_wide)
        check_plain_end(done, 0)
        shown = done.stdout.decode()
        assert shown
        if columns_wide == "40":
            assert max(map(len, shown.splitlines())) <= 40
            assert "…" not in shown


# ---- clocks ----------------------------------------------------------------------------------------------


def _clock(*when: int) -> dt.datetime:
    return dt.datetime(*when, tzinfo=dt.UTC)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "now", [_clock(*when) for when in ((1, 1, 1), (1970, 1, 1), (1999, 12, 31), (2101, 1, 1), (9999, 12, 31))]
)
def test_a_clock_that_is_years_off_is_told(now: dt.datetime, folder: Path) -> None:
    request = PlanRequest(folder / "yard.toml", now)
    with pytest.raises(SunrosterError, match=f"clock shows {now.year}: set it right"):
        plan_yard(read_yard_as_found(request).yard, request, lambda *_: None)
    with pytest.raises(SunrosterError, match=f"clock shows {now.year}: .* with --at"):
        note_readings(NoteRequest(folder / "yard.toml", now, bank_pct=62.0))
    assert not (folder / "yard-logbook.csv").exists()
    told = NoteRequest(folder / "yard.toml", now, bank_pct=62.0, at="2027-06-08 15:00", sure=True)
    assert note_readings(told).done == ("noted: bank 62 %, Tue 8 Jun 15:00",)


def test_a_clock_that_was_put_back_leaves_later_readings_aside_and_asks_back(folder: Path) -> None:
    fleet = folder / "yard.toml"
    late, early = _clock(2027, 6, 8, 19, 50), _clock(2027, 6, 8, 19, 0)
    note_readings(NoteRequest(fleet, late, bank_pct=40.0))
    found = read_yard_as_found(PlanRequest(fleet, early))
    assert found.yard.bank.level_pct == 70.0
    with pytest.raises(SunrosterError, match="in 50 min it can go"):
        note_readings(NoteRequest(fleet, early, bank_pct=99.0))
