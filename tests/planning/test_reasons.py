"""Why a machine is not ready, and what would help: each rule in a yard where only it binds."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from scheduler.planning.planner import Settings, make_plan
from scheduler.planning.record import NeedPlan, Plan
from scheduler.yard.models import Bank, HouseLoad, Inverter, Machine, Need, Outlet, Visits, Yard
from tests.random_yards import PANELS, SITE, hours_of_day, make_case

MADE_AT = dt.datetime(2027, 6, 9, tzinfo=dt.UTC)


def machine(name: str, by: str = "12:00", **extra: Any) -> Machine:
    """A machine that takes two hours at 100 W to the full, unless told otherwise."""
    return Machine.model_validate(
        {
            "name": name,
            "battery_wh": 200.0,
            "charger_w": 100.0,
            "charger_efficiency_pct": 100.0,
            "taper_from_pct": 100.0,
            "charge_pct": 0.0,
            "needs": [Need(ready_by=by, charge_pct=100.0)],
            **extra,
        }
    )


def plan_of(
    *machines: Machine,
    level_pct: float = 90.0,
    outlets: int = 2,
    inverter_w: float = 1000.0,
    visits: tuple[int, ...] = (0, 2, 4),
    temp_c: float = 20.0,
    house: tuple[HouseLoad, ...] = (),
    morning_sun_w: float = 0.0,
) -> Plan:
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
        inverter=Inverter(continuous_w=inverter_w, efficiency_pct=100.0, idle_w=0.0),
        outlets=tuple(Outlet(name=f"outlet {number}", kind="ac") for number in range(1, outlets + 1)),
        house_loads=house,
        visits=Visits(times=hours_of_day(visits)),
        machines=machines,
    )
    case = make_case(
        yard, 24, 60, lambda grid: np.where(np.arange(grid.n_steps) < 4, morning_sun_w, 0.0), temp_c=(temp_c,)
    )
    plan = make_plan(yard, case.agenda, case.suns, Settings(), MADE_AT)
    assert plan.replay is not None
    assert not plan.replay.violations
    return plan


def unready(plan: Plan) -> list[NeedPlan]:
    return [need for machine in plan.machines for need in machine.needs if not need.ready]


def test_a_charger_too_slow_is_r7_and_nothing_helps() -> None:
    (need,) = unready(plan_of(machine("one", by="07:00")))
    assert need.because is not None
    assert need.because.rule == "R7"
    assert need.would_help == ("nothing: the charger is too slow for the time left",)


def test_a_need_that_is_due_as_the_plan_begins_is_told_as_that_and_blames_no_charger() -> None:
    (need,) = unready(plan_of(machine("one", by="06:00")))
    assert need.edge == 0
    assert need.because is not None
    assert need.because.rule == "R12"
    assert need.because.text == "it is due as the plan begins, with too little in it"
    assert need.would_help == ("nothing: it is due as the plan begins",)


def test_a_shed_too_cold_is_r8() -> None:
    (need,) = unready(plan_of(machine("one"), temp_c=-5.0))
    assert need.because is not None
    assert need.because.rule == "R8"


def test_nobody_there_in_time_is_r10_and_names_the_latest_visit_that_would_do() -> None:
    (need,) = unready(plan_of(machine("one", by="11:00"), visits=(4,)))
    assert need.because is not None
    assert need.because.rule == "R10"
    assert need.would_help == ("one more visit at 09:00",)


def test_where_one_visit_is_not_enough_the_fewest_are_named() -> None:
    """Away from 8 to 9: 110 Wh can be charged before that and as much after it, and 200 Wh are asked for."""
    away = Need(ready_by="08:00", away_h=1.0, charge_pct=1.0, priority="could")
    slow = machine("slow", charger_w=55.0, charge_pct=2.0, needs=[away, Need(ready_by="11:00", charge_pct=100.0)])
    need = unready(plan_of(slow, visits=(4,)))[-1]
    assert need.because is not None
    assert need.because.rule == "R10"
    assert need.would_help == ("2 more visits, at 06:00, 09:00, and room for it then",)


def test_no_free_outlet_is_r6_and_one_more_would_do() -> None:
    plan = plan_of(machine("one", by="08:00"), machine("two", by="08:00"), outlets=1, visits=(0,))
    (need,) = unready(plan)
    assert need.because is not None
    assert need.because.rule == "R6"
    assert "one more AC outlet" in need.would_help


def test_an_inverter_too_small_is_r5_and_tells_the_watts() -> None:
    plan = plan_of(machine("one", by="08:00"), machine("two", by="08:00"), inverter_w=150.0, visits=(0,))
    (need,) = unready(plan)
    assert need.because is not None
    assert need.because.rule == "R5"
    assert "50 W more from the inverter" in need.would_help


def test_a_bank_at_its_reserve_is_r4_and_tells_the_energy_and_since_when() -> None:
    plan = plan_of(machine("one"), machine("two"), level_pct=45.0)
    (need,) = unready(plan)
    assert need.because is not None
    assert need.because.rule == "R4"
    assert "the dull-sun reserve binds from" in need.because.text
    assert "0.2 kWh more in the bank" in need.would_help  # 400 Wh wanted, 250 Wh there: 150 Wh, rounded up


@pytest.mark.parametrize("extra_wh", [149.0, 151.0])
def test_the_energy_said_to_help_does_and_a_little_less_does_not(extra_wh: float) -> None:
    plan = plan_of(machine("one"), machine("two"), level_pct=45.0 + extra_wh / 10)
    assert len(unready(plan)) == (0 if extra_wh > 150.0 else 1)


def test_the_visit_said_to_help_does() -> None:
    assert not unready(plan_of(machine("one", by="11:00"), visits=(3, 4)))
    assert unready(plan_of(machine("one", by="11:00"), visits=(4, 5)))


def test_a_house_that_breaks_the_reserve_alone_keeps_its_shortage_and_gets_no_machine_on_top() -> None:
    lamp = HouseLoad(name="lamp", watts=20.0, always_on=True)
    plan = plan_of(machine("one"), level_pct=40.0, house=(lamp,))
    assert plan.bank.level_wh["dull"][-1] < plan.bank.reserve_wh
    assert plan.bank.level_wh["dull"].tolist() == pytest.approx(
        [max(0.0, 400.0 - 20.0 * hours) for hours in range(25)]
    )
    assert [need.because.rule for need in unready(plan) if need.because] == ["R4"]


def test_energy_that_the_house_would_eat_is_not_said_to_help() -> None:
    lamp = HouseLoad(name="lamp", watts=40.0, always_on=True)
    plan = plan_of(machine("one"), level_pct=40.0, house=(lamp,))
    (need,) = unready(plan)
    # 960 Wh for the house and 200 Wh for the machine above the reserve: more than the bank holds.
    assert not [text for text in need.would_help if "more in the bank" in text]


def test_a_bank_that_the_house_empties_under_every_sun_leaves_every_aim_proven() -> None:
    lamp = HouseLoad(name="lamp", watts=40.0, always_on=True)
    plan = plan_of(machine("one"), level_pct=40.0, house=(lamp,))
    assert plan.bank.level_wh["likely"][-1] == 0.0
    assert plan.made_by == "every aim proven"


def test_a_duty_load_is_run_where_the_shortage_is_least() -> None:
    fan = HouseLoad.model_validate(
        {
            "name": "fan",
            "watts": 100.0,
            "hours_per_day": 3.0,
            "window": ["07:00", "23:00"],
            "min_block_h": 1.0,
        }
    )
    plan = plan_of(level_pct=40.0, house=(fan,), morning_sun_w=10.0)
    # 440 Wh less 300 Wh cannot stay above 200 Wh; the last of the three hours can wait until the window closes.
    short = np.flatnonzero(plan.bank.level_wh["dull"] < plan.bank.reserve_wh)
    assert short[0] == 17
