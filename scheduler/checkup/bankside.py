"""The bank: days and nights that it carries, what goes in and out of it, how long it takes to fill, cold, cable."""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterator

import numpy as np

from scheduler.checkup.atonce import alike, listed, worst_chargers
from scheduler.checkup.bankcable import BANK_CAUTION, check_bank_cable
from scheduler.checkup.bankcold import check_cold, cold_factor
from scheduler.checkup.batterycare import longest_spell_h
from scheduler.checkup.findings import Figure, Finding, Grade, Part, PartReport, put_together
from scheduler.checkup.housedraw import always_drawn_w, duty_drawn_w, lasting_idle_w
from scheduler.checkup.siteyear import SiteYear
from scheduler.planning.bank import charge_limit_w, discharge_limit_w
from scheduler.studies.designrules import AUTONOMY_DAYS_NOT_CRITICAL
from scheduler.studies.worstmonth import load_steps
from scheduler.sun.arraypower import behind_inputs_w
from scheduler.sun.spread import DULL_QUANTILE
from scheduler.timegrid import FloatArray
from scheduler.units import POWER_TOLERANCE_W, kwh_from_wh
from scheduler.yard.figures import Chemistry
from scheduler.yard.models import Machine, Yard

#: What goes in and out for good without wearing the bank out, in capacities an hour; common practice, no source.
USUAL_RATE_PER_H: dict[Chemistry, float] = {"lithium": 0.5, "lead_acid": 0.2}

#: Energy that finds no way into the bank is told from this part of the year's on; common practice, no source.
TOLD_LOST_FRACTION = 0.01

_HOURS_PER_DAY = 24
_AUTONOMY = "IEEE 1562, IEEE 1013: capacity x depth / load"
_COMMON = "common practice, no source"
_FILL_MONTHS = (6, 12)

#: So many days on end are no autonomy any more, but a balance.
_ENDLESS_DAYS = 100.0


def check_bank(yard: Yard, year: SiteYear | None) -> PartReport:
    """Check what the bank carries, takes and gives, and its cable to the inverter.

    Parameters
    ----------
    yard : Yard
    year : SiteYear or None
        Without it nights, months and the cold stay open.
    """
    sun_w = None if year is None else behind_inputs_w(yard.arrays, [array.panels_w for array in year.arrays])
    reports = (
        _check_autonomy(yard, year, sun_w),
        _check_night(yard, year),
        _check_charging(yard, year, sun_w),
        _check_discharging(yard),
        check_bank_cable(yard),
    )
    if year is None or sun_w is None:
        missing = (
            "days to fill, longest night, autonomy by month and cold of the bank: typical_year in [site]"
        )
        return put_together((*reports, PartReport(unchecked=(missing,))))
    return put_together((*reports, _check_filling(yard, year, sun_w), check_cold(yard, year, sun_w)))


def usable_wh(yard: Yard) -> float:
    """What the bank holds between full and its reserve [Wh]."""
    return yard.bank.capacity_wh - yard.bank.reserve_wh


# ---- days ------------------------------------------------------------------------------------------------


def autonomy_days(yard: Yard, load_wh: float, sun_wh: float = 0.0, factor: float = 1.0) -> float:
    """Days from full to the reserve; infinite if the sun of such a day carries the load.

    Parameters
    ----------
    yard : Yard
    load_wh : float
        A day's load on the bank's side [Wh].
    sun_wh : float
        What the arrays bring on such a day, all of it taken to go through the bank [Wh].
    factor : float
        By which cold shrinks the bank.

    References
    ----------
    IEEE Std 1013 and 1562, ``capacity x depth / load``; the sun on top of it is this project's own.
    """
    missing_wh = load_wh - sun_wh * yard.bank.charge_efficiency * yard.bank.discharge_efficiency
    return usable_wh(yard) / factor / missing_wh if missing_wh > 0.0 else math.inf


def _check_autonomy(yard: Yard, year: SiteYear | None, sun_w: FloatArray | None) -> PartReport:
    load_wh = sum(step.value for step in load_steps(yard))
    house_wh = (always_drawn_w(yard) + duty_drawn_w(yard)) * _HOURS_PER_DAY
    factor = 1.0 if year is None else cold_factor(yard, year)
    days, house_days = (autonomy_days(yard, wh, factor=factor) for wh in (load_wh, house_wh))
    figures = tuple(
        Figure(Part.BANK, "", f"days without sun, {whose}", value, "days", None, _AUTONOMY)
        for whose, value in (("all of the yard", days), ("the house alone", house_days))
        if math.isfinite(value)
    )
    if sun_w is None or year is None or not load_wh:
        return PartReport(figures)
    by_month = [
        autonomy_days(yard, load_wh, dull_wh, cold_factor(yard, year, month))
        for month, dull_wh in enumerate(_dull_days_wh(year, sun_w), start=1)
    ]
    return PartReport(figures, (_autonomy_note(days, house_days, by_month),))


def _dull_days_wh(year: SiteYear, sun_w: FloatArray) -> list[float]:
    """What 9 days in 10 of each month bring more than [Wh]."""
    daily_wh = sun_w.reshape(-1, _HOURS_PER_DAY).sum(axis=1)
    month = year.month.reshape(-1, _HOURS_PER_DAY)[:, 0]
    return [float(np.quantile(daily_wh[month == number], DULL_QUANTILE)) for number in range(1, 13)]


def _autonomy_note(days: float, house_days: float, by_month: list[float]) -> Finding:
    limit_days = AUTONOMY_DAYS_NOT_CRITICAL[0]
    listed = ", ".join(
        f"{calendar.month_abbr[number]} {f'{value:.1f}' if value < _ENDLESS_DAYS else 'no end'}"
        for number, value in enumerate(by_month, start=1)
    )
    endless = min(by_month) >= _ENDLESS_DAYS
    carries = "for as long as one likes, in every month" if endless else f"for so many days: {listed}"
    return Finding(
        grade=Grade.NOTE,
        part=Part.BANK,
        about="",
        title=f"From full to its reserve the bank carries the yard for {_show_days(days)} without any "
        f"sun, and the house alone for {_show_days(house_days)}",
        found=days,
        limit=limit_days,
        unit="days",
        source=f"{_AUTONOMY}, guidance from memory; dull day: 10 % quantile of the month's days",
        meaning=f"With the sun of a dull day, one in ten, it carries the yard {carries}. "
        f"{limit_days:g} to {AUTONOMY_DAYS_NOT_CRITICAL[1]:g} days without sun are usual for loads that cannot wait; "
        "machines that can wait need less.",
        mend="More modules, or fewer loads that never stop; panels help on dull days, not without sun.",
    )


def _show_days(days: float) -> str:
    return f"{days:.1f} days" if days < _ENDLESS_DAYS else "ever"


# ---- nights ----------------------------------------------------------------------------------------------


def longest_night_h(year: SiteYear) -> int:
    """Most hours on end without the sun above the horizon, to the hour [h]."""
    return longest_spell_h(~year.sun_up)


def _check_night(yard: Yard, year: SiteYear | None) -> PartReport:
    always_w = always_drawn_w(yard)
    if not always_w:
        return PartReport()
    factor = 1.0 if year is None else cold_factor(yard, year)
    covered_h = usable_wh(yard) / factor * yard.bank.discharge_efficiency / always_w
    night_h = None if year is None else float(longest_night_h(year))
    source = "fleet file" if year is None else f"fleet file; sun's position over the {year.source}"
    name = "hours of darkness that full to reserve covers, always-on loads and idle draw"
    figure = Figure(Part.BANK, "", name, covered_h, "h", night_h, source, at_least=True)
    if night_h is None or covered_h >= night_h:
        return PartReport((figure,))
    finding = Finding(
        grade=Grade.WARNING,
        part=Part.BANK,
        about="",
        title=f"The loads that are always on and the inverter's idle draw, {always_w:.0f} W together, take the bank "
        f"from full to its reserve in {covered_h:.1f} h; the longest night has {night_h:.0f} h",
        found=covered_h,
        limit=night_h,
        unit="h",
        source=source,
        meaning="Even a full bank does not last until morning; every plan of that season begins with a shortage.",
        mend=f"Modules of {always_w * night_h * factor / yard.bank.discharge_efficiency:.0f} Wh above the reserve, "
        "or fewer loads that are always on.",
        caution=BANK_CAUTION,
    )
    return PartReport((figure,), (finding,))


# ---- charging --------------------------------------------------------------------------------------------


def _usual_w(yard: Yard) -> float:
    return USUAL_RATE_PER_H[yard.bank.chemistry] * yard.bank.capacity_wh


def _usual_words(yard: Yard) -> str:
    kind = "lithium" if yard.bank.chemistry == "lithium" else "lead-acid"
    rate = USUAL_RATE_PER_H[yard.bank.chemistry]
    return f"{_usual_w(yard):.0f} W, {rate:g} of its capacity an hour, are usual for {kind}"


def _arrays_most_w(yard: Yard, sun_w: FloatArray | None) -> float:
    """The strongest hour of the year; without a year what panels and inputs give at the very most [W]."""
    if sun_w is not None:
        return float(sun_w.max())
    return float(behind_inputs_w(yard.arrays, [np.array([array.rated_w]) for array in yard.arrays])[0])


def _check_charging(yard: Yard, year: SiteYear | None, sun_w: FloatArray | None) -> PartReport:
    most_w, limit_w = _arrays_most_w(yard, sun_w), _usual_w(yard)
    into_w = min(most_w, charge_limit_w(yard.bank))
    figures = [Figure(Part.BANK, "", "most that goes into the bank", into_w, "W", limit_w, _COMMON)]
    findings = list(_fast_charging(yard, into_w))
    if year is not None and sun_w is not None and yard.bank.charge_max_w is not None:
        findings.extend(_lost_charging(yard, sun_w))
    missing = [key for key in ("charge_max_w", "discharge_max_w") if getattr(yard.bank, key) is None]
    unchecked = (f"what the modules stand: {' and '.join(missing)} in [bank]",) if missing else ()
    return PartReport(tuple(figures), tuple(findings), unchecked)


def _fast_charging(yard: Yard, into_w: float) -> Iterator[Finding]:
    limit_w = _usual_w(yard)
    if into_w <= limit_w + POWER_TOLERANCE_W:
        return
    is_open = yard.bank.charge_max_w is None
    open_words = (
        "Nothing in the fleet file keeps it lower; bank electronics may switch off, or the cells wear out"
    )
    told_words = "charge_max_w allows it, so its maker should too"
    yield Finding(
        grade=Grade.WARNING if is_open else Grade.NOTE,
        part=Part.BANK,
        about="",
        title=f"Up to {into_w:.0f} W go into the bank, {into_w / yard.bank.capacity_wh:.2f} of its capacity an hour; "
        f"{_usual_words(yard)}",
        found=into_w,
        limit=limit_w,
        unit="W",
        source=_COMMON,
        meaning=f"{open_words if is_open else told_words}.",
        mend="The modules' data sheet: write their figure as charge_max_w, and set the charge controllers to it.",
        caution=BANK_CAUTION if is_open else "",
    )


def _lost_charging(yard: Yard, sun_w: FloatArray) -> Iterator[Finding]:
    """Sun above what runs always and what the bank takes."""
    limit_w = charge_limit_w(yard.bank)
    lost_wh, year_wh = (
        float(np.clip(sun_w - always_drawn_w(yard) - limit_w, 0.0, None).sum()),
        float(sun_w.sum()),
    )
    if lost_wh <= TOLD_LOST_FRACTION * year_wh:
        return
    yield Finding(
        grade=Grade.NOTE,
        part=Part.BANK,
        about="",
        title=f"The bank takes {limit_w:.0f} W (charge_max_w): {kwh_from_wh(lost_wh):.0f} kWh of the year's "
        f"{kwh_from_wh(year_wh):.0f} kWh of sun find no way into it",
        found=kwh_from_wh(lost_wh),
        limit=TOLD_LOST_FRACTION * kwh_from_wh(year_wh),
        unit="kWh",
        source=f"rule R3 over the typical year; told from a hundredth on: {_COMMON}",
        meaning="It is less where machines are charged at noon: what they draw then need not go through the bank.",
        mend="Machines charged around noon, or more modules.",
    )


# ---- discharging -----------------------------------------------------------------------------------------


def bank_asked_w(yard: Yard, ac_w: float, dc_w: float) -> float:
    """What so many watts of AC and DC ask of the bank without sun [W]."""
    idle_w = yard.inverter.idle_w if ac_w else lasting_idle_w(yard)
    return ac_w / yard.inverter.efficiency + dc_w + idle_w


def _check_discharging(yard: Yard) -> PartReport:
    house_w = sum(load.watts for load in yard.house_loads)
    ac_w = min(house_w + worst_chargers(yard, "ac").watts, yard.inverter.continuous_w)
    asked_w = bank_asked_w(yard, ac_w, worst_chargers(yard, "dc").watts)
    limit_w = min(discharge_limit_w(yard.bank), _usual_w(yard))
    name = "most that house and chargers ask of the bank at once"
    figure = Figure(Part.BANK, "", name, asked_w, "W", limit_w, f"discharge_max_w, or {_COMMON}")
    return PartReport((figure,), (*_not_at_night(yard), *_everybody_at_once(yard, asked_w)))


def _not_at_night(yard: Yard) -> Iterator[Finding]:
    """Chargers that the bank cannot feed alone, beside what never stops (R3)."""
    limit_w = discharge_limit_w(yard.bank)
    for group in alike(yard.machines):
        asked_w = _asked_by(yard, group[0])
        if asked_w > limit_w + POWER_TOLERANCE_W:
            names = listed([machine.name for machine in group])
            yield Finding(
                grade=Grade.WARNING,
                part=Part.BANK,
                about=group[0].name,
                title=f"{names}: the charger and what is always on ask {asked_w:.0f} W of the bank, which gives "
                f"{limit_w:.0f} W (discharge_max_w)",
                found=asked_w,
                limit=limit_w,
                unit="W",
                source="rule R3: discharge_max_w in the fleet file, the modules' data sheet",
                meaning="Plans charge it only while the sun gives the rest, never at night.",
                mend=f"Modules that give {asked_w:.0f} W, or a smaller charger.",
                caution=BANK_CAUTION,
            )


def _asked_by(yard: Yard, machine: Machine) -> float:
    is_ac = machine.supply == "ac"
    ac_w = yard.always_on_w + (machine.charger_w if is_ac else 0.0)
    return bank_asked_w(yard, ac_w, 0.0 if is_ac else machine.charger_w)


def _everybody_at_once(yard: Yard, asked_w: float) -> Iterator[Finding]:
    given_w, usual_w = discharge_limit_w(yard.bank), _usual_w(yard)
    is_over = asked_w > given_w + POWER_TOLERANCE_W
    if not is_over and asked_w <= usual_w + POWER_TOLERANCE_W:
        return
    limit_w = given_w if is_over else usual_w
    over = f"which gives {given_w:.0f} W (discharge_max_w)"
    lead = (
        " Lead-acid also gives less the faster it is emptied." if yard.bank.chemistry == "lead_acid" else ""
    )
    yield Finding(
        grade=Grade.NOTE,
        part=Part.BANK,
        about="",
        title=f"House and chargers may ask {asked_w:.0f} W of the bank at once, "
        f"{over if is_over else 'though ' + _usual_words(yard)}",
        found=asked_w,
        limit=limit_w,
        unit="W",
        source="rule R3: discharge_max_w in the fleet file" if is_over else _COMMON,
        meaning=f"{'Plans keep within it.' if is_over else 'The modules may well stand it.'}{lead}",
        mend="Keep to the page."
        if is_over
        else "The modules' data sheet: write their figure as discharge_max_w.",
    )


# ---- filling ---------------------------------------------------------------------------------------------


def stored_day_wh(yard: Yard, year: SiteYear, sun_w: FloatArray, month: int) -> float:
    """What a mean day of a month adds to the bank, the house's loads taken off; less than 0 if it takes some [Wh].

    Hour by hour ``clip(net, 0, charge_max) x charge efficiency - clip(-net, 0) / discharge efficiency`` (R3); duty
    loads are spread over the day, and no machine is charged.
    """
    net_w = sun_w[year.month == month] - always_drawn_w(yard) - duty_drawn_w(yard)
    into_wh = np.clip(net_w, 0.0, charge_limit_w(yard.bank)).sum() * yard.bank.charge_efficiency
    out_wh = np.clip(-net_w, 0.0, None).sum() / yard.bank.discharge_efficiency
    return float(into_wh - out_wh) * _HOURS_PER_DAY / len(net_w)


def _check_filling(yard: Yard, year: SiteYear, sun_w: FloatArray) -> PartReport:
    figures, findings = [], []
    for month in _FILL_MONTHS:
        day_wh, name = stored_day_wh(yard, year, sun_w, month), calendar.month_name[month]
        if day_wh > 0.0:
            days = usable_wh(yard) / day_wh
            figures.append(
                Figure(Part.BANK, "", f"days from reserve to full, {name}", days, "days", None, year.source)
            )
        else:
            findings.append(_never_full(yard, name, day_wh, year.source))
    return PartReport(tuple(figures), tuple(findings))


def _never_full(yard: Yard, month: str, day_wh: float, source: str) -> Finding:
    house_wh = (always_drawn_w(yard) + duty_drawn_w(yard)) * _HOURS_PER_DAY
    return Finding(
        grade=Grade.WARNING,
        part=Part.BANK,
        about="",
        title=f"On a mean day in {month} the house alone takes {-day_wh:.0f} Wh more from the bank than the sun "
        "brings into it",
        found=day_wh,
        limit=0.0,
        unit="Wh",
        source=f"rule R3 over the {source}",
        meaning=f"The bank does not fill in {month}, whatever is planned; nothing is left for machines.",
        mend=f"Fewer loads than the house's {house_wh:.0f} Wh a day, the inverter's idle draw among them, or more "
        "panels.",
    )
