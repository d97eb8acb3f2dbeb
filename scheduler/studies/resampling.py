"""Other years made of the days of a typical one: blocks of days within the month, drawn with replacement.

A block keeps what lasts over several days, a dull week among them; the month keeps the season. Blocks begin on any
day of the month with equal chance and run on from its last day to its first, so every day comes as often as any
other and the mean sun is the source's (the circular block bootstrap). A typical year is made of months that were
chosen for being typical: such years differ in the order and the mix of their days, and do not know how bad a month
can be that was not chosen.

References
----------
D. N. Politis, J. P. Romano, in R. LePage, L. Billard (eds.), *Exploring the Limits of Bootstrap* (1992) 263.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from scheduler.sun.typicalyear import NOMINAL_YEAR

#: Days in a block. Weather that lasts, lasts three to five days at middle latitudes; common practice, no source.
BLOCK_DAYS = 5

IntArray = NDArray[np.int_]


def days_in_order(dates: Sequence[dt.date]) -> IntArray:
    """Days of the typical year that stand for some dates, 0 for 1 January; 29 February is another 28th."""
    return np.array([_day_of_year(date) for date in dates], dtype=int)


def days_resampled(dates: Sequence[dt.date], random: np.random.Generator) -> IntArray:
    """Draw days of the typical year for some dates in order, each from its own month."""
    drawn: list[int] = []
    while len(drawn) < len(dates):
        date = dates[len(drawn)]
        first, length = _month(date.month)
        begin = int(random.integers(length))
        for number in range(BLOCK_DAYS):
            at = len(drawn)
            if at == len(dates) or dates[at].month != date.month:
                break
            drawn.append(first + (begin + number) % length)
    return np.array(drawn, dtype=int)


def _day_of_year(date: dt.date) -> int:
    day = 28 if (date.month, date.day) == (2, 29) else date.day
    return dt.date(NOMINAL_YEAR, date.month, day).timetuple().tm_yday - 1


def _month(month: int) -> tuple[int, int]:
    """First day of a month, 0 for 1 January, and how many it has."""
    first = dt.date(NOMINAL_YEAR, month, 1)
    following = dt.date(NOMINAL_YEAR + month // 12, month % 12 + 1, 1)
    return first.timetuple().tm_yday - 1, (following - first).days
