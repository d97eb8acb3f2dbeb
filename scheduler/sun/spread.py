"""How far the dull and the bright sun lie from the likely one where a forecast does not say."""

from __future__ import annotations

import numpy as np

from scheduler.timegrid import FloatArray

#: Lost by the dull sun when the forecast says clear. Common practice, no source.
DULL_LOSS_CLEAR = 0.15

#: Lost besides, in proportion to how far the likely sun already is from clear. Common practice, no source.
DULL_LOSS_CLOUDY = 0.35

#: Share of the gap from the likely sun to a clear sky that the bright sun closes. Common practice, no source.
BRIGHT_GAP_SHARE = 0.5


def default_dull_w_m2(likely_w_m2: FloatArray, clear_w_m2: FloatArray) -> FloatArray:
    """Global irradiance that 9 days in 10 with this forecast exceed, by rule of thumb [W/m2].

    ``dull = likely (1 - 0.15 - 0.35 (1 - likely / clear))``: a forecast of clear sky is surer than one of
    clouds.
    """
    clearness = np.divide(likely_w_m2, clear_w_m2, out=np.ones_like(likely_w_m2), where=clear_w_m2 > 0.0)
    cloudiness = 1.0 - np.minimum(clearness, 1.0)
    return likely_w_m2 * (1.0 - DULL_LOSS_CLEAR - DULL_LOSS_CLOUDY * cloudiness)


def default_bright_w_m2(likely_w_m2: FloatArray, clear_w_m2: FloatArray) -> FloatArray:
    """Global irradiance that 1 day in 10 with this forecast exceeds, by rule of thumb [W/m2].

    ``bright = likely + 0.5 (clear - likely)``, never above the larger of the two.
    """
    return likely_w_m2 + BRIGHT_GAP_SHARE * np.maximum(clear_w_m2 - likely_w_m2, 0.0)
