"""Strings of panels: their volts in cold and heat and their amperes, by the electrical code."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from scheduler.units import fraction_from_pct
from scheduler.yard.arrays import places_by_input
from scheduler.yard.figures import Building
from scheduler.yard.models import Array, Yard

#: Temperature at which labels state volts and amperes (standard test conditions) [C].
LABEL_C = 25.0

#: NEC 690.7: the most volts between any two conductors.
CODE_LIMIT_V: dict[Building, float] = {
    "dwelling": 600.0,
    "other_building": 1000.0,
    "off_building": 1500.0,
}

#: NEC 690.8(A): bright clouds and snow give more than a label's sun. 690.8(B), 690.9(B): what carries it for hours is
#: to be a quarter larger again.
SUN_FACTOR, CONTINUOUS_FACTOR = 1.25, 1.25

#: What rounding may add to a figure before it counts as above its limit, as a fraction of the limit.
ROUNDING_FRACTION = 1e-9

CAUTION = (
    "Panels give their full voltage whenever there is light, and direct current draws an arc that does not go out by "
    "itself: plugs, cables, fuses and strings are for people qualified to do it; local code comes first."
)

#: NEC Table 690.7(A), crystalline and multicrystalline silicon: from this air temperature on [C], open volts over those
#: of the label.
_COLD_FACTORS = (
    (-40.0, 1.25),
    (-35.0, 1.23),
    (-30.0, 1.21),
    (-25.0, 1.20),
    (-20.0, 1.18),
    (-15.0, 1.16),
    (-10.0, 1.14),
    (-5.0, 1.12),
    (0.0, 1.10),
    (5.0, 1.08),
    (10.0, 1.06),
    (15.0, 1.04),
    (20.0, 1.02),
    (25.0, 1.00),
)
_BEYOND_TABLE_PER_C = 0.004


def cold_factor_by_table(air_c: float) -> float:
    """Open volts of silicon panels at an air temperature over those of the label, by the code's table.

    Below -40 C, where the table ends, its last step is gone on with, 0.02 for each 5 C (our own reading).

    References
    ----------
    NEC (NFPA 70), Table 690.7(A), 2017 to 2023.
    """
    place = bisect_right(_COLD_FACTORS, air_c, key=lambda row: row[0])
    coldest_c, largest = _COLD_FACTORS[0]
    return _COLD_FACTORS[place - 1][1] if place else largest + (coldest_c - air_c) * _BEYOND_TABLE_PER_C


def cold_factor_by_coefficient(air_c: float, voc_coeff_pct_per_c: float) -> float:
    """Open volts at an air temperature over those of the label, by the data sheet's coefficient.

    Notes
    -----
    ``1 + beta (T - 25)``, the cells as cold as the air, as at sunrise.

    References
    ----------
    NEC (NFPA 70), 690.7(A)(1).
    """
    return 1.0 + fraction_from_pct(voc_coeff_pct_per_c) * (air_c - LABEL_C)


def cold_factor(array: Array, air_c: float) -> float:
    """By the coefficient where the fleet file has one, else by the table; never by both."""
    if array.voc_coeff_pct_per_c is None:
        return cold_factor_by_table(air_c)
    return cold_factor_by_coefficient(air_c, array.voc_coeff_pct_per_c)


def passes_below_c(array: Array, most_factor: float) -> float:
    """The coldest air in which open volts are no more than so many times, at least once, those of the label [C]."""
    if array.voc_coeff_pct_per_c is not None:
        per_c = fraction_from_pct(array.voc_coeff_pct_per_c)
        return LABEL_C + (most_factor - 1.0) / per_c if per_c < 0.0 else -math.inf
    allowed = [air_c for air_c, factor in _COLD_FACTORS if not is_above(factor, most_factor)]
    coldest_c, largest = _COLD_FACTORS[0]
    if coldest_c in allowed:
        return coldest_c - (most_factor - largest) / _BEYOND_TABLE_PER_C
    return min(allowed)


def working_factor(array: Array, cells_c: float) -> float:
    """Volts at full power with cells of a temperature over those of the label.

    Notes
    -----
    By the coefficient of power: amperes hardly change with heat, so the volts at full power fall as the power does.
    The coefficient of the open volts is the smaller one and would promise too much.
    """
    return max(0.0, 1.0 + fraction_from_pct(array.temp_coeff_pct_per_c) * (cells_c - LABEL_C))


def sun_current_a(isc_a: float) -> float:
    """The most that a current of the label may come to under the sun [A] (NEC 690.8(A))."""
    return isc_a * SUN_FACTOR


def carried_current_a(isc_a: float) -> float:
    """What conductors and fuses of that current must be good for [A] (NEC 690.8(B), 690.9(B))."""
    return sun_current_a(isc_a) * CONTINUOUS_FACTOR


def is_above(found: float, limit: float) -> bool:
    """Whether a figure passes its limit; at the limit is allowed."""
    return found > limit * (1.0 + ROUNDING_FRACTION)


@dataclass(frozen=True)
class Wiring:
    """So many panels in a row, so many rows side by side."""

    series: int
    parallel: int


def wiring_of(array: Array) -> Wiring | None:
    """How an array is wired, as far as its figures say; None where they don't."""
    series = array.series or (_quotient(array.panels, array.parallel) if array.parallel else None)
    parallel = array.parallel or (_quotient(array.panels, array.series) if array.series else None)
    if array.panels == 1:
        return Wiring(1, 1)
    return Wiring(series, parallel) if series and parallel else None


def _quotient(panels: int, many: int) -> int | None:
    return panels // many if panels % many == 0 else None


@dataclass(frozen=True)
class Input:
    """One input of a charge controller with the arrays on it.

    Attributes
    ----------
    name : str
        The array's own, where it is the only one.
    places : tuple of int
        Where its arrays stand in the fleet file.
    arrays : tuple of Array
    """

    name: str
    places: tuple[int, ...]
    arrays: tuple[Array, ...]

    def least(self, key: str) -> float | None:
        """The smallest figure that its arrays give for a limit of the input; None where none does."""
        return min(self._given(key), default=None)

    def greatest(self, key: str) -> float | None:
        """The largest, likewise."""
        return max(self._given(key), default=None)

    def _given(self, key: str) -> list[float]:
        return [value for array in self.arrays if (value := getattr(array, key)) is not None]

    def ways(self) -> tuple[tuple[Wiring, ...], ...]:
        """Every way to wire all of its panels in strings of one length, short ones first; a wiring an array."""
        most = math.gcd(*(array.panels for array in self.arrays))
        lengths = [series for series in range(1, most + 1) if most % series == 0]
        return tuple(
            tuple(Wiring(series, array.panels // series) for array in self.arrays) for series in lengths
        )


def inputs_of(yard: Yard) -> tuple[Input, ...]:
    """The inputs of the yard's charge controllers, in the order of the fleet file."""
    return tuple(_input(yard.arrays, places) for places in places_by_input(yard.arrays))


def _input(arrays: Sequence[Array], places: tuple[int, ...]) -> Input:
    on_it = tuple(arrays[place] for place in places)
    name = on_it[0].name if len(on_it) == 1 else f"{on_it[0].input} ({', '.join(one.name for one in on_it)})"
    return Input(name, places, on_it)
