"""How sure the figures of a yard are, and which further readings would make them so soonest.

A fit's curvature says how far each figure may be off; with some of its rows weighed as if there were twice as many of
them it says what more readings of that kind would bring.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.planning.replay_physics import BoolArray
from scheduler.timegrid import FloatArray

#: A figure is sure if one standard deviation is no more than this part of it.
SURE_FRACTION = 0.05

#: No more kinds of readings are asked for than this.
MOST_ASKED = 2


@dataclass(frozen=True)
class Unsure:
    """What is not known well enough yet.

    Attributes
    ----------
    deviation_fraction : float
        Of the figure that is known worst.
    more_days : float
        So many more days of such readings would do, if they go on as they went.
    ask_for : tuple of str
        Kinds of readings that would get there sooner, the best first.
    """

    deviation_fraction: float
    more_days: float
    ask_for: tuple[str, ...]


def deviations(jacobian: FloatArray) -> FloatArray:
    """Standard deviation of each unknown, everything else left free."""
    spread: FloatArray = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)))
    return spread


def unsure(
    jacobian: FloatArray, parts: FloatArray, kinds: Mapping[str, BoolArray], days: float
) -> Unsure | None:
    """Say what is not sure yet, None if everything is that readings can tell.

    Parameters
    ----------
    jacobian : ndarray, shape (n_rows, n_unknowns)
        Of residuals in standard deviations. The figures come first: a row each that holds it near the fleet file's,
        a column each.
    parts : ndarray, shape (n_figures,)
        What an error of one in a figure's column is as a part of the figure.
    kinds : mapping of str to ndarray of bool, shape (n_rows,)
        Rows that each kind of reading brings.
    days : float
        Of readings.
    """
    n_figures = len(parts)
    # A figure that no reading hangs on stays what the fleet file says, however many are added.
    is_read = np.abs(jacobian[n_figures:, :n_figures]).max(axis=0, initial=0.0) > 0.0
    now = np.where(is_read, parts * deviations(jacobian)[:n_figures], 0.0)
    worst = float(now.max())
    if worst <= SURE_FRACTION:
        return None
    lacking = now > SURE_FRACTION

    def left(rows: BoolArray) -> float:
        weighed = jacobian * np.where(rows, np.sqrt(2.0), 1.0)[:, np.newaxis]
        return float(((parts * deviations(weighed)[:n_figures])[lacking] ** 2).sum())

    gains: Sequence[tuple[float, str]] = sorted((left(rows), kind) for kind, rows in kinds.items() if rows.any())
    # Information grows with the days, so the deviation falls with their root.
    more_days = days * ((worst / SURE_FRACTION) ** 2 - 1.0)
    return Unsure(worst, more_days, tuple(kind for _, kind in gains[:MOST_ASKED]))
