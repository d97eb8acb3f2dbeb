"""How often the true cause is named: ``python -m tests.benchmarks.diagnosis [DAYS] [HEALTHY] [SEED]``.

Days with a cause injected, and healthy ones, after three readings with the sun up; see `tests.logbook.injected`.
"""

from __future__ import annotations

import sys
from collections import Counter

from scheduler.logbook.beliefs import follow
from scheduler.logbook.causes import Cause
from tests.logbook.injected import FAULTS, Words, make_case

Table = dict[Cause, Counter[Cause]]


FAULTY = tuple(cause for cause in FAULTS if cause is not Cause.NONE)


def name_causes(
    days: int,
    healthy: int,
    seed: int = 1,
    spread_fraction: float = 1.0,
    faulty: tuple[Cause, ...] = FAULTY,
    words: Words | None = None,
) -> Table:
    """Count which cause comes first for each that was injected, in turn; see `make_case`."""
    table: Table = {cause: Counter() for cause in FAULTS}
    drawn = [(faulty[number % len(faulty)], number) for number in range(days)]
    drawn += [(Cause.NONE, number) for number in range(healthy)]
    for cause, number in drawn:
        case = make_case(cause, 10_000 * seed + number, spread_fraction=spread_fraction, words=words)
        last = follow(case.expected, case.readings, case.first_charge_pct)[-1]
        table[cause][next(iter(last.by_cause()))] += 1
    return table


def rates_of(table: Table) -> dict[Cause, float]:
    """How often the true cause comes first."""
    return {cause: named[cause] / max(sum(named.values()), 1) for cause, named in table.items()}


def render_table(table: Table) -> str:
    """Rows are what was the matter, columns what was named."""
    heads = [cause.name.lower().replace("_", " ") for cause in table]
    wide = max(len(head) for head in heads)
    lines = [f"{'':<{wide}}  days  right  " + " ".join(f"{head:>12}" for head in heads)]
    rates = rates_of(table)
    for (cause, named), head in zip(table.items(), heads, strict=True):
        counts = " ".join(f"{named[other] or '.':>12}" for other in table)
        lines.append(f"{head:<{wide}}  {sum(named.values()):>4}  {100 * rates[cause]:>4.0f}%  {counts}")
    return "\n".join(lines)


#: How the sun is known: in words, how widely it is forecast, and what the hand says of the sky.
KNOWN = (
    ("the evening before's forecast", 1.0, None),
    ("the evening before's forecast, and a word for the sky at each visit", 1.0, Words.SINCE_VISIT),
    ("the evening before's forecast, and a word for each half day", 1.0, Words.HALF_DAYS),
    ("weather known half as badly", 0.5, None),
)


if __name__ == "__main__":
    days, healthy, seed = (int(word) for word in (sys.argv[1:] + ["300", "300", "1"][len(sys.argv) - 1 :]))
    for told, spread_fraction, words in KNOWN:
        print(f"expected by {told}")
        print(render_table(name_causes(days, healthy, seed, spread_fraction, words=words)), "\n", flush=True)
