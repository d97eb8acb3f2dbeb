"""What the arrays bring day by day under each sun."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray
from scheduler.yard.models import Yard


@dataclass(frozen=True)
class OutlookDay:
    """A local day, or what of it lies in the outlook.

    Attributes
    ----------
    first, last : int
        Edges between which it lies.
    energy_wh : dict
        Energy of all arrays by the sun's name [Wh].
    """

    first: int
    last: int
    energy_wh: dict[str, float]


@dataclass(frozen=True)
class Outlook:
    """The days to come.

    Attributes
    ----------
    site : str
    rated_w : float
        Of all panels together [W].
    suns : ThreeSuns
    days : tuple of OutlookDay
    notes : tuple of str
        What had to be assumed.
    """

    site: str
    rated_w: float
    suns: ThreeSuns
    days: tuple[OutlookDay, ...]
    notes: tuple[str, ...] = ()

    def full_sun_h(self, energy_wh: float) -> float:
        """Hours of full sun that bring an energy: energy over the panels' rated power [h]."""
        return energy_wh / self.rated_w if self.rated_w > 0.0 else 0.0


def build_outlook(yard: Yard, suns: ThreeSuns, notes: tuple[str, ...] = ()) -> Outlook:
    """Add up the suns by local day."""
    grid = suns.grid
    dates = [grid.local(step).date() for step in range(grid.n_steps)]
    firsts = [step for step in range(grid.n_steps) if step == 0 or dates[step] != dates[step - 1]]
    energy_wh: dict[str, FloatArray] = {name: grid.energy_wh(power_w) for name, power_w in suns.by_name.items()}
    days = [
        OutlookDay(first, last, {name: float(wh[first:last].sum()) for name, wh in energy_wh.items()})
        for first, last in zip(firsts, [*firsts[1:], grid.n_steps], strict=True)
    ]
    return Outlook(yard.site.name, sum(array.rated_w for array in yard.arrays), suns, tuple(days), notes)
