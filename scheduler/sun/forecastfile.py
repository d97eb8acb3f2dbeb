"""Reading a forecast file: a table with one row an hour, every mistake told in one go with its row."""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from scheduler.errors import WeatherFileError, told_plainly
from scheduler.sun.forecast import HOUR, Forecast
from scheduler.timegrid import QUARTER, floor_to
from scheduler.yard.clock import YEARS
from scheduler.yard.models import Site

#: Columns a forecast may have besides the time, with the least and the most that can be.
LIMITS = {
    "ghi_w_m2": (0.0, 1500.0),
    "dni_w_m2": (0.0, 1500.0),
    "dhi_w_m2": (0.0, 1500.0),
    "cloud_pct": (0.0, 100.0),
    "temp_c": (-60.0, 60.0),
    "rh_pct": (0.0, 100.0),
    "wind_m_s": (0.0, 75.0),
    "ghi_dull_w_m2": (0.0, 1500.0),
    "ghi_bright_w_m2": (0.0, 1500.0),
}

#: So many mistakes are told one by one; the others are counted.
SHOWN_PROBLEMS = 20

#: Letters of a source's name that are told; more are no name.
LONGEST_SOURCE = 80

#: More than eleven years of hours are no forecast, and would keep the reader waiting.
MOST_ROWS = 100_000


@dataclass(frozen=True)
class _Row:
    """One hour as read; `number` as a spreadsheet shows it, `time` None where it cannot be read."""

    number: int
    time: dt.datetime | None
    weather: dict[str, float]


@dataclass
class _Reading:
    """The rows read so far and the mistakes found so far."""

    columns: tuple[str, ...]
    decimal_comma: bool
    zone: ZoneInfo
    rows: list[_Row] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def show(self, time: dt.datetime) -> str:
        return time.astimezone(self.zone).isoformat(timespec="minutes")


def read_forecast(path: Path, text: str, site: Site) -> Forecast:
    """Read the text of a forecast file.

    Raises
    ------
    WeatherFileError
        With every mistake: columns unknown, missing or doubled; times that cannot be read, that the site's
        clock skips or shows twice; hours missing, doubled or out of order; values missing, not numbers or
        out of range; a spread that does not enclose the likely sun; sun by night.
    """
    try:
        reading = _read_rows(text, site.zone)
    except ValueError as fault:
        raise WeatherFileError(path, [str(fault)]) from fault
    reading.problems += _order_problems(reading)
    if not reading.problems and not reading.rows:
        reading.problems.append("there is nothing below the header; wanted one row an hour")
    if reading.problems:
        raise WeatherFileError(path, _shortened(reading.problems))
    index = pd.DatetimeIndex([row.time for row in reading.rows], name="time")
    table = pd.DataFrame([row.weather for row in reading.rows], index=index)
    forecast = Forecast(path, site, table, source_of(comments_of(text).get("source", "")))
    by_night = [reading.rows[position].number for position in forecast.sun_by_night()]
    if by_night:
        raise WeatherFileError(path, [_night_problem(by_night)])
    return forecast


def source_of(name: str) -> str:
    """Return the name of a source as it is told."""
    return told_plainly(name[:LONGEST_SOURCE])


def comments_of(text: str) -> dict[str, str]:
    """Return what the comment lines of a forecast file say, by key: ``# source: a weather service``."""
    comments = (line.strip().strip('",;').removeprefix("#") for line in text.splitlines() if _is_comment(line))
    told = (comment.partition(":") for comment in comments)
    return {key.strip(): value.strip() for key, colon, value in told if colon}


def _is_comment(line: str) -> bool:
    """A spreadsheet puts quotes around a comment that holds its delimiter."""
    return line.lstrip().lstrip('"').startswith("#")


def _shortened(problems: list[str]) -> list[str]:
    left = len(problems) - SHOWN_PROBLEMS
    return [*problems[:SHOWN_PROBLEMS], f"and {left} more"] if left > 0 else problems


def _night_problem(rows: list[int]) -> str:
    others = f" and {len(rows) - 1} more" if len(rows) > 1 else ""
    return (
        f"row {rows[0]}{others}: more sun than there is above the atmosphere in that hour; "
        "is the time the start of the hour, with the right offset, and the site's place right?"
    )


def _read_rows(text: str, zone: ZoneInfo) -> _Reading:
    # Comments are blanked, not cut: rows keep the numbers that a spreadsheet shows.
    uncommented = "".join("\n" if _is_comment(line) else line for line in text.splitlines(keepends=True))
    delimiter = max(",;\t", key=uncommented.lstrip().partition("\n")[0].count)
    filled = ((number, cells) for number, cells in _records(uncommented, delimiter) if any(cells))
    header_number, header = next(filled, (1, []))
    columns = tuple(name.lower() for name in header)
    reading = _Reading(columns, decimal_comma=delimiter != ",", zone=zone)
    reading.problems += [f"row {header_number}: {problem}" for problem in _header_problems(columns)]
    if "time" in columns:
        for number, cells in filled:
            if number > MOST_ROWS:
                reading.problems.append(f"more than {MOST_ROWS} rows; is it the right file?")
                break
            _read_row(reading, number, cells)
    return reading


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Yield rows with their numbers; a spreadsheet numbers blank ones too."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    number = 0
    try:
        for number, cells in enumerate(rows, 1):
            yield number, [cell.strip() for cell in cells]
    except csv.Error as fault:
        msg = f"row {number + 1}: cannot be read; is there a double quote that is not closed?"
        raise ValueError(msg) from fault


def _header_problems(columns: tuple[str, ...]) -> Iterator[str]:
    known = ("time", *LIMITS)
    for name in dict.fromkeys(columns):
        if name not in known:
            near = difflib.get_close_matches(name, known, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
            yield f"unknown column {name!r}; {hint}"
        elif columns.count(name) > 1:
            yield f"column {name} is there {columns.count(name)} times; keep one"
    if "time" not in columns:
        yield "no column time; wanted the start of each hour, such as 2027-06-09T13:00-04:00"
    has_components = {"dni_w_m2", "dhi_w_m2"} <= set(columns)
    if not has_components and not {"ghi_w_m2", "cloud_pct"} & set(columns):
        yield "neither radiation nor cloud; wanted ghi_w_m2, or dni_w_m2 and dhi_w_m2, or cloud_pct"


def _read_row(reading: _Reading, number: int, cells: list[str]) -> None:
    problems: list[str] = []
    time = None
    weather: dict[str, float] = {}
    if len(cells) != len(reading.columns):
        hint = "" if reading.decimal_comma else "; decimal commas go with columns parted by semicolons"
        problems.append(f"{len(cells)} values under {len(reading.columns)} columns{hint}")
        cells = []
    for name, cell in zip(reading.columns, cells, strict=False):
        try:
            if name == "time":
                time = _parse_time(cell, reading.zone)
            elif name in LIMITS:
                weather[name] = _parse_value(name, cell, decimal_comma=reading.decimal_comma)
        except ValueError as fault:
            problems.append(f"{name}: {fault}")
    problems += _spread_problems(weather)
    reading.problems += [f"row {number}: {problem}" for problem in problems]
    reading.rows.append(_Row(number, time, weather))


def _parse_value(name: str, cell: str, *, decimal_comma: bool) -> float:
    if not cell:
        msg = "empty; wanted a number in every row"
        raise ValueError(msg)
    try:
        value = float(cell.replace(",", ".") if decimal_comma else cell)
    except ValueError:
        msg = f"{cell!r} is not a number"
        raise ValueError(msg) from None
    least, most = LIMITS[name]
    if not math.isfinite(value) or not least <= value <= most:
        msg = f"{cell} cannot be; wanted {least:g} to {most:g}"
        raise ValueError(msg)
    return value


def _parse_time(cell: str, zone: ZoneInfo) -> dt.datetime:
    """Moment in UTC of a time with an offset, or of one on the site's clock."""
    try:
        time = dt.datetime.fromisoformat(cell) if ":" in cell else None
    except ValueError:
        time = None
    if time is None or time.year not in YEARS:
        msg = f"{cell!r} is not a time; wanted the start of the hour, such as 2027-06-09T13:00-04:00"
        raise ValueError(msg)
    if time.tzinfo is None:
        time = time.replace(tzinfo=zone)
        _check_on_clock(cell, time)
    return time.astimezone(dt.UTC)


def _check_on_clock(cell: str, time: dt.datetime) -> None:
    if time.utcoffset() == time.replace(fold=1).utcoffset():
        return
    # Where the offset differs by fold, the clock either skips this time or shows it twice.
    twice = time.astimezone(dt.UTC).astimezone(time.tzinfo).replace(tzinfo=None) == time.replace(tzinfo=None)
    if twice:
        msg = f"{cell} is there twice as the clock goes back; write it with its offset"
    else:
        msg = f"{cell} is skipped as the clock of {time.tzinfo} goes forward; write times with their offset"
    raise ValueError(msg)


def _spread_problems(values: dict[str, float]) -> Iterator[str]:
    likely = values.get("ghi_w_m2")
    dull, bright = values.get("ghi_dull_w_m2"), values.get("ghi_bright_w_m2")
    if dull is not None and likely is not None and dull > likely:
        yield f"ghi_dull_w_m2 {dull:g} is above ghi_w_m2 {likely:g}; dull is the least of the three suns"
    if bright is not None and likely is not None and bright < likely:
        yield f"ghi_bright_w_m2 {bright:g} is below ghi_w_m2 {likely:g}; bright is the most of the three suns"
    if likely is None and dull is not None and bright is not None and dull > bright:
        yield f"ghi_dull_w_m2 {dull:g} is above ghi_bright_w_m2 {bright:g}"


def _order_problems(reading: _Reading) -> Iterator[str]:
    rows = reading.rows
    first = next((row for row in rows if row.time is not None), None)
    if first is not None and first.time is not None and floor_to(first.time, QUARTER) != first.time:
        yield f"row {first.number}: {reading.show(first.time)} is no full hour; wanted the start of the hour"
    seen: dict[dt.datetime, int] = {}
    for before, row in pairwise([None, *rows]):
        if row is None or row.time is None:
            continue
        if row.time in seen:
            yield f"row {row.number}: {reading.show(row.time)} is already in row {seen[row.time]}; keep one"
        elif before is not None and before.time is not None:
            yield from _step_problems(reading, before.time, row.time, row.number)
        seen.setdefault(row.time, row.number)


def _step_problems(reading: _Reading, before: dt.datetime, time: dt.datetime, number: int) -> Iterator[str]:
    gap = time - before
    if gap < dt.timedelta(0):
        yield f"row {number}: {reading.show(time)} is earlier than the row above; sort the rows by time"
    elif gap % HOUR:
        minutes = gap // dt.timedelta(minutes=1)
        yield f"row {number}: {reading.show(time)} is {minutes} min after the row above; wanted one an hour"
    elif gap > HOUR:
        missing = reading.show(before + HOUR)
        until = f" to {reading.show(time - HOUR)}" if gap > 2 * HOUR else ""
        yield f"row {number}: above it the hour {missing}{until} is missing"
