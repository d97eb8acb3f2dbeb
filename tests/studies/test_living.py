"""The yard's physics, step by step, against figures worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.studies.living import Life, Tally, YardState
from scheduler.yard.models import Bank, HouseLoad, Inverter, Machine, Outlet, Visits, Yard
from tests.oracle_physics import Case
from tests.random_yards import PANELS, SITE, hours_of_day, make_case

BANK = Bank(
    modules_wh=(1000.0,),
    reserve_pct=20.0,
    level_pct=50.0,
    charge_efficiency_pct=90.0,
    discharge_efficiency_pct=80.0,
    charge_max_w=400.0,
    discharge_max_w=600.0,
)


def drill(**changed: object) -> Machine:
    plain = {
        "name": "drill",
        "battery_wh": 500.0,
        "charger_w": 100.0,
        "charger_efficiency_pct": 80.0,
        "taper_from_pct": 100.0,
        "charge_pct": 20.0,
        "outlet": "bench",
        "needs": [{"ready_by": "12:00", "away_h": 2, "energy_wh": 300.0}],
    }
    return Machine.model_validate({**plain, **changed})


def case_of(*machines: Machine, sun_w: float = 0.0, bank: Bank = BANK, house_w: float = 50.0) -> Case:
    yard = Yard(
        site=SITE,
        arrays=PANELS,
        bank=bank,
        inverter=Inverter(continuous_w=1000.0, efficiency_pct=80.0, idle_w=10.0),
        outlets=(Outlet(name="bench", kind="ac"), Outlet(name="shelf", kind="dc")),
        house_loads=(HouseLoad(name="lamp", watts=house_w, always_on=True),),
        visits=Visits(times=hours_of_day(range(24))),
        machines=machines,
    )
    return make_case(yard, 12, 60, lambda grid: np.full(grid.n_steps, sun_w))


def begun(case: Case, temp_c: float = 20.0) -> tuple[Life, YardState, Tally]:
    life = Life.of(case.yard, case.agenda, case.suns.dull_w, np.full(12, temp_c))
    return life, YardState.of(case.yard), Tally.begun(case.yard, case.yard.bank.level_wh)


def test_a_step_by_hand_in_the_dark() -> None:
    """(100 W + 50 W) / 0.8 + 10 W = 197.5 W; the bank gives 246.875 Wh of its 500 for it."""
    life, state, tally = begun(case_of(drill()))
    assert life.run_step(state, tally, 0, [True])
    assert state.level_wh == pytest.approx(500.0 - 246.875)
    assert state.charge_wh == [pytest.approx(180.0)]
    assert tally.house_wh == [50.0]
    assert tally.machines_wh == [pytest.approx(100.0)]
    assert tally.inverter_loss_wh == pytest.approx(47.5)
    assert tally.bank_out_wh == pytest.approx(246.875)
    assert tally.bank_out_loss_wh == pytest.approx(49.375)


def test_a_step_by_hand_in_the_sun() -> None:
    """1000 W less 72.5 W is more than the 400 W that may go in; 360 Wh of it stay, 527.5 Wh find no room."""
    life, state, tally = begun(case_of(sun_w=1000.0))
    life.run_step(state, tally, 0, [True])
    assert state.level_wh == pytest.approx(860.0)
    assert tally.curtailed_wh == pytest.approx(527.5)
    assert tally.bank_in_loss_wh == pytest.approx(40.0)
    life.run_step(state, tally, 1, [True])
    assert state.level_wh == 1000.0


def test_ac_goes_on_below_the_reserve_and_those_hours_are_counted() -> None:
    low = BANK.model_copy(update={"level_pct": 25.0})
    life, state, tally = begun(case_of(bank=low))
    assert life.run_step(state, tally, 0, [True])
    assert state.level_wh == pytest.approx(250.0 - 72.5 / 0.8)
    assert (tally.at_reserve_h, tally.below_reserve_h, tally.ac_off_h) == (1.0, 1.0, 0.0)


def test_an_empty_bank_stops_ac_whole_and_leaves_dc_what_there_is() -> None:
    """AC would take 247 Wh of the 80 in the bank; the DC charger's 60 W takes 75."""
    machines = (drill(), drill(name="pump", supply="dc", outlet="shelf", charger_w=60.0))
    life, state, tally = begun(case_of(*machines))
    state.level_wh = 80.0
    assert not life.run_step(state, tally, 0, [True])
    assert state.charge_wh == [100.0, pytest.approx(148.0)]
    assert state.level_wh == pytest.approx(5.0)
    assert tally.ac_off_h == 1.0
    assert tally.unserved_wh == pytest.approx(150.0)
    assert (tally.house_wh, tally.inverter_loss_wh) == ([0.0], 0.0)
    assert not life.run_step(state, tally, 1, [True])
    assert state.charge_wh[1] == pytest.approx(148.0)
    assert tally.unserved_wh == pytest.approx(150.0 + 150.0 + 60.0)


def test_what_the_bank_gives_costs_it_more_than_is_had() -> None:
    """60 W of DC take 75 Wh out of the store: not to be had of 74, to be had of 76."""
    for level_wh, charge_wh in ((74.0, 100.0), (76.0, 148.0)):
        life, state, tally = begun(case_of(drill(supply="dc", outlet="shelf", charger_w=60.0)))
        state.level_wh = level_wh
        life.run_step(state, tally, 0, [True])
        assert state.charge_wh[0] == pytest.approx(charge_wh)


def test_a_step_beyond_the_banks_discharge_limit_is_not_served() -> None:
    full = BANK.model_copy(update={"level_pct": 100.0})
    life, state, tally = begun(case_of(bank=full, house_w=480.0))
    assert not life.run_step(state, tally, 0, [True])
    life, state, tally = begun(case_of(bank=full, house_w=470.0))
    assert life.run_step(state, tally, 0, [True])


def test_an_unready_machine_goes_out_and_comes_back_with_what_is_left() -> None:
    life, state, tally = begun(case_of(drill()))
    life.take_out(state, tally, 6)
    (need,) = tally.needs
    assert (need.ready, need.short_wh) == (False, pytest.approx(200.0))
    assert (state.charge_wh, state.outlet, tally.work_wh) == ([0.0], [None], [100.0])


def test_a_need_is_met_to_the_watt_hour() -> None:
    for charge_pct, ready in ((60.0, True), (59.99, False)):
        life, state, tally = begun(case_of(drill(charge_pct=charge_pct)))
        life.take_out(state, tally, 6)
        assert tally.needs[0].ready is ready


def test_a_charger_draws_nothing_in_the_frost_and_the_hour_is_counted() -> None:
    careful = drill(name="careful", self_protecting=True, outlet=None)
    life, state, tally = begun(case_of(drill(), careful), temp_c=-0.5)
    life.run_step(state, tally, 0, [True])
    assert state.charge_wh[0] == 100.0
    assert (tally.outside_window_h, tally.misplugged_h) == (1.0, 1.0)
    life, state, tally = begun(case_of(drill(), careful), temp_c=0.0)
    life.run_step(state, tally, 0, [True])
    assert state.charge_wh[0] > 100.0
    assert (tally.outside_window_h, tally.misplugged_h) == (0.0, 0.0)


def test_a_battery_that_protects_itself_may_stay_plugged_in_through_frost() -> None:
    life, state, tally = begun(case_of(drill(self_protecting=True)), temp_c=-5.0)
    life.run_step(state, tally, 0, [True])
    assert state.charge_wh[0] == 100.0
    assert (tally.outside_window_h, tally.misplugged_h) == (0.0, 0.0)


def test_a_timer_lets_its_machine_charge_within_its_hours_alone() -> None:
    life, state, tally = begun(case_of(drill()))
    state.timer = [(1, 2)]
    drawn = []
    for step in range(3):
        before = state.charge_wh[0]
        life.run_step(state, tally, step, [True])
        drawn.append(state.charge_wh[0] > before)
    assert drawn == [False, True, False]
