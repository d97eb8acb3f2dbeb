"""The planner's judges are judged first: against fine steps, by hand, and against each other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from scheduler.yard.agenda import DutyWindow
from scheduler.yard.models import Bank, HouseLoad, Inverter, Machine, Need, Outlet, Visits, Yard
from tests.oracle_bruteforce import best_by_trying_everything, hand_ways
from tests.oracle_house import can_hold, house_of, least_shortage_wh, shortage_wh
from tests.oracle_milp import best_by_network
from tests.oracle_physics import (
    Best,
    Case,
    bank_levels_wh,
    charged_wh,
    duty_ways,
    hours_until_share,
    share_of_full_power,
)
from tests.random_yards import PANELS, SITE, clock, day_sun, hours_of_day, make_case, show, tiny_case

#: Closed form against 0.1-second steps of the same rule [Wh].
CURVE_TOLERANCE_WH = 0.01
#: Both oracles add up the same few numbers [Wh].
SAME_SHORTFALL_WH = 0.02
#: Solver rounding over a plan [Wh].
SAME_LEVEL_WH = 0.05


def machine(**changes: object) -> Machine:
    given = {
        "name": "cart",
        "battery_wh": 500.0,
        "charger_w": 200.0,
        "charger_efficiency_pct": 90.0,
        "taper_from_pct": 80.0,
        "charge_pct": 20.0,
    }
    return Machine(**{**given, **changes})


def two_outlet_case(
    machines: tuple[Machine, ...], *, timer: bool = False, visits: tuple[int, ...] = (0, 3)
) -> Case:
    yard = Yard(
        site=SITE,
        arrays=PANELS,
        machines=machines,
        bank=Bank(modules_wh=(5000.0,), reserve_pct=20.0, level_pct=90.0),
        inverter=Inverter(continuous_w=1000.0),
        outlets=(Outlet(name="left", kind="ac", timer=timer), Outlet(name="right", kind="ac")),
        visits=Visits(times=hours_of_day(visits)),
    )
    return make_case(yard, 6, 60, day_sun(0.0))


@pytest.mark.parametrize("taper_pct", [0.0, 60.0, 80.0, 100.0])
@pytest.mark.parametrize("hours", [0.5, 1.7, 2.6, 4.0])
def test_the_oracles_charger_follows_its_rule_step_by_step(taper_pct: float, hours: float) -> None:
    cart = machine(taper_from_pct=taper_pct)
    stored, step_h = cart.charge_wh, 0.1 / 3600.0
    for _ in range(round(hours / step_h)):
        gain = cart.charger_efficiency * cart.charger_w * share_of_full_power(cart, stored) * step_h
        stored = min(stored + gain, cart.capacity_wh)
    assert charged_wh(cart, cart.charge_wh, hours) == pytest.approx(stored, abs=CURVE_TOLERANCE_WH)


def test_the_oracles_charger_is_full_exactly_when_it_says_so() -> None:
    cart = machine()
    until_full = hours_until_share(cart, cart.charge_wh, 0.0)
    assert charged_wh(cart, cart.charge_wh, until_full - 0.001) < cart.capacity_wh - 1e-3
    assert charged_wh(cart, cart.charge_wh, until_full) == pytest.approx(cart.capacity_wh)
    # 300 Wh at 180 W into the battery, then ln(1 / 0.05) time constants of 100 Wh / (0.95 x 180 W).
    assert until_full == pytest.approx(300 / 180 + np.log(20) * 100 / (0.95 * 180))


def test_the_hand_has_every_way_and_each_change_counts_once() -> None:
    case = two_outlet_case((machine(),))
    ways = hand_ways(case, case.yard.machines[0])
    # At each of two visits: no outlet, left or right; staying costs nothing, moving costs two.
    assert len(ways) == 9
    changes = {way[0][0:6:3]: count for way, count in ways.items()}
    assert changes == {
        (-1, -1): 0,
        (-1, 0): 1,
        (-1, 1): 1,
        (0, 0): 1,
        (0, -1): 2,
        (0, 1): 3,
        (1, 1): 1,
        (1, -1): 2,
        (1, 0): 3,
    }


def test_a_timer_set_once_gives_any_block_and_setting_it_anew_costs_one() -> None:
    case = two_outlet_case((machine(),), timer=True)
    ways = hand_ways(case, case.yard.machines[0])
    in_left = {on: count for (where, on), count in ways.items() if set(where) == {0}}
    assert in_left[(False, True, True, True, False, False)] == 1
    assert in_left[(True, False, False, False, True, False)] == 2
    assert (True, False, True, False, False, False) not in in_left


def test_a_machine_taken_to_work_costs_no_change_and_comes_back_unplugged() -> None:
    cart = machine(needs=(Need(ready_by=clock(2), away_h=1.0, energy_wh=100.0),))
    case = two_outlet_case((cart,))
    ways = hand_ways(case, cart)
    assert ways[((0, 0, -1, -1, -1, -1), (True, True, False, False, False, False))] == 1
    assert ways[((0, 0, -1, 1, 1, 1), (True, True, False, True, True, True))] == 2
    assert not any(where[2] >= 0 for where, _ in ways)


def test_duty_hours_come_in_blocks_no_shorter_than_the_least() -> None:
    ways = duty_ways(DutyWindow("fan", first=1, last=7, on_steps=4, min_steps=2), 8)
    shown = {"".join("#" if on else "." for on in way) for way in ways}
    assert shown == {".####...", "..####..", "...####.", ".##.##..", ".##..##.", "..##.##."}
    assert len(ways) == len(shown)


def test_the_bank_loses_on_both_ways_and_never_holds_more_than_it_can() -> None:
    case = two_outlet_case((machine(),))
    bank = Bank(
        modules_wh=(1000.0,),
        reserve_pct=10.0,
        level_pct=50.0,
        charge_efficiency_pct=90.0,
        discharge_efficiency_pct=80.0,
        charge_max_w=300.0,
        discharge_max_w=150.0,
    )
    case = Case(case.yard.model_copy(update={"bank": bank}), case.agenda, case.suns)
    sun = np.array([100.0, 0.0, 500.0, 300.0, 300.0, 300.0])
    draw = np.array([0.0, 80.0, 0.0, 100.0, 0.0, 0.0])
    levels, within = bank_levels_wh(case, sun, draw)
    assert levels == pytest.approx([500.0, 590.0, 490.0, 760.0, 940.0, 1000.0, 1000.0])
    assert within
    assert not bank_levels_wh(case, sun, draw + np.array([0.0, 71.0, 0.0, 0.0, 0.0, 0.0]))[1]


@pytest.mark.parametrize("oracle", [best_by_trying_everything, best_by_network])
@pytest.mark.parametrize(("hours", "met"), [(2.99, 1), (3.0, 0)])
def test_more_than_four_fifths_of_a_breaker_ends_before_three_hours(
    hours: float, met: int, oracle: Callable[[Case], Best]
) -> None:
    cart = machine(
        battery_wh=200.0 * hours,
        charger_efficiency_pct=100.0,
        taper_from_pct=100.0,
        charge_pct=0.0,
        needs=(Need(ready_by=clock(6), charge_pct=100.0),),
    )
    case = two_outlet_case((cart,), visits=(0,))
    two_amperes = tuple(outlet.model_copy(update={"breaker_a": 2.0}) for outlet in case.yard.outlets)
    case = Case(case.yard.model_copy(update={"outlets": two_amperes}), case.agenda, case.suns)
    assert oracle(case).should == met


KINDS = [
    *((kind, seed) for kind in ("plain", "duty", "short") for seed in range(12)),
    *(("timers", seed) for seed in range(5)),
]


@pytest.mark.parametrize(("kind", "seed"), KINDS)
def test_trying_everything_and_the_network_model_agree_on_every_aim(kind: str, seed: int) -> None:
    case = tiny_case(seed, timers=kind == "timers", duty=kind == "duty", short=kind == "short")
    tried, solved = best_by_trying_everything(case), best_by_network(case)
    assert (tried.must, tried.should, tried.could) == (solved.must, solved.should, solved.could), show(case)
    assert tried.shortfall_wh == pytest.approx(solved.shortfall_wh, abs=SAME_SHORTFALL_WH), show(case)
    assert tried.plug_changes == solved.plug_changes, show(case)
    assert tried.end_level_wh == pytest.approx(solved.end_level_wh, abs=SAME_LEVEL_WH), show(case)


def two_fans(**changes: object) -> Case:
    """No machine; two fans of 300 W for 2 hours each between 07:00 and 10:00, and no sun."""
    fans = tuple(
        HouseLoad(name=name, watts=300.0, hours_per_day=2.0, window=("07:00", "10:00")) for name in ("one", "other")
    )
    yard = two_outlet_case(()).yard.model_copy(update={"house_loads": fans, **changes})
    return make_case(yard, 6, 60, day_sun(0.0))


@pytest.mark.parametrize(("continuous_w", "holds"), [(600.0, True), (599.0, False)])
def test_the_house_alone_holds_if_some_schedule_of_its_loads_does(continuous_w: float, holds: bool) -> None:
    # Three hours for two loads of two hours each: in one of them both must run.
    assert can_hold(two_fans(inverter=Inverter(continuous_w=continuous_w))) is holds


def test_the_house_alone_is_short_by_what_trying_every_schedule_shows() -> None:
    bank = Bank(modules_wh=(5000.0,), reserve_pct=50.0, level_pct=51.0, discharge_efficiency_pct=100.0)
    inverter = Inverter(continuous_w=1000.0, efficiency_pct=100.0, idle_w=0.0)
    case = two_fans(bank=bank, inverter=inverter)
    # 50 Wh are above the reserve; the later both run, the shorter their 1200 Wh are lacking.
    late = np.array([False, False, True, True, False, False])
    both_late = {"one": late, "other": late}
    lacking = 550.0 + 3 * 1150.0
    assert shortage_wh(case, both_late) == pytest.approx(lacking)
    assert least_shortage_wh(case) == pytest.approx(lacking)
    assert house_of(case, both_late).allowed_wh == pytest.approx([2500, 2500, 2500, 1950, 1350, 1350, 1350])
