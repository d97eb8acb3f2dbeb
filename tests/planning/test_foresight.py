"""The bound that perfect foresight sets: never below what can be done, and met where nothing is eased (ID-05)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from scheduler.planning.foresight import Foresight, Leave, bound_needs, slot_edges
from scheduler.planning.linear import LinearFault, LinearModel, solve_linear
from scheduler.planning.planner import Settings, make_plan
from scheduler.yard.models import PRIORITIES, Bank, HouseLoad, Inverter, Machine, Need, Outlet, Visits, Yard
from tests.oracle_bruteforce import best_by_trying_everything
from tests.oracle_physics import Best, Case, allowed_wh
from tests.random_yards import PANELS, SITE, START, clock, day_sun, make_case, medium_case, show, tiny_case


def bound_of(case: Case, **leave: Any) -> Foresight:
    """The bound under the dull sun, which is the one that a plan keeps R4 under."""
    given = Leave(**leave) if leave else None
    return bound_needs(case.yard, case.agenda, case.suns.dull_w, case.suns.shed_temp_c, given)


def assert_no_less(bound: Foresight, best: Best, story: str) -> None:
    reached = {"must": best.must, "should": best.should, "could": best.could}
    assert tuple(bound.met_most.values()) >= tuple(reached.values()), f"{bound} {reached}\n{story}"
    assert bound.met_most_altogether >= sum(reached.values()), f"{bound} {reached}\n{story}"


@pytest.mark.parametrize("seed", range(100, 130))
def test_nobody_betters_the_bound_in_a_tiny_yard(seed: int) -> None:
    case = tiny_case(seed)
    assert_no_less(bound_of(case, floor_wh=allowed_wh(case)), best_by_trying_everything(case), show(case))


@pytest.mark.parametrize("seed", range(200, 208))
def test_nobody_betters_it_with_duty_loads(seed: int) -> None:
    case = tiny_case(seed, duty=True)
    assert_no_less(bound_of(case, floor_wh=allowed_wh(case)), best_by_trying_everything(case), show(case))


@pytest.mark.parametrize("seed", range(300, 308))
def test_nobody_betters_it_with_a_timer(seed: int) -> None:
    case = tiny_case(seed, timers=True)
    assert_no_less(bound_of(case, floor_wh=allowed_wh(case)), best_by_trying_everything(case), show(case))


@pytest.mark.parametrize("seed", range(500, 504))
def test_no_plan_betters_it_in_a_medium_yard(seed: int) -> None:
    case = medium_case(seed, hours=36, machines=7)
    plan = make_plan(case.yard, case.agenda, case.suns, Settings(), made_at=START)
    needs = [need for machine in plan.machines for need in machine.needs if need.ready]
    met = {priority: sum(need.priority == priority for need in needs) for priority in PRIORITIES}
    best = Best(met["must"], met["should"], met["could"], 0.0, 0.0, 0.0)
    assert_no_less(bound_of(case, floor_wh=plan.bank.allowed_wh), best, show(case))


# ---- by hand: one limit each, just enough and a little less ------------------------------------------


def lossless_machine(name: str, **changed: Any) -> Machine:
    """An empty machine that takes 400 Wh in 2 h, wanted with them at 12:00, six hours from the start."""
    return Machine.model_validate(
        {
            "name": name,
            "battery_wh": 400.0,
            "charger_w": 200.0,
            "charger_efficiency_pct": 100.0,
            "taper_from_pct": 100.0,
            "charge_pct": 0.0,
            "needs": (Need(ready_by=clock(6), energy_wh=400.0),),
            **changed,
        }
    )


def case_of(n_machines: int = 3, temp_c: tuple[float, ...] = (20.0,), **changed: Any) -> Case:
    """Machines that are alike, an outlet each, and a bank with just 2000 Wh above its reserve; nothing is lost."""
    tables = {
        "site": SITE,
        "arrays": PANELS,
        "bank": lossless_bank(2000.0),
        "inverter": Inverter(continuous_w=5000.0, efficiency_pct=100.0, idle_w=0.0),
        "outlets": tuple(Outlet(name=f"wall {number}", kind="ac") for number in range(n_machines)),
        "visits": Visits(times=("06:00",)),
        "machines": tuple(lossless_machine(f"cart {number}") for number in range(n_machines)),
    }
    return make_case(Yard.model_validate({**tables, **changed}), 6.0, 60, day_sun(0.0), temp_c)


def lossless_bank(usable_wh: float, **changed: float) -> Bank:
    """A bank with so much above its reserve at the start."""
    return Bank(
        modules_wh=(10_000.0,),
        reserve_pct=20.0,
        level_pct=20.0 + usable_wh / 100.0,
        **{"charge_efficiency_pct": 100.0, "discharge_efficiency_pct": 100.0, **changed},
    )


def most(case: Case, **leave: Any) -> int:
    return bound_of(case, **leave).met_most["should"]


def test_with_enough_of_everything_all_needs_are_in_the_bound() -> None:
    assert bound_of(case_of()) == Foresight(
        {"must": 0, "should": 3, "could": 0}, {"must": 0, "should": 3, "could": 0}, 3, pytest.approx(0.0)
    )


@pytest.mark.parametrize(("usable_wh", "met"), [(1200.0, 3), (1190.0, 2), (399.0, 0), (0.0, 0)])
def test_the_bank_above_its_reserve_is_all_there_is(usable_wh: float, met: int) -> None:
    assert most(case_of(bank=lossless_bank(usable_wh))) == met


def test_every_loss_on_the_way_counts() -> None:
    # 1200 Wh through 80 % discharge, 90 % inverter, 90 % charger are 777.6: one cart and most of another.
    inverter = Inverter(continuous_w=5000.0, efficiency_pct=90.0, idle_w=0.0)
    machines = tuple(lossless_machine(f"cart {number}", charger_efficiency_pct=90.0) for number in range(3))
    lossy = {"inverter": inverter, "machines": machines}
    usable_wh = 800.0 / 0.9 / 0.9 / 0.8
    assert most(case_of(bank=lossless_bank(usable_wh, discharge_efficiency_pct=80.0), **lossy)) == 2
    assert most(case_of(bank=lossless_bank(usable_wh - 10.0, discharge_efficiency_pct=80.0), **lossy)) == 1


def test_a_lower_floor_lets_more_be_met() -> None:
    case = case_of(bank=lossless_bank(0.0))
    assert most(case, floor_wh=800.0) == 3
    assert most(case, floor_wh=810.0) == 2


def test_the_house_comes_first_unless_it_is_told_to_go_without() -> None:
    # 100 W for 6 h and two carts; with nobody's leave the house is served.
    house = (HouseLoad(name="lamp", watts=100.0, always_on=True),)
    case = case_of(bank=lossless_bank(1400.0), house_loads=house)
    assert most(case) == 2
    assert most(case, floor_wh=2000.0, unserved_wh=390.0) == 2
    assert most(case, floor_wh=2000.0, unserved_wh=400.0) == 3


def test_a_house_that_cannot_be_served_is_told_at_the_least() -> None:
    house = (HouseLoad(name="lamp", watts=100.0, always_on=True),)
    found = bound_of(case_of(bank=lossless_bank(250.0), house_loads=house))
    assert found.unserved_wh == pytest.approx(350.0, abs=0.01)
    assert found.met_most["should"] == 0


def test_idle_draw_is_paid() -> None:
    inverter = Inverter(continuous_w=5000.0, efficiency_pct=100.0, idle_w=50.0)
    assert most(case_of(bank=lossless_bank(1500.0), inverter=inverter)) == 3
    assert most(case_of(bank=lossless_bank(1490.0), inverter=inverter)) == 2


@pytest.mark.parametrize(("watts", "met"), [(200.0, 3), (199.0, 2)])
def test_the_inverters_watts_over_the_time_bound_the_energy(watts: float, met: int) -> None:
    # 1200 Wh in 6 h.
    inverter = Inverter(continuous_w=watts, surge_w=6000.0, efficiency_pct=100.0, idle_w=0.0)
    assert most(case_of(inverter=inverter)) == met


@pytest.mark.parametrize(("surge_w", "met"), [(700.0, 3), (699.0, 2)])
def test_a_motor_that_may_start_keeps_its_watts_free(surge_w: float, met: int) -> None:
    house = (HouseLoad(name="fridge", watts=10.0, surge_w=500.0, always_on=True),)
    inverter = Inverter(continuous_w=600.0, surge_w=surge_w, efficiency_pct=100.0, idle_w=0.0)
    assert most(case_of(inverter=inverter, house_loads=house)) == met


@pytest.mark.parametrize(("outlets", "kind", "met"), [(1, "ac", 3), (1, "dc", 0)])
def test_an_outlet_gives_its_hours_to_its_own_kind(outlets: int, kind: str, met: int) -> None:
    given = tuple(Outlet(name=f"port {number}", kind=kind) for number in range(outlets))  # type: ignore[arg-type]
    assert most(case_of(outlets=given)) == met


def test_four_machines_of_two_hours_do_not_fit_one_outlet_in_six() -> None:
    outlet = (Outlet(name="wall", kind="ac"),)
    assert most(case_of(n_machines=4, outlets=outlet)) == 3


def test_an_outlet_too_weak_for_a_charger_is_none() -> None:
    weak, strong = Outlet(name="weak", kind="ac", max_w=150.0), Outlet(name="strong", kind="ac")
    assert most(case_of(n_machines=4, outlets=(weak, strong))) == 3
    assert most(case_of(outlets=(weak,))) == 0


def test_nobody_is_charged_before_somebody_comes() -> None:
    assert most(case_of(visits=Visits(times=("10:00",)))) == 3
    assert most(case_of(visits=Visits(times=("11:00",)))) == 0


def test_what_stands_in_an_outlet_charges_before_the_first_visit() -> None:
    late = Visits(times=("11:00",))
    assert most(case_of(n_machines=1, visits=late)) == 0
    assert most(case_of(machines=(lossless_machine("cart", outlet="wall 0"),), visits=late)) == 1


def test_cold_within_a_visit_keeps_a_machine_out_unless_timer_or_battery_see_to_it() -> None:
    cold = (-5.0, 20.0, 20.0, 20.0, 20.0, 20.0)
    assert most(case_of(temp_c=cold)) == 0
    timers = tuple(Outlet(name=f"wall {number}", kind="ac", timer=True) for number in range(3))
    assert most(case_of(temp_c=cold, outlets=timers)) == 3
    machines = tuple(lossless_machine(f"cart {number}", self_protecting=True) for number in range(3))
    assert most(case_of(temp_c=cold, machines=machines)) == 3


def test_a_battery_that_protects_itself_draws_nothing_in_the_cold() -> None:
    machines = (lossless_machine("cart", self_protecting=True),)
    assert most(case_of(machines=machines, temp_c=(-5.0, -5.0, -5.0, -5.0, 20.0, 20.0))) == 1
    assert most(case_of(machines=machines, temp_c=(-5.0, -5.0, -5.0, -5.0, -5.0, 20.0))) == 0


def test_cold_that_comes_after_a_machine_has_left_does_not_matter() -> None:
    early = (Need(ready_by=clock(4), energy_wh=400.0, away_h=2.0),)
    machines = (lossless_machine("cart", needs=early),)
    assert most(case_of(machines=machines, temp_c=(20.0, 20.0, 20.0, 20.0, -5.0, -5.0))) == 1
    assert most(case_of(machines=machines, temp_c=(20.0, 20.0, 20.0, -5.0, -5.0, -5.0))) == 0


@pytest.mark.parametrize(("usable_wh", "met"), [(700.0, 2), (690.0, 1), (300.0, 0)])
def test_work_takes_its_energy_from_the_battery(usable_wh: float, met: int) -> None:
    # 400 Wh, of which work takes 300 Wh, so that 300 Wh are missing for the next 400 Wh.
    needs = (
        Need(ready_by=clock(2), energy_wh=300.0),
        Need(ready_by=clock(6), energy_wh=300.0),
    )
    machines = (lossless_machine("cart", floor_pct=25.0, needs=needs),)
    assert most(case_of(machines=machines, bank=lossless_bank(usable_wh))) == met


@pytest.mark.parametrize(("usable_wh", "met"), [(351.0, 1), (349.0, 0)])
def test_an_unready_machine_comes_back_with_no_more_than_its_floor(usable_wh: float, met: int) -> None:
    # It cannot have 400 Wh after an hour. A just unready one would keep 200 Wh of 400, so the bound grants it half
    # of its 100 Wh, and 350 Wh are missing; in truth it comes back empty.
    needs = (
        Need(ready_by=clock(1), priority="must", energy_wh=200.0),
        Need(ready_by=clock(6), energy_wh=200.0),
    )
    machines = (lossless_machine("cart", floor_pct=50.0, needs=needs, charge_pct=25.0),)
    found = bound_of(case_of(machines=machines, bank=lossless_bank(usable_wh)))
    assert found.met_most == {"must": 0, "should": met, "could": 0}


def test_no_answer_is_taken_that_is_not_proven() -> None:
    model = LinearModel()
    column = model.add_column(0.0, 1.0)
    model.add_row(2.0, np.inf, [(column, 1.0)])
    with pytest.raises(LinearFault, match="nfeasible"):
        solve_linear(model, [(column, 1.0)])


def test_slots_end_where_something_happens_and_nowhere_else() -> None:
    case = case_of(visits=Visits(times=("06:00", "08:00")))
    assert slot_edges(case.agenda, case.suns.dull_w).tolist() == [0, 2, 6]
    assert slot_edges(case.agenda, np.array([0.0, 0.0, 0.0, 5.0, 5.0, 0.0])).tolist() == [0, 2, 3, 5, 6]
