"""R1: the grid of equal steps that a plan lives on, built in UTC and shown in the site's zone.

Power is the mean over its step and a step is named by its start; stored energy lives on the `n_steps + 1`
edges. This is the only place where W become Wh.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

STEP_MINUTES = (60, 30, 15)  #: the allowed steps, the preferred one first
QUARTER = dt.timedelta(minutes=15)

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


@dataclass(frozen=True)
class Grid:
    """Equal steps from `start` on.

    Parameters
    ----------
    start : datetime
        The first edge, in UTC.
    step_minutes : int
        60, 30 or 15.
    n_steps : int
        At least 1.
    zone : ZoneInfo
        The site's zone, for showing only.
    """

    start: dt.datetime
    step_minutes: int
    n_steps: int
    zone: ZoneInfo

    @property
    def step(self) -> dt.timedelta:
        """Length of a step."""
        return dt.timedelta(minutes=self.step_minutes)

    @property
    def step_h(self) -> float:
        """Length of a step [h]."""
        return self.step_minutes / 60.0

    @property
    def end(self) -> dt.datetime:
        """The last edge, in UTC."""
        return self.edge(self.n_steps)

    def edge(self, index: int) -> dt.datetime:
        """Moment of an edge, in UTC."""
        return self.start + index * self.step

    def local(self, index: int) -> dt.datetime:
        """Moment of an edge on the site's clock."""
        return self.edge(index).astimezone(self.zone)

    def index_of(self, moment: dt.datetime) -> int:
        """Return the edge on which `moment` falls; edges before the start are negative.

        Raises
        ------
        ValueError
            If it falls between two edges.
        """
        steps, rest = divmod(moment - self.start, self.step)
        if rest:
            msg = f"{moment.isoformat()} falls between two edges of {self.step_minutes} min"
            raise ValueError(msg)
        return steps

    def energy_wh(self, power_w: FloatArray) -> FloatArray:
        """Energy of each step from its mean power [Wh]."""
        return power_w * self.step_h

    def power_w(self, energy_wh: FloatArray) -> FloatArray:
        """Mean power of each step from its energy [W]."""
        return energy_wh / self.step_h

    def fraction_between(self, first_minute: int, last_minute: int) -> FloatArray:
        """Fraction of each step that lies between two times of every local day, in minutes from its midnight.

        The later one may lie beyond 24:00, for a window over midnight.
        """
        step_s = self.step.total_seconds()
        starts_s = np.arange(self.n_steps) * step_s
        inside_s = np.zeros(self.n_steps)
        day, last_day = self.local(0).date() - dt.timedelta(days=1), self.local(self.n_steps).date()
        while day <= last_day:
            window = (moment_on_clock(day, minute, self.zone) for minute in (first_minute, last_minute))
            first_s, last_s = ((edge - self.start).total_seconds() for edge in window)
            inside_s += np.maximum(np.minimum(starts_s + step_s, last_s) - np.maximum(starts_s, first_s), 0.0)
            day += dt.timedelta(days=1)
        return inside_s / step_s

    def steps_in(self, hours: float) -> int:
        """Return the number of steps that `hours` take, rounded up."""
        return -int(-(hours * 60.0 - 1e-6) // self.step_minutes)


def moment_on_clock(day: dt.date, minute_of_day: int, zone: ZoneInfo) -> dt.datetime:
    """UTC moment of a wall-clock time; 24:00 is the next midnight.

    A time that the clock skips in spring is moved on by the hour that is skipped; one that it shows twice in
    autumn is the first of the two.
    """
    midnight = dt.datetime.combine(day, dt.time())
    wall = midnight + dt.timedelta(minutes=minute_of_day)
    return wall.replace(tzinfo=zone).astimezone(dt.UTC)


def on_clock(moment: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """UTC moment of a date and time that may be naive, in which case it is the site's."""
    aware = moment.replace(tzinfo=zone) if moment.tzinfo is None else moment
    return aware.astimezone(dt.UTC)


def floor_to(moment: dt.datetime, unit: dt.timedelta) -> dt.datetime:
    """Return the last multiple of `unit` at or before `moment`."""
    return moment - (moment - _EPOCH) % unit


def ceil_to(moment: dt.datetime, unit: dt.timedelta) -> dt.datetime:
    """Return the first multiple of `unit` at or after `moment`."""
    return floor_to(moment, unit) if not (moment - _EPOCH) % unit else floor_to(moment, unit) + unit


def nearest_to(moment: dt.datetime, unit: dt.timedelta) -> dt.datetime:
    """Return the multiple of `unit` nearest to `moment`, the later one when both are as near."""
    return floor_to(moment + unit / 2, unit)


def next_full_step(now: dt.datetime, step_minutes: int, zone: ZoneInfo) -> dt.datetime:
    """Return the next moment, in UTC, at which the site's clock shows a whole step."""
    wall = now.astimezone(zone).replace(tzinfo=None)
    past = dt.timedelta(
        minutes=wall.minute % step_minutes, seconds=wall.second, microseconds=wall.microsecond
    )
    full = now.astimezone(dt.UTC) - past
    return full if not past else full + dt.timedelta(minutes=step_minutes)
