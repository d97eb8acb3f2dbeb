"""Reading typical years: one function a format, each giving hours named by their start.

The formats differ in what a time stamp means; every reader undoes its format's convention here, and nowhere
else. The closure ``DNI cos(zenith) + DHI = GHI`` with the sun at mid-hour shows whether it was understood.
"""

from __future__ import annotations

import io
import json
import re
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd

from scheduler.errors import WeatherFileError
from scheduler.sun.forecastfile import LIMITS, source_of
from scheduler.sun.typicalyear import HOURS_PER_DAY, NOMINAL_YEAR, YEAR_DAYS, TypicalYear
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Site

TypicalFormat = Literal["TMY3", "TMY2", "EPW", "PVGIS csv", "PVGIS json"]

EARTH_RADIUS_KM = 6371.0

#: A leap year's hours are 8784, and none of these formats has a thousand lines besides.
MOST_LINES = 10_000

_TMY2_HEADER = re.compile(r"\s*\d{5} .+ [A-Z]{2}\s+-?\d+ [NS]\s+\d+\s+\d+ [EW]\s+\d+\s+\d+\s+-?\d+")

_COLUMNS = {
    "ghi": "ghi_w_m2",
    "dni": "dni_w_m2",
    "dhi": "dhi_w_m2",
    "temp_air": "temp_c",
    "wind_speed": "wind_m_s",
    "relative_humidity": "rh_pct",
}

_TMY2_COLUMNS = {
    "GHI": "ghi_w_m2",
    "DNI": "dni_w_m2",
    "DHI": "dhi_w_m2",
    "DryBulb": "temp_c",
    "Wspd": "wind_m_s",
    "RHum": "rh_pct",
}


@dataclass(frozen=True)
class _Read:
    """Hours in the file's order, with the station's name, latitude and longitude, and its zone."""

    station: str
    place: tuple[float, float]
    utc_offset_h: float
    table: pd.DataFrame
    hour_of_day: FloatArray


def typical_format(text: str) -> TypicalFormat | None:
    """Recognise a typical year by its first lines; None for anything else."""
    head = text[:4000].splitlines()
    first, second = (*head, "", "")[:2]
    if first.startswith("LOCATION,"):
        return "EPW"
    if second.startswith("Date (MM/DD/YYYY)"):
        return "TMY3"
    if first.startswith("Latitude (decimal degrees)"):
        return "PVGIS csv"
    if first.lstrip().startswith("{"):
        return "PVGIS json"
    return "TMY2" if _TMY2_HEADER.fullmatch(first.rstrip()) else None


def read_typical_year(path: Path, text: str, kind: TypicalFormat, site: Site) -> TypicalYear:
    """Read a typical year in a known format.

    Raises
    ------
    WeatherFileError
        If it is not a whole year of that format, or holds values that cannot be.
    """
    readers: dict[TypicalFormat, Callable[[Path, str], _Read]] = {
        "TMY3": _read_tmy3,
        "TMY2": _read_tmy2,
        "EPW": _read_epw,
        "PVGIS csv": _read_pvgis_csv,
        "PVGIS json": _read_pvgis_json,
    }
    if kind != "PVGIS json" and text.count("\n") > MOST_LINES:
        raise WeatherFileError(
            path, [f"more than {MOST_LINES} lines is no typical year; is it the right file?"]
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)  # columns that nobody asks for may hold anything
            read = readers[kind](path, text)
    except _FAULTS as fault:
        raise WeatherFileError(path, [_tell_unreadable(text, kind, fault)]) from fault
    problems = _order_problems(read, kind) or _range_problems(read.table)
    if not np.isfinite(read.place).all():
        problems = [*problems, f"{kind}: the place in its head is {read.place}; wanted degrees north and east"]
    if problems:
        raise WeatherFileError(path, problems)
    distance_km = _distance_km(read.place, (site.latitude, site.longitude))
    return TypicalYear(
        f"{source_of(read.station)} ({kind})", distance_km, read.utc_offset_h, read.table, read.place[0]
    )


#: What pvlib, pandas and json throw at a file that only looks like one of theirs.
_FAULTS = (ValueError, LookupError, TypeError, AttributeError, RecursionError, ArithmeticError)


def _tell_unreadable(text: str, kind: TypicalFormat, fault: Exception) -> str:
    looks = f"looks like a typical year ({kind}) but cannot be read as one"
    if isinstance(fault, json.JSONDecodeError):
        return f"line {fault.lineno}, column {fault.colno}: {fault.msg}; the file {looks}"
    odd = None if kind == "PVGIS json" else _odd_line(text.split("\n"), fixed_width=kind == "TMY2")
    if odd is None:
        reason = " ".join(str(fault).split())
        return f"{looks}: {reason}; was its header changed, or the file cut off?"
    return f"line {odd}: unlike the lines around it; the file {looks}"


def _odd_line(lines: Sequence[str], *, fixed_width: bool) -> int | None:
    """Return the number of the first line of the table that is not made as nearly all others are."""
    made = [_shape(line, fixed_width=fixed_width) for line in lines]
    widths = Counter(map(len, made))
    usual = max(widths, key=lambda width: widths[width] * (width > 1), default=0)
    # A column in which many are made otherwise, such as one of remarks, shows nothing.
    steady = {
        column: shape
        for column in range(usual)
        for shape, count in Counter(cells[column] for cells in made if len(cells) == usual).most_common(1)
        if count >= _STEADY_FRACTION * widths[usual]
    }
    alike = [
        len(cells) == usual and all(cells[at] == shape for at, shape in steady.items()) for cells in made
    ]
    # Before the first and behind the last of those that are alike stand headers and explanations.
    table = range(alike.index(True), len(made) - alike[::-1].index(True)) if any(alike) else range(0)
    return next((at + 1 for at in table if not alike[at] and any(made[at])), None)


_STEADY_FRACTION = 0.99
_DIGITS = re.compile(r"\d+")


def _shape(line: str, *, fixed_width: bool) -> list[str]:
    """Return how a line's cells are made: numbers as 0, all else with its digits as 0."""
    if fixed_width:
        return ["0" if letter in "0123456789 -" else letter for letter in line.rstrip()]
    return ["0" if _is_number(cell) else _DIGITS.sub("0", cell) for cell in line.rstrip().split(",")]


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _order_problems(read: _Read, kind: TypicalFormat) -> list[str]:
    n_hours = YEAR_DAYS * HOURS_PER_DAY
    hour_of_day = read.hour_of_day[:n_hours]
    wrong = np.flatnonzero(hour_of_day != np.arange(len(hour_of_day)) % HOURS_PER_DAY)
    if not wrong.size and len(read.table) == n_hours:
        return []
    wanted = f"{kind}: wanted {n_hours} hours in order, found {len(read.table)}"
    where = f"; the first out of order is the hour from {_hour_name(int(wrong[0]))}" if wrong.size else ""
    return [f"{wanted}{where}; is the file cut off, or a line of it lost?"]


def _hour_name(hour: int) -> str:
    return f"{pd.Timestamp(NOMINAL_YEAR, 1, 1) + pd.Timedelta(hours=hour):%d %b %H:%M}"


def _distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Distance over the globe between two places given by latitude and longitude [km] (haversine)."""
    (lat, lon), (lat_other, lon_other) = np.radians(one), np.radians(other)
    half = np.sin((lat_other - lat) / 2) ** 2
    half += np.cos(lat) * np.cos(lat_other) * np.sin((lon_other - lon) / 2) ** 2
    return float(2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(half)))


def _range_problems(table: pd.DataFrame) -> list[str]:
    problems = []
    for name in table.columns:
        values = table[name].to_numpy()
        least, most = LIMITS[name]
        bad = np.flatnonzero(~((values >= least) & (values <= most)))
        if bad.size:
            problems.append(
                f"{name} is {values[bad[0]]:g} in the hour from {_hour_name(int(bad[0]))} ({bad.size} such hours); "
                f"wanted {least:g} to {most:g}, the file's marks for missing values will not do"
            )
    return problems


def _tidy(data: pd.DataFrame, columns: dict[str, str] = _COLUMNS) -> pd.DataFrame:
    wanted = [name for name, ours in columns.items() if ours != "rh_pct" or name in data]
    table = data[wanted].rename(columns=columns).astype(float).reset_index(drop=True)
    # Only dehumidifiers ask for it: without it, or with marks for missing values, the year serves all the same.
    if "rh_pct" in table and not table["rh_pct"].between(*LIMITS["rh_pct"]).all():
        return table.drop(columns="rh_pct")
    return table


def _place(meta: dict[str, Any]) -> tuple[float, float]:
    return float(meta["latitude"]), float(meta["longitude"])


def _read_tmy3(_path: Path, text: str) -> _Read:
    """Read TMY3, whose stamps mark the end of the hour in standard time (NREL/TP-581-43156)."""
    from pvlib import iotools

    data, meta = iotools.read_tmy3(io.StringIO(text))
    starts = data.index - pd.Timedelta(hours=1)
    return _Read(str(meta["USAF"]), _place(meta), meta["TZ"], _tidy(data), starts.hour.to_numpy())


def _read_tmy2(path: Path, _text: str) -> _Read:
    """Read TMY2, whose hours 1 to 24 mark the end of the hour; pvlib has already moved them to its start."""
    from pvlib import iotools

    data, meta = iotools.read_tmy2(path)
    table = _tidy(data, _TMY2_COLUMNS)
    table[["temp_c", "wind_m_s"]] /= 10.0  # stored in tenths
    return _Read(meta["WBAN"], _place(meta), float(meta["TZ"]), table, data.index.hour.to_numpy())


def _read_epw(_path: Path, text: str) -> _Read:
    """Read EPW, whose hours 1 to 24 mark the end of the hour; pvlib has already moved them to its start."""
    from pvlib import iotools

    data, meta = iotools.read_epw(io.StringIO(text))
    data = data[(data["month"] != 2) | (data["day"] != 29)]
    return _Read(str(meta["city"]), _place(meta), meta["TZ"], _tidy(data), data.index.hour.to_numpy())


def _read_pvgis_csv(_path: Path, text: str) -> _Read:
    """Read PVGIS as csv; see `_from_pvgis` for its time stamps."""
    from pvlib import iotools

    data, meta = iotools.read_pvgis_tmy(io.BytesIO(text.encode()), pvgis_format="csv")
    inputs = meta["inputs"]
    return _from_pvgis(data, inputs, inputs.get("irradiance time offset", 0.0))


def _read_pvgis_json(_path: Path, text: str) -> _Read:
    """Read PVGIS as json; see `_from_pvgis` for its time stamps."""
    from pvlib import iotools

    if "tmy_hourly" not in json.loads(text).get("outputs", {}):
        msg = "no outputs.tmy_hourly in it"
        raise ValueError(msg)
    data, meta = iotools.read_pvgis_tmy(io.StringIO(text), pvgis_format="json")
    location = meta["inputs"]["location"]
    return _from_pvgis(data, location, location.get("irradiance_time_offset", 0.0))


def _from_pvgis(data: pd.DataFrame, place: dict[str, Any], sampled_h: float) -> _Read:
    """Turn PVGIS's values into means over hours that start on the stamp.

    Its stamps are UTC and its radiation is a sample taken `sampled_h` hours after them (the satellite's scan,
    or 0.5 for hourly means): the mean over an hour is taken as the value at mid-hour, in a straight line
    between samples. The year is turned to begin with the sun's own day, as the days are ranked later.
    """
    table = _tidy(data)
    late_h = 0.5 - float(sampled_h)
    if not abs(late_h) <= 1.0:
        msg = f"its irradiance time offset is {sampled_h} h, wanted one within the hour"
        raise ValueError(msg)
    neighbour = -1 if late_h >= 0.0 else 1
    for name in ("ghi_w_m2", "dni_w_m2", "dhi_w_m2"):
        samples = np.maximum(table[name].to_numpy(), 0.0)
        with np.errstate(invalid="ignore"):  # what cannot be is told of below, with its hour
            table[name] = (1.0 - abs(late_h)) * samples + abs(late_h) * np.roll(samples, neighbour)
    solar_offset_h = round(float(place["longitude"]) / 15.0)
    turned = pd.DataFrame(np.roll(table.to_numpy(), solar_offset_h, axis=0), columns=table.columns)
    hour_of_day = (
        np.roll(pd.DatetimeIndex(data.index).hour, solar_offset_h) + solar_offset_h
    ) % HOURS_PER_DAY
    station = f"{place['latitude']:.2f}, {place['longitude']:.2f}"
    return _Read(station, _place(place), float(solar_offset_h), turned, hour_of_day)
