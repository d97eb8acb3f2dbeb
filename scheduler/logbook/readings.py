"""The logbook: what somebody read off the bank and the machines, a line each, in a CSV beside the fleet file.

Columns ``time,what,value,who``. `what` is ``bank``, a machine's name, ``sky``, whose value is words for it, or
``note``, whose value is text. A reading is taken back by another line that repeats its time and value with
``withdrawn:`` before `what`. The file is
only ever appended to by the program; people edit it in a spreadsheet, which may part by semicolons or tabs,
change the dates' form, the line ends and the order of the columns: all that is read, and what cannot be read is told.

Each line is read by itself, so that one cut off by a power cut or badly edited spoils no other.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from scheduler.errors import LogbookError, UsageError, told_plainly
from scheduler.logbook.cells import is_day_first, parse_time, parse_value_pct
from scheduler.yard.models import Site

COLUMNS = ("time", "what", "value", "who")
BANK = "bank"
NOTE = "note"
SKY = "sky"
WITHDRAWN = "withdrawn: "
#: Goes before the name of a machine that is itself called bank, sky or note.
MACHINE = "machine "

#: More than four readings a day for sixty years is no logbook.
MOST_BYTES, MOST_LINES = 8_000_000, 100_000

#: What to do about a line of too many cells, by what parts them.
_TOO_MANY = {
    ",": 'put text with a comma in double quotes, and write half a percent as "62.5"',
    ";": "put text with a semicolon in double quotes",
    "\t": "put text with a tab in double quotes",
}

What = Literal["bank", "machine", "sky", "note"]


@dataclass(frozen=True)
class Reading:
    """One line of the logbook.

    Attributes
    ----------
    time : datetime
        When it was read, in UTC.
    what : str
        ``bank``, ``machine``, ``sky`` or ``note``.
    machine : str
        The machine's name, else empty.
    value_pct : float or None
        What was shown [%], 0 to 100; None for a sky or a note.
    text : str
        The value as it is written; of a sky or a note its words.
    who : str
        Who read it, may be empty.
    line : int
        On which it stands, from 1.
    withdrawn : bool
        It was taken back later.
    """

    time: dt.datetime
    what: What
    machine: str
    value_pct: float | None
    text: str
    who: str
    line: int
    withdrawn: bool = False


@dataclass(frozen=True)
class Layout:
    """How the file's lines are made: what parts the cells, the columns in their order, and the line's end."""

    delimiter: str = ","
    columns: tuple[str, ...] = COLUMNS
    line_end: str = "\n"


@dataclass(frozen=True)
class Logbook:
    """Everything in the file that can be read.

    Attributes
    ----------
    path : Path
    readings : tuple of Reading
        As the lines stand in the file, those that were withdrawn among them.
    problems : tuple of str
        A finished line for each line of the file that cannot be read, without the file's name.
    layout : Layout or None
        None where there is no header yet.
    cut_off : bool
        The last line has no end.
    """

    path: Path
    readings: tuple[Reading, ...] = ()
    problems: tuple[str, ...] = ()
    layout: Layout | None = None
    cut_off: bool = False

    @property
    def standing(self) -> tuple[Reading, ...]:
        """Readings that were not withdrawn, in the order of their time; at the same minute the later line later."""
        standing = (reading for reading in self.readings if not reading.withdrawn)
        return tuple(sorted(standing, key=lambda reading: reading.time))

    @property
    def last_written(self) -> Reading | None:
        """The reading that stands and was written last.

        That is the last line, whatever its time, unless the lines go back in time, as a spreadsheet sorts them newest
        first; then the latest. Of two lines that go back the second may be an older reading, noted later.
        """
        by_line = [reading for reading in self.readings if not reading.withdrawn]
        steps = [(later.time - earlier.time).total_seconds() for earlier, later in pairwise(self.readings)]
        is_newest_first = sum(step < 0 for step in steps) > 1 + sum(step > 0 for step in steps)
        last = self.standing if is_newest_first else by_line
        return last[-1] if last else None

    @property
    def of_bank(self) -> tuple[Reading, ...]:
        """Readings of the bank that stand, in the order of their time."""
        return tuple(reading for reading in self.standing if reading.what == "bank")

    def of_machine(self, name: str) -> tuple[Reading, ...]:
        """Readings of a machine that stand, in the order of their time."""
        return tuple(reading for reading in self.standing if reading.machine == name)


def logbook_path(fleet: Path) -> Path:
    """``field-edge-logbook.csv`` beside ``field-edge.toml``."""
    return fleet.with_name(f"{fleet.stem}-logbook.csv")


def read_logbook(path: Path, site: Site) -> Logbook:
    """Read a logbook; one that is not there yet is empty.

    Parameters
    ----------
    path : Path
    site : Site
        On whose clock times without an offset are.

    Raises
    ------
    LogbookError
        If the file as a whole cannot be read.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return Logbook(path)
    except OSError as fault:
        raise LogbookError(path, [f"can't be read: {fault.strerror}; check its permissions"]) from fault
    return parse_logbook(content, path, site)


@dataclass(frozen=True)
class _Row:
    """One line's cells by column."""

    line: int
    cells: dict[str, str]


def parse_logbook(content: bytes, path: Path, site: Site) -> Logbook:
    """Read the bytes of a logbook.

    Raises
    ------
    LogbookError
        If they are no text with a byte a letter, such as UTF-16 or a spreadsheet's own format, or far too many.
    """
    if len(content) > MOST_BYTES or content.count(b"\n") > MOST_LINES:
        most = f"{MOST_BYTES // 1_000_000} MB or {MOST_LINES} lines"
        raise LogbookError(path, [f"more than {most} is no logbook; is it the right file?"])
    if content.startswith((b"\xff\xfe", b"\xfe\xff", b"PK\x03\x04")):
        raise LogbookError(path, ["not a CSV file in UTF-8; save it from the spreadsheet as CSV, UTF-8"])
    problems: dict[int, str] = {}
    layout, rows = _read_rows(content, problems)
    day_first = is_day_first(row.cells["time"] for row in rows)
    taken = _Taken()
    for row in rows:
        try:
            taken.take(row, site.zone, day_first)
        except ValueError as fault:
            problems[row.line] = str(fault)
    problems.update(taken.withdraw_above())
    told = tuple(told_plainly(f"line {line}: {problems[line]}") for line in sorted(problems))
    return Logbook(path, tuple(taken.readings), told, layout, bool(content) and not content.endswith(b"\n"))


def _read_rows(content: bytes, problems: dict[int, str]) -> tuple[Layout | None, list[_Row]]:
    layout: Layout | None = None
    rows: list[_Row] = []
    for number, line in enumerate(content.removeprefix(b"\xef\xbb\xbf").split(b"\n"), 1):
        if not line.strip(b"\r \t,;\x00"):
            if b"\x00" in line:
                problems[number] = "cut off, as by a power cut"
            continue
        text, in_layout = _decode(line), layout or Layout()
        if header := _as_header(text):
            layout = replace(header, line_end="\r\n" if line.endswith(b"\r") else "\n")
        elif b"\x00" in line:
            problems[number] = f"cut off, as by a power cut: {_shown(text)}"
        elif (cells := _split(text, in_layout.delimiter)) is None or len(cells) < len(in_layout.columns):
            problems[number] = (
                f"cut off, or not all of {', '.join(in_layout.columns)}: {_shown(text)}; "
                "if it is right, write it out with an empty cell at the end"
            )
        elif any(cells[len(in_layout.columns) :]):
            problems[number] = (
                f"{len(cells)} cells under {len(in_layout.columns)} columns: {_shown(text)}; "
                f"{_TOO_MANY[in_layout.delimiter]}"
            )
        else:
            rows.append(_Row(number, dict(zip(in_layout.columns, cells, strict=False))))
    return layout, rows


def _decode(line: bytes) -> str:
    """Text of a line: UTF-8, else as older spreadsheets of the west save it."""
    try:
        return line.decode().strip("\r")
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace").strip("\r")


def _as_header(text: str) -> Layout | None:
    if "time" not in text.lower():  # as nearly every line: no need to take it apart three times
        return None
    for delimiter in ",;\t":
        columns = tuple(cell.lower() for cell in _split(text, delimiter) or ())
        if {"time", "what", "value"} <= set(columns):
            return Layout(delimiter, columns)
    return None


def _split(text: str, delimiter: str) -> list[str] | None:
    """Cells of a line; None if a quote is not closed."""
    try:
        return [cell.strip() for cell in next(csv.reader([text], delimiter=delimiter, strict=True))]
    except csv.Error:
        return None


def _shown(text: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in text[:60])
    return f"{shown}{'...' if len(text) > 60 else ''}"


@dataclass
class _Taken:
    """The readings so far, where those of the same content stand that were not withdrawn, and what found none."""

    readings: list[Reading] = field(default_factory=list)
    standing: dict[tuple[object, ...], list[int]] = field(default_factory=dict)
    above: list[tuple[_Row, Reading]] = field(default_factory=list)

    def take(self, row: _Row, zone: ZoneInfo, day_first: bool | None) -> None:
        """Take one line for what it is: a reading, or the withdrawal of one before it."""
        time = parse_time(row.cells["time"], zone, day_first)
        named, value = row.cells["what"], row.cells["value"]
        if not named.lower().startswith(WITHDRAWN.strip()):
            reading = _reading(row, time, named, value)
            self.standing.setdefault(_content(reading), []).append(len(self.readings))
            self.readings.append(reading)
            return
        gone = _reading(row, time, named[len(WITHDRAWN.strip()) :].strip(), value)
        if not self._withdraw(gone):
            self.above.append((row, gone))

    def withdraw_above(self) -> Iterator[tuple[int, str]]:
        """Withdraw what stands below its withdrawal, as in a file sorted newest first; tell what stands nowhere."""
        for row, gone in self.above:
            if not self._withdraw(gone):
                named = row.cells["what"].removeprefix(WITHDRAWN)
                yield row.line, f'withdraws what is not there: {named} "{row.cells["value"]}" of {row.cells["time"]}'

    def _withdraw(self, gone: Reading) -> bool:
        same = self.standing.get(_content(gone))
        if not same:
            return False
        at = same.pop()
        self.readings[at] = replace(self.readings[at], withdrawn=True)
        return True


def _content(reading: Reading) -> tuple[object, ...]:
    text = reading.text if reading.value_pct is None else ""
    return reading.time, reading.what, reading.machine, reading.value_pct, text


def _reading(row: _Row, time: dt.datetime, named: str, value: str) -> Reading:
    if not named:
        msg = "column what is empty; wanted bank, a machine's name, sky or note"
        raise ValueError(msg)
    who = row.cells.get("who", "")
    if named.lower() == NOTE:
        return Reading(time, "note", "", None, value, who, row.line)
    if named.lower() == SKY:
        _check_words(value)
        return Reading(time, "sky", "", None, value, who, row.line)
    value_pct = parse_value_pct(value)
    if named.lower() == BANK:
        return Reading(time, "bank", "", value_pct, value, who, row.line)
    name = named.removeprefix(MACHINE)
    named_oddly = is_taken(name)
    return Reading(time, "machine", name if named_oddly else named, value_pct, value, who, row.line)


def _check_words(value: str) -> None:
    from scheduler.sun.skyterms import term_of

    try:
        for part in value.replace(";", ",").split(","):
            term_of(part.rpartition(":")[2])
    except UsageError as fault:
        raise ValueError(str(fault).removeprefix("--sky: ")) from fault


def is_taken(name: str) -> bool:
    """Whether a machine's name means something else in the column `what`."""
    lowered = name.lower()
    return lowered in (BANK, SKY, NOTE) or lowered.startswith((WITHDRAWN.strip(), MACHINE))


def what_cell(what: What, machine: str) -> str:
    """Return what stands in the column `what`."""
    if what != "machine":
        return what
    return f"{MACHINE}{machine}" if is_taken(machine) else machine
