"""What readings say of a yard's true figures: each with its interval beside what the fleet file has."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scheduler.logbook.sureness import Unsure

#: Two-sided 95 % of a normal variable, in standard deviations.
DEVIATIONS_95 = 1.96


@dataclass(frozen=True)
class Figure:
    """A figure of the yard: the file's, what the readings say, and its 95 % interval.

    Attributes
    ----------
    kind : str
        ``array``, ``base load``, ``bank`` or ``charger``.
    name : str
        The charger's machine; empty for the others.
    in_file, value, low, high : float
        In its unit.
    """

    kind: str
    name: str
    in_file: float
    value: float
    low: float
    high: float

    @property
    def unit(self) -> str:
        """``Wh`` for the bank, else ``W``."""
        return "Wh" if self.kind == "bank" else "W"

    @property
    def is_otherwise(self) -> bool:
        """Whether the file's figure lies outside the interval."""
        return not self.low <= self.in_file <= self.high

    @property
    def factor_fraction(self) -> float:
        """What the readings say over what the file says; infinite where the file has nothing of what is there."""
        if self.in_file == 0.0:
            return math.inf if self.value > 0.0 else 1.0
        return self.value / self.in_file


@dataclass(frozen=True)
class Learned:
    """All figures, and what they were learned from.

    Attributes
    ----------
    figures : tuple of Figure
    days : float
    readings : int
        Of the bank.
    unsure : Unsure or None
        What is not sure yet, and what would make it so.
    is_starved : bool
        The bank was nearly empty so often that only the chargers' figures are to be trusted.
    """

    figures: tuple[Figure, ...]
    days: float
    readings: int
    unsure: Unsure | None = None
    is_starved: bool = False
