"""The design rules of stand-alone solar: array-to-load ratio, days of autonomy, depth and cold, as plain formulas.

They are what handbooks and standards size a system by; the year lived through with the planner is what they are
compared with.
"""

from __future__ import annotations

import numpy as np

#: IEEE 1562: array-to-load ratio for a steady sun and loads that may fail now and then; from memory.
RATIO_NOT_CRITICAL = (1.1, 1.2)

#: IEEE 1562: array-to-load ratio for critical loads or little sun; from memory.
RATIO_CRITICAL = (1.3, 1.4)

#: IEEE 1562 and IEEE 1013: days of autonomy for loads that may fail now and then; from memory.
AUTONOMY_DAYS_NOT_CRITICAL = (5.0, 7.0)

#: IEEE 1562 and IEEE 1013: days of autonomy for critical loads; from memory.
AUTONOMY_DAYS_CRITICAL = (7.0, 14.0)

#: Temperature of a lead-acid battery [C], and what to multiply its capacity by; printed for 20 to 80 F.
_COLD_TABLE_C = (-6.7, -1.1, 4.4, 10.0, 15.6, 21.2, 26.7)
_COLD_TABLE_FACTOR = (1.59, 1.40, 1.30, 1.19, 1.11, 1.04, 1.00)


def array_to_load_ratio(peak_sun_h: float, array_a: float, load_ah: float) -> float:
    """How much more an array brings on a mean day than the load takes.

    Parameters
    ----------
    peak_sun_h : float
        Mean daily irradiation of the array's plane over 1000 W/m2 [h].
    array_a : float
        The array's current at maximum power [A].
    load_ah : float
        Mean daily load, losses in it [Ah]. Watts and watt-hours do as well, since both only lack the voltage.

    References
    ----------
    IEEE Std 1013-2000, clause 3.1.
    """
    return peak_sun_h * array_a / load_ah


def battery_side_wh(ac_wh: float, inverter_efficiency: float) -> float:
    """What an AC load takes on the inverter's battery side [Wh]."""
    return ac_wh / inverter_efficiency


def bank_for_autonomy_wh(
    daily_load_wh: float, autonomy_days: float, depth_fraction: float = 1.0, cold_factor: float = 1.0
) -> float:
    """Rated capacity that carries the load through so many days without sun [Wh].

    Parameters
    ----------
    daily_load_wh : float
        On the battery's side [Wh]; in Ah the result is in Ah.
    autonomy_days : float
    depth_fraction : float
        How much of the capacity may be taken out.
    cold_factor : float
        What to multiply the capacity by for the cold, see `lead_acid_cold_factor`.

    Notes
    -----
    ``C = daily load x days / depth x cold factor``

    References
    ----------
    The steps of IEEE Std 1013 as reproduced in battery texts.
    """
    return daily_load_wh * autonomy_days / depth_fraction * cold_factor


def lead_acid_cold_factor(battery_c: float) -> float:
    """What to multiply a lead-acid battery's capacity by in the cold; the table's ends hold beyond them.

    Notes
    -----
    1.59, 1.40, 1.30, 1.19, 1.11, 1.04, 1.00 at 20, 30, ... 80 F (-6.7 to 26.7 C), straight lines between.

    References
    ----------
    The table that goes with the simplified steps of IEEE Std 1013, as reproduced in three battery texts.
    """
    return float(np.interp(battery_c, _COLD_TABLE_C, _COLD_TABLE_FACTOR))


def storage_days_95(peak_sun_h: float) -> float:
    """Days of storage for 95 % availability, ``9.43 - 1.9 P + 0.11 P^2``.

    References
    ----------
    G. M. Masters, *Renewable and Efficient Electric Power Systems*; from memory.
    """
    return 9.43 - 1.9 * peak_sun_h + 0.11 * peak_sun_h**2


def storage_days_99(peak_sun_h: float) -> float:
    """Days of storage for 99 % availability, ``24.0 - 4.73 P + 0.3 P^2``; source as `storage_days_95`."""
    return 24.0 - 4.73 * peak_sun_h + 0.3 * peak_sun_h**2


def storage_days_critical(peak_sun_h: float) -> float:
    """Days of storage for critical loads, ``18.3 - 1.9 P``.

    References
    ----------
    R. A. Messenger, J. Ventre, *Photovoltaic Systems Engineering*; from memory.
    """
    return 18.3 - 1.9 * peak_sun_h


def storage_days_not_critical(peak_sun_h: float) -> float:
    """Days of storage for loads that may fail, ``4.58 - 0.48 P``; source as `storage_days_critical`."""
    return 4.58 - 0.48 * peak_sun_h
