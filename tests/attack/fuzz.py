"""Spoilt files by the thousand: ``python -m tests.attack.fuzz --cases 20000 --seed 1``.

A case is a kind of file and a number, from which everything follows. Each is read in a process whose memory is limited,
watched by another that ends it if it hangs. With ``--commands`` whole commands meet them, each in a process of
its own.
"""

# ruff: noqa: E501, T201  prints what it finds
from __future__ import annotations

import argparse
import json
import os
import random
import resource
import select
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import pandas as pd

from tests.attack.judging import fault_of
from tests.attack.mutations import mutate
from tests.attack.originals import originals

#: Of processor time, for the machine may be busy with something else; and by the clock.
LIMIT_S, PATIENCE_S = 10.0, 60.0
MEMORY_BYTES = 1_000_000_000
#: A process serves so many cases, so that what one leaves behind is no other's for long.
CASES_A_PROCESS = 400

#: How often each kind comes; typical years take a tenth of a second each.
WEIGHTS = {
    "fleet": 32, "newcomers": 4, "forecast": 20, "logbook": 16, "plan": 12, "TMY3": 3, "TMY2": 3, "EPW": 3, "PVGIS csv": 3,
    "PVGIS json": 2, "state": 1, "document": 1,
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A spoilt file: everything about it follows from these two."""

    seed: int
    number: int

    def make(self) -> tuple[str, bytes]:
        """Its kind and its content."""
        rng = random.Random(f"{self.seed}/{self.number}")
        (kind,) = rng.choices(list(WEIGHTS), list(WEIGHTS.values()))
        all_files = [file for files in originals().values() for file in files]
        return kind, mutate(rng.choice(originals()[kind]), rng, all_files)


@dataclass(frozen=True)
class Outcome:
    """What became of a case; `fault` is empty where nothing was wrong."""

    number: int
    kind: str = ""
    fault: str = ""
    seconds: float = 0.0
    peak_bytes: int = 0


def judged(case: Case, folder: Path) -> Outcome:
    """Read one spoilt file in this process."""
    kind, content = case.make()
    path = folder / f"spoilt.{'toml' if kind in ('fleet', 'newcomers') else 'csv'}"
    path.write_bytes(content)
    before_bytes = _forget_peak()
    begun = time.process_time()
    _limit_memory()
    try:
        fault = fault_of(kind, path) or ""
    except BaseException as wrong:  # noqa: BLE001 it is what is looked for
        last = traceback.extract_tb(wrong.__traceback__)[-1]
        fault = f"{type(wrong).__name__}: {str(wrong)[:200]} ({Path(last.filename).name}:{last.lineno})"
    _limit_memory(resource.RLIM_INFINITY)
    seconds = time.process_time() - begun
    peak_bytes = _status_bytes("VmHWM") - before_bytes
    path.unlink()
    if left := sorted(each.name for each in folder.iterdir()):
        fault = fault or f"wrote {left}"
    if seconds > LIMIT_S:
        fault = fault or f"too long: {seconds:.1f} s"
    return Outcome(case.number, kind, fault, seconds, peak_bytes)


def _status_bytes(name: str) -> int:
    """What the system says of this process's memory."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith(name))


def _forget_peak() -> int:
    """Let the peak begin anew from what is used now, and say how much that is."""
    Path("/proc/self/clear_refs").write_text("5")
    return _status_bytes("VmRSS")


def _limit_memory(most_bytes: int | None = None) -> None:
    """Let this process have so much, or a GB more than it has now."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most_bytes = most_bytes or pages * resource.getpagesize() + MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, resource.RLIM_INFINITY))


def _serve(cases: Sequence[Case], out: int, folder: Path) -> None:
    os.chdir(folder)  # whatever is written anywhere is seen there
    tempfile.tempdir = str(folder)
    warnings.simplefilter("error")
    warnings.simplefilter("ignore", pd.errors.Pandas4Warning)  # pvlib calls pandas' deprecated names
    for case in cases:
        os.write(out, f"{json.dumps(asdict(judged(case, folder)))}\n".encode())


def watched(
    cases: Sequence[Case], serve: Callable[[Sequence[Case], int, Path], None] = _serve
) -> Iterator[Outcome]:
    """Have the cases judged one after another by processes that are ended when one takes too long, or end themselves."""
    left = list(cases)
    while left:
        with tempfile.TemporaryDirectory(prefix="spoilt-") as folder:
            done = yield from _one_process(left[:CASES_A_PROCESS], serve, Path(folder))
        left = left[done:]


def _one_process(
    cases: Sequence[Case], serve: Callable[[Sequence[Case], int, Path], None], folder: Path
) -> Iterator[Outcome]:
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            serve(cases, theirs, folder)
        except BaseException:  # noqa: BLE001  a child must never go on as its parent
            traceback.print_exc()
        os._exit(0)
    os.close(theirs)
    told, done, too_late = b"", 0, False
    while done < len(cases):
        ready, _, _ = select.select([ours], [], [], PATIENCE_S)
        too_late = not ready
        piece = os.read(ours, 1 << 20) if ready else b""
        if not piece:
            break
        *whole, told = (told + piece).split(b"\n")
        for line in whole:
            yield Outcome(**json.loads(line))
        done += len(whole)
    os.close(ours)
    if too_late:
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if done < len(cases):
        fault = "hangs" if too_late else f"its process ended with {status}"
        yield Outcome(cases[done].number, cases[done].make()[0], fault, PATIENCE_S)
        done += 1
    return done


def main(words: Sequence[str]) -> int:
    """Print what was found, and how long and how large it became."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--keep", type=Path, help="folder for the files in which something was found")
    given = parser.parse_args(words)
    cases = [Case(given.seed, given.first + number) for number in range(given.cases)]
    originals()
    outcomes, kinds, begun = [], Counter[str](), time.perf_counter()
    for outcome in watched(cases):
        outcomes.append(outcome)
        kinds[outcome.kind] += 1
        if outcome.fault:
            print(f"{outcome.number} {outcome.kind}: {outcome.fault}", flush=True)
            if given.keep is not None:
                (given.keep / f"{given.seed}-{outcome.number}").write_bytes(
                    Case(given.seed, outcome.number).make()[1]
                )
    wrong = [outcome for outcome in outcomes if outcome.fault]
    print(f"{len(outcomes)} cases, {len(wrong)} with a fault, {time.perf_counter() - begun:.0f} s")
    print("by kind: " + ", ".join(f"{kind} {count}" for kind, count in kinds.most_common()))
    print(
        f"longest {max(o.seconds for o in outcomes):.2f} s, most memory {max(o.peak_bytes for o in outcomes) / 1e6:.0f} MB"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
