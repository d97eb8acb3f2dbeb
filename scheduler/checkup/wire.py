"""Copper in wires: resistance, voltage drop, the current that a size and its connectors stand.

Sizes are American gauge, written 10, 1/0 or 00, or square millimetres; where both are given the gauge counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

#: Temperature of Table 8's resistances [C], and how much they change with each degree C, as a fraction of themselves.
TABLE_TEMP_C = 75.0
_ALPHA_PER_C = 0.00323

#: Resistance times area that the table's sizes have in common, 12.8 to 12.95 each [ohm circular mil per foot].
_RESISTIVITY = 12.9

_MM2_PER_CIRCULAR_MIL = 5.067e-4
_M_PER_FT = 0.3048
_MM2_MOST_WITH_PLUGS = 6.0
_ROUNDING_FRACTION = 1e-9


@dataclass(frozen=True)
class _Size:
    circular_mils: int
    ohm_per_kft: float
    ampacity_a: float
    plug_a: float | None


#: NEC Chapter 9 Table 8, uncoated copper, stranded, 75 C; Table 310.16, copper, 75 C column, from memory, and for 18
#: and 16 AWG, of which it says nothing, 240.4(D), from memory; common ratings of PV plug connectors on such a cable.
_SIZES = {
    "18": _Size(1620, 7.95, 7.0, None),
    "16": _Size(2580, 4.99, 10.0, None),
    "14": _Size(4110, 3.14, 20.0, 20.0),
    "12": _Size(6530, 1.98, 25.0, 30.0),
    "10": _Size(10380, 1.24, 35.0, 40.0),
    "8": _Size(16510, 0.778, 50.0, None),
    "6": _Size(26240, 0.491, 65.0, None),
    "4": _Size(41740, 0.308, 85.0, None),
    "3": _Size(52620, 0.245, 100.0, None),
    "2": _Size(66360, 0.194, 115.0, None),
    "1": _Size(83690, 0.154, 130.0, None),
    "1/0": _Size(105600, 0.122, 150.0, None),
    "2/0": _Size(133100, 0.0967, 175.0, None),
    "3/0": _Size(167800, 0.0766, 200.0, None),
    "4/0": _Size(211600, 0.0608, 230.0, None),
}

#: The gauges of Table 8, thin to thick.
GAUGES = tuple(_SIZES)

#: Metric cross-sections that are made, IEC 60228, from memory [mm2].
METRIC_MM2 = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0, 185.0, 240.0)

#: Above the gauges, in circular mils: Table 310.16 as above, from memory [A].
_THICKER_A = {250_000: 255.0, 300_000: 285.0, 350_000: 310.0, 400_000: 335.0, 500_000: 380.0}

_CIRCULAR_MILS = [*(size.circular_mils for size in _SIZES.values()), *_THICKER_A]
_AMPACITIES_A = [*(size.ampacity_a for size in _SIZES.values()), *_THICKER_A.values()]


def area_mm2(awg: str | None, mm2: float | None) -> float:
    """Cross-section of the copper [mm2].

    Raises
    ------
    ValueError
        If no size is given.

    Notes
    -----
    Gauges that Table 8 leaves out follow from the gauge's definition, ``d = 0.127 mm * 92^((36 - n) / 39)``.

    References
    ----------
    NEC (NFPA 70), Chapter 9 Table 8; ASTM B258.
    """
    if awg is not None:
        size = _SIZES.get(gauge_name(awg))
        if size is not None:
            return size.circular_mils * _MM2_PER_CIRCULAR_MIL
        return math.pi / 4.0 * math.pow(0.127 * math.pow(92.0, (36 - int(awg)) / 39.0), 2)
    if mm2 is not None:
        return mm2
    msg = "wanted a wire's size, as gauge or in square millimetres"
    raise ValueError(msg)


def gauge_name(awg: str) -> str:
    """The gauge as Table 8 writes it: 1/0 for 0, 2/0 for 00."""
    return f"{len(awg)}/0" if set(awg) == {"0"} else awg


def size_words(awg: str | None, mm2: float | None) -> str:
    """A wire's size for people: ``10 AWG``, ``6 mm2``."""
    return f"{gauge_name(awg)} AWG" if awg is not None else f"{mm2:g} mm2"


def resistance_ohm_per_m(awg: str | None, mm2: float | None, temp_c: float = TABLE_TEMP_C) -> float:
    """Direct-current resistance of one stranded copper conductor [ohm/m].

    Parameters
    ----------
    awg : str or None
    mm2 : float or None
        [mm2]
    temp_c : float
        Temperature of the copper [C].

    Raises
    ------
    ValueError
        If no size is given.

    Notes
    -----
    ``R = R75 (1 + 0.00323 (T - 75))``. A size that Table 8 leaves out, any in square millimetres among them, gets the
    resistivity that the table's sizes share, 12.9 ohm circular mil per foot at 75 C, 0.02145 ohm mm2/m; a fine-stranded
    metric cable may have an eighth more (IEC 60228, class 5, from memory).

    References
    ----------
    NEC (NFPA 70), Chapter 9 Table 8, uncoated copper, stranded, and its note on temperature.
    """
    size = _SIZES.get(gauge_name(awg)) if awg is not None else None
    if size is not None:
        ohm_per_ft = size.ohm_per_kft / 1000.0
    else:
        ohm_per_ft = _RESISTIVITY * _MM2_PER_CIRCULAR_MIL / area_mm2(awg, mm2)
    return ohm_per_ft / _M_PER_FT * (1.0 + _ALPHA_PER_C * (temp_c - TABLE_TEMP_C))


def voltage_drop_v(current_a: float, length_one_way_m: float, ohm_per_m: float) -> float:
    """Volts lost in a cable of two conductors, there and back [V]: ``2 I L R``."""
    return 2.0 * current_a * length_one_way_m * ohm_per_m


def ampacity_a(awg: str | None, mm2: float | None) -> float:
    """Current that a copper conductor may carry for good, its insulation and terminals good for 75 C [A].

    Parameters
    ----------
    awg : str or None
    mm2 : float or None
        [mm2]

    Returns
    -------
    float
        0 for anything thinner than 18 AWG, with which the code's table of sizes begins.

    Raises
    ------
    ValueError
        If no size is given.

    Notes
    -----
    Up to three conductors together in air of 30 C, no bundling, no hot roof. Terminals up to 100 A that are not marked
    for 75 C count as 60 C: 14 AWG 15, 12 AWG 20, 10 AWG 30, 8 AWG 40, 6 AWG 55 A (110.14(C), from memory). Between two
    gauges lies a straight line over the cross-section, below the bent curve of the true figures.

    References
    ----------
    NEC (NFPA 70), Table 310.16, from memory; 18 and 16 AWG, which it leaves out, by 240.4(D), from memory.
    """
    circular_mils = area_mm2(awg, mm2) / _MM2_PER_CIRCULAR_MIL
    if circular_mils < _CIRCULAR_MILS[0] * (1.0 - _ROUNDING_FRACTION):
        return 0.0
    return float(np.interp(circular_mils, _CIRCULAR_MILS, _AMPACITIES_A))


def connector_a(awg: str | None, mm2: float | None) -> float | None:
    """What a PV plug connector on such a cable commonly stands [A]; None where plugs of that size are not common.

    Raises
    ------
    ValueError
        If no size is given.

    Notes
    -----
    20, 30 and 40 A on 14, 12 and 10 AWG, to which 2.5, 4 and 6 mm2 are near. Older ones are listed for 20 A.

    References
    ----------
    Summary of connectors' data; common practice.
    """
    area = area_mm2(awg, mm2)
    if area > _MM2_MOST_WITH_PLUGS:
        return None
    carried = [
        size for gauge, size in _SIZES.items() if area_mm2(gauge, None) <= area * (1.0 + _ROUNDING_FRACTION)
    ]
    return carried[-1].plug_a if carried else None
