"""Adding lines to a logbook so that none that was confirmed is ever lost.

A file lock keeps two writers apart. Lines go in by one write at the end of the file, and are on the disk before
anybody is told. Nothing that was there before is changed: a last line that a power cut left without its end is
ended, not erased, and taking back a reading is a line of its own.
"""

from __future__ import annotations

import csv
import errno
import io
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, cast
from zoneinfo import ZoneInfo

import portalocker

from scheduler.errors import OutputError, is_plain
from scheduler.logbook.readings import (
    COLUMNS,
    MOST_BYTES,
    WITHDRAWN,
    Layout,
    Logbook,
    Reading,
    parse_logbook,
    what_cell,
)
from scheduler.yard.models import Site

#: So long another writer is waited for; one line takes milliseconds [s].
LOCK_WAIT_S = 10.0

Cells = Sequence[str]  #: time, what, value, who


def append_lines(path: Path, site: Site, build: Callable[[Logbook], Iterable[Cells]]) -> Logbook:
    """Append the lines that `build` makes of the logbook as it then stands, while nobody else can write.

    Parameters
    ----------
    path : Path
        Made if it is not there.
    site : Site
    build : callable
        Whatever it raises goes on, and nothing is written.

    Returns
    -------
    Logbook
        As it was before.

    Raises
    ------
    OutputError
        If the lines are not on the disk for certain; what stood there before still does.
    LogbookError
        If what is there is no logbook.
    """
    with _faults_told(path), _locked(path) as file, _none_left_empty(path, file):
        file.seek(0)
        log = parse_logbook(file.read(MOST_BYTES + 1), path, site)
        _write_at_end(file.fileno(), _encoded(log, build(log)))
        if log.layout is None:
            _sync_folder(path)
        return log


def reading_cells(reading: Reading, zone: ZoneInfo) -> Cells:
    """Return a reading as cells, its time on the site's clock with the offset."""
    local = reading.time.astimezone(zone)
    time = local.isoformat(timespec="auto" if local.second or local.microsecond else "minutes")
    return time, what_cell(reading.what, reading.machine), reading.text, reading.who


def withdrawal_cells(reading: Reading, zone: ZoneInfo, who: str) -> Cells:
    """Return the line that takes a reading back."""
    time, what, value, _ = reading_cells(reading, zone)
    return time, f"{WITHDRAWN}{what}", value, who


def _encoded(log: Logbook, lines: Iterable[Cells]) -> bytes:
    """Lines as the file's own are made; a column that they need and it lacks gets a new header for what follows."""
    layout = log.layout or Layout()
    rows = [dict(zip(COLUMNS, map(on_one_line, cells), strict=True)) for cells in lines]
    lacking = [column for column in COLUMNS if column not in layout.columns and any(row[column] for row in rows)]
    columns = (*layout.columns, *lacking)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=layout.delimiter, lineterminator=layout.line_end)
    if log.layout is None or lacking:
        writer.writerow(columns)
    writer.writerows([row.get(column, "") for column in columns] for row in rows)
    return (layout.line_end if log.cut_off else "").encode() + text.getvalue().encode()


def on_one_line(cell: str) -> str:
    """Return a cell as it goes into the file, where a line is a reading: whatever would end it is a blank."""
    encodable = cell.encode(errors="replace").decode()
    marked = "".join(letter if is_plain(letter) else "\n" for letter in encodable)
    return " ".join(filter(None, marked.split("\n"))).strip()


@contextmanager
def _locked(path: Path) -> Iterator[BinaryIO]:
    """Open the file for appending, locked, and the one that has this name now: a spreadsheet puts a new one there."""
    while True:
        lock = portalocker.Lock(path, "ab+", timeout=LOCK_WAIT_S, check_interval=0.02, buffering=0)
        with lock as file:
            opened = os.fstat(file.fileno())
            with suppress(FileNotFoundError):
                if os.path.samestat(opened, path.stat()):
                    yield cast("BinaryIO", file)
                    return


@contextmanager
def _none_left_empty(path: Path, file: BinaryIO) -> Iterator[None]:
    """Remove a file that was made for a first line which did not come; whoever waits for it makes a new one."""
    try:
        yield
    except BaseException:
        if not os.fstat(file.fileno()).st_size:
            with suppress(OSError):
                path.unlink()
        raise


def _write_at_end(handle: int, content: bytes) -> None:
    size = os.fstat(handle).st_size
    try:
        if os.write(handle, content) != len(content):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(handle)
    except OSError:
        # Only what this call itself wrote, and nobody was told of.
        with suppress(OSError):
            os.ftruncate(handle, size)
        raise


def _sync_folder(path: Path) -> None:
    """See that a new file's name is on the disk too; not every system can."""
    with suppress(OSError):
        folder = os.open(path.resolve().parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


@contextmanager
def _faults_told(path: Path) -> Iterator[None]:
    hint = "keep it on paper, and note it again when that is mended"
    try:
        yield
    except portalocker.LockException as fault:
        msg = f"{path}: another program holds it, nothing was noted; close it there and note it again"
        raise OutputError(msg) from fault
    except OSError as fault:
        msg = f"{path}: cannot be written: {fault.strerror or fault}; nothing was noted, {hint}"
        raise OutputError(msg) from fault
