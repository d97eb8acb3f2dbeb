"""How soon work wears batteries out: cycles by depth of discharge, and a week's needs as depths."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from scheduler.checkup.batteryrates import Alike
from scheduler.checkup.findings import Figure, Finding, Grade, Part
from scheduler.units import pct_from_fraction
from scheduler.yard.clock import WEEKDAYS
from scheduler.yard.models import Machine

#: Cycles that lithium-ion gives before it is worn out, at least and at most, by the fraction of the battery that each
#: takes: Battery University's table of cycle life by depth of discharge.
CYCLES_BY_DEPTH = {0.10: (3750, 4700), 0.25: (2000, 2500), 0.50: (1200, 1500), 1.00: (300, 500)}

#: Below this a battery that its needs wear out is told of (common practice, no source) [years].
TOLD_YEARS = 3.0

WEEKS_PER_YEAR = 365.0 / 7.0

SOURCE = (
    "Battery University, cycles by depth of discharge, the lower end, straight lines in logarithms; told below "
    f"{TOLD_YEARS:g} years: common practice, no source"
)


def cycles_at_depth(depth_fraction: float) -> tuple[float, float]:
    """Cycles that lithium-ion gives before it is worn out, at least and at most.

    Parameters
    ----------
    depth_fraction : float
        What each takes, as a fraction of the battery; more than 0, at most 1.

    Raises
    ------
    ValueError
        If it is not.

    Notes
    -----
    Straight lines between the table's points, in the logarithms of depth and of cycles. What is shallower than its
    10 % is counted by its energy: two of 5 % are one of 10 %. It wears less than that, but the table ends there.

    References
    ----------
    Battery University, cycle life by depth of discharge, as reproduced in three texts.
    """
    if not 0.0 < depth_fraction <= 1.0:
        msg = f"a cycle of {depth_fraction:g} of the battery: wanted more than 0 and at most 1"
        raise ValueError(msg)
    depths = list(CYCLES_BY_DEPTH)
    as_of_shallowest = min(1.0, depth_fraction / depths[0])
    least, most = (
        math.exp(float(np.interp(math.log(depth_fraction), np.log(depths), np.log(ends)))) / as_of_shallowest
        for ends in zip(*CYCLES_BY_DEPTH.values(), strict=True)
    )
    return least, most


def weekly_depths(machine: Machine) -> dict[float, int]:
    """How often a week an outing takes so much of the battery, as a fraction of it.

    Dated needs are no habit, and needs that name a charge alone do not tell what they take.
    """
    times: dict[float, int] = {}
    for need in machine.needs:
        if isinstance(need.ready_by, int) and need.work_wh:
            depth = min(1.0, need.work_wh / machine.capacity_wh)
            times[depth] = times.get(depth, 0) + len(set(need.weekdays or WEEKDAYS))
    return times


def worn_out_years(times_by_depth: dict[float, int]) -> tuple[float, float]:
    """After how many years so many outings a week use up the cycles, at least and at most; infinite for none.

    Each is charged back before the next, and takes its part of what there is at its depth (Palmgren and Miner).
    """
    return _worn_out_years(times_by_depth, 0), _worn_out_years(times_by_depth, 1)


def _worn_out_years(times_by_depth: dict[float, int], end: int) -> float:
    worn_a_week = sum(times / cycles_at_depth(depth)[end] for depth, times in times_by_depth.items())
    return 1.0 / (worn_a_week * WEEKS_PER_YEAR) if worn_a_week else math.inf


def soonest_worn(groups: Sequence[Alike]) -> Alike | None:
    """The lithium machines whose needs wear their batteries out soonest; None where no need tells its work."""
    worked = [group for group in groups if group.is_lithium and weekly_depths(group.machine)]
    return min(worked, key=lambda group: worn_out_years(weekly_depths(group.machine)), default=None)


def cycle_figures(groups: Sequence[Alike]) -> Iterator[Figure]:
    """Cycles and years of the battery that is worn out soonest."""
    worn = soonest_worn(groups)
    if worn is None:
        return
    weekly = weekly_depths(worn.machine)
    years, per_week = worn_out_years(weekly)[0], sum(weekly.values())
    told = _depths_told(weekly)

    def figure(name: str, value: float, unit: str, limit: float | None) -> Figure:
        return Figure(Part.BATTERIES, worn.who, name, value, unit, limit, SOURCE, at_least=True)

    yield figure(f"outings until worn out, {told} deep", years * WEEKS_PER_YEAR * per_week, "", None)
    yield figure(f"years of {per_week} such outings a week until then", years, "years", TOLD_YEARS)


def cycle_findings(groups: Sequence[Alike]) -> Iterator[Finding]:
    """A note where a battery is worn out within a few years, and what shallower use would bring."""
    worn = soonest_worn(groups)
    if worn is None:
        return
    weekly = weekly_depths(worn.machine)
    (least, most), per_week = worn_out_years(weekly), sum(weekly.values())
    if least >= TOLD_YEARS:
        return
    outings = f"{_rounded(least * WEEKS_PER_YEAR * per_week)} to {_rounded(most * WEEKS_PER_YEAR * per_week)}"
    yield Finding(
        grade=Grade.NOTE,
        part=Part.BATTERIES,
        about=worn.who,
        title=(
            f"By cycles alone the work of {worn.who} wears its battery out in {least:.1f} to {most:.1f} years: "
            f"{per_week} outings a week that take {_depths_told(weekly)} of it, of which a table gives {outings}"
        ),
        found=least,
        limit=TOLD_YEARS,
        unit="years",
        source=SOURCE,
        meaning=(
            "Worn out is not dead: about 70 % of its capacity is left (from memory). Iron phosphate lasts longer than "
            "this table, and what the maker says goes before it; rest and heat age it besides."
        ),
        mend=_what_shallower_brings(weekly),
    )


def _what_shallower_brings(weekly: dict[float, int]) -> str:
    halved = {depth / 2.0: times for depth, times in weekly.items()}
    (now, _), (larger, _) = worn_out_years(weekly), worn_out_years(halved)
    told = f"Half as deep lasts longer: at least {larger:.1f} years with a battery twice the size"
    if larger / 2.0 > now:
        told += f", {larger / 2.0:.1f} if it is charged once halfway through each outing"
    return f"{told}. Else count on a new battery by then."


def _depths_told(weekly: dict[float, int]) -> str:
    """``72 %``, ``20 to 72 %``."""
    shallowest, deepest = (f"{pct_from_fraction(end(weekly)):.0f}" for end in (min, max))
    return f"{deepest} %" if shallowest == deepest else f"{shallowest} to {deepest} %"


def _rounded(cycles: float) -> int:
    """To tens: the table knows no better."""
    return int(round(cycles, -1))
