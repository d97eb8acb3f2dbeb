"""The rules of thumb, on yards small enough to follow by hand."""

from __future__ import annotations

import numpy as np

from scheduler.planning.thumb import compare_rules_of_thumb
from scheduler.yard.models import Bank, Inverter, Machine, Need, Outlet, Visits, Yard
from tests.oracle_physics import Case
from tests.random_yards import PANELS, SITE, hours_of_day, make_case


def yard_of(machines: tuple[Machine, ...], level_pct: float = 90.0, outlets: int = 1) -> Case:
    yard = Yard(
        site=SITE,
        arrays=PANELS,
        bank=Bank(
            modules_wh=(1000.0,),
            reserve_pct=20.0,
            level_pct=level_pct,
            charge_efficiency_pct=100.0,
            discharge_efficiency_pct=100.0,
        ),
        inverter=Inverter(continuous_w=1000.0, efficiency_pct=100.0, idle_w=0.0),
        outlets=tuple(Outlet(name=f"outlet {number}", kind="ac") for number in range(1, outlets + 1)),
        visits=Visits(times=hours_of_day(range(24))),
        machines=machines,
    )
    return make_case(yard, 24, 60, lambda grid: np.zeros(grid.n_steps))


def machine(name: str, hours: int, by: str, priority: str = "should") -> Machine:
    """A machine that takes so many hours at 100 W, to the full."""
    return Machine.model_validate(
        {
            "name": name,
            "battery_wh": 100.0 * hours,
            "charger_w": 100.0,
            "charger_efficiency_pct": 100.0,
            "taper_from_pct": 100.0,
            "charge_pct": 0.0,
            "priority": priority,
            "needs": [Need(ready_by=by, charge_pct=100.0)],
        }
    )


def met(case: Case) -> dict[str, int]:
    rules = compare_rules_of_thumb(case.yard, case.agenda, case.suns, {})
    return {rule.name: sum(rule.met.values()) for rule in rules}


def test_the_order_decides_who_is_ready() -> None:
    case = yard_of((machine("late", 3, "13:00"), machine("soon", 2, "08:00")))
    assert met(case) == {"all in turn": 1, "earliest deadline first": 2, "priority first": 2}


def test_priority_goes_before_the_deadline() -> None:
    case = yard_of((machine("soon", 2, "08:00"), machine("weighty", 2, "08:00", "must")))
    rules = {rule.name: rule.met for rule in compare_rules_of_thumb(case.yard, case.agenda, case.suns, {})}
    assert rules["priority first"]["must"] == 1
    assert rules["earliest deadline first"]["must"] == 0


def test_ac_stops_where_the_bank_would_fall_below_its_reserve() -> None:
    case = yard_of((machine("one", 3, "12:00"),), level_pct=45.0)
    (rule, *_) = compare_rules_of_thumb(case.yard, case.agenda, case.suns, {})
    assert sum(rule.met.values()) == 0  # 250 Wh above the reserve, 300 Wh wanted
    # Two hours of 100 W leave 50 Wh: from the third on AC stays off for as long as the machine is plugged in.
    assert rule.ac_off_h == 22.0


def test_nobody_plugs_in_what_the_inverter_cannot_stand() -> None:
    machines = tuple(machine(f"m{number}", 2, "08:00") for number in range(3))
    case = yard_of(machines, outlets=3)
    assert met(case)["all in turn"] == 3
    weak = Inverter(continuous_w=250.0, efficiency_pct=100.0, idle_w=0.0)
    yard = case.yard.model_copy(update={"inverter": weak})
    rules = compare_rules_of_thumb(yard, case.agenda, case.suns, {})
    assert sum(rules[0].met.values()) == 2
