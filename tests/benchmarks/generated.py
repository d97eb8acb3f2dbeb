"""Put drawn yards through every check and print what they were, what was compared and what failed.

``python -m tests.benchmarks.generated --yards 2000`` is the night set (`pytest -m deep tests/test_generated_yards.py`)
with figures: the same yards, but it goes on after a failure.
"""

from __future__ import annotations

import argparse
import time

from tests.yard_properties import Tally, try_yards

YARDS = 100


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--yards", type=int, default=200, help="how many, in hundreds")
    parser.add_argument("--first", type=int, default=1, help="seed of the first hundred")
    parser.add_argument("--told", type=int, default=1500, help="letters told of each failure")
    asked = parser.parse_args()
    tally = Tally(goes_on=True)
    begun = time.perf_counter()
    for number in range(asked.first, asked.first + -(-asked.yards // YARDS)):
        before = len(tally.failed)
        try_yards(number, YARDS, tally)
        spent_s = time.perf_counter() - begun
        print(f"seed {number}: {tally.yards} yards, {spent_s:.0f} s, {len(tally.failed)} failed", flush=True)
        for _, story in tally.failed[before:]:
            print(story[: asked.told], flush=True)
    print_table(tally, time.perf_counter() - begun)


def print_table(tally: Tally, seconds: float) -> None:
    different = len(tally.told)
    print(f"\n{tally.yards} yards, {different} of them different, {len(tally.failed)} failed, {seconds:.0f} s\n")
    print("| of what kind | yards |\n|---|---|")
    for kind, count in sorted(tally.kinds.items(), key=lambda item: -item[1]):
        print(f"| {kind} | {count} |")
    print("\n| what was held | yards |\n|---|---|")
    for what, count in sorted(tally.checked.items(), key=lambda item: -item[1]):
        print(f"| {what} | {count} |")
    print("\n| seconds in | |\n|---|---|")
    for what, spent in tally.seconds.most_common():
        print(f"| {what} | {spent:.0f} |")


if __name__ == "__main__":
    main()
