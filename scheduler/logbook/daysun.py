"""The sun of a day that nobody measured: its place between dull and bright, and how far a part of the day strays."""

from __future__ import annotations

import numpy as np

from scheduler.planning.replay_physics import BoolArray
from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray

#: How far half a day's sun strays from what is expected where the day as a whole is known: this, and so much of
#: what lies between the dull and the bright sun over the likely one. Over the typical year of Greensboro the
#: deviation is 7 % on days with a spread of 15 %, 13 % at 45 %, 21 % at 80 % and no more beyond.
HALF_DAY_FRACTION, HALF_DAY_PER_SPREAD, MOST_SPREAD = 0.04, 0.21, 0.8

#: Standard deviations from likely to dull, and from likely to bright: quantiles of 10 and 90 % of a normal variable.
QUANTILE_DEVIATIONS = 1.2816

#: Places of a day's sun, in standard deviations from the likely one. Days stray farther at times than a normal
#: variable, so they are weighed by Student's t with this many degrees of freedom, scaled to the same 10 and 90 %.
PLACES = np.linspace(-4.0, 2.5, 40)
PLACE_FREEDOM = 20.0
PLACE_QUANTILE = 1.3253

#: So many times as far beyond the likely sun as the bright one lies, no day is brighter.
MOST_BRIGHT = 1.5


def sun_at_w(suns: ThreeSuns, place: FloatArray) -> FloatArray:
    """Return the arrays' power with the day's sun at a place, which broadcasts with shape (n_steps, 1) [W].

    Above likely a straight line through bright; below it a constant ratio for each deviation, through dull.
    """
    likely_w, steps = suns.likely_w[:, np.newaxis], place / QUANTILE_DEVIATIONS
    dull = np.divide(suns.dull_w, suns.likely_w, out=np.ones_like(suns.likely_w), where=suns.likely_w > 0.0)
    below_w = likely_w * np.maximum(dull[:, np.newaxis], 0.02) ** np.maximum(-steps, 0.0)
    gain_w = (suns.bright_w - suns.likely_w)[:, np.newaxis]
    power_w: FloatArray = np.where(steps < 0.0, below_w, likely_w + gain_w * np.clip(steps, 0.0, MOST_BRIGHT))
    return power_w


def place_weights() -> FloatArray:
    """How probable each place of a day's sun is."""
    t = PLACES * PLACE_QUANTILE / QUANTILE_DEVIATIONS
    weights = (1.0 + t**2 / PLACE_FREEDOM) ** (-(PLACE_FREEDOM + 1.0) / 2.0)
    normed: FloatArray = weights / weights.sum()
    return normed


def half_day_fraction(suns: ThreeSuns, today: BoolArray) -> float:
    """How far half of a day strays, the day as a whole being known; the factor of `bridge_wh`."""
    likely_w = max(float(suns.likely_w[today].sum()), 1e-9)
    spread = float((suns.bright_w - suns.dull_w)[today].sum()) / likely_w
    return HALF_DAY_FRACTION + HALF_DAY_PER_SPREAD * min(spread, MOST_SPREAD)


def bridge_wh(part_wh: FloatArray, day_wh: FloatArray) -> FloatArray:
    """How far a part may stray that adds up to the whole with the rest: ``sqrt(part (whole - part))`` [Wh]."""
    strays_wh: FloatArray = np.sqrt(np.maximum(part_wh * (day_wh - part_wh), 0.0))
    return strays_wh
