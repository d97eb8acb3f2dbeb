"""R3 to R5: for each a plan that just keeps it and a sibling that just breaks it."""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.planning.record import ReplayReport
from scheduler.yard.agenda import DutyWindow
from scheduler.yard.models import HouseLoad, Outlet, Yard
from tests.planning.replay_samples import (
    found,
    make_agenda,
    make_bank,
    make_inverter,
    make_machine,
    make_need,
    make_plan,
    make_suns,
    make_yard,
    plug,
    replay,
    visit,
)


def lamp(watts: float) -> HouseLoad:
    return HouseLoad(name="lamp", watts=watts, always_on=True)


def test_a_plan_that_does_nothing_in_an_empty_yard_is_clean() -> None:
    yard = make_yard()
    assert replay(yard, make_agenda(yard)) == ReplayReport((), 0.0)


# R3


@pytest.mark.parametrize(
    ("charger_w", "expected"),
    [(500.0, []), (500.02, [("R3", 1, 0.02)]), (600.0, [("R3", 1, 100.0)])],
)
def test_r3_the_bank_gives_no_more_than_its_discharge_limit(charger_w: float, expected: list[Any]) -> None:
    # The sun of the third step helps out.
    yard = make_yard(make_machine(charger_w=charger_w), bank=make_bank(discharge_max_w=500.0))
    agenda = make_agenda(yard, 3, visits=(1,))
    assert found(replay(yard, agenda, [visit(1, [plug()])], make_suns(agenda, [0.0, 0.0, 200.0]))) == expected


def test_r3_is_about_step_means() -> None:
    # 700 W for half an hour and the taper after it: 500 Wh and less in the hour.
    machine = make_machine(charger_w=700.0, battery_wh=400.0, charge_pct=0.0)
    yard = make_yard(machine, bank=make_bank(discharge_max_w=400.0))
    assert found(replay(yard, make_agenda(yard, 1), [visit(0, [plug()])])) == []


def test_r3_what_the_house_alone_takes_is_no_violation_but_what_a_machine_adds_is() -> None:
    yard = make_yard(make_machine(), house_loads=[lamp(600.0)], bank=make_bank(discharge_max_w=500.0))
    agenda = make_agenda(yard, 2, visits=(1,))
    assert found(replay(yard, agenda)) == []
    assert found(replay(yard, agenda, [visit(1, [plug()])])) == [("R3", 1, 500.0)]


def test_r3_asking_too_much_of_an_empty_bank_is_asking_too_much() -> None:
    bank = make_bank(discharge_max_w=500.0, reserve_pct=0.0, level_pct=5.0)
    yard = make_yard(make_machine(charger_w=600.0), bank=bank)
    report = replay(yard, make_agenda(yard, 2), [visit(0, [plug()])])
    # It is empty after an hour at 500 W.
    assert found(report) == [("R3", 0, 100.0), ("R3", 1, 100.0), ("R4", 1, 500.0)]


# R4


def scarce(charger_w: float, **machine: Any) -> Yard:
    """Return a yard with 1000 Wh above its reserve of 5000 Wh."""
    bank = make_bank(level_pct=60.0, reserve_pct=50.0)
    return make_yard(make_machine(charger_w=charger_w, **machine), bank=bank)


@pytest.mark.parametrize(
    ("charger_w", "expected"),
    [
        (250.0, []),
        (251.0, []),  # 4 Wh below, within the tolerance of 5 Wh
        (251.5, [("R4", 4, 6.0)]),
        (270.0, [("R4", 4, 80.0)]),
    ],
)
def test_r4_the_bank_stays_at_its_reserve(charger_w: float, expected: list[Any]) -> None:
    yard = scarce(charger_w)
    assert found(replay(yard, make_agenda(yard, 4), [visit(0, [plug()])])) == expected


def test_r4_every_edge_below_is_named_with_its_local_time() -> None:
    yard = scarce(500.0)
    report = replay(yard, make_agenda(yard, 4), [visit(0, [plug()])])
    assert found(report) == [("R4", 3, 500.0), ("R4", 4, 1000.0)]
    assert report.violations[0].text == (
        "Wed 09 Jun 09:00: under the dull sun the bank falls to 4500.0 Wh, "
        "500.0 Wh below the 5000.0 Wh allowed (R4)"
    )


def test_r4_holds_under_the_dull_sun_even_where_the_likely_sun_would_do() -> None:
    yard = scarce(500.0)
    agenda = make_agenda(yard, 4)
    assert found(replay(yard, agenda, [visit(0, [plug()])], make_suns(agenda, [250.0]))) == []
    assert found(replay(yard, agenda, [visit(0, [plug()])], make_suns(agenda, [240.0]))) == [("R4", 4, 40.0)]


def test_r4_what_the_house_alone_takes_is_no_violation_but_no_machine_makes_it_deeper_or_longer() -> None:
    yard = make_yard(
        make_machine(), house_loads=[lamp(300.0)], bank=make_bank(level_pct=60.0, reserve_pct=50.0)
    )
    agenda = make_agenda(yard, 8, visits=(0, 1))
    # Alone: 5700, 5400, 5100, 4800, 4500, then the sun: 5500, 6500, 7500.
    suns = make_suns(agenda, [0.0] * 5 + [1300.0] * 3)
    assert found(replay(yard, agenda, [], suns)) == []
    deeper = [visit(0, [plug()]), visit(1, unplugs=[plug()])]
    assert found(replay(yard, agenda, deeper, suns)) == [
        ("R4", 2, 100.0),  # the reserve is what is allowed here and at the next edge
        ("R4", 3, 400.0),
        ("R4", 4, 500.0),
        ("R4", 5, 500.0),
    ]
    longer = make_agenda(yard, 8, visits=(5,))
    assert found(replay(yard, longer, [visit(5, [plug()])], suns)) == []
    weak = make_suns(agenda, [0.0] * 5 + [800.0] * 3)
    # Alone 5000, 5500, 6000; with the machine it is back at the reserve never.
    late = [("R4", 6, 500.0), ("R4", 7, 500.0), ("R4", 8, 500.0)]
    assert found(replay(yard, longer, [visit(5, [plug()])], weak)) == late


def test_r4_what_is_plugged_in_counts_with_the_house_until_the_first_visit() -> None:
    yard = scarce(500.0, outlet="east")
    agenda = make_agenda(yard, 6, visits=(3, 5))
    assert found(replay(yard, agenda, [visit(3, unplugs=[plug()])])) == []
    too_late = [("R4", 4, 500.0), ("R4", 5, 1000.0), ("R4", 6, 1000.0)]
    assert found(replay(yard, agenda, [visit(5, unplugs=[plug()])])) == too_late


def test_r4_what_is_plugged_in_counts_to_the_end_where_nobody_comes() -> None:
    yard = scarce(500.0, outlet="east")
    assert found(replay(yard, make_agenda(yard, 6, visits=()))) == []


def test_r4_what_is_plugged_in_counts_until_it_is_taken_out() -> None:
    yard = scarce(500.0, outlet="east")
    agenda = make_agenda(yard, 6, visits=(4,), needs={"mower": [make_need(2, back=3)]})
    plan = make_plan(yard, agenda, make_suns(agenda))
    assert plan.bank.allowed_wh == pytest.approx([5000.0] * 7)
    assert plan.bank.level_wh["dull"] == pytest.approx(
        [6000.0, 5500.0, 5000.0, 5000.0, 5000.0, 5000.0, 5000.0]
    )


def test_r4_an_empty_bank_without_reserve_tells_by_what_it_does_not_serve() -> None:
    yard = make_yard(make_machine(), bank=make_bank(reserve_pct=0.0, level_pct=10.0))
    agenda = make_agenda(yard, 4, visits=(0, 2))
    assert found(replay(yard, agenda, [visit(0, [plug()]), visit(2, unplugs=[plug()])])) == []
    assert found(replay(yard, agenda, [visit(0, [plug()])])) == [("R4", 2, 1000.0)]


def test_r4_what_the_house_alone_finds_missing_in_an_empty_bank_is_no_violation() -> None:
    bank = make_bank(reserve_pct=0.0, level_pct=10.0)
    yard = make_yard(make_machine(), house_loads=[lamp(600.0)], bank=bank)
    agenda = make_agenda(yard, 4, visits=(2,))
    assert found(replay(yard, agenda)) == []
    assert found(replay(yard, agenda, [visit(2, [plug()])])) == [("R4", 2, 1000.0)]


# R5


@pytest.mark.parametrize(("second_w", "expected"), [(500.0, []), (501.0, [("R5", 1, 1.0), ("R5", 2, 1.0)])])
def test_r5_ac_loads_together_stay_within_the_continuous_watts(second_w: float, expected: list[Any]) -> None:
    yard = make_yard(
        make_machine(charger_w=400.0),
        make_machine("cart", charger_w=second_w),
        house_loads=[lamp(100.0)],
        inverter=make_inverter(continuous_w=1000.0),
    )
    agenda = make_agenda(yard, 3, visits=(0, 1))
    assert found(replay(yard, agenda, [visit(0, [plug()]), visit(1, [plug("cart", "west")])])) == expected


def test_r5_counts_the_peak_within_a_step_and_not_its_mean() -> None:
    # 500 W for 24 minutes, then the taper: 700 W together at the step's begin, far less in its mean.
    yard = make_yard(
        make_machine(charger_w=200.0),
        make_machine("cart", battery_wh=300.0, charge_pct=13.4),
        inverter=make_inverter(continuous_w=699.0),
    )
    report = replay(yard, make_agenda(yard, 2), [visit(0, [plug(), plug("cart", "west")])])
    assert found(report) == [("R5", 0, 1.0)]


def test_r5_leaves_out_what_charges_from_dc() -> None:
    outlets = (Outlet(name="east", kind="ac"), Outlet(name="port", kind="dc"))
    yard = make_yard(
        make_machine(),
        make_machine("cart", supply="dc"),
        outlets=outlets,
        inverter=make_inverter(continuous_w=500.0),
    )
    assert found(replay(yard, make_agenda(yard, 2), [visit(0, [plug(), plug("cart", "port")])])) == []


@pytest.mark.parametrize(("charger_w", "expected"), [(400.0, []), (401.0, [("R5", 1, 1.0)])])
def test_r5_a_motor_can_start_beside_everything_else(charger_w: float, expected: list[Any]) -> None:
    # The fan starts with 800 W in the steps in which it runs: steps 1, and not 0.
    fan = HouseLoad(name="fan", watts=200.0, surge_w=800.0, hours_per_day=1.0)
    yard = make_yard(
        make_machine(charger_w=charger_w),
        house_loads=[fan],
        inverter=make_inverter(continuous_w=1000.0, surge_w=1200.0),
    )
    agenda = make_agenda(yard, 2, duties=[DutyWindow("fan", 0, 2, 1, 1)])
    assert found(replay(yard, agenda, [visit(0, [plug()])], house_on={"fan": [1]})) == expected


def test_r5_a_motor_that_does_not_run_does_not_start() -> None:
    fan = HouseLoad(name="fan", watts=200.0, surge_w=800.0, hours_per_day=1.0)
    yard = make_yard(
        make_machine(charger_w=900.0), house_loads=[fan], inverter=make_inverter(continuous_w=1000.0)
    )
    agenda = make_agenda(yard, 2, visits=(0, 1), duties=[DutyWindow("fan", 0, 2, 1, 1)])
    actions = [visit(0, [plug()]), visit(1, unplugs=[plug()])]
    assert found(replay(yard, agenda, actions, house_on={"fan": [1]})) == []


def test_r5_without_a_surge_figure_a_motor_starts_within_the_continuous_watts() -> None:
    pump = HouseLoad(name="pump", watts=100.0, surge_w=600.0, always_on=True)
    yard = make_yard(make_machine(), house_loads=[pump], inverter=make_inverter(continuous_w=1000.0))
    report = replay(yard, make_agenda(yard, 1), [visit(0, [plug()])])
    assert found(report) == [("R5", 0, 100.0)]
    assert "while pump starts" in report.violations[0].text


def test_r5_what_the_house_alone_draws_is_no_violation_but_what_a_machine_adds_is() -> None:
    yard = make_yard(
        make_machine(charger_w=50.0), house_loads=[lamp(1100.0)], inverter=make_inverter(continuous_w=1000.0)
    )
    agenda = make_agenda(yard, 2, visits=(1,))
    assert found(replay(yard, agenda)) == []
    assert found(replay(yard, agenda, [visit(1, [plug()])])) == [("R5", 1, 50.0)]
