"""What ``sunroster size`` does, free of the command line."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scheduler.commands.studies import read_typical_weather
from scheduler.commands.workers import worker_processes
from scheduler.errors import UsageError
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from scheduler.studies.sizing import SizePoint, Sizing
    from scheduler.studies.year import Tell
    from scheduler.sun.typicalyear import TypicalYear

#: Many days are lived, so an aim that takes longer than this is left where it is [s]; most take a hundredth.
AIM_LIMIT_S = 2.0

#: More than this in one list is a slip of the keyboard.
LARGEST_SIZE = 1000


@dataclass(frozen=True)
class SizeRequest:
    """What was asked for on the command line; sizes as written, such as ``8,10,12``."""

    fleet: Path
    weather: Path | None = None
    panels: str | None = None
    modules: str | None = None
    days_a_month: int = 7
    seed: int = 0
    workers: int | None = None


def read_sized_yard(request: SizeRequest) -> tuple[Yard, TypicalYear]:
    """Read the files.

    Raises
    ------
    FleetFileError, WeatherFileError, UsageError
    """
    yard = read_yard(request.fleet)
    return yard, read_typical_weather(yard, request.fleet, request.weather)


def size_yard(yard: Yard, weather: TypicalYear, request: SizeRequest, tell: Tell) -> Sizing:
    """Live the grid.

    Raises
    ------
    UsageError
        For sizes that are none, or a yard without weekly needs.
    """
    from scheduler.studies.sizing import SizeGrid, study_sizes
    from scheduler.studies.year import YearSettings

    least = len(yard.arrays)
    grid = SizeGrid(
        _parse_sizes("--panels", request.panels, least, "an array needs a panel at least"),
        _parse_sizes("--modules", request.modules, 1, "a bank needs a module"),
        request.days_a_month,
    )
    with worker_processes(request.workers) as pool:
        settings = YearSettings(seed=request.seed, aim_limit_s=AIM_LIMIT_S)
        return study_sizes(yard, weather, grid, settings, pool, tell)


def _parse_sizes(flag: str, text: str | None, least: int, why: str) -> tuple[int, ...]:
    if text is None:
        return ()
    if not re.fullmatch(r"\s*\d{1,4}(\s*,\s*\d{1,4})*\s*", text):
        msg = f'{flag} "{text}": wanted whole numbers with commas between, such as {flag} 8,10,12'
        raise UsageError(msg)
    sizes = tuple(int(size) for size in text.split(","))
    for size in sizes:
        if not least <= size <= LARGEST_SIZE:
            msg = f"{flag} {size}: wanted {least} to {LARGEST_SIZE}; {why}"
            raise UsageError(msg)
    return sizes


def sizing_to_json(sizing: Sizing, yard: Yard, source: str) -> dict[str, Any]:
    """Put the grid into plain values, ``sunroster.size/1``."""
    return {
        "format": "sunroster.size/1",
        "site": yard.site.name,
        "source": source,
        "days_a_month": sizing.days_a_month,
        "today": _size(sizing.today),
        "sizes": [_size(point) for point in sizing.points],
        "rule": asdict(sizing.rule),
    }


def _size(point: SizePoint) -> dict[str, Any]:
    return {
        "panels": point.panels,
        "modules": point.modules,
        "array_w": point.array_w,
        "bank_wh": point.bank_wh,
        "must": asdict(point.must),
        "all": asdict(point.all),
        "must_by_month": [asdict(one) for one in point.must_by_month],
    }
