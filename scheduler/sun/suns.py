"""The three suns of a plan: array power and shed temperature on its grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.timegrid import FloatArray, Grid


@dataclass(frozen=True)
class ThreeSuns:
    """What the sun may bring, after clipping (R2).

    Attributes
    ----------
    grid : Grid
    dull_w, likely_w, bright_w : ndarray, shape (n_steps,)
        Mean power of all arrays together in each step [W]; dull <= likely <= bright everywhere.
    shed_temp_c : ndarray, shape (n_steps,)
        Mean temperature of the shed [C].
    source : str
        Where the figures come from, in words for the page.
    """

    grid: Grid
    dull_w: FloatArray
    likely_w: FloatArray
    bright_w: FloatArray
    shed_temp_c: FloatArray
    source: str

    def __post_init__(self) -> None:
        for name in ("dull_w", "likely_w", "bright_w", "shed_temp_c"):
            series = getattr(self, name)
            if series.shape != (self.grid.n_steps,) or not np.isfinite(series).all():
                msg = f"{name}: wanted {self.grid.n_steps} finite numbers"
                raise ValueError(msg)

    @property
    def by_name(self) -> dict[str, FloatArray]:
        """Array power by the sun's name [W]."""
        return {"dull": self.dull_w, "likely": self.likely_w, "bright": self.bright_w}
