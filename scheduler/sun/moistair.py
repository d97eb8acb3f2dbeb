"""Water in air: how much it holds, how much is in it, when it turns to dew."""

from __future__ import annotations

import numpy as np

from scheduler.timegrid import FloatArray

ZERO_C_IN_K = 273.15

#: What a litre of water gives off as it condenses at 18.3 C, where dehumidifiers are rated (steam tables).
LATENT_KWH_PER_LITRE = 0.683

#: Molar mass of water over the gas constant [g K/J].
_GRAMS_K_PER_J = 18.015268 / 8.314462618

#: Hyland and Wexler's coefficients over ice and over water: of 1/T, 1, T, T^2, T^3, T^4 and ln T, T in K.
_OVER_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_OVER_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def saturation_pa(temp_c: FloatArray) -> FloatArray:
    """Pressure of water vapour that air can hold at most, over ice below 0 C [Pa].

    References
    ----------
    R. W. Hyland, A. Wexler, ASHRAE Transactions 89(2A) (1983) 500; ASHRAE Handbook Fundamentals 2017, chapter 1,
    equations 5 and 6.
    """
    kelvin = np.asarray(temp_c, dtype=float) + ZERO_C_IN_K

    def over(coefficients: tuple[float, ...]) -> FloatArray:
        inverse, *powers, log = coefficients
        terms = sum(factor * kelvin**power for power, factor in enumerate(powers))
        pressure: FloatArray = np.exp(inverse / kelvin + terms + log * np.log(kelvin))
        return pressure

    return np.where(kelvin < ZERO_C_IN_K, over(_OVER_ICE), over(_OVER_WATER))


def vapour_g_m3(temp_c: FloatArray, rh_pct: FloatArray | float) -> FloatArray:
    """Water in a cubic metre of air, taken as an ideal gas [g/m3]."""
    held: FloatArray = _GRAMS_K_PER_J * saturation_pa(temp_c) / (np.asarray(temp_c) + ZERO_C_IN_K)
    return held * rh_pct / 100.0


def dew_point_c(temp_c: FloatArray, rh_pct: FloatArray) -> FloatArray:
    """Temperature at which this air gives up water [C].

    Notes
    -----
    Magnus' formula with the constants 17.62 and 243.12 C of the World Meteorological Organization: within 0.02 K of
    Hyland and Wexler at the temperatures of a shed.
    """
    share = np.log(np.maximum(rh_pct, 1e-3) / 100.0) + 17.62 * temp_c / (243.12 + temp_c)
    point: FloatArray = 243.12 * share / (17.62 - share)
    return point
