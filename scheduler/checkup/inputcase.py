"""One controller input under the weather of its place: which limits a way to wire its panels passes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np

from scheduler.checkup.siteyear import SiteYear, record_low_c
from scheduler.checkup.strings import (
    CODE_LIMIT_V,
    LABEL_C,
    Input,
    Wiring,
    cold_factor,
    is_above,
    sun_current_a,
    wiring_of,
    working_factor,
)
from scheduler.yard.models import Array, Yard

#: The working volts are those of the hour with hotter cells than all but 1 in 100 of a year's hours of daylight [%].
HOT_PCT = 99.0

#: How cold it may get where nobody says it: common practice, no source [C].
GUESSED_LOW_C = -20.0

#: A figure this close to its last digit shown is rounding and no more, in units of that digit.
_NOISE = 1e-6


def up(figure: float) -> str:
    """To a tenth, upward: what is too much never looks as if it were not."""
    return f"{math.ceil(figure * 10.0 - _NOISE) / 10.0:g}"


def down(figure: float) -> str:
    """To a tenth, downward: what is too little never looks as if it were not."""
    return f"{math.floor(figure * 10.0 + _NOISE) / 10.0:g}"


class Limit(Enum):
    """What a way to wire panels may pass."""

    MOST_V = auto()
    CODE_V = auto()
    LEAST_V = auto()
    MOST_A = auto()


@dataclass(frozen=True)
class Passed:
    """A limit that a way to wire the panels of an input passes; at the input as a whole no array is named."""

    limit: Limit
    found: float
    allowed: float
    place: int | None = None

    @property
    def words(self) -> str:
        """``163 V in the cold of 150 V``."""
        if self.limit is Limit.MOST_A:
            return f"{up(self.found)} A of {self.allowed:g} A"
        if self.limit is Limit.LEAST_V:
            return f"{down(self.found)} V in the heat, where {self.allowed:g} V are needed"
        return f"{up(self.found)} V in the cold of {self.allowed:g} V"


@dataclass(frozen=True)
class Case:
    """An input under the weather of its place.

    Attributes
    ----------
    code_v : float
        The most volts that the code allows there [V].
    low_c : float or None
        Coldest air, where it is known [C].
    hot_c : tuple of float
        Hot cells of each of its arrays [C]; as the label has them without a year.
    """

    input: Input
    yard: Yard
    year: SiteYear | None
    code_v: float
    low_c: float | None
    hot_c: tuple[float, ...]

    @property
    def arrays(self) -> tuple[Array, ...]:
        """Those on the input."""
        return self.input.arrays

    @property
    def coldest_c(self) -> float:
        """Coldest air; the label's 25 C where it is not known, which is the least that volts are checked at [C]."""
        return LABEL_C if self.low_c is None else self.low_c

    def in_cold(self) -> Case:
        """The same in the coldest air, guessed where it is not known."""
        return replace(self, low_c=GUESSED_LOW_C) if self.low_c is None else self

    @property
    def wirings(self) -> tuple[Wiring | None, ...]:
        """As the fleet file has them."""
        return tuple(map(wiring_of, self.arrays))

    def cold_v(self, array: Array, wiring: Wiring | None) -> float | None:
        """Open volts of a string in the coldest air [V]."""
        if array.voc_v is None or wiring is None:
            return None
        return wiring.series * array.voc_v * cold_factor(array, self.coldest_c)

    def working_v(self, place: int, wiring: Wiring | None) -> float | None:
        """Volts of a string at full power with hot cells [V]."""
        array = self.arrays[place]
        if array.vmp_v is None or wiring is None:
            return None
        return wiring.series * array.vmp_v * working_factor(array, self.hot_c[place])

    def current_a(self, wirings: Sequence[Wiring | None]) -> float | None:
        """The most amperes that all strings together may bring [A]."""
        known = [
            array.isc_a * wiring.parallel
            for array, wiring in zip(self.arrays, wirings, strict=True)
            if array.isc_a is not None and wiring is not None
        ]
        return sun_current_a(sum(known)) if len(known) == len(self.arrays) else None

    def passed(self, wirings: Sequence[Wiring | None]) -> Iterator[Passed]:
        """Yield the limits that are passed, as far as figures are known."""
        most_v, least_v = self.input.least("input_max_v"), self.input.greatest("input_min_v")
        for place, (array, wiring) in enumerate(zip(self.arrays, wirings, strict=True)):
            cold_v, working_v = self.cold_v(array, wiring), self.working_v(place, wiring)
            if cold_v is not None and most_v is not None and is_above(cold_v, most_v):
                yield Passed(Limit.MOST_V, cold_v, most_v, place)
            if cold_v is not None and is_above(cold_v, self.code_v):
                yield Passed(Limit.CODE_V, cold_v, self.code_v, place)
            if working_v is not None and least_v is not None and is_above(least_v, working_v):
                yield Passed(Limit.LEAST_V, working_v, least_v, place)
        current_a, most_a = self.current_a(wirings), self.input.least("input_max_a")
        if current_a is not None and most_a is not None and is_above(current_a, most_a):
            yield Passed(Limit.MOST_A, current_a, most_a)

    @property
    def is_all_known(self) -> bool:
        """Whether volts and amperes of any way to wire the panels can be held against the input."""
        labels = all(array.voc_v is not None and array.isc_a is not None for array in self.arrays)
        limits = all(self.input.least(key) is not None for key in ("input_max_v", "input_max_a"))
        return labels and limits and self.low_c is not None


def build_case(yard: Yard, year: SiteYear | None, one: Input) -> Case:
    """Put an input under the weather of its place."""
    if year is None:
        hot_c = (LABEL_C,) * len(one.places)
    else:
        hot_c = tuple(
            float(np.percentile(year.arrays[place].cells_c[year.sun_up], HOT_PCT)) for place in one.places
        )
    code_v = CODE_LIMIT_V[yard.site.building]
    return Case(one, yard, year, code_v, record_low_c(yard.site, year), hot_c)
