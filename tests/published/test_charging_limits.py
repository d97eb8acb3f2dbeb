"""Published limits of charging, seen through the planner: battery temperatures and continuous loads."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from scheduler.planning.planner import Settings, make_plan
from scheduler.planning.record import Plan
from scheduler.yard.models import Bank, Inverter, Machine, Need, Outlet, Visits, Yard
from tests.random_yards import PANELS, SITE, START, clock, make_case

MADE_AT = START - dt.timedelta(hours=1)


def plan_one(
    *,
    charger_w: float,
    hours: float,
    shed_c: float = 20.0,
    self_protecting: bool = False,
    breaker_a: float = 50.0,
) -> Plan:
    """One machine that is empty and full after `hours` on its charger, wanted full after 6 hours."""
    yard = Yard(
        site=SITE,
        arrays=PANELS,
        bank=Bank(modules_wh=(60_000.0,), reserve_pct=10.0, level_pct=100.0),
        inverter=Inverter(continuous_w=20_000.0),
        outlets=(Outlet(name="wall", kind="ac", breaker_a=breaker_a, volts=120.0),),
        visits=Visits(times=("06:00",)),
        machines=(
            Machine(
                name="cart",
                battery_wh=charger_w * hours,
                charger_w=charger_w,
                charger_efficiency_pct=100.0,
                taper_from_pct=100.0,
                self_protecting=self_protecting,
                charge_pct=0.0,
                needs=(Need(ready_by=clock(6), charge_pct=100.0),),
            ),
        ),
    )
    case = make_case(yard, 6.0, 15, lambda grid: np.zeros(grid.n_steps), (shed_c,))
    return make_plan(case.yard, case.agenda, case.suns, Settings(), made_at=MADE_AT)


def is_ready(plan: Plan) -> bool:
    return plan.machines[0].needs[0].ready


# ---- B-01: lithium-ion is charged from 0 to 45 C and never below freezing --------------------------
# Battery University, BU-410: Charging at High and Low Temperatures, Table 1.


def test_a_lithium_battery_has_the_published_window_unless_the_file_says_otherwise() -> None:
    assert Machine(name="cart", battery_wh=500.0, charger_w=100.0, charge_pct=0.0).charge_temp_c == (
        0.0,
        45.0,
    )


@pytest.mark.parametrize("self_protecting", [False, True])
@pytest.mark.parametrize(("shed_c", "charges"), [(-0.1, False), (0.0, True), (45.0, True), (45.1, False)])
def test_a_lithium_battery_is_charged_from_0_to_45_c_only(
    shed_c: float, charges: bool, self_protecting: bool
) -> None:
    plan = plan_one(charger_w=500.0, hours=2.0, shed_c=shed_c, self_protecting=self_protecting)
    assert is_ready(plan) is charges
    assert bool(plan.machines[0].wall_wh.any()) is charges


# ---- B-15 and B-17: what runs for 3 hours or more draws at most 80 % of the breaker's rating -------
# NEC 210.19(A)(1) and 210.20(A): a circuit of at least 125 % of a continuous load, one of 3 hours or more.


@pytest.mark.parametrize(
    ("breaker_a", "volts", "watts"),
    [(15, 120, 1440), (20, 120, 1920), (30, 120, 2880), (30, 240, 5760), (50, 240, 9600)],
)
def test_an_outlets_continuous_watts_are_four_fifths_of_its_breaker(
    breaker_a: float, volts: float, watts: float
) -> None:
    outlet = Outlet(name="wall", kind="ac", breaker_a=float(breaker_a), volts=float(volts))
    assert outlet.continuous_w == pytest.approx(watts, rel=1e-12)


@pytest.mark.parametrize(
    ("charger_w", "hours", "ready"),
    [
        (1440.0, 5.0, True),
        (1440.0, 3.0, True),
        (1441.0, 3.0, False),
        (1441.0, 2.75, True),
        (1800.0, 2.75, True),
        (1800.0, 3.25, False),
        (1801.0, 1.0, False),
    ],
)
def test_a_15_a_outlet_gives_1440_w_for_good_and_more_for_less_than_3_hours(
    charger_w: float, hours: float, ready: bool
) -> None:
    assert is_ready(plan_one(charger_w=charger_w, hours=hours, breaker_a=15.0)) is ready
