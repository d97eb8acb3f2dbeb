"""Whole commands on spoilt files, each in a process of its own: ``python -m tests.attack.commands --cases 500``.

Seven in ten of the files still read well, so that what was read must go on to a plan, or to a refusal that is told.
"""

# ruff: noqa: T201  prints what it finds
from __future__ import annotations

import argparse
import contextlib
import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from scheduler.cli import app
from scheduler.errors import SunrosterError
from scheduler.planning.planner import Settings
from scheduler.sheet import page, pagetext, screen  # noqa: F401  loaded once, before the processes part
from tests.attack.judging import READERS, upsets_terminals
from tests.attack.mutations import mutate
from tests.attack.originals import fleet_beside, originals
from tests.cli_yard import FORECAST, START

LIMIT_S = 60.0
MEMORY_BYTES = 1_000_000_000
OUTPUT_BYTES = 1_000_000

_PLAN = ("plan", "yard.toml", "--from", START, "--weather")
_YEAR = (
    "year",
    "yard.toml",
    "--weather",
    "greensboro.csv",
    "--from",
    "2027-05-03",
    "--days",
    "3",
    "--workers",
    "1",
)
NOTE = ("note", "yard.toml", "--bank", "62", "--at", "2027-06-08 15:00", "--sure")

#: By kind: where the spoilt file stands, and the commands that meet it there.
COMMANDS: dict[str, tuple[str, tuple[tuple[str, ...], ...]]] = {
    "fleet": (
        "yard.toml",
        (
            (*_PLAN, "sky.csv"),
            (*_PLAN, "sky.csv", "--sheet", "door.txt", "--json", "new.json", "--calendar", "visits.ics"),
            ("sun", "yard.toml", "--from", START, "--weather", "sky.csv"),
            NOTE,
        ),
    ),
    "forecast": (
        "sky.csv",
        ((*_PLAN, "sky.csv"), ("sun", "yard.toml", "--weather", "sky.csv", "--from", START)),
    ),
    "EPW": ("year.csv", ((*_PLAN, "year.csv"),)),
    "TMY3": ("year.csv", ((*_PLAN, "year.csv"),)),
    "logbook": (
        "yard-logbook.csv",
        (
            (*_PLAN, "sky.csv"),
            NOTE,
            ("note", "yard.toml", "--undo"),
            ("compare", "yard.toml", "--plan", "door.json"),
        ),
    ),
    "plan": (
        "door.json",
        (
            (*_PLAN, "sky.csv", "--door", "door.json", "--text", "-"),
            ("compare", "yard.toml", "--plan", "door.json"),
        ),
    ),
    "state": ("year.state", ((*_YEAR, "--resume", "year.state"),)),
}
WEIGHTS = {"fleet": 40, "forecast": 16, "logbook": 20, "plan": 16, "EPW": 3, "TMY3": 3, "state": 2}

#: What a command may write, by the flag or the command that asks for it.
WRITES = {"door.txt", "new.json", "visits.ics", "yard-logbook.csv", "year.state"}


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    words: tuple[str, ...]
    fault: str
    code: int
    seconds: float


def spoilt(kind: str, rng: random.Random, folder: Path) -> bytes:
    """A spoilt file, more often than not one that still reads."""
    others = [file for files in originals().values() for file in files]
    wants_readable = rng.random() < 0.7
    content = b""
    for _ in range(12):
        content = mutate(rng.choice(originals()[kind]), rng, others)
        if not wants_readable:
            break
        path = folder / "tried"
        path.write_bytes(content)
        with contextlib.suppress(SunrosterError):
            READERS[kind](path)
            break
    (folder / "tried").unlink(missing_ok=True)
    return content


def lay_out(folder: Path) -> None:
    """Everything sound that a command may read."""
    (folder / "yard.toml").write_bytes(fleet_beside().read_bytes())
    (folder / "sky.csv").write_bytes(FORECAST.read_bytes())
    (folder / "greensboro.csv").write_bytes(originals()["TMY3"][0])
    (folder / "yard-logbook.csv").write_bytes(originals()["logbook"][0])
    (folder / "door.json").write_bytes(originals()["plan"][0])


def _be_the_command(words: Sequence[str], place: str, kind: str, rng: random.Random, folder: Path) -> None:
    """In the child: spoil the file, and be the program until it ends."""
    (folder / place).write_bytes(spoilt(kind, rng, folder))
    (folder / "is-spoilt").touch()
    os.chdir(folder)
    for number, name in ((1, "stdout"), (2, "stderr")):
        os.dup2(os.open(folder.parent / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most_bytes = pages * resource.getpagesize() + MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    Settings.__init__.__defaults__ = (0.5, 0.5)
    sys.argv = ["sunroster", *words]
    app.main()


def run_case(seed: int, number: int) -> tuple[str, Ended]:
    """Run one command on one spoilt file."""
    rng = random.Random(f"commands {seed}/{number}")
    (kind,) = rng.choices(list(WEIGHTS), list(WEIGHTS.values()))
    place, commands = COMMANDS[kind]
    words = rng.choice(commands)
    with tempfile.TemporaryDirectory(prefix="commands-") as outer:
        folder = Path(outer) / "yard"
        folder.mkdir()
        lay_out(folder)
        sys.stdout.flush()
        child = os.fork()
        if child == 0:
            code: object = 1
            try:
                _be_the_command(words, place, kind, rng, folder)
            except SystemExit as end:
                code = end.code
            except BaseException:  # noqa: BLE001  as the interpreter does
                sys.excepthook(*sys.exc_info())  # type: ignore[arg-type]
            finally:
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(code if isinstance(code, int) else int(code is not None))
        begun = time.monotonic()
        status = _wait(child)
        seconds = time.monotonic() - begun
        code = os.waitstatus_to_exitcode(status) if status is not None else -9
        return kind, Ended(words, "hangs" if status is None else _fault(code, Path(outer)), code, seconds)


def _wait(child: int) -> int | None:
    deadline = time.monotonic() + LIMIT_S
    while time.monotonic() < deadline:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return status
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _fault(code: int, outer: Path) -> str:
    if not (outer / "stderr").exists():
        return "was not begun"
    printed, beside = (outer / name for name in ("stdout", "stderr"))
    if code not in (0, 2, 3, 6):
        return f"ended with {code}: {beside.read_text(errors='replace')[-300:]!r}"
    told = beside.read_text() + printed.read_text()
    if "Traceback" in told or "Warning" in told:
        return f"told {told[-300:]!r}"
    if len(told) > OUTPUT_BYTES:
        return f"told {len(told)} letters"
    odd = [letter for letter in told if letter != "\n" and upsets_terminals(letter)]
    if odd:
        at = told.index(odd[0])
        return f"letters that upset a terminal, {odd[:3]!r}: {told[max(at - 80, 0) : at + 20]!r}"
    known = {"yard.toml", "sky.csv", "greensboro.csv", "year.csv", "door.json", "is-spoilt", *WRITES}
    names = {path.name for path in (outer / "yard").iterdir()}
    written = names - known if code == 0 else names - known | names & {"door.txt", "new.json", "visits.ics"}
    if code != 0 and printed.stat().st_size:
        return f"refused, and printed {printed.read_text()[:100]!r}"
    if code != 0 and not beside.stat().st_size:
        return "refused without a word"
    return f"wrote {sorted(written)}" if written else ""


def run_cases(seed: int, first: int, count: int) -> Iterator[tuple[int, str, Ended]]:
    """Run so many cases, one after another."""
    originals()
    for number in range(first, first + count):
        yield number, *run_case(seed, number)


def main(words: Sequence[str]) -> int:
    """Print what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    given = parser.parse_args(words)
    codes, wrong, longest = Counter[tuple[str, int]](), 0, 0.0
    for number, kind, ended in run_cases(given.seed, given.first, given.cases):
        codes[ended.words[0], ended.code] += 1
        longest = max(longest, ended.seconds)
        if ended.fault:
            wrong += 1
            print(f"{number} {kind}, {' '.join(ended.words)}: {ended.fault}", flush=True)
    print(f"{given.cases} commands, {wrong} with a fault; the longest took {longest:.1f} s")
    print(
        ", ".join(f"{name} ended with {code} {count} times" for (name, code), count in sorted(codes.items()))
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
