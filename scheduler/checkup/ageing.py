"""How lithium batteries age while they rest, by charge and temperature, and for how long machines rest."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from scheduler.timegrid import FloatArray
from scheduler.yard.clock import MINUTES_PER_DAY, WEEKDAYS
from scheduler.yard.models import Machine

#: Capacity that lithium-ion can still give after a year at rest at a temperature [C], at 40 % charge and full, from
#: Battery University's table of storage. Full at 60 C it has 60 %, but after three months: no place in a year's row.
KEPT_AT_40_PCT = ((0.0, 25.0, 40.0, 60.0), (0.98, 0.96, 0.85, 0.75))
KEPT_FULL = ((0.0, 25.0, 40.0), (0.94, 0.80, 0.65))

LEAST_CHARGE, FULL_CHARGE = 0.4, 1.0


def capacity_kept_fraction(charge_fraction: float, temp_c: ArrayLike) -> FloatArray:
    """Capacity that lithium-ion can still give after a year at rest, as a fraction of what it had.

    Parameters
    ----------
    charge_fraction : float
        Charge at which it rests, from 0.4 to 1.
    temp_c : array_like
        Temperature at which it rests, from 0 to 40, at a charge of 0.4 to 60 [C].

    Raises
    ------
    ValueError
        Outside the table, where nothing is known.

    Notes
    -----
    Straight lines between the table's points, in temperature and then in charge.

    References
    ----------
    Battery University, estimated recoverable capacity in storage, as reproduced in three texts.
    """
    temps_c = np.asarray(temp_c, dtype=float)
    hottest_c = (KEPT_AT_40_PCT if charge_fraction == LEAST_CHARGE else KEPT_FULL)[0][-1]
    is_known = (temps_c >= 0.0) & (temps_c <= hottest_c)
    if not LEAST_CHARGE <= charge_fraction <= FULL_CHARGE or not is_known.all():
        msg = f"outside the table of storage: wanted a charge of 0.4 to 1 and 0 to {hottest_c:g} C"
        raise ValueError(msg)
    kept_low, kept_full = np.interp(temps_c, *KEPT_AT_40_PCT), np.interp(temps_c, *KEPT_FULL)
    share = (charge_fraction - LEAST_CHARGE) / (FULL_CHARGE - LEAST_CHARGE)
    kept: FloatArray = kept_low + share * (kept_full - kept_low)
    return kept


def kept_over_year_fraction(charge_fraction: float, temp_c: FloatArray) -> float:
    """The same after a year whose hours have these temperatures: the mean of what each would leave.

    Hours colder than the table's 0 C count as 0 C, those hotter than its 40 C as 40 C.
    """
    return float(capacity_kept_fraction(charge_fraction, np.clip(temp_c, 0.0, KEPT_FULL[0][-1])).mean())


def longest_rest_h(machine: Machine) -> float:
    """Longest time in a week from a return to the next ready-by [h]; infinite where no week has a need."""
    outings = sorted(
        (weekday * MINUTES_PER_DAY + need.ready_by, need.away_h * 60.0)
        for need in machine.needs
        if isinstance(need.ready_by, int)
        for weekday, name in enumerate(WEEKDAYS)
        if need.weekdays is None or name in need.weekdays
    )
    if not outings:
        return math.inf
    once_round = [*outings, (outings[0][0] + len(WEEKDAYS) * MINUTES_PER_DAY, 0.0)]
    rests = (after - before - away for (before, away), (after, _) in pairwise(once_round))
    return max(0.0, *rests) / 60.0
