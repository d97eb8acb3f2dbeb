"""What ``sunroster year`` does, free of the command line: a yard's year, lived, resampled and compared."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.commands.studies import parse_first_day, read_typical_weather
from scheduler.commands.workers import worker_processes
from scheduler.errors import UsageError
from scheduler.writing import write_whole
from scheduler.yard.fleetfile import read_yard

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from scheduler.studies.year import Bookmark
    from scheduler.studies.yearstudy import YearStudy, YearWork
    from scheduler.studies.yearsums import YearSums


@dataclass(frozen=True)
class YearRequest:
    """What was asked for on the command line."""

    fleet: Path
    weather: Path | None = None
    seed: int = 0
    n_resampled: int = 0
    workers: int | None = None
    scheduler: str | None = None
    first_day: str | None = None
    n_days: int = 365
    yardsticks: bool = False
    resume: Path | None = None


def begin_year(request: YearRequest) -> YearWork:
    """Read the files and get everything ready to live the year, or to go on with one that was left.

    Raises
    ------
    UsageError, FleetFileError, WeatherFileError, InputError
    """
    from scheduler.studies.year import YearSettings, prepare_year
    from scheduler.studies.yearstate import read_state
    from scheduler.studies.yearstudy import YearWork

    if request.scheduler is not None and not request.n_resampled:
        msg = "--scheduler: it is the resampled years that a cluster lives; say how many with --years"
        raise UsageError(msg)
    yard = read_yard(request.fleet)
    settings = YearSettings(seed=request.seed, n_days=request.n_days)
    if request.first_day is not None:
        settings = YearSettings(
            seed=request.seed, n_days=request.n_days, first_day=parse_first_day(request.first_day)
        )
    prepared = prepare_year(yard, read_typical_weather(yard, request.fleet, request.weather), settings)
    begun: Bookmark | None = None
    resampled: tuple[YearSums, ...] = ()
    if request.resume is not None and request.resume.exists():
        begun, resampled = read_state(request.resume, prepared)
    return YearWork(
        prepared,
        request.n_resampled,
        _workers(request),
        n_parts=1 if request.scheduler is not None else request.workers or os.cpu_count() or 1,
        yardsticks=request.yardsticks,
        keep=None if request.resume is None else partial(_keep, prepared, request.resume),
        begun=begun,
        resampled=resampled,
    )


def _workers(request: YearRequest) -> Callable[[], AbstractContextManager[Executor]]:
    if request.scheduler is None:
        return partial(worker_processes, request.workers)
    from scheduler.studies.manyyears import dask_cluster

    return partial(dask_cluster, request.scheduler)


def _keep(prepared: object, path: Path, bookmark: Bookmark, resampled: tuple[YearSums, ...]) -> None:
    from scheduler.studies.yearstate import render_state

    write_whole({path: render_state(prepared, bookmark, resampled)})  # type: ignore[arg-type]


def render_outputs(study: YearStudy, targets: Mapping[str, Path | None]) -> dict[Path, bytes]:
    """Render the files that were asked for."""
    from scheduler.studies.yearjson import render_days_csv, render_year_json

    rendered: dict[Path, bytes] = {}
    for kind, path in targets.items():
        if path is None:
            continue
        if kind == "json":
            rendered[path] = render_year_json(study).encode()
        elif kind == "csv":
            rendered[path] = render_days_csv(study.year).encode()
        else:
            from scheduler.sheet.yearchart import render_year_chart

            rendered[path] = render_year_chart(study, "svg" if path.suffix.lower() == ".svg" else "png")
    return rendered
