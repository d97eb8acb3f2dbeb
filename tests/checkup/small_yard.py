"""A small healthy yard for the check-up's tests, with what a test changes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scheduler.yard.models import Array, Bank, Inverter, Machine, Outlet, Site, Visits, Yard

PLACE: dict[str, Any] = {"latitude": 36.1, "longitude": -79.95, "timezone": "America/New_York"}
PANELS: dict[str, Any] = {
    "name": "roof",
    "panels": 4,
    "panel_w": 400.0,
    "tilt_deg": 20.0,
    "azimuth_deg": 180.0,
}


def make_yard(
    *,
    site: dict[str, Any] | None = None,
    arrays: Sequence[dict[str, Any]] = (PANELS,),
    machines: Sequence[dict[str, Any]] = (),
) -> Yard:
    return Yard(
        site=Site(**(PLACE | (site or {}))),
        arrays=tuple(Array(**array) for array in arrays),
        bank=Bank(modules_wh=(5000.0,), reserve_pct=20.0, level_pct=60.0),
        inverter=Inverter(continuous_w=3000.0),
        outlets=(Outlet(name="wall", kind="ac", breaker_a=15.0),),
        visits=Visits(times=("07:00", "18:00")),
        machines=tuple(Machine(**machine) for machine in machines),
    )
