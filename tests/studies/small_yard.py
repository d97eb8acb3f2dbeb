"""A yard so small that a day of its life takes a few hundredths of a second, under Greensboro's sun."""

from __future__ import annotations

import functools
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.yard.models import Array, Bank, HouseLoad, Inverter, Machine, Need, Outlet, Site, Visits, Yard

SITE = Site(latitude=36.1, longitude=-79.95, elevation_m=273.0, timezone="America/New_York")


def small_yard(**changed: Any) -> Yard:
    """A cart that is needed every noon, one outlet, two visits, just enough sun for it in winter."""
    tables = {
        "site": SITE,
        "arrays": (Array(name="roof", panels=2, panel_w=150.0, tilt_deg=30.0, azimuth_deg=180.0),),
        "bank": Bank(modules_wh=(800.0,), reserve_pct=20.0, level_pct=60.0),
        "inverter": Inverter(continuous_w=600.0, idle_w=3.0),
        "outlets": (Outlet(name="wall", kind="ac"),),
        "house_loads": (HouseLoad(name="radio", watts=4.0, always_on=True),),
        "visits": Visits(times=("08:00", "12:00")),
        "machines": (daily("cart", 150.0, priority="must"),),
    }
    return Yard.model_validate({**tables, **changed})


def daily(name: str, energy_wh: float, at: str = "12:00", **changed: Any) -> Machine:
    """A machine that does the same work every day, at home again an hour later."""
    return Machine.model_validate(
        {
            "name": name,
            "battery_wh": 400.0,
            "charger_w": 120.0,
            "self_protecting": True,
            "charge_pct": 50.0,
            "needs": (Need(ready_by=at, energy_wh=energy_wh, away_h=1.0),),
            **changed,
        }
    )


@functools.cache
def greensboro() -> TypicalYear:
    """The typical year that ships with the project."""
    read = read_weather(Path(__file__).parents[2] / "forecasts" / "greensboro-tmy3.csv", SITE)
    assert isinstance(read, TypicalYear)
    return read


class AtOnce(Executor):
    """Does what it is given before it goes on."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:  # type: ignore[override]
        done: Future[Any] = Future()
        done.set_result(fn(*args, **kwargs))
        return done


def tell_nobody(words: str, done_fraction: float) -> None:
    assert words
    assert 0.0 <= done_fraction <= 1.0
