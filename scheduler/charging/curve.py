"""R7: what a charger draws and what its battery then holds, in closed form.

From charge fraction `s` the charger draws full power `P` up to the taper point `k`, then falls linearly to
``0.05 P`` at ``s = 1``, where it stops. With ``ds/dt = efficiency * p(s) / capacity`` the first part is a
straight line and the second an exponential: with ``u = p / P`` and ``a = 0.95 / (1 - k)``,
``du/dt = -a * efficiency * P / capacity * u``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scheduler.timegrid import FloatArray
from scheduler.units import CHARGER_CUTOFF_FRACTION
from scheduler.yard.models import Machine


@dataclass(frozen=True)
class ChargeCurve:
    """A charger on its battery.

    Parameters
    ----------
    capacity_wh : float
        What the battery holds when full [Wh].
    charger_w : float
        Full power at the wall [W].
    efficiency : float
        Energy in the battery over energy at the wall, as a fraction.
    taper_from : float
        Charge fraction from which the power falls; 1 for a charger that never tapers.

    References
    ----------
    The shape (constant current to about 70 %, end at 3 to 5 % of the rated current) is that of the charging
    texts on lithium-ion batteries; the straight taper is this project's own simplification.
    """

    capacity_wh: float
    charger_w: float
    efficiency: float
    taper_from: float

    @classmethod
    def of(cls, machine: Machine) -> ChargeCurve:
        """Return the curve of a machine in the fleet file."""
        return cls(machine.capacity_wh, machine.charger_w, machine.charger_efficiency, machine.taper_from)

    @property
    def stored_w(self) -> float:
        """What reaches the battery at full power [W]."""
        return self.charger_w * self.efficiency

    @property
    def taper_wh(self) -> float:
        """Charge at the taper point [Wh]."""
        return self.taper_from * self.capacity_wh

    @property
    def _fall_per_h(self) -> float:
        """Rate at which the power decays in the taper [1/h]."""
        slope_per_wh = (1.0 - CHARGER_CUTOFF_FRACTION) / (self.capacity_wh - self.taper_wh)
        return slope_per_wh * self.stored_w

    def power_w(self, charge_wh: ArrayLike) -> FloatArray:
        """Draw at the wall for each charge [W]; 0 when full."""
        charge = np.asarray(charge_wh, dtype=float)
        return np.where(charge >= self.capacity_wh, 0.0, self.charger_w * self._power_fraction(charge))

    def charge_after_wh(self, charge_wh: ArrayLike, hours: ArrayLike) -> FloatArray:
        """Charge after so many hours in an outlet that is on [Wh]; the arguments broadcast."""
        charge, elapsed = np.broadcast_arrays(np.asarray(charge_wh, float), np.asarray(hours, float))
        line = charge + self.stored_w * elapsed
        if self.taper_from >= 1.0:
            return np.minimum(line, self.capacity_wh)
        line_h = np.clip((self.taper_wh - charge) / self.stored_w, 0.0, None)
        begun = self._power_fraction(charge)
        fallen = begun * np.exp(-self._fall_per_h * np.clip(elapsed - line_h, 0.0, None))
        width_wh = (self.capacity_wh - self.taper_wh) / (1.0 - CHARGER_CUTOFF_FRACTION)
        bent = self.taper_wh + (1.0 - fallen) * width_wh
        # Full means exactly full: the last digit of the exponential must not keep the charger running.
        full = fallen <= CHARGER_CUTOFF_FRACTION * (1.0 + 1e-12)
        reached = np.where(elapsed <= line_h, line, np.where(full, self.capacity_wh, bent))
        return np.where(charge >= self.capacity_wh, charge, reached)

    def hours_above(self, charge_wh: ArrayLike, power_w: float) -> FloatArray:
        """Hours from each charge until the draw is no longer more than `power_w` [h]."""
        charge = np.asarray(charge_wh, dtype=float)
        if power_w >= self.charger_w:
            return np.zeros_like(charge)
        line_h = np.clip((self.taper_wh - charge) / self.stored_w, 0.0, None)
        if self.taper_from >= 1.0:
            return line_h
        floor = max(power_w / self.charger_w, CHARGER_CUTOFF_FRACTION)
        taper_h = np.log(self._power_fraction(charge) / floor) / self._fall_per_h
        return np.where(charge >= self.capacity_wh, 0.0, line_h + np.clip(taper_h, 0.0, None))

    def _power_fraction(self, charge: FloatArray) -> FloatArray:
        """Draw over full power, were it not for the stop at full."""
        if self.taper_from >= 1.0:
            return np.ones_like(charge)
        taper = (charge - self.taper_wh) / (self.capacity_wh - self.taper_wh)
        return 1.0 - (1.0 - CHARGER_CUTOFF_FRACTION) * np.clip(taper, 0.0, 1.0)
