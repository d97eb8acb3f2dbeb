"""The project's benchmarks: ``python -m tests.benchmarks.run [PIECE|all] [--json FILE]``; the pieces stand in `PIECES`.

Start-up times are ratios of medians within one run, the two commands taking turns, so that a busy or slow machine
weighs on both. Run it from the project's folder, with nothing else going on.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from scheduler.planning.planner import Settings, make_plan
from scheduler.planning.record import AimStatus, Plan
from tests.benchmarks.time_indexed import CLASS_WEIGHT, Outcome, solve_time_indexed
from tests.benchmarks.yards import THIRTY, TWELVE, TWELVE_WITH_TIMERS, BenchYard, YardSize, make_yard
from tests.benchmarks.year import run_year

REPEATS = 7
SEEDS = (1, 2, 3)
TIME_INDEXED_SEED = 1
TIME_INDEXED_LIMIT_S = 60.0
MADE_AT = dt.datetime(2027, 6, 9, 10, 0, tzinfo=dt.UTC)

SUNROSTER = (sys.executable, "-m", "scheduler")
DEMO = (
    *SUNROSTER,
    "plan",
    "fleets/field-edge.toml",
    "--weather",
    "forecasts/field-edge-three-days.csv",
    "--from",
    "2027-06-08 16:00",
)

Row = dict[str, Any]

#: Runs a command and tells the largest resident set among its processes [kB on Linux, bytes on macOS].
MEASURE_MEMORY = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


def timed(command: Sequence[str]) -> float:
    """Seconds that a command takes, from start to end."""
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def ratio(what: str, command: Sequence[str], against: str, most: float) -> Row:
    """Time a command against a yardstick in Python, taking turns."""
    yardstick = (sys.executable, "-c", against)
    timed(command), timed(yardstick)  # the first run reads the files from disk
    pairs = [(timed(command), timed(yardstick)) for _ in range(REPEATS)]
    own, other = (statistics.median(side) for side in zip(*pairs, strict=True))
    return {
        "what": f"{what} against `{against}`",
        "seconds": own,
        "yardstick_seconds": other,
        "reached": own / other,
        "to_reach": most,
        "unit": "times",
    }


def run_startup() -> Iterator[Row]:
    """How long the commands take beside the imports that they could not do without."""
    yield ratio("`sunroster --help`", (*SUNROSTER, "--help"), "import pvlib", 0.35)
    yield ratio("`sunroster plan` on the demo", DEMO, "import pvlib, pandas, pulp", 2.5)
    yield _sheet_row()


def _sheet_row() -> Row:
    """What the page adds to a plan, the two taking turns."""
    with tempfile.TemporaryDirectory() as folder:
        with_sheet = (*DEMO, "--sheet", str(Path(folder) / "door.pdf"))
        timed(with_sheet)
        pairs = [(timed(with_sheet), timed(DEMO)) for _ in range(REPEATS)]
    own, other = (statistics.median(side) for side in zip(*pairs, strict=True))
    return {
        "what": "`--sheet door.pdf` on top of the same plan without it",
        "reached": own - other,
        "to_reach": 0.6,
        "unit": "s",
        "state": f"{own / other:.2f} times the plan without it",
    }


def run_plans() -> Iterator[Row]:
    """How long the four aims take to solve, and how far they are proven."""
    limits = ((TWELVE, 3.0), (THIRTY, 15.0), (TWELVE_WITH_TIMERS, 15.0))
    yield from (_plan_row(size, seed, most) for size, most in limits for seed in SEEDS)


def _plan(bench: BenchYard, aim_limit_s: float = Settings.aim_limit_s) -> Plan:
    # Reasons are not part of the choice.
    settings = Settings(aim_limit_s, reasons_limit_s=0.0)
    return make_plan(bench.yard, bench.agenda, bench.suns, settings, made_at=MADE_AT)


def _plan_row(size: YardSize, seed: int, most_s: float) -> Row:
    bench = make_yard(size, seed)
    began = time.perf_counter()
    # Yards with timers stop at their limit, so that what is told is the gap within the time to reach.
    plan = _plan(bench, most_s / 5) if size.timers else _plan(bench)
    whole_s = time.perf_counter() - began
    gaps = [aim.gap for aim in plan.aims if aim.status is not AimStatus.PROVEN]
    return {
        "what": f"{size.title}, yard {seed}",
        "reached": sum(aim.seconds for aim in plan.aims),
        "to_reach": most_s,
        "unit": "s",
        "whole_plan_seconds": whole_s,
        "needs": sum(len(needs) for needs in bench.agenda.needs.values()),
        "needs_met": sum(need.ready for machine in plan.machines for need in machine.needs),
        "needs_met_by_rules_of_thumb": {rule.name: sum(rule.met.values()) for rule in plan.compared_with},
        "state": "proven" if not gaps else f"not proven, gaps {[_percent(gap) for gap in gaps]}",
        "aims": [
            {
                "name": aim.name,
                "value": aim.value,
                "status": str(aim.status),
                "gap": aim.gap,
                "seconds": aim.seconds,
            }
            for aim in plan.aims
        ],
        "violations": len(plan.replay.violations) if plan.replay else None,
    }


def _percent(gap: float | None) -> str:
    return "unknown" if gap is None else f"{100 * gap:.2g} %"


def run_time_indexed() -> Iterator[Row]:
    """The first aim by the time-indexed model, beside the pattern model on the same yard."""
    bench = make_yard(TWELVE, TIME_INDEXED_SEED)
    plan = _plan(bench)
    aims = [aim for aim in plan.aims if aim.name.endswith("needs met")]
    pattern_s = sum(aim.seconds for aim in aims)
    weighted = sum(
        CLASS_WEIGHT[need.priority] for machine in plan.machines for need in machine.needs if need.ready
    )
    for solver in ("cbc", "highs"):
        outcome = solve_time_indexed(bench, solver, TIME_INDEXED_LIMIT_S)
        yield _time_indexed_row(outcome, pattern_s, weighted)


def _time_indexed_row(outcome: Outcome, pattern_s: float, weighted: float) -> Row:
    return {
        "what": f"time-indexed model, yard {TIME_INDEXED_SEED} of 12 machines, {outcome.solver}, first aim alone",
        "reached": outcome.seconds / pattern_s if pattern_s else None,
        "to_reach": 20.0,
        "unit": "times slower, or unproven",
        "state": outcome.status,
        "seconds": outcome.seconds,
        "pattern_seconds": pattern_s,
        "weighted_needs_met": outcome.met,
        "weighted_bound": outcome.bound,
        "pattern_weighted_needs_met": weighted,
        "binaries": outcome.n_binaries,
        "rows": outcome.n_rows,
    }


def run_memory() -> Iterator[Row]:
    """The most that any one process of the demo holds in memory."""
    answer = subprocess.run(
        (sys.executable, "-c", MEASURE_MEMORY, *DEMO), check=True, capture_output=True, text=True
    )
    unit = 1024.0 if sys.platform == "darwin" else 1.0
    megabytes = int(answer.stdout) / unit / 1024.0
    what = "peak memory, `sunroster plan` on the demo"
    yield {"what": what, "reached": megabytes, "to_reach": 350.0, "unit": "MB"}


PIECES: dict[str, Callable[[], Iterator[Row]]] = {
    "startup": run_startup,
    "plans": run_plans,
    "time-indexed": run_time_indexed,
    "memory": run_memory,
    "year": run_year,
}


def show(row: Row) -> None:
    """Print one row of the table."""
    reached = "-" if row["reached"] is None else f"{row['reached']:.3g}"
    print(f"{row['what']:<86} {reached:>8} of {row['to_reach']:g} {row['unit']}", flush=True)
    details = [f"{key} {row[key]}" for key in ("state", "needs_met", "needs") if key in row]
    if "needs_met_by_rules_of_thumb" in row:
        details += [f"{name} {met}" for name, met in row["needs_met_by_rules_of_thumb"].items()]
    if "weighted_needs_met" in row:
        found, bound = row["weighted_needs_met"], row["weighted_bound"]
        details.append(f"found {found}, bound {bound}, pattern model {row['pattern_weighted_needs_met']}")
    if details:
        print("    " + "; ".join(details), flush=True)


def machine() -> Row:
    """What this ran on."""
    return {
        "system": f"{platform.system()} {platform.machine()}",
        "processors": os.cpu_count(),
        "python": platform.python_version(),
        "load_average": os.getloadavg() if hasattr(os, "getloadavg") else None,
    }


def main() -> None:
    """Run the pieces that were asked for, print the table and write it as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("piece", nargs="?", default="all", choices=[*PIECES, "all"])
    parser.add_argument("--json", type=Path, help="write the table here")
    asked = parser.parse_args()
    table: dict[str, Any] = {"machine": machine()}
    print(table["machine"], flush=True)
    for piece, run in PIECES.items():
        if asked.piece in (piece, "all"):
            table[piece] = []
            for row in run():
                show(row)
                table[piece].append(row)
    if asked.json is not None:
        asked.json.write_text(json.dumps(table, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
