"""What the check-up finds: figures, findings by gravity, and what could not be checked for want of a figure."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Part(StrEnum):
    """A part of the yard, in the order in which it is checked."""

    INPUT = "array to input"
    CABLE = "cable and connectors"
    AC = "AC side"
    BANK = "bank"
    ROOF = "roof"
    BATTERIES = "batteries"


class Grade(StrEnum):
    """How grave a finding is.

    A stop is something that can break or burn, or that makes the plan impossible; a warning something to be mended
    though the yard runs; a note worth knowing and no mistake.
    """

    STOP = "stop"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True)
class Figure:
    """One figure of the yard, for the table that comes first.

    Attributes
    ----------
    part : Part
    about : str
        What it belongs to, such as an array's name; empty for the whole yard.
    name : str
        In plain words, such as "string volts on the coldest morning".
    value : float
        In `unit`.
    unit : str
    limit : float or None
        What it is held against, in the same unit; None where there is no limit.
    source : str
        The published rule or the file that it comes from.
    at_least : bool
        Whether the limit is the least that it should be, rather than the most.
    """

    part: Part
    about: str
    name: str
    value: float
    unit: str
    limit: float | None
    source: str
    at_least: bool = False


@dataclass(frozen=True)
class Finding:
    """Something found, against a limit.

    Attributes
    ----------
    grade : Grade
    part : Part
    about : str
        What it is about, such as an array's name; empty for the whole yard.
    title : str
        One sentence in plain words, with the figures and their units.
    found, limit : float
        In `unit`; what is too much or too little against what is allowed.
    unit : str
    source : str
        The published rule, such as "NEC 690.7(A)".
    meaning : str
        What it means for the yard, in plain words.
    mend : str
        What would mend it.
    caution : str
        What stands before the figure where the work can hurt; empty where it cannot.
    """

    grade: Grade
    part: Part
    about: str
    title: str
    found: float
    limit: float
    unit: str
    source: str
    meaning: str
    mend: str
    caution: str = ""


@dataclass(frozen=True)
class PartReport:
    """What one part of the check-up says.

    Attributes
    ----------
    unchecked : tuple of str
        What could not be checked, each with the keys of the fleet file that would let it.
    """

    figures: tuple[Figure, ...] = ()
    findings: tuple[Finding, ...] = ()
    unchecked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Checkup:
    """The whole check-up of a yard, its findings with the gravest first, else in the order of the parts."""

    site: str
    weather: str
    report: PartReport

    def count(self, grade: Grade) -> int:
        """How many findings there are of a gravity."""
        return sum(finding.grade == grade for finding in self.report.findings)


def put_together(reports: tuple[PartReport, ...]) -> PartReport:
    """Join the parts' reports, the gravest findings first."""
    grades, parts = list(Grade), list(Part)
    findings = [finding for report in reports for finding in report.findings]
    findings.sort(key=lambda finding: (grades.index(finding.grade), parts.index(finding.part)))
    return PartReport(
        tuple(figure for report in reports for figure in report.figures),
        tuple(findings),
        tuple(text for report in reports for text in report.unchecked),
    )
