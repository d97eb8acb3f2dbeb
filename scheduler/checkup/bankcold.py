"""The bank in the cold: hours in which it must not be charged, what that costs, and what lead-acid loses."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.housedraw import always_drawn_w, duty_drawn_w
from scheduler.checkup.siteyear import SiteYear
from scheduler.planning.bank import bank_path, charge_limit_w
from scheduler.studies.designrules import lead_acid_cold_factor
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import kwh_from_wh, pct_from_fraction
from scheduler.yard.figures import Chemistry
from scheduler.yard.models import Yard

#: Below these a bank is not charged [C]: Battery University, BU-410, table 1.
CHARGE_FROM_C: dict[Chemistry, float] = {"lithium": 0.0, "lead_acid": -20.0}

#: Below this lithium-ion is not discharged either [C]; the same table.
LITHIUM_DISCHARGE_FROM_C = -20.0

#: Below freezing lead-acid is charged with this much of its capacity an hour at most; the same table.
LEAD_ACID_FROZEN_RATE_PER_H = 0.3

#: From here on what the cold takes of a lead-acid bank is told; common practice, no source.
TOLD_COLD_FACTOR = 1.1

_WINDOW = "Battery University BU-410, table 1"
_COLD_TABLE = "cold table of IEEE 1013's simplified steps"
_IN_SHED = "The bank is taken to be as cold as the shed's air"
_HOURS_PER_DAY = 24
_ANY_YEAR = dt.datetime(2001, 1, 1, tzinfo=dt.UTC)


@dataclass(frozen=True)
class ColdSun:
    """Sun that a bank too cold for charging does not take, over the year.

    Attributes
    ----------
    hours : int
        Hours with the sun up and the bank below its window.
    lost_wh, year_wh : float
        What would have gone in then, and in the whole year, with only always-on loads running [Wh].
    without_hours, with_duty_hours : int
        Hours below the reserve that there would not be if the bank could be charged in any cold: with the always-on
        loads alone, and with the duty loads too.
    """

    hours: int
    lost_wh: float
    year_wh: float
    without_hours: int
    with_duty_hours: int


def cold_factor(yard: Yard, year: SiteYear, month: int | None = None) -> float:
    """By what the cold divides the bank's capacity on the coldest day, of one month or of the year; 1 for lithium.

    References
    ----------
    The table that goes with the simplified steps of IEEE Std 1013, on the day's mean in the shed.
    """
    if yard.bank.chemistry != "lead_acid":
        return 1.0
    in_month = np.ones(len(year.month), dtype=bool) if month is None else year.month == month
    return lead_acid_cold_factor(float(_by_day(year.shed_c[in_month]).mean(axis=1).min()))


def _by_day(values: FloatArray) -> FloatArray:
    return values.reshape(-1, _HOURS_PER_DAY)


def cold_sun(yard: Yard, year: SiteYear, sun_w: FloatArray) -> ColdSun:
    """Work out what the cold keeps out of the bank, R3 hour by hour from a full bank in the warmest hour."""
    # The year is a ring: from its first hour on, a full bank would hide what the cold of December leaves.
    first = -int(np.argmax(year.shed_c))
    sun_w, is_cold = np.roll(sun_w, first), np.roll(year.shed_c, first) < CHARGE_FROM_C[yard.bank.chemistry]
    always_w = always_drawn_w(yard)
    into_w = np.clip(sun_w - always_w, 0.0, charge_limit_w(yard.bank))
    drawn_w = np.array([[always_w], [always_w + duty_drawn_w(yard)]])
    without_hours, with_duty_hours = _hours_by_cold(yard, is_cold, sun_w - drawn_w)
    return ColdSun(
        hours=int((is_cold & np.roll(year.sun_up, first)).sum()),
        lost_wh=float(into_w[is_cold].sum()),
        year_wh=float(into_w.sum()),
        without_hours=without_hours,
        with_duty_hours=with_duty_hours,
    )


def _hours_by_cold(yard: Yard, is_cold: NDArray[np.bool_], net_w: FloatArray) -> list[int]:
    """Hours below the reserve that the cold alone is to blame for, for each row of `net_w`."""
    grid = Grid(_ANY_YEAR, 60, net_w.shape[-1], yard.site.zone)
    blocked_w = np.where(is_cold, np.minimum(net_w, 0.0), net_w)
    path = bank_path(yard.bank, yard.bank.capacity_wh, np.stack([blocked_w, net_w]), grid)
    in_cold, in_warmth = path.level_wh[..., 1:] < yard.bank.reserve_wh
    hours: list[int] = (in_cold & ~in_warmth).sum(axis=-1).tolist()
    return hours


def check_cold(yard: Yard, year: SiteYear, sun_w: FloatArray) -> PartReport:
    """Hold the shed's cold against what the bank stands."""
    coldest_c, limit_c = float(year.shed_c.min()), CHARGE_FROM_C[yard.bank.chemistry]
    name, source = "shed in its coldest hour", f"{_WINDOW}; {year.source}"
    figure = Figure(Part.BANK, "", name, coldest_c, "C", limit_c, source, at_least=True)
    findings: list[Finding] = []
    if (year.sun_up & (year.shed_c < limit_c)).any():
        findings.append(_not_charged(yard, cold_sun(yard, year, sun_w), coldest_c))
    if yard.bank.chemistry == "lead_acid":
        findings.extend(_lead_acid(yard, year, sun_w))
    elif coldest_c < LITHIUM_DISCHARGE_FROM_C:
        findings.append(_not_discharged(year, coldest_c))
    return PartReport((figure,), tuple(findings))


def _not_charged(yard: Yard, cold: ColdSun, coldest_c: float) -> Finding:
    limit_c = CHARGE_FROM_C[yard.bank.chemistry]
    share_pct = pct_from_fraction(cold.lost_wh / cold.year_wh) if cold.year_wh else 0.0
    runs_dry = cold.without_hours > 0
    always = f"the loads that never stop alone bring it below its reserve for {cold.without_hours} h because of that"
    duty = f"with the house's other loads too it falls below its reserve for {cold.with_duty_hours} h because of that"
    none = "the house alone never brings it below its reserve because of that"
    told = always if runs_dry else duty if cold.with_duty_hours else none
    return Finding(
        grade=Grade.WARNING if runs_dry else Grade.NOTE,
        part=Part.BANK,
        about="",
        title=f"For {cold.hours} h of sun a year the shed is below {limit_c:g} C, down to {coldest_c:.0f} C: the bank "
        f"must not be charged then, which costs {kwh_from_wh(cold.lost_wh):.0f} kWh, {share_pct:.0f} % of the year's",
        found=coldest_c,
        limit=limit_c,
        unit="C",
        source=_WINDOW,
        meaning=f"Plans do not know it: they count on that sun. From a full bank in summer, {told}. {_IN_SHED}.",
        mend="A box with insulation, or the warmth of the house, around the bank, or modules that warm themselves; and "
        "see that controller or modules refuse to charge in the cold.",
    )


def _not_discharged(year: SiteYear, coldest_c: float) -> Finding:
    hours = int((year.shed_c < LITHIUM_DISCHARGE_FROM_C).sum())
    return Finding(
        grade=Grade.WARNING,
        part=Part.BANK,
        about="",
        title=f"For {hours} h a year the shed is below {LITHIUM_DISCHARGE_FROM_C:g} C, down to {coldest_c:.0f} C: a "
        "lithium bank gives nothing then",
        found=coldest_c,
        limit=LITHIUM_DISCHARGE_FROM_C,
        unit="C",
        source=_WINDOW,
        meaning=f"The whole yard is without power in those hours, and no plan knows it. {_IN_SHED}.",
        mend="A warm place for the bank.",
    )


def _lead_acid(yard: Yard, year: SiteYear, sun_w: FloatArray) -> Iterator[Finding]:
    factor = cold_factor(yard, year)
    if factor > TOLD_COLD_FACTOR:
        left_wh = yard.bank.capacity_wh / factor
        yield Finding(
            grade=Grade.NOTE,
            part=Part.BANK,
            about="",
            title=f"On its coldest day the lead-acid bank holds {left_wh:.0f} Wh of its "
            f"{yard.bank.capacity_wh:.0f} Wh (divided by {factor:.2f})",
            found=factor,
            limit=TOLD_COLD_FACTOR,
            unit="times",
            source=f"{_COLD_TABLE}; told from {TOLD_COLD_FACTOR:g} on: common practice, no source",
            meaning=f"Plans count on all of it. {_IN_SHED}.",
            mend="A warmer place for the bank, or a higher reserve_pct in winter.",
        )
    frozen = (year.shed_c < 0.0) & year.sun_up
    limit_w = LEAD_ACID_FROZEN_RATE_PER_H * yard.bank.capacity_wh
    most_w = float(np.clip(sun_w[frozen], 0.0, charge_limit_w(yard.bank)).max(initial=0.0))
    if most_w > limit_w:
        yield Finding(
            grade=Grade.NOTE,
            part=Part.BANK,
            about="",
            title=f"Up to {most_w:.0f} W go into the lead-acid bank while the shed is below freezing; it stands "
            f"{limit_w:.0f} W then",
            found=most_w,
            limit=limit_w,
            unit="W",
            source=_WINDOW,
            meaning=f"Above {LEAD_ACID_FROZEN_RATE_PER_H:g} of its capacity an hour a frozen one gasses and ages. "
            f"{_IN_SHED}.",
            mend=f"Set the charge controllers to {limit_w:.0f} W in winter.",
        )
