"""The three suns of a date from a typical year: how clear its days around that date are, nearer ones weighing more."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.sun.skies import above_day_wh_m2
from scheduler.sun.spread import (
    BRIGHT_QUANTILE,
    DULL_QUANTILE,
    LIKELY_QUANTILE,
    season_weights,
    weighted_quantiles,
)
from scheduler.timegrid import FloatArray

YEAR_DAYS = 365
HOURS_PER_DAY = 24

#: A year without a leap day, on which the days of a typical year are counted.
NOMINAL_YEAR = 2001

#: Days on either side of a date whose hours may lend a sun its shape.
SHAPE_WINDOW_DAYS = 15

#: A sun's hourly shape is the mean of this many of those days, the nearest in clearness.
SHAPE_DAYS = 7

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
    latitude_deg : float
        The station's.
    """

    station: str
    distance_km: float
    utc_offset_h: float
    table: pd.DataFrame
    latitude_deg: float

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
        The clearness index of a day is its global irradiance over that outside the atmosphere. The dull, the
        likely and the bright sun of a date have the 10 %, 50 % and 90 % quantile of the clearness indices of the
        year's days around it, weighted by `season_weights`, times the irradiance outside the atmosphere on that
        date. Each has the mean hourly shape of the seven days within 15 days of the date that are nearest to it
        in clearness, so that cloud lasts over the day as it does in fact. Temperature and wind are the means by
        hour of the seven days nearest to the likely sun.
        """
        offset = dt.timedelta(hours=self.utc_offset_h)
        solar_start = (start.astimezone(dt.UTC) + offset).replace(tzinfo=None)
        solar_end = (end.astimezone(dt.UTC) + offset).replace(tzinfo=None)
        midnight = dt.datetime.combine(solar_start.date(), dt.time())
        n_days = -((midnight - solar_end) // dt.timedelta(days=1))
        days = [
            self.suns_of_day(day_of_year(midnight.date() + dt.timedelta(days=number))) for number in range(n_days)
        ]
        n_hours = n_days * HOURS_PER_DAY
        index = pd.date_range(midnight - offset, periods=n_hours, freq="h", tz="UTC", name="time")
        first = (solar_start - midnight) // HOUR
        last = -((midnight - solar_end) // HOUR)
        return pd.concat(days).set_axis(index, axis=0).iloc[first:last]

    def quantiles_of_day(self, day: int, left_out_days: int = -1) -> FloatArray:
        """Dull, likely and bright global irradiation of a day of the year, 0 for 1 January [Wh/m2].

        Days no further from it than `left_out_days` have no say, for judging this by the day itself.
        """
        distance = self.distance_days(day)
        weights = np.where(distance > left_out_days, season_weights(distance), 0.0)
        used = (weights > 0.0) & (self.above_wh_m2 > 0.0)
        if not used.any() or self.above_wh_m2[day] <= 0.0:
            return np.zeros(3)
        wanted = np.array([DULL_QUANTILE, LIKELY_QUANTILE, BRIGHT_QUANTILE])
        index = weighted_quantiles(self.clearness_index[used], weights[used], wanted)
        day_wh_m2: FloatArray = index * self.above_wh_m2[day]
        return day_wh_m2

    def suns_of_day(self, day: int, left_out_days: int = -1) -> pd.DataFrame:
        """Return the 24 hours of a day of the year as `hours` has them; see `quantiles_of_day`."""
        totals = self.quantiles_of_day(day, left_out_days)
        distance = self.distance_days(day)
        near = np.flatnonzero((distance > left_out_days) & (distance <= SHAPE_WINDOW_DAYS))
        dull_days, likely_days, bright_days = (self._days_nearest(total, day, near) for total in totals)
        means = {name: values[likely_days].mean(axis=0) for name, values in self._by_day.items()}
        for name in ("dni_w_m2", "dhi_w_m2"):
            means[name] = means[name] * _scale(totals[1], means["ghi_w_m2"])
        for name, total, days in (
            ("ghi_w_m2", totals[1], likely_days),
            ("ghi_dull_w_m2", totals[0], dull_days),
            ("ghi_bright_w_m2", totals[2], bright_days),
        ):
            shape = self._by_day["ghi_w_m2"][days].mean(axis=0)
            means[name] = shape * _scale(total, shape)
        return pd.DataFrame(means)

    @cached_property
    def _by_day(self) -> dict[str, FloatArray]:
        """Each column as an array of shape (365, 24)."""
        return {
            str(name): self.table[name].to_numpy(dtype=float).reshape(-1, HOURS_PER_DAY)
            for name in self.table.columns
        }

    @cached_property
    def above_wh_m2(self) -> FloatArray:
        """Irradiation of each day outside the atmosphere, on the level [Wh/m2]."""
        return above_day_wh_m2(self.latitude_deg, np.arange(1, YEAR_DAYS + 1))

    @cached_property
    def clearness_index(self) -> FloatArray:
        """Each day's global irradiation over that outside the atmosphere; 0 where the sun does not rise."""
        day_wh_m2 = self._by_day["ghi_w_m2"].sum(axis=1)
        above = self.above_wh_m2
        index: FloatArray = np.divide(day_wh_m2, above, out=np.zeros(YEAR_DAYS), where=above > 0.0)
        return index

    @staticmethod
    def distance_days(day: int) -> FloatArray:
        """Distance of each day of the year from one of them, the short way round [days]."""
        apart = np.abs(np.arange(YEAR_DAYS) - day)
        distance: FloatArray = np.minimum(apart, YEAR_DAYS - apart).astype(float)
        return distance

    def _days_nearest(self, total_wh_m2: float, day: int, among: NDArray[np.intp]) -> NDArray[np.intp]:
        """Days whose clearness index is nearest to that of a total on a day."""
        above = self.above_wh_m2[day]
        wanted = total_wh_m2 / above if above > 0.0 else 0.0
        order = np.argsort(np.abs(self.clearness_index[among] - wanted), kind="stable")
        return among[order[:SHAPE_DAYS]]


def day_of_year(date: dt.date) -> int:
    """Day of a typical year that a date is, 0 for 1 January; 29 February is another 28th."""
    day_of_month = 28 if (date.month, date.day) == (2, 29) else date.day
    return dt.date(NOMINAL_YEAR, date.month, day_of_month).timetuple().tm_yday - 1


def _scale(total_wh_m2: float, shape_w_m2: FloatArray) -> float:
    """By what hourly values are multiplied to add up to a total."""
    found = shape_w_m2.sum()
    return float(total_wh_m2 / found) if found > 0.0 else 0.0
