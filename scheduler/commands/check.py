"""What ``sunroster check`` does, free of the command line."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scheduler.commands.studies import read_typical_weather
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.checkup.findings import Checkup
    from scheduler.sun.typicalyear import TypicalYear


@dataclass(frozen=True)
class CheckRequest:
    """What was asked for on the command line."""

    fleet: Path
    weather: Path | None = None


def read_checked_yard(request: CheckRequest) -> tuple[Yard, TypicalYear | None]:
    """Read the files; a yard without a typical year is checked without one.

    Raises
    ------
    FleetFileError, WeatherFileError
    UsageError
        For a weather file that is a forecast.
    """
    yard = read_yard(request.fleet)
    if request.weather is None and yard.site.typical_year is None:
        return yard, None
    return yard, read_typical_weather(yard, request.fleet, request.weather)


def check_over(yard: Yard, year: TypicalYear | None) -> Checkup:
    """Check every part of a yard, the typical year worked out for it first."""
    from scheduler.checkup.siteyear import build_site_year
    from scheduler.checkup.study import check_yard

    return check_yard(yard, None if year is None else build_site_year(yard, year))


def checkup_to_json(checkup: Checkup) -> dict[str, Any]:
    """Put a check-up into plain values, ``sunroster.check/1``."""
    from scheduler.checkup.findings import Grade
    from scheduler.sheet.checkpage import headline

    return {
        "format": "sunroster.check/1",
        "site": checkup.site,
        "weather": checkup.weather or None,
        "answer": headline(checkup),
        "counts": {str(grade): checkup.count(grade) for grade in Grade},
        "figures": [asdict(figure) for figure in checkup.report.figures],
        "findings": [asdict(finding) for finding in checkup.report.findings],
        "unchecked": list(checkup.report.unchecked),
    }
