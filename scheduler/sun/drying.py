"""R11: how long a dehumidifier must run for a wanted humidity, and what the humidity is if it runs less."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from scheduler.sun.moistair import dew_point_c, saturation_pa, vapour_g_m3
from scheduler.timegrid import FloatArray, Grid
from scheduler.yard.models import HouseLoad

GRAMS_PER_LITRE = 1000.0
HOURS_PER_DAY = 24.0

#: Below this a compressor's coils ice up, and little water comes (common practice, no source) [C].
ICING_C = 5.0


@dataclass(frozen=True)
class DryDay:
    """What one day asks of a dehumidifier.

    Attributes
    ----------
    needed_h : float
        Hours that keep the wanted humidity, whether or not the day has so many [h].
    run_h : float
        Hours that it is to run: in its window, no shorter than its shortest run [h].
    water_litres : float
        What it has to take out of the air for it.
    wanted_rh_pct : float
    damp_rh_pct : float
        Mean humidity in the shed without it, over the hours that are damper than wanted; over all hours of a day
        that has none.
    dew_point_c : float
        Mean dew point outside [C].
    coldest_c : float
        The coldest hour in the shed [C].
    is_guessed : bool
        Whether the dew point is taken from the temperature, for want of a humidity.
    """

    needed_h: float
    run_h: float
    water_litres: float
    wanted_rh_pct: float
    damp_rh_pct: float
    dew_point_c: float
    coldest_c: float
    is_guessed: bool = False

    def rh_pct_after(self, run_h: float) -> float:
        """Mean humidity of the damp hours if it runs for so long: each hour's excess shrinks in proportion."""
        if self.needed_h == 0.0:
            return self.damp_rh_pct
        served = min(run_h / self.needed_h, 1.0)
        return self.damp_rh_pct + served * (self.wanted_rh_pct - self.damp_rh_pct)


#: By the name of each load with a wanted humidity, its days by the site's clock.
Drying = dict[str, dict[dt.date, DryDay]]


def run_hours(drying: Drying) -> dict[str, dict[dt.date, float]]:
    """How long each load is to run on each day [h]."""
    return {name: {date: day.run_h for date, day in days.items()} for name, days in drying.items()}


def dry_days(
    load: HouseLoad, grid: Grid, shed_c: FloatArray, air_c: FloatArray, rh_pct: FloatArray | None
) -> dict[dt.date, DryDay]:
    """Work out each local day of an hourly grid; one that is covered in part stands for its whole.

    Parameters
    ----------
    load : HouseLoad
        With a wanted humidity.
    grid : Grid
        Of 60 minutes.
    shed_c, air_c : ndarray, shape (n_steps,)
        Temperatures inside and outside [C].
    rh_pct : ndarray, shape (n_steps,), or None
        Humidity outside. Where it is not known the dew point is the day's lowest temperature.

    Notes
    -----
    Air that comes in keeps its vapour pressure e as it takes on the shed's temperature T. It brings
    ``n V (e - phi e_s(T)) M / (R T)`` of water an hour more than it may hold inside, with n air changes an hour, a
    room of V and the wanted humidity phi. Hours in which the outer air is the drier one give nothing back. Each kWh
    takes out `litres_per_kwh`, at any temperature. Wet goods, people and the ground add water that is not counted.

    References
    ----------
    For the dew point R. G. Allen and others, FAO Irrigation and Drainage Paper 56 (1998), equation 48.
    """
    ordinals = np.array([grid.local(step).toordinal() for step in range(grid.n_steps)])
    days = {}
    for ordinal in np.unique(ordinals):
        hours = ordinals == ordinal
        outside_pa = (
            saturation_pa(air_c[hours]) * rh_pct[hours] / 100.0
            if rh_pct is not None
            else np.full(hours.sum(), saturation_pa(air_c[hours].min()))
        )
        day = _dry_day(load, shed_c[hours], air_c[hours], outside_pa)
        days[dt.date.fromordinal(int(ordinal))] = replace(day, is_guessed=rh_pct is None)
    return days


def _dry_day(load: HouseLoad, shed_c: FloatArray, air_c: FloatArray, outside_pa: FloatArray) -> DryDay:
    # Above 100 % water condenses on the goods: it must come out of the air all the same.
    free_pct = 100.0 * outside_pa / saturation_pa(shed_c)
    wanted_pct = load.wanted_rh_pct or 100.0
    excess_pct = np.maximum(free_pct - wanted_pct, 0.0)
    is_damp = excess_pct > 0.0 if excess_pct.any() else np.ones_like(excess_pct, dtype=bool)
    grams_per_h = load.air_changes_per_h * (load.room_m3 or 0.0) * vapour_g_m3(shed_c, excess_pct).mean()
    litres = float(grams_per_h * HOURS_PER_DAY / GRAMS_PER_LITRE)
    needed_h = litres / (load.litres_per_kwh * load.watts / 1000.0)
    return DryDay(
        needed_h=needed_h,
        run_h=min(max(needed_h, load.min_block_h or 0.0), load.window_h) if needed_h > 0.0 else 0.0,
        water_litres=litres,
        wanted_rh_pct=wanted_pct,
        damp_rh_pct=float(np.minimum(free_pct[is_damp], 100.0).mean()),
        dew_point_c=float(dew_point_c(air_c, 100.0 * outside_pa / saturation_pa(air_c)).mean()),
        coldest_c=float(shed_c.min()),
    )


def drying_notes(drying: Drying, first: dt.date, last: dt.date) -> Iterator[str]:
    """Tell what each day from `first` to `last` asks of each dehumidifier, and the humidity if it gets less."""
    for name, by_date in drying.items():
        days = {date: day for date, day in by_date.items() if first <= date <= last}
        for date, day in days.items():
            yield f"{name}, {date:%a %d %b}: {_tell_day(day)}"
        if any(day.coldest_c < ICING_C and day.needed_h > 0.0 for day in days.values()):
            yield f"{name}: below {ICING_C:g} C it ices up and takes out less water than counted here"


def _tell_day(day: DryDay) -> str:
    guessed = ", guessed from the coldest hour" if day.is_guessed else ""
    dew = f"dew point outside {day.dew_point_c:.0f} C{guessed}"
    if day.needed_h == 0.0:
        return f"no hours needed for {day.wanted_rh_pct:g} % ({dew})"
    water = f"{day.water_litres:.1f} litres, {dew}"
    none = f"with none {day.damp_rh_pct:.0f} %"
    if day.run_h < day.needed_h:
        return (
            f"{day.needed_h:.1f} h needed for {day.wanted_rh_pct:g} % ({water}), its window has {day.run_h:g} h: the "
            f"damp hours have {day.rh_pct_after(day.run_h):.0f} %, {none}"
        )
    half = day.rh_pct_after(day.needed_h / 2.0)
    return (
        f"{day.needed_h:.1f} h for {day.wanted_rh_pct:g} % ({water}); with half of them the damp hours have "
        f"{half:.0f} %, {none}"
    )
