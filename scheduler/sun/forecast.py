"""A forecast: hourly weather for certain dates, filled up to what the three suns need."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.errors import WeatherFileError
from scheduler.sun.skies import clear_ghi_w_m2, clouded_ghi_w_m2, hourly_mean, quarter_middles, sun_path
from scheduler.sun.spread import Source, days_after, spread_hours
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Site

HOUR = dt.timedelta(hours=1)

#: Taken for the air where a forecast has no temperature [C].
MISSING_TEMP_C = 20.0

#: Taken where a forecast has no wind: light air, so that the panels are rather too hot than too cold [m/s].
MISSING_WIND_M_S = 1.0

#: An hour with this much more than the sun outside the atmosphere carries the wrong time or place.
_NIGHT_FACTOR = 1.2
_NIGHT_SLACK_W_M2 = 30.0

_COMPONENTS = {"dni_w_m2", "dhi_w_m2"}
_SPREAD = {"ghi_dull_w_m2", "ghi_bright_w_m2"}

#: What is handed on where the file has it.
_AS_GIVEN = {*_COMPONENTS, "rh_pct"}


@dataclass(frozen=True)
class Forecast:
    """Weather of consecutive hours, as a forecast file gives it.

    Attributes
    ----------
    path : Path
    site : Site
    table : DataFrame
        One row an hour, indexed by its start in UTC; columns as in the file, without gaps.
    origin : str
        Who issued it, where the file says so.
    """

    path: Path
    site: Site
    table: pd.DataFrame
    origin: str = ""

    @property
    def source(self) -> str:
        """In words, for the page."""
        return f"forecast file {self.path.name}" + (f" ({self.origin})" if self.origin else "")

    @property
    def begins(self) -> dt.datetime:
        """Start of the first hour, in UTC."""
        first: dt.datetime = self.table.index[0].to_pydatetime()
        return first

    @property
    def ends(self) -> dt.datetime:
        """End of the last hour, in UTC."""
        return self.begins + len(self.table) * HOUR

    @property
    def notes(self) -> tuple[str, ...]:
        """What had to be assumed, for the reader."""
        columns = set(self.table.columns)
        notes = []
        if not _gives_sun(columns):
            notes.append("the forecast gives cloud only: the sun is what such a cover usually leaves of the clear sky")
        if not columns >= _SPREAD:
            notes.append("the forecast gives no full spread: dull and bright are how far days stray from forecasts")
        if "temp_c" not in columns:
            notes.append(f"the forecast gives no temp_c: {MISSING_TEMP_C:g} C is taken for panels and shed")
        return tuple(notes)

    def hours(self, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Weather of the hours that touch the time from `start` to `end`.

        Returns
        -------
        DataFrame
            Indexed by the hours' starts in UTC; ghi_w_m2, ghi_dull_w_m2, ghi_bright_w_m2, temp_c, wind_m_s,
            and dni_w_m2, dhi_w_m2 (the likely sun's) and rh_pct where the file has them. A missing temperature
            is 20 C, a missing wind 1 m/s: the panels rather too hot than too cold.

        Raises
        ------
        WeatherFileError
            If the forecast does not reach so far.
        """
        first = (start - self.begins) // HOUR
        last = -((self.begins - end) // HOUR)
        if first < 0 or last > len(self.table):
            msg = (
                f"the forecast covers {self._clock(self.begins)} to {self._clock(self.ends)}, wanted is "
                f"{self._clock(start)} to {self._clock(end)}; use a newer forecast or another --from"
            )
            raise WeatherFileError(self.path, [msg])
        return self._filled.iloc[first:last]

    def sun_by_night(self) -> NDArray[np.intp]:
        """Positions of the hours with clearly more sun than there is outside the atmosphere."""
        sun = sun_path(self.site, quarter_middles(pd.DatetimeIndex(self.table.index)))
        most_w_m2 = _NIGHT_FACTOR * hourly_mean(sun.extra_horizontal_w_m2) + _NIGHT_SLACK_W_M2
        level = ("ghi_w_m2", "dhi_w_m2", "ghi_dull_w_m2", "ghi_bright_w_m2")
        given = self.table[[name for name in level if name in self.table]].to_numpy()
        too_much = (given > most_w_m2[:, None]).any(axis=1)
        return np.flatnonzero(too_much)

    @cached_property
    def _filled(self) -> pd.DataFrame:
        """All hours with the three suns and the air; in full, for a day is dull or bright as a whole."""
        rows = self.table
        columns = set(rows.columns)
        hours = pd.DatetimeIndex(rows.index)
        filled = rows.reindex(columns=[name for name in rows if name in _AS_GIVEN])
        needs_clear_sky = not (columns >= _SPREAD and _gives_sun(columns))
        clear = clear_ghi_w_m2(self.site, hours) if needs_clear_sky else np.zeros(len(rows))
        likely = self._likely_ghi_w_m2(rows, clear)
        dull = bright = likely
        if not columns >= _SPREAD:
            source: Source = "irradiance" if _gives_sun(columns) else "cloud"
            first_day = self.begins.astimezone(self.site.zone).date()
            dull, bright = spread_hours(likely, clear, days_after(first_day, hours, self.site.zone), source)
        filled["ghi_w_m2"] = likely
        filled["ghi_dull_w_m2"] = np.minimum(_values_or(rows, "ghi_dull_w_m2", dull), likely)
        filled["ghi_bright_w_m2"] = np.maximum(_values_or(rows, "ghi_bright_w_m2", bright), likely)
        filled["temp_c"] = _values_or(rows, "temp_c", np.full(len(rows), MISSING_TEMP_C))
        filled["wind_m_s"] = _values_or(rows, "wind_m_s", np.full(len(rows), MISSING_WIND_M_S))
        return filled

    def _likely_ghi_w_m2(self, rows: pd.DataFrame, clear_w_m2: FloatArray) -> FloatArray:
        if "ghi_w_m2" in rows:
            return _values(rows, "ghi_w_m2")
        if set(rows.columns) >= _COMPONENTS:
            sun = sun_path(self.site, quarter_middles(pd.DatetimeIndex(rows.index)))
            height = hourly_mean(np.maximum(np.cos(np.radians(sun.zenith_seen_deg)), 0.0))
            return _values(rows, "dni_w_m2") * height + _values(rows, "dhi_w_m2")
        return clouded_ghi_w_m2(clear_w_m2, _values(rows, "cloud_pct") / 100.0)

    def _clock(self, moment: dt.datetime) -> str:
        return moment.astimezone(self.site.zone).strftime("%a %d %b %Y %H:%M")


def _gives_sun(columns: set[str]) -> bool:
    return "ghi_w_m2" in columns or columns >= _COMPONENTS


def _values(rows: pd.DataFrame, name: str) -> FloatArray:
    values: FloatArray = rows[name].to_numpy(dtype=float)
    return values


def _values_or(rows: pd.DataFrame, name: str, otherwise: FloatArray) -> FloatArray:
    return _values(rows, name) if name in rows else otherwise
