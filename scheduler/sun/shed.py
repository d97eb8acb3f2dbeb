"""R8, R11: how warm the shed is, and how long a dehumidifier must run in it.

The shed is one lump of heat behind one skin. Two figures describe it: how slowly it follows (`shed_lag_h`) and how
much heat its skin lets through (`shed_loss_w_per_c`). The sun on its roof and what runs inside warm it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.sun.drying import Drying, dry_days, drying_notes
from scheduler.sun.moistair import LATENT_KWH_PER_LITRE
from scheduler.timegrid import FloatArray, Grid, moment_on_clock
from scheduler.yard.models import HouseLoad, Site, Yard

if TYPE_CHECKING:
    from scheduler.sun.weather import Weather

#: Outside these common lithium batteries are not charged [C] (Battery University BU-410, table 1).
COLD_C, HOT_C = 0.0, 45.0

#: By how much a closed shed in full sun may well be warmer than the air [C]: see `lagged_temp_c`.
CLOSED_SHED_C = 12.0

#: The sun that `shed_sun_c` is given for [W/m2].
_FULL_SUN_W_M2 = 1000.0

_HOURS_PER_DAY = 24


@dataclass(frozen=True)
class ShedClimate:
    """The shed over some hours.

    Attributes
    ----------
    temp_c : ndarray, shape (n_hours,)
        Mean of each hour [C].
    drying : dict
        By the name of each load with a wanted humidity, its need day by day of the site's clock.
    """

    temp_c: FloatArray
    drying: Drying


def shed_climate(yard: Yard, hours: pd.DataFrame) -> ShedClimate:
    """Work out the shed's temperature, and what a dehumidifier has to do in it.

    A dehumidifier's hours follow from a shed that it does not warm itself, which asks rather for more of them; its
    heat then counts for the temperature. What chargers give off is left out: it depends on the plan.

    Parameters
    ----------
    yard : Yard
    hours : DataFrame
        Weather of consecutive hours as `Weather.hours` has it; the likely sun warms the roof.
    """
    grid = Grid(hours.index[0].to_pydatetime(), 60, len(hours), yard.site.zone)
    air_c, ghi_w_m2 = (hours[name].to_numpy(dtype=float) for name in ("temp_c", "ghi_w_m2"))
    before_c = shed_temp_c(yard.site, air_c, ghi_w_m2, house_heat_w(yard, grid, {}))
    drying = {
        load.name: dry_days(load, grid, before_c, air_c, _humidity_pct(hours))
        for load in yard.house_loads
        if load.wanted_rh_pct is not None
    }
    run_h = {name: float(np.mean([day.run_h for day in days.values()])) for name, days in drying.items()}
    return ShedClimate(shed_temp_c(yard.site, air_c, ghi_w_m2, house_heat_w(yard, grid, run_h)), drying)


def drying_over(yard: Yard, weather: Weather, grid: Grid) -> Drying:
    """Work out what the local days of a grid, and the one before, ask of dehumidifiers.

    A day that the weather covers in part stands for its whole; one that it does not cover is left out.
    """
    if all(load.wanted_rh_pct is None for load in yard.house_loads):
        return {}
    day = dt.timedelta(days=1)
    first, last = grid.local(0).date() - day, grid.local(grid.n_steps - 1).date() + day
    start, end = (moment_on_clock(date, 0, grid.zone) for date in (first, last))
    start, end = max(start, weather.begins or start), min(end, weather.ends or end)
    return shed_climate(yard, weather.hours(start, end)).drying


def _humidity_pct(hours: pd.DataFrame) -> FloatArray | None:
    return hours["rh_pct"].to_numpy(dtype=float) if "rh_pct" in hours else None


def shed_temp_c(site: Site, air_c: FloatArray, ghi_w_m2: FloatArray, heat_w: FloatArray) -> FloatArray:
    """Mean temperature of the shed in each hour [C].

    Notes
    -----
    One heat capacity C behind one loss U: ``C dT/dt = U (Ta + offset - T) + g G + Q``, with the time constant
    ``C / U`` (`shed_lag_h`), the loss U (`shed_loss_w_per_c`), the sun G on the level and its gain over the loss
    ``g / U`` (`shed_sun_c` over 1000 W/m2), and the heat Q of what runs inside. Weather and heat are held through
    each hour, in which the solution is an exponential. The day before the first is taken to have been like it.

    How much full sun warms a closed shed: sol-air temperature, ``alpha G / h_o`` above the air at the roof, with
    alpha / h_o of 0.026 (light) to 0.052 m2 K/W (dark) by the ASHRAE Handbook Fundamentals (from memory), and a roof
    that is a third of the skin: 9 to 17 K where all of the skin lets through alike.
    """
    towards_c = air_c + site.shed_offset_c + site.shed_sun_c * ghi_w_m2 / _FULL_SUN_W_M2
    if site.shed_loss_w_per_c is not None:
        towards_c = towards_c + heat_w / site.shed_loss_w_per_c
    return lagged_temp_c(towards_c, site.shed_lag_h)


def lagged_temp_c(towards_c: FloatArray, lag_h: float) -> FloatArray:
    """Mean in each hour of what follows `towards_c`, held through the hour, with a time constant [C].

    Notes
    -----
    Within an hour ``T(t) = To + (T(0) - To) exp(-t / lag)``, its mean ``To + (T(0) - To) (1 - exp(-1 / lag)) lag``.
    It begins where it would stand if the day before had been like the first.
    """
    if lag_h == 0.0:
        return towards_c
    left = np.exp(-1.0 / lag_h)
    mean_left = (1.0 - left) * lag_h
    first_day = towards_c[:_HOURS_PER_DAY]
    at_edge_c = 0.0
    for hour_c in first_day:
        at_edge_c = hour_c + (at_edge_c - hour_c) * left
    at_edge_c /= 1.0 - left ** len(first_day)
    means_c = np.empty_like(towards_c)
    for hour, hour_c in enumerate(towards_c):
        means_c[hour] = hour_c + (at_edge_c - hour_c) * mean_left
        at_edge_c = hour_c + (at_edge_c - hour_c) * left
    return means_c


def house_heat_w(yard: Yard, grid: Grid, run_h: Mapping[str, float]) -> FloatArray:
    """Mean heat in each step of what runs inside, the inverter's own among it [W].

    All that a load draws ends as heat where it stands; one with `outside` leaves only the inverter's part. A
    dehumidifier adds the heat of the water that it makes. A duty load is spread over its window.

    Parameters
    ----------
    yard : Yard
    grid : Grid
    run_h : mapping
        Hours a day of the loads with a wanted humidity; those that are not in it are left out [h].
    """
    inside_w, drawn_w = np.zeros(grid.n_steps), np.zeros(grid.n_steps)
    for load in yard.house_loads:
        mean_w = load.watts * _running_fraction(load, grid, run_h)
        drawn_w += mean_w
        dew = load.litres_per_kwh * LATENT_KWH_PER_LITRE if load.wanted_rh_pct is not None else 0.0
        inside_w += 0.0 if load.outside else mean_w * (1.0 + dew)
    inverter = yard.inverter
    idles = (drawn_w > 0.0) | (not inverter.off_when_unused)
    return inside_w + drawn_w * (1.0 / inverter.efficiency - 1.0) + inverter.idle_w * idles


def _running_fraction(load: HouseLoad, grid: Grid, run_h: Mapping[str, float]) -> FloatArray:
    if load.always_on:
        return np.ones(grid.n_steps)
    hours = load.hours_per_day if load.wanted_rh_pct is None else run_h.get(load.name, 0.0)
    return grid.fraction_between(*load.window_minutes) * min((hours or 0.0) / load.window_h, 1.0)


def climate_notes(yard: Yard, grid: Grid, temp_c: FloatArray, drying: Drying) -> tuple[str, ...]:
    """Tell what the shed's air means for batteries and, day by day, for dehumidifiers.

    Parameters
    ----------
    yard : Yard
    grid : Grid
    temp_c : ndarray, shape (n_steps,)
        The shed [C].
    drying : Drying
    """
    first, last = grid.local(0).date(), grid.local(grid.n_steps - 1).date()
    return (
        *shed_notes(yard.site, grid, temp_c),
        *drying_notes(drying, first, last),
    )


def shed_notes(site: Site, grid: Grid, temp_c: FloatArray) -> Iterator[str]:
    """Tell when batteries are too cold or too hot to be charged in the shed, and what is not known of it."""
    for is_out, limit, extreme in (
        (temp_c < COLD_C, f"below {COLD_C:g} C", f"down to {temp_c.min():.0f} C"),
        (temp_c > HOT_C, f"above {HOT_C:g} C", f"up to {temp_c.max():.0f} C"),
    ):
        if is_out.any():
            hours = is_out.sum() * grid.step_h
            when = _show_spells(is_out, grid)
            yield f"the shed is {limit} for {hours:g} h ({extreme}): {when}; no lithium battery is charged then"
    if not site.shed_sun_c and HOT_C - CLOSED_SHED_C < temp_c.max() <= HOT_C:
        yield (
            f"the shed is taken to be no warmer than {temp_c.max():.0f} C: a closed one in the sun may well be "
            f"{CLOSED_SHED_C:g} degrees warmer than that, which shed_sun_c in [site] says"
        )


def _show_spells(is_out: NDArray[np.bool_], grid: Grid, most: int = 3) -> str:
    spells = []
    for out, steps in groupby(range(grid.n_steps), key=lambda step: bool(is_out[step])):
        if out:
            first, *rest = steps
            last = rest[-1] if rest else first
            spells.append(f"{grid.local(first):%a %H:%M} to {grid.local(last + 1):%H:%M}")
    more = f" and {len(spells) - most} times more" if len(spells) > most else ""
    return ", ".join(spells[:most]) + more
