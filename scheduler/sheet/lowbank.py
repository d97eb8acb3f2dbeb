"""A bank that shows less than its reserve: what to do, in the words of the page on the door.

Nothing heavy is imported here, so that whoever notes a reading is answered at once.
"""

from __future__ import annotations

import math

#: What to do, as the page says it.
UNPLUG = "unplug every machine and tell whoever made this plan"

#: The same on a page whose plan expects so little, for the house alone takes it.
AS_BOXES_SAY = (
    "do what the boxes say, plug in nothing else, and tell whoever made this plan if it shows less than a box expects"
)

#: Float noise that must not turn a reserve of 30 % into one of 31 % [%].
_NOISE_PCT = 1e-6


def warning(shown_pct: float, reserve_pct: float) -> str:
    """Say what the page says for what the bank shows; nothing if that is not below the reserve.

    Parameters
    ----------
    shown_pct : float
        What was read.
    reserve_pct : float
        Of the fleet file; pages have it in whole percent, rounded up.
    """
    least_pct = math.ceil(reserve_pct - _NOISE_PCT)
    if shown_pct >= least_pct:
        return ""
    return (
        f"BELOW THE RESERVE: the bank shows less than {least_pct} %. The page says for that: {UNPLUG}. "
        f"If it says instead that the house alone takes the bank so low: {AS_BOXES_SAY}."
    )
