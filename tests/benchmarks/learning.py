"""How well a yard's figures come back: ``python -m tests.benchmarks.learning [YARDS] [FIRST SEED] [DAYS ...]``.

Made-up yards whose figures differ from their file, lived for some weeks; see `tests.logbook.fortnights`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from scheduler.logbook.learned import Learned
from scheduler.logbook.learning import learn
from tests.logbook.fortnights import Weeks, live_weeks, without_load
from tests.logbook.injected import Words

KINDS = ("array", "base load", "bank", "charger")


@dataclass(frozen=True)
class Errors:
    """By what fraction each figure of a yard is missed, and whether its interval holds the truth, by its kind."""

    errors: dict[str, list[tuple[float, bool]]]
    is_starved: bool


def errors_of(weeks: Weeks, learned: Learned) -> Errors:
    """Judge what was learned by the truth."""
    factor = {"array": weeks.truth.array, "bank": weeks.truth.bank, "charger": weeks.truth.charger}
    errors: dict[str, list[tuple[float, bool]]] = {kind: [] for kind in KINDS}
    for one in learned.figures:
        true = weeks.base_w if one.kind == "base load" else factor[one.kind] * one.in_file
        errors[one.kind].append((one.value / true - 1.0, one.low <= true <= one.high))
    return Errors(errors, learned.is_starved)


def learn_many(
    seeds: Iterable[int], days: int, words: Words | None = None, is_load_in_file: bool = True
) -> list[Errors]:
    """Live yards and learn from them; the house's load that is always on may be unknown to their file."""
    lived = (live_weeks(seed, days=days, words=words) for seed in seeds)
    if not is_load_in_file:
        lived = map(without_load, lived)
    return [errors_of(weeks, learn(weeks.expected, weeks.readings, {})) for weeks in lived]


def rates_of(found: list[Errors]) -> dict[str, tuple[float, float]]:
    """By kind: root-mean-square error, and how often the interval holds the truth."""
    together = {kind: [one for each in found for one in each.errors[kind]] for kind in KINDS}
    return {
        kind: (float(np.sqrt(np.mean([error**2 for error, _ in errors]))), float(np.mean([held for _, held in errors])))
        for kind, errors in together.items()
        if errors
    }


def render_errors(found: list[Errors]) -> str:
    """A row for each kind of figure, all yards and those whose bank was not starved."""
    fed = [one for one in found if not one.is_starved]
    lines = [f"{'':<12} all {len(found)} yards       {len(fed)} whose bank was not starved"]
    all_rates, fed_rates = rates_of(found), rates_of(fed)
    for kind in KINDS:
        told = [f"{100 * rms:5.1f} % held {100 * held:3.0f} %" for rms, held in (all_rates[kind], fed_rates[kind])]
        lines.append(f"{kind:<12} {'   '.join(told)}")
    return "\n".join(lines)


if __name__ == "__main__":
    yards, first, *lengths = (int(word) for word in (sys.argv[1:] or ["40", "100", "28", "42", "56"]))
    for days in lengths:
        for words in (None, Words.SINCE_VISIT):
            for told, is_load_in_file in (("", True), (", base load not in the file", False)):
                print(f"{days} days" + (f", {words.value}" if words else "") + told)
                found = learn_many(range(first, first + yards), days, words, is_load_in_file)
                print(render_errors(found), "\n", flush=True)
