"""A small yard under Greensboro's typical year, to live a few days of."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import Executor, Future
from functools import cache
from pathlib import Path
from typing import Any

from scheduler.studies.year import PreparedYear, YearSettings, prepare_year
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Outlet, Site, Visits, Yard

ROOT = Path(__file__).parents[2]
SITE = Site(name="plot", latitude=36.1, longitude=-79.95, elevation_m=270.0, timezone="America/New_York")


@cache
def greensboro() -> TypicalYear:
    weather = read_weather(ROOT / "forecasts" / "greensboro-tmy3.csv", SITE)
    assert isinstance(weather, TypicalYear)
    return weather


def machine(name: str, **changed: Any) -> Machine:
    plain: dict[str, Any] = {
        "name": name,
        "battery_wh": 1000.0,
        "charger_w": 250.0,
        "charge_pct": 60.0,
        "needs": [{"ready_by": "08:00", "away_h": 4.0, "energy_wh": 600.0}],
    }
    return Machine.model_validate({**plain, **changed})


def plot(**changed: Any) -> Yard:
    plain: dict[str, Any] = {
        "site": SITE,
        "arrays": (Array(name="roof", panels=2, panel_w=400.0, tilt_deg=30.0, azimuth_deg=180.0),),
        "bank": Bank(modules_wh=(2500.0,), reserve_pct=25.0, level_pct=60.0),
        "inverter": Inverter(continuous_w=1000.0, idle_w=10.0),
        "outlets": (Outlet(name="bench", kind="ac"), Outlet(name="gate", kind="ac")),
        "house_loads": (
            HouseLoad(name="fridge", watts=25.0, always_on=True),
            HouseLoad(name="fan", watts=60.0, hours_per_day=3.0, window=("20:00", "04:00"), min_block_h=1.0),
        ),
        "visits": Visits(times=("08:00", "13:00", "18:00")),
        "machines": (machine("cart", priority="must"), machine("mower"), machine("saw", priority="could")),
    }
    return Yard(**{**plain, **changed})


def days_from(month: int, day: int, n_days: int, **changed: Any) -> YearSettings:
    return YearSettings(first_day=dt.date(2027, month, day), n_days=n_days, **changed)


@cache
def a_week_in_may() -> PreparedYear:
    return prepare_year(plot(), greensboro(), days_from(5, 3, 7))


class Here(Executor):
    """Does at once what it is given."""

    def submit(self, work: Any, /, *given: Any, **named: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(work(*given, **named))
        return done
