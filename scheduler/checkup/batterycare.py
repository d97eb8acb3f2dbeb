"""How batteries are treated: chargers against what they stand, frost and heat in the shed, ageing while they rest."""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from scheduler.checkup.ageing import kept_over_year_fraction, longest_rest_h
from scheduler.checkup.atonce import listed
from scheduler.checkup.batteryrates import (
    Alike,
    charging_findings,
    emptying_findings,
    group_alike,
    rate_figure,
)
from scheduler.checkup.chargerloss import loss_figures, loss_findings
from scheduler.checkup.cycles import cycle_figures, cycle_findings
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport
from scheduler.checkup.resting import RESTING_SOURCE, lead_acid_findings, resting_figures, resting_told
from scheduler.checkup.siteyear import SiteYear
from scheduler.units import pct_from_fraction
from scheduler.yard.models import Yard

#: Lithium-ion is charged within the first, and best within the second [C].
LITHIUM_C, BEST_C = (0.0, 45.0), (10.0, 30.0)
WINDOW_SOURCE = "Battery University BU-410, table 1"

#: The most for lead-acid in frost (Battery University BU-410, table 1).
FROST_RATE_PER_H = 0.3

#: Rests longer than this are told (common practice, no source) [h].
LONG_REST_H = 48.0

#: What a cooler place is taken to be, for comparison [C].
COOLER_C = 10.0

FROST_CAUTION = "Lithium charged in frost is damaged inside without a sign, and may short and burn later."


def hours_by_month(month: NDArray[np.intp], is_so: NDArray[np.bool_]) -> NDArray[np.intp]:
    """How many hours of each month are so, January first."""
    return np.bincount(month[is_so] - 1, minlength=12)


def longest_spell_h(is_so: NDArray[np.bool_]) -> int:
    """How many hours on end are so at the most; the year goes round."""
    if is_so.all():
        return len(is_so)
    from_a_break = np.roll(is_so, -int(np.argmin(is_so)))
    return max((len(list(run)) for so, run in groupby(from_a_break) if so), default=0)


def check_batteries(yard: Yard, year: SiteYear | None) -> PartReport:
    """Check chargers against their batteries, and what the shed does to these over a year.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Without it nothing is said of frost, heat and ageing.
    """
    groups = group_alike(yard.machines)
    if not groups:
        return PartReport()
    rates = [
        finding for group in groups for finding in (*charging_findings(group), *emptying_findings(group))
    ]
    figures = (rate_figure(groups), *loss_figures(groups), *cycle_figures(groups), *resting_figures(groups))
    findings = (*rates, *loss_findings(groups), *cycle_findings(groups), *lead_acid_findings(groups))
    if year is None:
        missing = "frost and heat in the shed, and how batteries age there: typical_year in [site]"
        return PartReport(figures, findings, (missing,))
    return PartReport(
        (*figures, *_shed_figures(groups, year)),
        (
            *findings,
            *_window_findings(groups, year),
            *_frost_findings(groups, year),
            *_ageing_findings(groups, year),
        ),
    )


# ---- the shed's year -----------------------------------------------------------------------------


def _shed_figures(groups: Sequence[Alike], year: SiteYear) -> Iterator[Figure]:
    def figure(name: str, value: float, unit: str, source: str) -> Figure:
        return Figure(Part.BATTERIES, "", name, value, unit, None, source)

    shed_c, (coldest, hottest), (low, high) = year.shed_c, LITHIUM_C, BEST_C
    window = f"{WINDOW_SOURCE}; {year.source}"
    is_best = (shed_c >= low) & (shed_c <= high)
    yield figure(f"shed at or below {coldest:g} C", float((shed_c <= coldest).sum()), "h a year", window)
    yield figure(f"shed above {hottest:g} C", float((shed_c > hottest).sum()), "h a year", window)
    yield figure(
        f"shed at {low:g} to {high:g} C, best for charging", float(is_best.sum()), "h a year", window
    )
    if any(group.is_lithium for group in groups):
        for charge, told in ((1.0, "full"), (0.8, "at 80 %")):
            kept_pct = pct_from_fraction(kept_over_year_fraction(charge, shed_c))
            yield figure(
                f"left of lithium kept {told} for a year", kept_pct, "%", "Battery University, storage table"
            )


def _window_findings(groups: Sequence[Alike], year: SiteYear) -> Iterator[Finding]:
    """Notes only: a plan never charges outside a battery's window (R8)."""
    windows: dict[tuple[float, float], list[Alike]] = {}
    for group in groups:
        windows.setdefault(group.machine.charge_temp_c, []).append(group)
    for (coldest, hottest), alike in windows.items():
        yield from _too_cold(coldest, alike, year)
        yield from _too_hot(hottest, alike, year)


def _too_cold(coldest: float, groups: Sequence[Alike], year: SiteYear) -> Iterator[Finding]:
    is_cold = year.shed_c <= coldest
    if is_cold.any():
        yield _out_of_window(
            groups,
            year,
            is_cold,
            f"at or below {coldest:g} C",
            "Charge them in the afternoon and park them where it is warmest; a room that keeps out the frost, by "
            "insulation more than by heating, ends it. What goes out on a frosty morning is charged the day before.",
        )


def _too_hot(hottest: float, groups: Sequence[Alike], year: SiteYear) -> Iterator[Finding]:
    is_hot = year.shed_c > hottest
    if is_hot.any():
        yield _out_of_window(
            groups,
            year,
            is_hot,
            f"above {hottest:g} C",
            "Charge them in the morning, park them in the shade, and let air through under the roof.",
        )


def _out_of_window(
    groups: Sequence[Alike], year: SiteYear, is_out: NDArray[np.bool_], told: str, mend: str
) -> Finding:
    names = [name for group in groups for name in group.names]
    who = listed(names, most=3)
    hours, by_month = int(is_out.sum()), hours_by_month(year.month, is_out)
    months = ", ".join(f"{calendar.month_abbr[at + 1]} {count}" for at, count in enumerate(by_month) if count)
    return Finding(
        grade=Grade.NOTE,
        part=Part.BATTERIES,
        about=who,
        title=f"The shed is {told} for {hours} h of a typical year, when {who} cannot be charged",
        found=float(hours),
        limit=0.0,
        unit="h",
        source=f"charge_temp_c in the fleet file; {WINDOW_SOURCE}; {year.source}",
        meaning=(
            f"Hours by month: {months}; {longest_spell_h(is_out)} h on end at the most. Plans charge at other hours."
            f"{_what_may_stay(groups)}"
        ),
        mend=mend,
    )


def _what_may_stay(groups: Sequence[Alike]) -> str:
    names = [name for group in groups if group.machine.self_protecting for name in group.names]
    return (
        f" What may stay plugged in, since its battery refuses by itself: {listed(names)}." if names else ""
    )


def _frost_findings(groups: Sequence[Alike], year: SiteYear) -> Iterator[Finding]:
    """Those that plans do charge in frost, since their window says so."""
    for group in groups:
        machine, who, freezing = group.machine, group.who, LITHIUM_C[0]
        hours = int(((year.shed_c < freezing) & (year.shed_c >= machine.charge_temp_c[0])).sum())
        if group.is_lithium or not hours:
            continue
        into_w, limit_w = group.into_battery_w, FROST_RATE_PER_H * machine.capacity_wh
        yield Finding(
            grade=Grade.WARNING if into_w > limit_w else Grade.NOTE,
            part=Part.BATTERIES,
            about=who,
            title=(
                f"The fleet file lets {who} be charged below {freezing:g} C, in {hours} h of a typical year, with "
                f"{into_w:.0f} W, where lead-acid of its size stands {limit_w:.0f} W"
            ),
            found=into_w,
            limit=limit_w,
            unit="W",
            source=f"{WINDOW_SOURCE}: lead-acid below freezing at 0.3 C or less, lithium never",
            meaning=f"Plans charge it down to {machine.charge_temp_c[0]:g} C. That is right for lead-acid only.",
            mend="If it is lithium, or charged faster than that, let its charge_temp_c begin at 0.",
            caution=FROST_CAUTION,
        )


# ---- ageing --------------------------------------------------------------------------------------


def _ageing_findings(groups: Sequence[Alike], year: SiteYear) -> Iterator[Finding]:
    """Where to park, and how full; of lithium only, for lead-acid is to be kept full."""
    lithium = [group for group in groups if group.is_lithium]
    if not lithium:
        return
    full, four_fifths, least = (
        pct_from_fraction(kept_over_year_fraction(charge, year.shed_c)) for charge in (1.0, 0.8, 0.4)
    )
    cooler = pct_from_fraction(kept_over_year_fraction(1.0, year.shed_c - COOLER_C))
    yield Finding(
        grade=Grade.NOTE,
        part=Part.BATTERIES,
        about="",
        title=(
            f"Lithium that rests full in this shed for a year keeps about {full:.0f} % of its capacity, at 80 % charge "
            f"{four_fifths:.0f} %, at 40 % charge {least:.0f} %"
        ),
        found=full,
        limit=least,
        unit="%",
        source=f"Battery University, storage table, straight lines between its points; {year.source}; "
        f"{RESTING_SOURCE}",
        meaning=f"{_hottest_month(year)} {_rests(lithium)} Iron phosphate ages less than this table says.",
        mend=(
            "Charge late, near the time of need, as plans do; leave what gets by with less at 80 %, and what nobody "
            f"needs for weeks near 40 %. {resting_told('lithium')} {COOLER_C:g} degrees cooler a full one keeps "
            f"{cooler:.0f} %: park what rests longest in the coolest dry place, out of the sun."
        ),
    )


def _hottest_month(year: SiteYear) -> str:
    means_c = {month: float(year.shed_c[year.month == month].mean()) for month in range(1, 13)}
    hottest = max(means_c, key=lambda month: means_c[month])
    return f"The hottest month is {calendar.month_name[hottest]}, with {means_c[hottest]:.0f} C in the mean."


def _rests(groups: Sequence[Alike]) -> str:
    rests = sorted(
        ((longest_rest_h(group.machine), group.who) for group in groups), key=lambda rest: -rest[0]
    )
    long = [
        f"{who} ({'no need of every week' if math.isinf(rest_h) else f'up to {rest_h:.0f} h'})"
        for rest_h, who in rests
        if rest_h > LONG_REST_H
    ]
    if not long:
        return f"No machine rests longer than {rests[0][0]:.0f} h between two needs."
    return f"These rest longest between two needs, full if they are charged on their return: {listed(long, most=6)}."
