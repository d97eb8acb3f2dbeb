"""Unit conversions at the edges, and every tolerance by name.

Inside the program: W, Wh, hours, fractions 0 to 1, degrees C, azimuth clockwise from north.
Percent and kWh live only in files, on the screen and on the page.
"""

from __future__ import annotations

#: A charge at most this far below the needed energy still counts as ready [Wh]. Rounding, no more.
READY_TOLERANCE_WH = 1e-3

#: How far the replay's curves may stray from the plan's, as a fraction of the capacity (design rule of the replay).
AGREEMENT_FRACTION = 0.005

#: The replay calls a bank level a violation of R4 only when it is lower than allowed by more than this
#: fraction of the bank's capacity: integration and solver rounding, a twentieth of a percent.
LEVEL_TOLERANCE_FRACTION = 0.0005

#: What a solver's rounding may take off a bank level, as a fraction of the capacity: a choice is not refused for it.
SOLVER_LEVEL_FRACTION = 2e-6

#: Watts by which a limit may be passed before the replay calls it a violation [W]. Rounding, no more.
POWER_TOLERANCE_W = 0.01

#: R6: the fraction of a breaker's rating that may be drawn for as long as one likes
#: (NEC 210.19(A)(1), 210.20(A): a continuous load, 3 h or more, needs a circuit of 125 %).
CONTINUOUS_FRACTION = 0.8

#: R6: from this many hours on end a load is continuous [h].
CONTINUOUS_H = 3.0

#: R7: the charger stops when its power has fallen to this fraction of full power.
CHARGER_CUTOFF_FRACTION = 0.05

def fraction_from_pct(pct: float) -> float:
    """Turn percent from a file into the fraction used inside."""
    return pct / 100.0


def pct_from_fraction(fraction: float) -> float:
    """Turn a fraction into percent for people."""
    return fraction * 100.0


def kwh_from_wh(energy_wh: float) -> float:
    """Turn Wh into kWh for people."""
    return energy_wh / 1000.0
