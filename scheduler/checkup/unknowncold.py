"""Strings where nobody says how cold it gets: at which temperature each passes what its input stands."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scheduler.checkup.findings import Finding, Grade, Part
from scheduler.checkup.inputcase import GUESSED_LOW_C, Case, up
from scheduler.checkup.strings import CAUTION, is_above, passes_below_c

#: Colder than it ever was where anybody has a yard (the northern record is -69.6 C, Greenland 1991; from memory).
NOWHERE_C = -70.0

#: What rounding may add to a temperature before it counts as the next degree [C].
_ROUNDING_C = 1e-6


def unknown_cold_findings(case: Case, mend: str) -> Iterator[Finding]:
    """Say of each string in which air it passes its limit, where the coldest air is not known.

    A warning if a guessed cold is below that, else a note. What is passed at 25 C already needs no cold and is a stop
    of its own.

    Parameters
    ----------
    case : Case
    mend : str
        Which ways to wire the panels would suit in the guessed cold.
    """
    if case.low_c is not None:
        return
    input_v = case.input.least("input_max_v") or math.inf
    limit_v = min(input_v, case.code_v)
    stands = "the input stands" if input_v <= case.code_v else "the code allows there (NEC 690.7)"
    for array, wiring in zip(case.arrays, case.wirings, strict=True):
        label_v, guessed_v = case.cold_v(array, wiring), case.in_cold().cold_v(array, wiring)
        if wiring is None or label_v is None or guessed_v is None or is_above(label_v, limit_v):
            continue
        below_c = passes_below_c(array, limit_v / label_v)
        if below_c < NOWHERE_C:
            continue
        is_likely = is_above(guessed_v, limit_v)
        rule = "NEC Table 690.7(A)" if array.voc_coeff_pct_per_c is None else "NEC 690.7(A)(1), by coefficient"
        ask = "Give record_low_c in [site], the coldest air ever known there, or a typical_year, and check again"
        yield Finding(
            Grade.WARNING if is_likely else Grade.NOTE,
            Part.INPUT,
            array.name,
            f"{wiring.series} panels in series pass the {limit_v:g} V that {stands} in air below "
            f"{math.ceil(below_c - _ROUNDING_C):d} C, and how cold it gets is not known",
            guessed_v,
            limit_v,
            "V",
            f"{rule}; {GUESSED_LOW_C:g} C is a plain guess: common practice, no source",
            f"At 25 C they give {up(label_v)} V, at a guessed {GUESSED_LOW_C:g} C {up(guessed_v)} V. Too many volts "
            "destroy the controller's input, on the first cold bright morning.",
            f"{ask}. {mend}" if is_likely else f"{ask}.",
            CAUTION,
        )
