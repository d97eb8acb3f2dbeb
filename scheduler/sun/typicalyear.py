"""The three suns of a date from a typical year: its days around that date, ranked by their sun."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.timegrid import FloatArray

YEAR_DAYS = 365
HOURS_PER_DAY = 24

#: A year without a leap day, on which the days of a typical year are counted.
NOMINAL_YEAR = 2001

#: Days on either side of a date that count as days like it.
WINDOW_DAYS = 15

DULL_QUANTILE = 0.1
LIKELY_QUANTILE = 0.5
BRIGHT_QUANTILE = 0.9

#: A sun's hourly shape is the mean of this many days next to its rank.
SHAPE_DAYS = 3

#: From this distance on, the reader is told that the station is far [km].
FAR_KM = 100.0

HOUR = dt.timedelta(hours=1)


@dataclass(frozen=True)
class TypicalYear:
    """A year put together from typical months, for any date.

    Attributes
    ----------
    station : str
        The file's own name for the place, and the format.
    distance_km : float
        From the station to the yard [km].
    utc_offset_h : float
        The file's standard time; its days are days of the sun, without daylight time [h].
    table : DataFrame, 8760 rows
        In the file's standard time from 1 January 00:00, each row the hour it starts: ghi_w_m2, dni_w_m2,
        dhi_w_m2, temp_c, wind_m_s.
    """

    station: str
    distance_km: float
    utc_offset_h: float
    table: pd.DataFrame

    @property
    def source(self) -> str:
        """In words, for the page."""
        return f"typical year {self.station}"

    @property
    def begins(self) -> None:
        """Any date will do."""
        return

    @property
    def ends(self) -> None:
        """Any date will do."""
        return

    @property
    def notes(self) -> tuple[str, ...]:
        """What had to be assumed, for the reader."""
        notes = ["no forecast: the suns are those of a typical year's days around this date"]
        if self.distance_km > FAR_KM:
            notes.append(f"the typical year's station is {self.distance_km:,.0f} km from the yard")
        return tuple(notes)

    def by_start_utc(self) -> pd.DataFrame:
        """Return the whole year, indexed by the hours' starts in UTC, in a year without a leap day."""
        first = pd.Timestamp(NOMINAL_YEAR, 1, 1, tz="UTC") - pd.Timedelta(hours=self.utc_offset_h)
        return self.table.set_axis(pd.date_range(first, periods=len(self.table), freq="h"), axis=0)

    def hours(self, start: dt.datetime, end: dt.datetime) -> pd.DataFrame:
        """Weather of the hours that touch the time from `start` to `end`.

        Returns
        -------
        DataFrame
            Indexed by the hours' starts in UTC: ghi_w_m2, dni_w_m2, dhi_w_m2 (the likely sun's),
            ghi_dull_w_m2, ghi_bright_w_m2, temp_c, wind_m_s.

        Notes
        -----
        For each date the year's days within 15 days of it are ranked by their global irradiance. The dull,
        the likely and the bright sun have the 10 %, 50 % and 90 % quantile of these days' totals, in the mean
        shape of the three days next to that rank, so that cloud lasts over the day as it does in fact.
        Temperature and wind are the means by hour of the three days around the median.
        """
        offset = dt.timedelta(hours=self.utc_offset_h)
        solar_start = (start.astimezone(dt.UTC) + offset).replace(tzinfo=None)
        solar_end = (end.astimezone(dt.UTC) + offset).replace(tzinfo=None)
        midnight = dt.datetime.combine(solar_start.date(), dt.time())
        n_days = -((midnight - solar_end) // dt.timedelta(days=1))
        days = [self._suns_of(midnight.date() + dt.timedelta(days=number)) for number in range(n_days)]
        n_hours = n_days * HOURS_PER_DAY
        index = pd.date_range(midnight - offset, periods=n_hours, freq="h", tz="UTC", name="time")
        first = (solar_start - midnight) // HOUR
        last = -((midnight - solar_end) // HOUR)
        return pd.concat(days).set_axis(index, axis=0).iloc[first:last]

    def days_like(self, date: dt.date) -> pd.DataFrame:
        """Return the hours of the days within 15 days of `date`, day after day."""
        day_of_month = 28 if (date.month, date.day) == (2, 29) else date.day
        middle = dt.date(NOMINAL_YEAR, date.month, day_of_month).timetuple().tm_yday - 1
        days = (middle + np.arange(-WINDOW_DAYS, WINDOW_DAYS + 1)) % YEAR_DAYS
        hours = days[:, None] * HOURS_PER_DAY + np.arange(HOURS_PER_DAY)
        return self.table.iloc[hours.ravel()]

    def _suns_of(self, date: dt.date) -> pd.DataFrame:
        around = self.days_like(date)
        by_hour = {name: around[name].to_numpy().reshape(-1, HOURS_PER_DAY) for name in around.columns}
        likely_days, scale = _days_at(LIKELY_QUANTILE, by_hour["ghi_w_m2"])
        likely = {name: values[likely_days].mean(axis=0) for name, values in by_hour.items()}
        for name in ("ghi_w_m2", "dni_w_m2", "dhi_w_m2"):
            likely[name] = likely[name] * scale
        for name, quantile in (("ghi_dull_w_m2", DULL_QUANTILE), ("ghi_bright_w_m2", BRIGHT_QUANTILE)):
            days, scale = _days_at(quantile, by_hour["ghi_w_m2"])
            likely[name] = by_hour["ghi_w_m2"][days].mean(axis=0) * scale
        return pd.DataFrame(likely)


def _days_at(quantile: float, ghi_w_m2: FloatArray) -> tuple[NDArray[np.intp], float]:
    """Days next to a rank of the daily totals, and what brings their mean total to that quantile."""
    totals = ghi_w_m2.sum(axis=1)
    rank = round(quantile * (len(totals) - 1))
    first = min(max(rank - SHAPE_DAYS // 2, 0), len(totals) - SHAPE_DAYS)
    days = np.argsort(totals, kind="stable")[first : first + SHAPE_DAYS]
    mean = totals[days].mean()
    return days, float(np.quantile(totals, quantile) / mean) if mean > 0.0 else 0.0
