"""The finished plan: what the replay checks, the screen and the page show, and the JSON carries.

Edges are numbers on the plan's grid here; the JSON turns them into moments.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from scheduler.sun.suns import ThreeSuns
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.models import Priority

BySun = dict[str, float]  #: keys dull, likely, bright


class AimStatus(StrEnum):
    """How far an aim is proven."""

    PROVEN = "proven"
    GAP = "gap"
    TIME_LIMIT = "time limit"


@dataclass(frozen=True)
class Aim:
    """One aim of the choice, with its proof or its gap.

    Attributes
    ----------
    name : str
        In words: "must needs met", "shortfall", ...
    value : float
        What was reached, in the aim's own unit.
    status : AimStatus
    gap : float or None
        Relative gap to the best bound; 0 when proven, None when no bound is known.
    seconds : float
        Time spent solving.
    """

    name: str
    value: float
    status: AimStatus
    gap: float | None
    seconds: float


@dataclass(frozen=True)
class Because:
    """Which rule keeps a machine from being ready."""

    rule: str
    text: str


@dataclass(frozen=True)
class NeedPlan:
    """What becomes of one need; `have_wh` stands before the work is taken."""

    edge: int
    need_wh: float
    have_wh: float
    ready: bool
    priority: Priority
    because: Because | None = None
    would_help: tuple[str, ...] = ()


@dataclass(frozen=True)
class MachinePlan:
    """One machine over the plan.

    Attributes
    ----------
    outlet : tuple of str or None, length n_steps
        The outlet it is in, whether that is on or off.
    plugged : ndarray of bool, shape (n_steps,)
        In an outlet that is on.
    wall_wh : ndarray, shape (n_steps,)
        Energy drawn at the wall in each step [Wh].
    charge_wh : ndarray, shape (n_steps + 1,)
        Energy in the battery on each edge, after the work taken at it [Wh].
    """

    name: str
    outlet: tuple[str | None, ...]
    plugged: NDArray[np.bool_]
    wall_wh: FloatArray
    charge_wh: FloatArray
    needs: tuple[NeedPlan, ...]


@dataclass(frozen=True)
class HouseLoadPlan:
    """Energy of a house load in each step [Wh], shape (n_steps,)."""

    name: str
    wall_wh: FloatArray


@dataclass(frozen=True)
class PlugAction:
    """Plug a machine in, or pull it out, at a visit.

    `timer` holds the edges at which the outlet's timer goes on and off; None where it is simply on.
    """

    machine: str
    outlet: str
    timer: tuple[int, int] | None = None


@dataclass(frozen=True)
class IfAtLeast:
    """If the bank shows `bank_pct` or more at this visit, this machine may be plugged in as well."""

    bank_pct: int
    machine: str
    outlet: str
    timer: tuple[int, int] | None = None


@dataclass(frozen=True)
class IfBelow:
    """If the bank shows less than `bank_pct` at this visit, unplug this machine first."""

    bank_pct: int
    machine: str


@dataclass(frozen=True)
class VisitPlan:
    """What is to be done at one visit, and what the bank should show on arrival."""

    edge: int
    plug: tuple[PlugAction, ...]
    unplug: tuple[PlugAction, ...]
    bank_pct: BySun
    if_at_least: tuple[IfAtLeast, ...] = ()
    if_below: tuple[IfBelow, ...] = ()


@dataclass(frozen=True)
class BankPlan:
    """The bank on each edge under each sun [Wh], arrays of shape (n_steps + 1,).

    `allowed_wh` is the lowest level that the plan may reach on each edge: the reserve, or where the house
    alone falls below it under the dull sun, what the house leaves (R4).
    """

    capacity_wh: float
    reserve_wh: float
    level_wh: dict[str, FloatArray]
    allowed_wh: FloatArray


@dataclass(frozen=True)
class Violation:
    """A rule that the replay found broken: where, by how much, and in words."""

    rule: str
    edge: int
    amount: float
    text: str


@dataclass(frozen=True)
class ReplayReport:
    """What the replay found; `largest_difference_wh` over every bank and charge curve of the plan."""

    violations: tuple[Violation, ...]
    largest_difference_wh: float


@dataclass(frozen=True)
class RuleOfThumb:
    """How many needs of each class a rule of thumb would meet on the same yard under the dull sun.

    `ac_off_h` is for how long AC, the house's too, stops because the bank would fall below its reserve [h]:
    that holds the bank up for later, but a plan may not count on it.
    """

    name: str
    met: dict[Priority, int]
    ac_off_h: float = 0.0


@dataclass(frozen=True)
class Plan:
    """A whole plan. `notes` tells what was moved, assumed or left out; `made_by` how the choice was made."""

    site: str
    grid: Grid
    made_at: dt.datetime
    made_by: str
    suns: ThreeSuns
    bank: BankPlan
    machines: tuple[MachinePlan, ...]
    house_loads: tuple[HouseLoadPlan, ...]
    inverter_peak_w: FloatArray
    visits: tuple[VisitPlan, ...]
    aims: tuple[Aim, ...]
    replay: ReplayReport | None
    compared_with: tuple[RuleOfThumb, ...]
    notes: tuple[str, ...]

    @property
    def plugged_at_start(self) -> dict[str, str]:
        """The outlet of each machine that is in one as the plan begins, before anybody touches it."""
        at_once = [visit for visit in self.visits if visit.edge == 0]
        comes_in = {action.machine for visit in at_once for action in visit.plug}
        there = {action.machine: action.outlet for visit in at_once for action in visit.unplug}
        for machine in self.machines:
            outlet = machine.outlet[0]
            if outlet is not None and machine.name not in comes_in:
                there[machine.name] = outlet
        return there
