"""Weather from a file of any kind this program reads; what is in the file decides, not its name."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Protocol

import pandas as pd

from scheduler.errors import WeatherFileError
from scheduler.sun.forecastfile import read_forecast
from scheduler.sun.typicalfiles import read_typical_year, typical_format
from scheduler.yard.models import Site

#: A forecast of three days is a few kB, a typical year in full 2 MB [bytes].
LARGEST_FILE_BYTES = 20_000_000


#: The widest of these tables has 71 columns; one with a thousand would fill the memory.
LONGEST_LINE = 4_000


class Weather(Protocol):
    """Hourly weather of a site with its spread."""

    @property
    def source(self) -> str:
        """In words, for the page."""
        ...

    @property
    def begins(self) -> dt.datetime | None:
        """Start of the first hour, in UTC; None where any date will do."""
        ...

    @property
    def ends(self) -> dt.datetime | None:
        """End of the last hour, in UTC; None where any date will do."""
        ...

    @property
    def notes(self) -> tuple[str, ...]:
        """What had to be assumed, for the reader."""
        ...

    def hours(self, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Weather of the hours that touch the time from `start` to `end`.

        Returns
        -------
        DataFrame
            Indexed by the hours' starts in UTC, no gaps: ghi_w_m2, ghi_dull_w_m2, ghi_bright_w_m2, temp_c,
            wind_m_s, and where they are known dni_w_m2 and dhi_w_m2 of the likely sun, and rh_pct.
        """
        ...


def read_weather(path: Path, site: Site) -> Weather:
    """Read a forecast file or a typical year (TMY3, TMY2, EPW, PVGIS as csv or json).

    Raises
    ------
    WeatherFileError
        With every mistake in the file.
    """
    text = _read_text(path)
    kind = typical_format(text)
    if kind != "PVGIS json":
        _check_lines(path, text)
    return read_forecast(path, text, site) if kind is None else read_typical_year(path, text, kind, site)


def _check_lines(path: Path, text: str) -> None:
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            msg = f"line {number}: {len(line)} letters; no weather file has lines of more than {LONGEST_LINE}"
            raise WeatherFileError(path, [msg])


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except OSError as fault:
        msg = f"cannot be read: {fault.strerror or fault}"
        raise WeatherFileError(path, [msg]) from fault
    if len(content) > LARGEST_FILE_BYTES:
        msg = f"more than {LARGEST_FILE_BYTES / 1e6:.0f} MB is no weather file; is it the right one?"
        raise WeatherFileError(path, [msg])
    if not content.strip():
        raise WeatherFileError(path, ["the file is empty; wanted a forecast or a typical year"])
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise WeatherFileError(path, ["this is text in UTF-16; save it as CSV in UTF-8"])
    if b"\0" in content:
        raise WeatherFileError(path, ["this is not a text file; in a spreadsheet, save the table as CSV"])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Older spreadsheets write the Western code page; whatever it cannot say is no number either.
        return content.decode("cp1252", errors="replace")
