"""How planning grows with the yard: ``python -m tests.benchmarks.growth [AXIS|all] [--json FILE]``.

Machines, steps, visits and suns grow one at a time around a middle yard. Each plan is made by a process of its own,
so that its memory is its own, and is stopped after `LIMIT_S`. Two seeds a size, the mean is told; the exponent of an
axis is the slope of log seconds (columns, memory above the smallest) over log size.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.yards import YardSize, make_yard

SEEDS = (1, 2)
LIMIT_S = 240.0
#: Wall-clock limit of each aim, the program's own [s].
AIM_LIMIT_S = 10.0
MADE_AT = dt.datetime(2027, 6, 9, 10, 0, tzinfo=dt.UTC)
MIDDLE = YardSize(machines=12, hours=48, step_minutes=60)

Row = dict[str, Any]


@dataclass(frozen=True)
class Growth:
    """One axis: what grows, and the sizes; `suns` counts the suns under which the bank's levels are modelled."""

    name: str
    sizes: tuple[tuple[float, YardSize, int], ...]


AXES = (
    Growth("machines", tuple((n, replace(MIDDLE, machines=n), 1) for n in (4, 8, 16, 32, 64))),
    Growth(
        "steps",
        tuple(
            (hours * 60 // step, replace(MIDDLE, hours=hours, step_minutes=step), 1)
            for hours, step in ((24, 60), (48, 60), (48, 30), (72, 30), (48, 15), (72, 15))
        ),
    ),
    Growth("visits", tuple((n, replace(MIDDLE, visits=n), 1) for n in (2, 3, 4, 6, 8))),
    Growth("suns", tuple((n, MIDDLE, n) for n in (1, 3, 5, 9))),
)


def plan_one(size: YardSize, seed: int, suns: int) -> Row:
    """Make one plan in this process and tell what it took."""
    from scheduler.planning import relaxation
    from scheduler.planning.model import Case, ChoiceModel, add_bank
    from scheduler.planning.planner import Settings, build_case, make_plan

    largest = {"columns": 0, "rows": 0}
    build_usual = relaxation.build_choice

    def build_under_suns(case: Case) -> ChoiceModel:
        """The dull sun binds; every further one, brighter, brings its levels and their rows."""
        model = build_usual(case)
        for number in range(1, suns):
            sun_w = case.suns.dull_w * (1.0 + 0.1 * number)
            add_bank(model, f"sun{number}", sun_w, case.house.allowed_wh, case.house.unserved_wh)
        for what, count in (
            ("columns", model.problem.numVariables()),
            ("rows", model.problem.numConstraints()),
        ):
            largest[what] = max(largest[what], count)
        return model

    relaxation.build_choice = build_under_suns
    bench = make_yard(size, seed)
    settings = Settings(AIM_LIMIT_S, reasons_limit_s=0.0)
    began = time.perf_counter()
    case = build_case(bench.yard, bench.agenda, bench.suns)
    listed_s = time.perf_counter() - began
    began = time.perf_counter()
    plan = make_plan(bench.yard, bench.agenda, bench.suns, settings, made_at=MADE_AT)
    seconds = time.perf_counter() - began
    return {
        "seconds": seconds,
        "listing_seconds": listed_s,
        "aims_seconds": sum(aim.seconds for aim in plan.aims),
        "patterns": sum(len(table) for table in case.tables),
        **largest,
        "memory_mb": max(_resident_mb(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)),
        "worst_gap": max((math.inf if aim.gap is None else aim.gap) for aim in plan.aims),
        "first_unproven": next((aim.name for aim in plan.aims if aim.status != "proven"), ""),
        "made_by": plan.made_by,
        "violations": len(plan.replay.violations) if plan.replay else -1,
    }


def _resident_mb(whose: int) -> float:
    """The most that a process held in memory; of the solvers', the largest [MB]."""
    return resource.getrusage(whose).ru_maxrss / 1024.0


def run_apart(size: YardSize, seed: int, suns: int) -> Row | None:
    """Make one plan in a process of its own; None if it took too long, or the process died."""
    asked = json.dumps({"size": asdict(size), "seed": seed, "suns": suns})
    command = (sys.executable, "-m", "tests.benchmarks.growth", "--one", asked)
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=LIMIT_S)
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError) as fault:
        print(f"    {size.title}, seed {seed}: {type(fault).__name__}", file=sys.stderr)
        return None
    row: Row = json.loads(done.stdout)
    return row


def grow(axis: Growth) -> Iterator[Row]:
    """Yield a row a size: the seeds' means, the worst gap."""
    for value, size, suns in axis.sizes:
        found = [row for seed in SEEDS if (row := run_apart(size, seed, suns)) is not None]
        mean = {
            key: float(np.mean([row[key] for row in found])) if found else math.nan
            for key in (
                "seconds",
                "listing_seconds",
                "aims_seconds",
                "patterns",
                "columns",
                "rows",
                "memory_mb",
            )
        }
        yield {
            axis.name: value,
            "hours": size.hours,
            **mean,
            "worst_gap": max((row["worst_gap"] for row in found), default=math.nan),
            "first_unproven": "; ".join(sorted({row["first_unproven"] for row in found} - {""})),
            "made_by": "; ".join(sorted({row["made_by"] for row in found})),
            "violations": sum(row["violations"] for row in found),
            "finished": len(found),
        }


def exponent(rows: list[Row], axis: str, key: str, less: float = 0.0) -> float:
    """Slope of log `key` over log size, by least squares over the sizes that finished."""
    sound = [(row[axis], row[key] - less) for row in rows if row["finished"] and row[key] - less > 0.0]
    if len(sound) < 2:
        return math.nan
    sizes, values = np.log(np.array(sound)).T
    return float(np.polyfit(sizes, values, 1)[0])


def show(axis: Growth, rows: list[Row]) -> None:
    """Print the table of an axis as Markdown, and its exponents."""
    print(
        f"\n| {axis.name} | whole plan, s | aims, s | patterns | columns | MB | worst gap | unproven first |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for row in rows:
        gap = "proven" if row["worst_gap"] == 0.0 else f"{100 * row['worst_gap']:.2g} %"
        told = (
            f"{row['seconds']:.2f} | {row['aims_seconds']:.2f} | {row['patterns']:.0f} | {row['columns']:.0f}"
        )
        if row["finished"] < len(SEEDS):
            gap += f", {len(SEEDS) - row['finished']} of {len(SEEDS)} not finished in {LIMIT_S:g} s"
        print(f"| {row[axis.name]:g} | {told} | {row['memory_mb']:.0f} | {gap} | {row['first_unproven']} |")
    by = {key: exponent(rows, axis.name, key) for key in ("seconds", "listing_seconds", "columns")}
    print(
        f"\nExponents over {axis.name}: whole plan {by['seconds']:.2f}, listing {by['listing_seconds']:.2f}, "
        f"columns {by['columns']:.2f}.",
        flush=True,
    )


def main() -> None:
    """Run the axes that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    names = [axis.name for axis in AXES]
    parser.add_argument("axis", nargs="?", default="all", choices=[*names, "all"])
    parser.add_argument("--json", type=Path, help="write the tables here")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        one = json.loads(asked.one)
        print(json.dumps(plan_one(YardSize(**one["size"]), one["seed"], one["suns"])))
        return
    tables: dict[str, Any] = {}
    for axis in AXES:
        if asked.axis in (axis.name, "all"):
            tables[axis.name] = list(grow(axis))
            show(axis, tables[axis.name])
    if asked.json is not None:
        asked.json.write_text(json.dumps(tables, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
