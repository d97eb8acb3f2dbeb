"""Lead-acid gives less the faster it is emptied: Peukert's relation."""

from __future__ import annotations

import math

#: Hours of discharge for which a capacity is printed on the label, and Peukert's exponent of common flooded
#: batteries (1.1 for the best sealed ones, 1.3 and more for old ones; common practice, no source).
RATED_H, EXPONENT = 20.0, 1.2


def peukert_hours(
    capacity_wh: float, draw_w: float, rated_h: float = RATED_H, exponent: float = EXPONENT
) -> float:
    """How long a full lead-acid battery carries a draw [h].

    Parameters
    ----------
    capacity_wh : float
        What it gives when it is emptied in `rated_h` [Wh]; with the draw in A, in Ah.
    draw_w : float
        [W].
    rated_h : float
        [h].
    exponent : float

    Notes
    -----
    ``t = H (C / (P H))^k``. The plain form ``t = C / I^k`` wants the capacity at 1 A, which is the same with H = C;
    a label's 20-hour capacity in it gives 14.5 h where the label itself says 20.

    References
    ----------
    W. Peukert, Elektrotechnische Zeitschrift 20 (1897), from memory; the form with rated hours from battery texts.
    """
    return rated_h * math.pow(capacity_wh / (draw_w * rated_h), exponent)
