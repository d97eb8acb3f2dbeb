"""Does the suite notice when a rule is broken? ``python -m tests.benchmarks.broken_rules`` breaks R3 to R12 and asks.

`broken_rules.toml` holds the edits: a sign, a factor, a limit, an edge, a check left out, in what chooses, in what
confirms, and in what both read. Each is made in a copy of the project, and the tests that should notice are run
there until one fails; who survives them meets the whole fast suite. An edit whose old text does not stand exactly
once in its file, or that is no Python, is refused.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import queue
import random
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EDITS = Path(__file__).with_suffix(".toml")
COPIED = (
    "scheduler",
    "tests",
    "fleets",
    "forecasts",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
)
PROCESSES = 2
LIMIT_S = 1200.0  # a loop that does not end is noticed too

#: Most of a short run is importing what is not broken, so every process is forked from one that has it already.
FORKS = multiprocessing.get_context("forkserver")
FORKS.set_forkserver_preload(
    [
        "pytest",
        "hypothesis",
        "numpy",
        "pandas",
        "pulp",
        "pydantic",
        "scipy.optimize",
        "typer.testing",
        "rich.table",
    ]
)


@dataclass(frozen=True)
class Edit:
    """One way of breaking a rule, the tests that are asked first, and, where nobody can notice, why."""

    rule: str
    side: str
    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]
    equivalent: str | None = None

    def broken(self, text: str) -> str:
        """Break the text of its file."""
        found = text.count(self.old)
        if found != 1:
            msg = f"{self.rule}, {self.what}: its old text stands {found} times in {self.file}; wanted once"
            raise ValueError(msg)
        text = text.replace(self.old, self.new)
        compile(text, self.file, "exec")
        return text


@dataclass(frozen=True)
class Verdict:
    """What became of a broken copy: the test that noticed, or None, and why it failed."""

    caught_by: str | None
    why: str
    seconds: float


def read_edits() -> list[Edit]:
    """Every edit of the list, each checked against its file."""
    edits = []
    for rule, listed in tomllib.loads(EDITS.read_text(encoding="utf-8")).items():
        tests = {
            "model": listed["model"],
            "replay": listed["replay"],
            "shared": listed["model"] + listed["replay"],
        }
        edits += [Edit(rule=rule, tests=tuple(tests[edit["side"]]), **edit) for edit in listed["edits"]]
    for edit in edits:
        edit.broken((ROOT / edit.file).read_text(encoding="utf-8"))
    return edits


def copy_project(into: Path) -> Path:
    """Copy what the tests need, nothing compiled: edits of equal length within a second look alike to Python."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, into / name, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
        else:
            shutil.copy(source, into / name)
    return into


class FirstFailure:
    """A plugin of pytest that remembers what failed first, and why."""

    caught_by: str | None = None
    why = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.look_at(report)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        self.look_at(report)

    def look_at(self, report: pytest.TestReport | pytest.CollectReport) -> None:
        if report.failed and self.caught_by is None:
            crash = getattr(report.longrepr, "reprcrash", None)
            self.caught_by, self.why = report.nodeid, crash.message if crash else str(report.longrepr)[-200:]


def run_tests(copy: Path, tests: tuple[str, ...]) -> Verdict:
    """Run tests of a copy until one fails; all fast ones where none are named."""
    begun = time.perf_counter()
    ours, theirs = FORKS.Pipe(duplex=False)
    process = FORKS.Process(target=run_in_copy, args=(copy, tests, theirs))
    process.start()
    theirs.close()
    if not ours.poll(LIMIT_S):
        os.killpg(process.pid, signal.SIGKILL)
        return Verdict("the time limit", f"no end within {LIMIT_S:g} s", LIMIT_S)
    caught_by, why, code = ours.recv()
    process.join()
    if (caught_by is None) != (code == pytest.ExitCode.OK):
        msg = f"pytest ended with {code}, the first to fail was {caught_by}: {why}"
        raise RuntimeError(msg)
    return Verdict(caught_by, why, time.perf_counter() - begun)


def run_in_copy(copy: Path, tests: tuple[str, ...], answer: Connection) -> None:
    """In a process of its own: forget this project, take the copy in its place, and run its tests."""
    os.setsid()
    os.nice(15)
    os.chdir(copy)
    sys.dont_write_bytecode = True
    os.environ.update(PYTHONDONTWRITEBYTECODE="1", PYTHONPATH=str(copy))
    for name in [name for name in sys.modules if name.partition(".")[0] in {"scheduler", "tests"}]:
        del sys.modules[name]
    sys.path[:] = [str(copy), *(path for path in sys.path if Path(path).resolve() != ROOT)]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    first = FirstFailure()
    code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--assert=plain", *tests], plugins=[first])
    answer.send((first.caught_by, first.why, code))


def try_edit(copy: Path, edit: Edit) -> Verdict:
    """Break a copy, run the tests that should notice, then all; mend the copy again."""
    file = copy / edit.file
    whole = file.read_text(encoding="utf-8")
    file.write_text(edit.broken(whole), encoding="utf-8")
    try:
        chosen = run_tests(copy, edit.tests)
        if chosen.caught_by is not None or edit.equivalent is not None:
            return chosen
        rest = run_tests(copy, ())
        return Verdict(rest.caught_by, rest.why, chosen.seconds + rest.seconds)
    finally:
        file.write_text(whole, encoding="utf-8")


def try_edits(edits: list[Edit]) -> list[Verdict]:
    """Try every edit, two at a time, each in a copy of its own, after the unbroken copy has passed."""
    with tempfile.TemporaryDirectory(prefix="broken-rules-") as folder:
        copies: queue.Queue[Path] = queue.Queue()
        for number in range(PROCESSES):
            copies.put(copy_project(Path(folder, str(number))))
        copy = copies.get()
        sound = run_tests(copy, tuple(sorted({test for edit in edits for test in edit.tests})))
        copies.put(copy)
        if sound.caught_by is not None:
            msg = f"{sound.caught_by} fails though nothing is broken: {sound.why}"
            raise RuntimeError(msg)

        def in_a_copy(edit: Edit) -> Verdict:
            copy = copies.get()
            try:
                verdict = try_edit(copy, edit)
            finally:
                copies.put(copy)
            caught = verdict.caught_by or "SURVIVES"
            print(
                f"{edit.rule:4}{edit.side:7}{edit.what} -> {caught} ({verdict.seconds:.0f} s)",
                file=sys.stderr,
            )
            return verdict

        with ThreadPoolExecutor(PROCESSES) as pool:
            return list(pool.map(in_a_copy, edits))


def is_expected(edit: Edit, verdict: Verdict) -> bool:
    """Whether somebody noticed, or nobody where nobody can."""
    return (verdict.caught_by is None) == (edit.equivalent is not None)


def show(edits: list[Edit], verdicts: list[Verdict]) -> None:
    """Print the table, and how many survive."""
    print("| rule | side | edit | caught by | seconds |\n|---|---|---|---|---|")
    for edit, verdict in zip(edits, verdicts, strict=True):
        caught = (verdict.caught_by or edit.equivalent or "nobody").removeprefix("tests/")
        print(f"| {edit.rule} | {edit.side} | {edit.what} | {caught} | {verdict.seconds:.0f} |")
    survivors = sum(verdict.caught_by is None for verdict in verdicts)
    equivalent = sum(edit.equivalent is not None for edit in edits)
    print(f"\n{len(edits)} edits, {survivors} survive, {equivalent} of them because they change nothing")


def main() -> int:
    """Try what is asked for; 1 if anything survives that changes something."""
    parser = argparse.ArgumentParser(description="Break the rules one by one and see who notices.")
    parser.add_argument("--rule", action="append", help="only this rule, such as R4; may be given again")
    parser.add_argument("--what", help="only edits whose description holds this")
    parser.add_argument("--sample", type=int, help="only so many, drawn at random")
    parser.add_argument("--seed", type=int, default=0, help="of the drawing")
    parser.add_argument("--json", type=Path, help="keep all of it, reasons too, in this file")
    asked = parser.parse_args()
    edits = [
        edit
        for edit in read_edits()
        if (asked.rule is None or edit.rule in asked.rule) and (asked.what is None or asked.what in edit.what)
    ]
    if asked.sample is not None:
        edits = sorted(random.Random(asked.seed).sample(edits, asked.sample), key=lambda edit: edit.rule)
    verdicts = try_edits(edits)
    show(edits, verdicts)
    if asked.json:
        kept = [{**asdict(edit), **asdict(verdict)} for edit, verdict in zip(edits, verdicts, strict=True)]
        asked.json.write_text(json.dumps(kept, indent=1), encoding="utf-8")
    return int(not all(map(is_expected, edits, verdicts)))


if __name__ == "__main__":
    raise SystemExit(main())
