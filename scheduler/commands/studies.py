"""What the commands that live years have in common: a yard with its typical year, and processes to live in."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections.abc import Iterator, Mapping
from concurrent.futures import Executor
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scheduler.errors import UsageError
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

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


@contextmanager
def worker_processes(workers: int | None) -> Iterator[Executor]:
    """Open processes of their own, one a core unless told, begun anew so that it is the same on every system.

    Left by an error or Ctrl-C, they are ended in the middle of their work, their solvers and files with them.
    """
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers or os.cpu_count(), context, initializer=_listen_to_the_first)
    try:
        yield pool
    except BaseException:
        _end_at_once(pool)
        raise
    pool.shutdown()


def _end_at_once(pool: ProcessPoolExecutor) -> None:
    """Tell the workers to end until they have, for each takes up what was handed to it before.

    They are waited for: whoever goes first leaves the pool's semaphores, solvers and files to the system.
    """
    import multiprocessing
    from threading import Thread

    closing = Thread(target=partial(pool.shutdown, cancel_futures=True), daemon=True)
    closing.start()
    while closing.is_alive():
        with suppress(KeyboardInterrupt):  # asked for again: it is being done
            for child in multiprocessing.active_children():
                child.terminate()
            closing.join(1.0)


def _listen_to_the_first() -> None:
    """In a worker: Ctrl-C is the first process's, which then asks for an end; what is at work ends in good order."""
    import signal
    import sys

    def end(number: int, frame: object) -> None:
        sys.exit(1)

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, end)
