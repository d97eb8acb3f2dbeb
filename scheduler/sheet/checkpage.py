"""What the check-up says, in order: one content for the screen and for the page in the folder.

Both add no words of their own but labels, so that they say the same in the same order.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.checkup.findings import Checkup, Figure, Finding, Grade
from scheduler.sheet import words

#: Stands before every figure.
CAUTIONS = (
    "Local codes and licensed practice come first: DC wiring, outlets and breakers, roof work and ballast against "
    "wind are for people qualified to do them.",
    "What follows is worked out from the fleet file, for a talk with them. It is no inspection and no protection.",
)

GRADES = (
    "A stop can break or burn, or makes the plan impossible; a warning is to be mended though the yard runs; a note is "
    "worth knowing."
)

NO_WEATHER = (
    "No typical year: what hangs on the weather was left out. Give one with --weather FILE (TMY3, TMY2, EPW, PVGIS), "
    'or name it in the fleet file ([site] typical_year = "FILE").'
)

#: Digits of a figure that mean something; more only where a figure would else look like its limit.
_DIGITS, _MOST_DIGITS = 3, 7


@dataclass(frozen=True)
class FigureRow:
    """One figure.

    `limit` is empty where it has none, and says so where it is the least rather than the most; `source` is the number
    of its source in the list.
    """

    name: str
    found: str
    limit: str
    unit: str
    source: str


@dataclass(frozen=True)
class FigureGroup:
    """The figures of one thing, such as an array at its input."""

    heading: str
    rows: tuple[FigureRow, ...]


@dataclass(frozen=True)
class FindingBox:
    """One finding; `caution` comes before everything that has a figure in it."""

    grade: str
    where: str
    caution: str
    title: str
    found: str
    source: str
    meaning: str
    mend: str


@dataclass(frozen=True)
class CheckContent:
    """Everything that is said, in its order."""

    yard: str
    headline: str
    about: tuple[str, ...]
    cautions: tuple[str, ...]
    groups: tuple[FigureGroup, ...]
    boxes: tuple[FindingBox, ...]
    unchecked: tuple[str, ...]
    sources: tuple[str, ...]


def check_content(checkup: Checkup) -> CheckContent:
    """Say what the check-up says."""
    report = checkup.report
    figures = _by_thing(report.figures)
    sources = tuple(dict.fromkeys(figure.source for _, alike in figures for figure in alike))
    own = (finding.caution for finding in report.findings if finding.caution)
    weather = f"Weather: {checkup.weather.rstrip(' .')}." if checkup.weather else NO_WEATHER
    return CheckContent(
        yard=checkup.site,
        headline=headline(checkup),
        about=(weather, *([GRADES] if report.findings else [])),
        cautions=(*CAUTIONS, *dict.fromkeys(words.sentence(caution) for caution in own)),
        groups=tuple(
            FigureGroup(heading, tuple(_row(figure, sources) for figure in alike))
            for heading, alike in figures
        ),
        boxes=tuple(_box(finding) for finding in report.findings),
        unchecked=tuple(words.sentence(text) for text in report.unchecked),
        sources=tuple(source.rstrip(" .") for source in sources),
    )


def headline(checkup: Checkup) -> str:
    """Say the widest thing first: whether something stops the plan, and what else there is."""
    told = [_verdict(checkup)]
    others = [_counted(checkup, Grade.WARNING, "warning"), _counted(checkup, Grade.NOTE, "note")]
    told.append(words.listed([one for one in others if one]))
    unchecked = len(checkup.report.unchecked)
    told.append(f"{words.counted(unchecked, 'thing')} could not be checked" if unchecked else "")
    return words.sentence("; ".join(one for one in told if one))


def _verdict(checkup: Checkup) -> str:
    stops = checkup.count(Grade.STOP)
    if not stops:
        return "Nothing found that would stop the plan"
    parts = _parts_named(checkup, Grade.STOP)
    return f"{words.counted(stops, 'thing')} should stop the plan {parts}: mend {'it' if stops == 1 else 'them'} first"


def _counted(checkup: Checkup, grade: Grade, noun: str) -> str:
    """``2 warnings (AC side, roof)``; where notes are is not worth a place in the first sentence."""
    number = checkup.count(grade)
    if not number:
        return ""
    told = words.counted(number, noun)
    return told if grade is Grade.NOTE else f"{told} {_parts_named(checkup, grade)}"


def _parts_named(checkup: Checkup, grade: Grade) -> str:
    parts = dict.fromkeys(str(found.part) for found in checkup.report.findings if found.grade is grade)
    return f"({', '.join(parts)})"


def _by_thing(figures: Sequence[Figure]) -> list[tuple[str, list[Figure]]]:
    """Gather the figures of one thing under one heading, wherever in their part they come."""
    alike: dict[str, list[Figure]] = {}
    for figure in figures:
        alike.setdefault(whereabouts(figure), []).append(figure)
    return list(alike.items())


def whereabouts(told: Figure | Finding) -> str:
    """``array to input, store roof``; the part alone where it is about the whole yard."""
    return f"{told.part}, {told.about}" if told.about else str(told.part)


def _row(figure: Figure, sources: tuple[str, ...]) -> FigureRow:
    found, limit = amounts(figure.value, figure.limit)
    if limit and figure.at_least:
        limit = f"min {limit}"
    return FigureRow(figure.name, found, limit, figure.unit, f"({sources.index(figure.source) + 1})")


def _box(finding: Finding) -> FindingBox:
    found, limit = amounts(finding.found, finding.limit)
    against = "against" if finding.grade is Grade.NOTE else "limit"
    return FindingBox(
        grade=finding.grade.upper(),
        where=whereabouts(finding),
        caution=_lead(finding.caution),
        title=words.sentence(finding.title),
        found=f"{_counted_in(found, finding.unit)}, {against} {_counted_in(limit, finding.unit)}",
        source=finding.source.rstrip(" ."),
        meaning=words.sentence(finding.meaning),
        mend=words.sentence(finding.mend),
    )


def _lead(caution: str) -> str:
    """Return a caution up to its first stop; it stands in full above all figures."""
    return words.sentence(re.split(r"[.:;] ", caution, maxsplit=1)[0])


def _counted_in(told: str, unit: str) -> str:
    """``150 V``, ``4 days``, ``1 day``."""
    return f"{told} {unit[:-1] if told == '1' and re.fullmatch('[a-z]{3,}s', unit) else unit}"


def amounts(found: float, limit: float | None) -> tuple[str, str]:
    """Write a figure and its limit so that they never look the same where they differ; empty where there is none."""
    if limit is None:
        return amount(found), ""
    for digits in range(_DIGITS, _MOST_DIGITS):
        pair = amount(found, digits), amount(limit, digits)
        if pair[0] != pair[1]:
            return pair
    return pair


def amount(value: float, digits: int = _DIGITS) -> str:
    """``54.2``, ``150``, ``2,304``: to some digits, before the point all of them, no zeros at the end behind it.

    A larger figure never looks smaller.
    """
    before = max(math.floor(math.log10(abs(value))) + 1, 1) if value else 1
    told = f"{value:,.{max(digits - before, 0)}f}"
    return told.rstrip("0").rstrip(".") if "." in told else told
