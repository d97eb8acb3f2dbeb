"""A store's yard in which nothing is wrong on the AC side or at the bank, and years made by hand for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from scheduler.checkup.findings import Finding, Grade, PartReport
from scheduler.checkup.siteyear import ArrayYear, SiteYear
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Outlet, Site, Visits, Yard

BANK: dict[str, Any] = {
    "modules_wh": (10_000.0,),
    "reserve_pct": 20.0,
    "level_pct": 50.0,
    "charge_max_w": 4000.0,
    "discharge_max_w": 4000.0,
    "charge_efficiency_pct": 100.0,
    "discharge_efficiency_pct": 100.0,
}
INVERTER: dict[str, Any] = {
    "continuous_w": 3000.0,
    "surge_w": 6000.0,
    "efficiency_pct": 100.0,
    "idle_w": 20.0,
}
TABLES: dict[str, Any] = {
    "site": Site(latitude=36.1, longitude=-79.95, timezone="America/New_York"),
    "arrays": (Array(name="roof", panels=10, panel_w=400.0, tilt_deg=20.0, azimuth_deg=180.0),),
    "bank": Bank(**BANK),
    "inverter": Inverter(**INVERTER),
    "outlets": (Outlet(name="wall", kind="ac", breaker_a=15.0),),
    "house_loads": (),
    "visits": Visits(times=("07:00", "18:00")),
    "machines": (),
}


def store_yard(**changed: Any) -> Yard:
    """The yard with other tables; `bank` and `inverter` may be given as the keys that differ."""
    if isinstance(changed.get("bank"), dict):
        changed["bank"] = Bank(**BANK | changed["bank"])
    if isinstance(changed.get("inverter"), dict):
        changed["inverter"] = Inverter(**INVERTER | changed["inverter"])
    return Yard.model_validate(TABLES | changed)


def machine(charger_w: float, name: str = "cart", **changed: Any) -> Machine:
    """A battery of two hours, its charger without losses or taper."""
    figures = {"battery_wh": 2.0 * charger_w, "charger_efficiency_pct": 100.0, "taper_from_pct": 100.0}
    return Machine.model_validate(
        figures | {"name": name, "charger_w": charger_w, "charge_pct": 50.0} | changed
    )


def outlet(name: str = "wall", breaker_a: float | None = 15.0, **changed: Any) -> Outlet:
    return Outlet.model_validate({"name": name, "kind": "ac", "breaker_a": breaker_a} | changed)


def load(name: str, watts: float, surge_w: float | None = None, **changed: Any) -> HouseLoad:
    hours = {} if changed.get("always_on") else {"hours_per_day": 2.0}
    return HouseLoad.model_validate({"name": name, "watts": watts, "surge_w": surge_w} | hours | changed)


def year_of(
    day_w: Callable[[int], float] = lambda _: 3000.0, shed_c: Callable[[int], float] = lambda _: 15.0
) -> SiteYear:
    """Sun from 6:00 to 18:00 all the year, as many watts as `day_w` has for the day of the year, 0 the first."""
    day, hour = np.divmod(np.arange(8760), 24)
    sun_up = (hour >= 6) & (hour < 18)
    panels_w = np.array([day_w(number) for number in range(365)])[day] * sun_up
    shed = np.array([shed_c(number) for number in range(365)])[day]
    month = pd.date_range("2001-01-01", periods=8760, freq="h").month.to_numpy()
    return SiteYear("year made by hand", month, shed, shed, sun_up, (ArrayYear(panels_w, shed),))


def of_grade(report: PartReport, *grades: Grade) -> list[Finding]:
    return [finding for finding in report.findings if finding.grade in grades]


def grave(report: PartReport) -> list[Finding]:
    """Stops and warnings."""
    return of_grade(report, Grade.STOP, Grade.WARNING)


def figure(report: PartReport, words: str) -> tuple[float, float | None]:
    """The value and the limit of the one figure whose name has these words."""
    (found,) = [figure for figure in report.figures if words in figure.name]
    return found.value, found.limit
