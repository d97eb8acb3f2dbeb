"""The README's week on the demo yard, from note to compare: every command runs, and prints what stands below it.

``python -m tests.test_week`` puts what the commands print in their places.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
LOGBOOK = Path("fleets/field-edge-logbook.csv")

#: ``<!-- week till 2025-06-12T07:00 -->``: what was noted before is in the logbook by then; then come the commands, and
#: what the last of them prints.
PART = re.compile(
    r"(?P<before><!-- week till (?P<till>\S+) -->\n```sh\n(?P<commands>.*?)```\n)"
    r"(?P<shown>(?P<lead>\n[^\n`]*\n\n```text\n)(?P<text>.*?)(?=```\n))?",
    re.DOTALL,
)

#: The logbook at the end of the week.
WHOLE = re.compile(r"<!-- week's logbook -->\n```text\n(.*?)```\n", re.DOTALL)


@dataclass(frozen=True)
class Lived:
    """What the last command of a part printed, and what the README shows below it; None if nothing."""

    printed: str
    shown: str | None


def live(folder: Path) -> Iterator[Lived]:
    """Run the week in a folder of its own; whoever noted what the commands do not, did it in a spreadsheet."""
    text = README.read_text(encoding="utf-8")
    whole = whole_logbook(text).splitlines()
    for name in ("fleets", "forecasts"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("*-logbook.csv"))
    log = folder / LOGBOOK
    for part in PART.finditer(text):
        written = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
        due = [line for line in whole[1:] if line < part["till"] and line not in written]
        if due:
            log.write_text("".join(f"{line}\n" for line in [*(written or whole[:1]), *due]), encoding="utf-8")
        printed = [run(folder, command) for command in part["commands"].splitlines()]
        yield Lived(printed[-1], part["text"])
    assert log.read_text(encoding="utf-8").splitlines() == whole


def whole_logbook(text: str) -> str:
    (whole,) = WHOLE.findall(text)
    return str(whole)


def run(folder: Path, command: str) -> str:
    """Run a command as it stands in the README, on 80 columns, piped."""
    words = shlex.split(command)
    assert words[0] == "sunroster"
    keep = {name: value for name, value in os.environ.items() if "COLOR" not in name and "TTY" not in name}
    done = subprocess.run(
        [sys.executable, "-m", "scheduler", *words[1:]],
        cwd=folder,
        env={**keep, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=True,
        text=True,
        encoding="utf-8",
    )
    return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())


@pytest.mark.slow
def test_the_week_from_note_to_compare_goes_as_the_readme_shows(tmp_path: Path) -> None:
    told = "if it was changed on purpose, python -m tests.test_week renews the README"
    parts = list(live(tmp_path))
    assert sum(part.shown is not None for part in parts) == 2
    for part in parts:
        assert part.shown is None or part.printed == part.shown, told


def test_the_week_is_a_whole_one_read_at_every_visit() -> None:
    lines = whole_logbook(README.read_text(encoding="utf-8")).splitlines()[1:]
    read = [line[:16] for line in lines if ",bank," in line]
    assert read == [f"2025-06-{day:02d}T{hour:02d}:00" for day in range(9, 16) for hour in (7, 12, 17)]


def rewrite() -> None:
    """Put what the week's commands print in their places."""
    with tempfile.TemporaryDirectory() as folder:
        lived = live(Path(folder))

        def renewed(part: re.Match[str]) -> str:
            printed = next(lived).printed
            return part["before"] + (part["lead"] + printed if part["shown"] else "")

        text = PART.sub(renewed, README.read_text(encoding="utf-8"))
        assert next(lived, None) is None
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    rewrite()
