"""Cells of a logbook as the program writes them, people type them, and spreadsheets save them."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from scheduler.yard.clock import YEARS

WANTED_TIME = 'wanted a date and time such as "2027-06-09 07:30"'

#: Some meters run a little over when full: what shows more than 100 % is taken as 100 %, up to here [%].
MOST_SHOWN_PCT = 120.0

#: 8.6.2027 7:30, 06/08/27 07:30:00 AM, 8-6-2027, 7.30 and 2027/06/08 07:30.
_DATED = re.compile(
    r"(\d{1,4})([./-])(\d{1,2})\2(\d{2,4})[ ,T]+(\d{1,2})[:.](\d{2})(?:[:.]00)?(?:\.0+)?\s*([ap])?\.?(?:m\.?)?",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class _Dated:
    """A date as written: three numbers and what stands between them; the time of day in minutes."""

    numbers: tuple[int, int, int]
    parted_by: str
    minute: int


def is_day_first(cells: Iterable[str]) -> bool | None:
    """Say whether dates such as 6/8/2027 have the day first, if any date among the cells shows it; else None."""
    parted = [dated for cell in cells if (dated := _take_apart(cell)) and _is_unsure(dated)]
    day_first = any(dated.numbers[0] > 12 for dated in parted)
    month_first = any(dated.numbers[1] > 12 for dated in parted)
    return None if day_first == month_first else day_first


def parse_time(cell: str, zone: ZoneInfo, day_first: bool | None) -> dt.datetime:
    """Moment in UTC of a cell, with an offset of its own or on the site's clock.

    A time that the clock shows twice in autumn is the first of the two.

    Raises
    ------
    ValueError
        If it is no date and time, or one that can be read in two ways.
    """
    try:
        moment = dt.datetime.fromisoformat(cell) if ":" in cell else None
    except ValueError:
        moment = None
    moment = moment or _of_dated(cell, day_first)
    if moment.year not in YEARS:
        msg = f'"{cell}": wanted a year from {YEARS[0]} to {YEARS[-1]}'
        raise ValueError(msg)
    aware = moment.replace(tzinfo=zone) if moment.tzinfo is None else moment
    return aware.astimezone(dt.UTC)


def _of_dated(cell: str, day_first: bool | None) -> dt.datetime:
    dated = _take_apart(cell)
    if dated is None:
        msg = f'"{cell}": {WANTED_TIME}'
        raise ValueError(msg)
    first, second, third = dated.numbers
    year, month, day = third, second, first  # dots: the day comes first wherever they are used
    if first > 31:
        year, month, day = first, second, third
    elif dated.parted_by != ".":
        if day_first is None and first != second:
            msg = f'"{cell}": day or month first? No date of the file shows it; {WANTED_TIME}'
            raise ValueError(msg)
        month, day = (second, first) if day_first else (first, second)
    try:
        midnight = dt.datetime(year + 2000 if year < 100 else year, month, day)  # noqa: DTZ001 the site's clock
    except ValueError as fault:
        msg = f'"{cell}": no such day; {WANTED_TIME}'
        raise ValueError(msg) from fault
    return midnight + dt.timedelta(minutes=dated.minute)


def _take_apart(cell: str) -> _Dated | None:
    match = _DATED.fullmatch(cell)
    if match is None:
        return None
    first, parted_by, second, third, hour_text, minute_text, half = match.groups()
    hour, minute = int(hour_text), int(minute_text)
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half in "pP" else 0)
    elif half or hour > 23:
        return None
    if minute > 59:
        return None
    return _Dated((int(first), int(second), int(third)), parted_by, hour * 60 + minute)


def _is_unsure(dated: _Dated) -> bool:
    return dated.parted_by != "." and dated.numbers[0] <= 31


def parse_number(text: str) -> float:
    """Read ``62``, ``62.5``, ``62,5`` or ``62 %``.

    Raises
    ------
    ValueError
        If it is no number.
    """
    return float(text.strip().removesuffix("%").strip().replace(",", "."))


def parse_value_pct(cell: str) -> float:
    """Percent from ``62``, ``62 %`` or ``62,5``; what a meter shows above 100 is 100 %.

    Raises
    ------
    ValueError
        If it is no number from 0 to 120.
    """
    try:
        value_pct = parse_number(cell)
    except ValueError as fault:
        msg = f'"{cell}": wanted a percent such as 62'
        raise ValueError(msg) from fault
    if not 0 <= value_pct <= MOST_SHOWN_PCT:
        msg = f'"{cell}": cannot be; wanted 0 to 100'
        raise ValueError(msg)
    return min(value_pct, 100.0)


def show_time(moment: dt.datetime, zone: ZoneInfo) -> str:
    """``Wed 9 Jun 12:30`` on the site's clock."""
    local = moment.astimezone(zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"
