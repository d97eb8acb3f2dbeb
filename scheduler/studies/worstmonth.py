"""The worst-month method of IEEE 1562 and IEEE 1013, worked out for a yard step by step.

Daily load, sun of the worst month, array-to-load ratio, days of autonomy, depth, cold: each step is kept with its
equation and its source, so that a reader can set the design rule beside the lived year.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from scheduler.studies import designrules as rule
from scheduler.sun.arraypower import Air, Radiation, arrays_power_w, plane_irradiance_w_m2
from scheduler.sun.ongrid import step_middles
from scheduler.sun.skies import sun_path
from scheduler.sun.typicalyear import HOURS_PER_DAY, NOMINAL_YEAR, TypicalYear
from scheduler.timegrid import FloatArray, Grid
from scheduler.units import fraction_from_pct
from scheduler.yard.models import Machine, Yard

DAYS_PER_WEEK = 7
_MONTHS = range(1, 13)
_STANDARD = "IEEE 1562, IEEE 1013"
_MEMORY = f"{_STANDARD}, from memory"
_SUN_EQUATION = "daily irradiation of the planes / 1000 W/m2"


@dataclass(frozen=True)
class Step:
    """One step of the method: what it is, how it comes about, its number, and where the rule stands."""

    name: str
    equation: str
    value: float
    unit: str
    source: str


@dataclass(frozen=True)
class MonthSun:
    """What a month's mean day brings.

    Attributes
    ----------
    peak_sun_h : float
        Irradiation of the arrays' planes, by rated power, over 1000 W/m2 [h].
    array_wh : float
        What the arrays make of it, heat, losses, shade and clipping in it (R2) [Wh].
    """

    month: int
    peak_sun_h: float
    array_wh: float


@dataclass(frozen=True)
class WorstMonth:
    """The method's outcome.

    Attributes
    ----------
    month : int
        The worst one, 1 to 12.
    months : tuple of MonthSun
        January to December.
    steps : tuple of Step
    array_ratio : float
        Array-to-load ratio of the yard as it stands, in the worst month.
    autonomy_days : float
        Days without sun that its bank carries, from full to its reserve.
    array_asked_w : tuple of float
        Rated power that the rule asks for, not critical and critical, the lower figures of each [W].
    bank_asked_wh : tuple of float
        Rated capacity that it asks for, likewise, without the cold factor of lead-acid [Wh].
    """

    month: int
    months: tuple[MonthSun, ...]
    steps: tuple[Step, ...]
    array_ratio: float
    autonomy_days: float
    array_asked_w: tuple[float, float]
    bank_asked_wh: tuple[float, float]


def month_suns(yard: Yard, year: TypicalYear) -> tuple[MonthSun, ...]:
    """What each month's mean day brings to the yard's arrays."""
    table = year.by_start_utc()
    first = pd.DatetimeIndex(table.index)[0].to_pydatetime()
    grid = Grid(first, 60, len(table), yard.site.zone)
    sun = sun_path(yard.site, step_middles(grid))
    columns = {str(name): table[name].to_numpy(dtype=float) for name in table.columns}
    sky = Radiation(columns["ghi_w_m2"], columns["dni_w_m2"], columns["dhi_w_m2"])
    air = Air(columns["temp_c"], columns["wind_m_s"])
    plane_w_m2 = np.zeros(grid.n_steps)
    rated_w = sum(array.rated_w for array in yard.arrays)
    for array in yard.arrays:
        plane_w_m2 += (
            array.rated_w / rated_w * plane_irradiance_w_m2(array.tilt_deg, array.azimuth_deg, sun, sky)
        )
    power_w = arrays_power_w(yard.arrays, grid, sun, sky, air)
    month_of = pd.date_range(f"{NOMINAL_YEAR}-01-01", periods=len(table), freq="h").month.to_numpy()

    def by_day(power_w: FloatArray, month: int) -> float:
        days = calendar.monthrange(NOMINAL_YEAR, month)[1]
        return float(grid.energy_wh(power_w[month_of == month]).sum()) / days

    return tuple(
        MonthSun(month, by_day(plane_w_m2, month) / 1000.0, by_day(power_w, month)) for month in _MONTHS
    )


def machine_daily_wh(machine: Machine) -> float:
    """What the machine's weekly work takes from its battery on a mean day [Wh]; dated needs are no habit."""
    per_week = sum(
        need.work_wh * (DAYS_PER_WEEK if need.weekdays is None else len(set(need.weekdays)))
        for need in machine.needs
        if isinstance(need.ready_by, int)
    )
    return per_week / DAYS_PER_WEEK


def worst_month(yard: Yard, year: TypicalYear) -> WorstMonth:
    """Work the method out for a yard on a typical year of its place."""
    months = month_suns(yard, year)
    worst = min(months, key=lambda month: month.peak_sun_h)
    loads = tuple(load_steps(yard))
    load_wh = sum(step.value for step in loads)
    array, ratio, array_asked_w = _array_steps(yard, worst, load_wh)
    bank, carried_days, bank_asked_wh = _bank_steps(yard, load_wh)
    source = f"{_STANDARD}: worst month; {year.station}"
    steps = (
        *loads,
        Step("daily load", "their sum, on the bank's side", load_wh, "Wh", _STANDARD),
        Step(
            f"peak sun hours, {calendar.month_name[worst.month]}",
            _SUN_EQUATION,
            worst.peak_sun_h,
            "h",
            source,
        ),
        *array,
        *bank,
        *_storage_steps(worst.peak_sun_h),
        *_cold_steps(yard, year, bank_asked_wh[0]),
    )
    return WorstMonth(worst.month, months, steps, ratio, carried_days, array_asked_w, bank_asked_wh)


def load_steps(yard: Yard) -> Iterator[Step]:
    """The mean day's energy on the bank's side, use by use [Wh]."""
    inverter = yard.inverter
    by_ac = f"/ {inverter.efficiency:g}"
    for load in yard.house_loads:
        # A dehumidifier that follows the weather may run for its whole window: the rule sizes for the worst.
        hours = 24.0 if load.always_on else load.most_hours_per_day
        wh = rule.battery_side_wh(load.watts * hours, inverter.efficiency)
        yield Step(load.name, f"{load.watts:g} W x {hours:g} h {by_ac}", wh, "Wh", "fleet file")
    if inverter.idle_w:
        yield Step(
            "inverter, idle", f"{inverter.idle_w:g} W x 24 h", inverter.idle_w * 24.0, "Wh", "fleet file"
        )
    for machine in yard.machines:
        work_wh = machine_daily_wh(machine)
        wall_wh = work_wh / machine.charger_efficiency
        is_ac = machine.supply == "ac"
        wh = rule.battery_side_wh(wall_wh, inverter.efficiency) if is_ac else wall_wh
        equation = f"{work_wh:.0f} Wh a day / {machine.charger_efficiency:g} {by_ac if is_ac else ''}"
        yield Step(machine.name, equation.rstrip(), wh, "Wh", "fleet file, a week's needs / 7")


def _array_steps(
    yard: Yard, worst: MonthSun, load_wh: float
) -> tuple[tuple[Step, ...], float, tuple[float, float]]:
    """The array's steps, its ratio, and the rated power asked for."""
    bank, rated_w = yard.bank, sum(array.rated_w for array in yard.arrays)
    kept_w = sum(array.rated_w * (1.0 - array.loss_fraction) for array in yard.arrays)
    lossy_wh = load_wh / (bank.charge_efficiency * bank.discharge_efficiency)
    ratio = rule.array_to_load_ratio(worst.peak_sun_h, kept_w, lossy_wh)
    plain_w, critical_w = (rated_w * low / ratio for low, _ in (rule.RATIO_NOT_CRITICAL, rule.RATIO_CRITICAL))
    through = f"load / ({bank.charge_efficiency:g} x {bank.discharge_efficiency:g}), all by the bank"
    steps = (
        Step(
            "load with the bank's losses", through, lossy_wh, "Wh", f"{_STANDARD}: what is drawn plus losses"
        ),
        Step("array after losses", f"{rated_w:.0f} W rated x (1 - losses)", kept_w, "W", "fleet file"),
        Step(
            "array-to-load ratio",
            "peak sun hours x array / load",
            ratio,
            "",
            "IEEE 1013, clause 3.1, Wh for Ah",
        ),
        Step("array's own day", "heat, shade and clipping too", worst.array_wh, "Wh", "rule R2, to compare"),
        Step("array asked for", f"rated x {_low(rule.RATIO_NOT_CRITICAL)} / ratio", plain_w, "W", _MEMORY),
        Step(
            "array, critical load", f"rated x {_low(rule.RATIO_CRITICAL)} / ratio", critical_w, "W", _MEMORY
        ),
    )
    return steps, ratio, (plain_w, critical_w)


def _bank_steps(yard: Yard, load_wh: float) -> tuple[tuple[Step, ...], float, tuple[float, float]]:
    """The bank's steps, the days that it carries, and the capacity asked for."""
    depth = 1.0 - fraction_from_pct(yard.bank.reserve_pct)
    carried_days = yard.bank.capacity_wh * depth / load_wh
    spans = (rule.AUTONOMY_DAYS_NOT_CRITICAL, rule.AUTONOMY_DAYS_CRITICAL)
    plain_wh, critical_wh = (rule.bank_for_autonomy_wh(load_wh, low, depth) for low, _ in spans)
    steps = (
        Step("depth allowed", "1 - reserve", depth, "", "fleet file"),
        Step("days of autonomy", "bank x depth / load, as it stands", carried_days, "days", _STANDARD),
        Step("bank asked for", f"load x {_low(spans[0])} days / depth", plain_wh, "Wh", _MEMORY),
        Step("bank, critical load", f"load x {_low(spans[1])} days / depth", critical_wh, "Wh", _MEMORY),
    )
    return steps, carried_days, (plain_wh, critical_wh)


def _storage_steps(peak_sun_h: float) -> Iterator[Step]:
    """Days of storage by two textbooks, to compare."""
    masters, messenger = "Masters, from memory", "Messenger and Ventre, from memory"
    yield Step("storage, 95 %", "9.43 - 1.9 P + 0.11 P^2", rule.storage_days_95(peak_sun_h), "days", masters)
    yield Step("storage, 99 %", "24.0 - 4.73 P + 0.3 P^2", rule.storage_days_99(peak_sun_h), "days", masters)
    plain, critical = rule.storage_days_not_critical(peak_sun_h), rule.storage_days_critical(peak_sun_h)
    yield Step("storage, not critical", "4.58 - 0.48 P", plain, "days", messenger)
    yield Step("storage, critical", "18.3 - 1.9 P", critical, "days", messenger)


def _cold_steps(yard: Yard, year: TypicalYear, bank_wh: float) -> Iterator[Step]:
    """The cold's share, which only a lead-acid bank pays."""
    by_day_c = year.table["temp_c"].to_numpy(dtype=float).reshape(-1, HOURS_PER_DAY).mean(axis=1)
    coldest_c = float(by_day_c.min()) + yard.site.shed_offset_c
    factor = rule.lead_acid_cold_factor(coldest_c)
    yield Step("coldest day in the shed", "least daily mean + shed offset", coldest_c, "C", year.station)
    table = "table of IEEE 1013's simplified steps"
    yield Step("cold factor of lead-acid", "table, -6.7 to 26.7 C", factor, "", table)
    yield Step("bank, if lead-acid", "bank asked for x cold factor", bank_wh * factor, "Wh", table)


def _low(span: tuple[float, float]) -> str:
    """The lower figure of a span, with the whole of it: ``1.1 (1.1 to 1.2)``."""
    return f"{span[0]:g} ({span[0]:g} to {span[1]:g})"
