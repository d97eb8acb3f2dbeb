"""What the commands that live years have in common: a yard with its typical year, and processes to live in."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scheduler.errors import UsageError
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.sun.typicalyear import TypicalYear

CHART_ENDINGS = (".png", ".svg")


def read_typical_weather(yard: Yard, fleet: Path, weather: Path | None) -> TypicalYear:
    """Read the typical year that a study lives: the given one, or the fleet file's.

    Raises
    ------
    UsageError
        If there is none, or if the file is a forecast.
    WeatherFileError
        With every mistake of the file.
    """
    from scheduler.sun.typicalyear import TypicalYear
    from scheduler.sun.weather import read_weather

    if weather is None and yard.site.typical_year is None:
        msg = (
            "no typical year: give one with --weather FILE (TMY3, TMY2, EPW, PVGIS), or name it in the fleet file "
            '([site] typical_year = "FILE")'
        )
        raise UsageError(msg)
    path = weather if weather is not None else fleet.parent / str(yard.site.typical_year)
    read = read_weather(path, yard.site)
    if not isinstance(read, TypicalYear):
        msg = f"--weather {path}: this is a forecast; a year wants a typical year (TMY3, TMY2, EPW, PVGIS)"
        raise UsageError(msg)
    return read


def parse_first_day(text: str) -> dt.date:
    """Parse the day on which lives begin.

    Raises
    ------
    UsageError
        For anything but a date.
    """
    try:
        return dt.date.fromisoformat(text)
    except ValueError as fault:
        msg = f'--from {text}: wanted a date such as "2027-06-01"'
        raise UsageError(msg) from fault


def check_targets(targets: Mapping[str, Path | None]) -> None:
    """Look at the files that are to be written, by their flags, before anything is lived.

    Raises
    ------
    UsageError
        For an ending that cannot be written, or a folder that is not there.
    """
    for kind, path in targets.items():
        if path is None:
            continue
        if kind == "chart" and path.suffix.lower() not in CHART_ENDINGS:
            msg = f"--{kind} {path}: wanted a name that ends in {' or '.join(CHART_ENDINGS)}"
            raise UsageError(msg)
        if not path.parent.is_dir():
            msg = f"--{kind} {path}: there is no folder {path.parent}; make it first"
            raise UsageError(msg)


def render_json(content: Mapping[str, Any]) -> bytes:
    """Write plain values as text."""
    return json.dumps(content, ensure_ascii=False, indent=1).encode()
