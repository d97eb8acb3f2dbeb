"""Small yards that once got a worse plan than they could have, or a wrong one, and why."""

from __future__ import annotations

from scheduler.planning.planner import Settings, make_plan
from scheduler.planning.record import AimStatus, Plan
from scheduler.yard.models import Bank, HouseLoad, Inverter, Machine, Need, Outlet, Visits, Yard
from tests.oracle_physics import Case
from tests.random_yards import PANELS, SITE, START, clock, day_sun, hours_of_day, make_case


def plan_of(case: Case) -> Plan:
    plan = make_plan(case.yard, case.agenda, case.suns, Settings(), START)
    assert plan.replay is not None
    assert plan.replay.violations == ()
    return plan


def yard_of(*machines: Machine, **changes: object) -> Yard:
    """A yard of plenty, on two outlets of which each bears 192 W for good."""
    given: dict[str, object] = {
        "bank": Bank(modules_wh=(9000.0,), reserve_pct=20.0, level_pct=90.0),
        "inverter": Inverter(continuous_w=1000.0),
        "outlets": tuple(Outlet(name=name, kind="ac", breaker_a=2.0) for name in ("left", "right")),
        "visits": Visits(times=hours_of_day([5, 8])),
    }
    return Yard(site=SITE, arrays=PANELS, machines=machines, **{**given, **changes})


def test_a_breaker_that_is_hot_for_too_long_before_anybody_comes_does_not_spoil_the_plan() -> None:
    """The 3-hour rows (R6) looked at the hours before the first visit too, and no choice kept them."""
    found = Machine(
        name="found",
        battery_wh=2000.0,
        charger_w=200.0,
        charger_efficiency_pct=100.0,
        taper_from_pct=100.0,
        charge_pct=0.0,
        outlet="left",
        needs=(Need(ready_by=clock(10), energy_wh=900.0),),
    )
    other = Machine(
        name="other",
        battery_wh=500.0,
        charger_w=100.0,
        charge_pct=0.0,
        needs=(Need(ready_by=clock(12), energy_wh=300.0),),
    )
    plan = plan_of(make_case(yard_of(found, other), 14, 60, day_sun(0.0)))
    assert all(aim.status is AimStatus.PROVEN for aim in plan.aims)
    assert all(need.ready for machine in plan.machines for need in machine.needs)


def test_a_breaker_that_was_hot_before_the_first_visit_is_not_to_stay_so_after_it() -> None:
    found = Machine(
        name="found",
        battery_wh=2000.0,
        charger_w=200.0,
        charger_efficiency_pct=100.0,
        taper_from_pct=100.0,
        charge_pct=0.0,
        outlet="left",
        needs=(Need(ready_by=clock(12), energy_wh=1100.0),),
    )
    yard = yard_of(found, visits=Visits(times=hours_of_day([5, 7])))
    plan = plan_of(make_case(yard, 14, 60, day_sun(0.0)))
    assert plan.machines[0].outlet[5] == "right"
    assert plan.machines[0].needs[0].ready


def test_duty_loads_take_turns_where_the_inverter_cannot_carry_both() -> None:
    """Both ran where the sun was strongest; the house alone passed for too much, and the plan was let do the same."""
    fans = tuple(
        HouseLoad(name=name, watts=300.0, hours_per_day=2.0, window=("08:00", "14:00")) for name in ("fan", "pump")
    )
    inverter = Inverter(continuous_w=450.0)
    case = make_case(yard_of(house_loads=fans, inverter=inverter), 14, 60, day_sun(300.0))
    plan = plan_of(case)
    assert plan.inverter_peak_w.max() == 300.0


def test_duty_loads_take_turns_where_the_inverter_cannot_start_one_beside_the_other() -> None:
    fans = tuple(
        HouseLoad(name=name, watts=200.0, surge_w=500.0, hours_per_day=2.0, window=("08:00", "14:00"))
        for name in ("fan", "pump")
    )
    inverter = Inverter(continuous_w=450.0, surge_w=600.0)
    case = make_case(yard_of(house_loads=fans, inverter=inverter), 14, 60, day_sun(300.0))
    plan = plan_of(case)
    assert plan.inverter_peak_w.max() == 200.0


def test_duty_loads_take_turns_where_the_bank_cannot_give_to_both() -> None:
    fans = tuple(
        HouseLoad(name=name, watts=300.0, hours_per_day=2.0, window=("08:00", "14:00")) for name in ("fan", "pump")
    )
    bank = Bank(modules_wh=(9000.0,), reserve_pct=20.0, level_pct=90.0, discharge_max_w=450.0)
    plan = plan_of(make_case(yard_of(house_loads=fans, bank=bank), 14, 60, day_sun(10.0)))
    assert plan.inverter_peak_w.max() == 300.0
