"""The model's rows let through what the rules let through, choice by choice: no aim and no solver's luck in it."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import csr_array

from scheduler.planning.asking import values_from
from scheduler.planning.house import DutyRun
from scheduler.planning.model import Case, ChoiceModel, build_choice
from scheduler.planning.planner import build_case
from scheduler.planning.selection import Selection, idle_row, is_allowed
from scheduler.yard.agenda import DutyWindow
from scheduler.yard.models import Bank, HouseLoad, Inverter, Kind, Outlet
from tests.oracle_physics import duty_ways
from tests.planning.replay_samples import (
    make_agenda,
    make_bank,
    make_inverter,
    make_machine,
    make_need,
    make_suns,
    make_yard,
)
from tests.random_yards import show, tiny_case


class Rows:
    """A model's rows, with the binaries fixed to one choice after the other."""

    def __init__(self, model: ChoiceModel) -> None:
        self.model = model
        variables = model.problem.variables()
        self.column = {variable.name: number for number, variable in enumerate(variables)}
        self.bounds = [(variable.lowBound, variable.upBound) for variable in variables]
        rows = list(model.problem.constraints())
        entries = [
            (number, self.column[variable.name], factor)
            for number, row in enumerate(rows)
            for variable, factor in row.items()
        ]
        at_row, at_column, factors = zip(*entries, strict=True)
        matrix = csr_array((factors, (at_row, at_column)), shape=(len(rows), len(variables)))
        right = np.array([-row.constant for row in rows])
        sense = np.array([row.sense for row in rows])
        sign = np.where(sense[sense != 0] > 0, -1.0, 1.0)
        self.at_most = matrix[sense != 0].multiply(sign[:, np.newaxis]), right[sense != 0] * sign
        self.equal = matrix[sense == 0], right[sense == 0]

    def allow(self, selection: Selection) -> bool:
        """Whether some bank level, demand and start of a block go with a choice."""
        bounds = list(self.bounds)
        for name, value in values_from(self.model, selection).items():
            bounds[self.column[name]] = (value, value)
        return bool(
            linprog(
                np.zeros(len(bounds)),
                A_ub=self.at_most[0],
                b_ub=self.at_most[1],
                A_eq=self.equal[0],
                b_eq=self.equal[1],
                bounds=bounds,
            ).status
            == 0
        )


def any_duty(rng: random.Random, case: Case) -> DutyRun:
    """Draw a schedule that R11 allows; where the house alone breaks a rule its schedule is no choice."""
    if not case.house.holds:
        return case.house.duty
    duty = {name: np.zeros_like(run) for name, run in case.house.duty.items()}
    for window in case.agenda.duties:
        duty[window.load] |= rng.choice(duty_ways(window, case.agenda.grid.n_steps))
    return duty


def any_choice(rng: random.Random, case: Case) -> Selection:
    """Draw a pattern for each machine, half of them those that do nothing, so that some choices fit."""
    rows = tuple(
        rng.randrange(len(table)) if rng.random() < 0.7 else idle_row(case, number)
        for number, table in enumerate(case.tables)
    )
    return Selection(rows, any_duty(rng, case))


@cache
def drawn(seed: int) -> tuple[Case, list[Selection], str]:
    """A yard, choices in it, and how to tell it."""
    yard = tiny_case(seed, duty=seed % 3 == 0, timers=seed % 3 == 1, short=seed % 5 == 0)
    case, rng = build_case(yard.yard, yard.agenda, yard.suns), random.Random(seed)
    return case, [any_choice(rng, case) for _ in range(12)], show(yard)


@pytest.mark.parametrize("seed", range(700, 724))
def test_the_rows_let_through_what_the_sums_let_through_and_nothing_else(seed: int) -> None:
    case, choices, told = drawn(seed)
    rows = Rows(build_choice(case))
    for choice in choices:
        assert rows.allow(choice) == is_allowed(case, choice), f"{choice}\n{told}"


def test_those_choices_are_of_both_kinds() -> None:
    kinds = Counter[bool]()
    for case, choices, _ in map(drawn, range(700, 724)):
        kinds.update(is_allowed(case, choice) for choice in choices)
    assert min(kinds[True], kinds[False]) > 80


@pytest.mark.parametrize(
    "window",
    [
        DutyWindow("dryer", 1, 6, 2, 1),
        DutyWindow("dryer", 1, 6, 2, 2),
        DutyWindow("dryer", 0, 6, 4, 2),
        DutyWindow("dryer", 2, 8, 5, 2),
        DutyWindow("dryer", 1, 7, 3, 3),
    ],
    ids=str,
)
def test_the_rows_let_a_duty_load_run_its_hours_in_its_window_in_whole_blocks_and_not_otherwise(
    window: DutyWindow,
) -> None:
    dryer = HouseLoad(name="dryer", watts=100.0, hours_per_day=1.0)
    yard = make_yard(house_loads=[dryer], bank=make_bank(), inverter=make_inverter())
    agenda = make_agenda(yard, 8, duties=[window])
    case = build_case(yard, agenda, make_suns(agenda))
    rows = Rows(build_choice(case))
    allowed = {way.tobytes() for way in duty_ways(window, 8)}
    for steps in itertools.product([False, True], repeat=8):
        run = np.array(steps)
        # What lies outside the window is no variable of the model.
        if not run[: window.first].any() and not run[window.last :].any():
            assert rows.allow(Selection((), {"dryer": run})) == (run.tobytes() in allowed)


def may_charge(
    *,
    sun_w: float = 0.0,
    lamp_w: float = 0.0,
    charger_w: float = 600.0,
    supply: Kind = "ac",
    bank: Bank | None = None,
    inverter: Inverter | None = None,
    surge_w: float | None = None,
    machine: Mapping[str, float] | None = None,
) -> bool:
    """Whether a machine may charge for an hour beside a lamp; rows and sums must agree, and let it be left out."""
    house = [HouseLoad(name="lamp", watts=lamp_w, surge_w=surge_w, always_on=True)] if lamp_w else []
    mower = make_machine(charger_w=charger_w, supply=supply, **(machine or {}))
    outlets = (Outlet(name="east", kind=supply),)
    yard = make_yard(mower, house_loads=house, bank=bank, inverter=inverter, outlets=outlets)
    agenda = make_agenda(yard, 1, needs={"mower": [make_need(1, mower.capacity_wh)]})
    case = build_case(yard, agenda, make_suns(agenda, [sun_w]))
    rows = Rows(build_choice(case))
    idle = idle_row(case, 0)
    charging = Selection((1 - idle,), {})
    assert len(case.tables[0]) == 2
    assert rows.allow(Selection((idle,), {}))
    assert is_allowed(case, Selection((idle,), {}))
    assert rows.allow(charging) == is_allowed(case, charging)
    return rows.allow(charging)


def test_the_sun_counts_beside_the_discharge_limit() -> None:
    bank = make_bank(discharge_max_w=500.0)
    assert may_charge(bank=bank, sun_w=100.0)
    assert not may_charge(bank=bank, sun_w=99.0)


def test_a_house_that_takes_more_than_the_discharge_limit_is_lived_with_and_nothing_is_added() -> None:
    bank = make_bank(discharge_max_w=500.0)
    assert not may_charge(bank=bank, lamp_w=700.0, charger_w=10.0)
    assert may_charge(bank=bank, lamp_w=490.0, charger_w=10.0)


def test_the_discharge_limit_holds_to_the_watt_in_a_bank_however_large() -> None:
    bank = make_bank(modules_wh=(1e6,), discharge_max_w=500.0)
    assert may_charge(bank=bank, charger_w=500.0)
    assert not may_charge(bank=bank, charger_w=501.0)


def test_an_empty_bank_gives_nothing_even_where_no_reserve_is_kept() -> None:
    bank = make_bank(reserve_pct=0.0, level_pct=5.0)
    assert may_charge(bank=bank, charger_w=500.0)
    assert not may_charge(bank=bank, charger_w=501.0)


def test_what_a_house_asks_of_an_empty_bank_in_vain_is_lived_with_and_nothing_is_added() -> None:
    bank = make_bank(reserve_pct=0.0, level_pct=5.0)
    assert not may_charge(bank=bank, lamp_w=600.0, charger_w=10.0)


def test_charging_counts_to_the_reserve_by_what_the_bank_loses() -> None:
    # 120 Wh above the reserve give 96 Wh.
    bank = make_bank(level_pct=11.2, discharge_efficiency_pct=80.0)
    assert may_charge(bank=bank, charger_w=96.0)
    assert not may_charge(bank=bank, charger_w=97.0)


@pytest.mark.parametrize(("supply", "most_w"), [("ac", 80.0), ("dc", 110.0)])
def test_ac_pays_the_inverter_and_its_idle_draw_and_dc_the_idle_draw_alone(
    supply: Kind, most_w: float
) -> None:
    inverter = make_inverter(efficiency_pct=80.0, idle_w=10.0)
    # Beside the idle draw 100 Wh are left for the inverter, which gives 80 of them, or 110 Wh for the DC port.
    bank = make_bank(level_pct=11.1 if supply == "ac" else 11.2)
    assert may_charge(bank=bank, inverter=inverter, charger_w=most_w, supply=supply)
    assert not may_charge(bank=bank, inverter=inverter, charger_w=most_w + 1.0, supply=supply)


@pytest.mark.parametrize(("supply", "most_w"), [("ac", 80.0), ("dc", 110.0)])
def test_an_inverter_that_sleeps_is_woken_by_ac_alone(supply: Kind, most_w: float) -> None:
    inverter = make_inverter(efficiency_pct=80.0, idle_w=10.0, off_when_unused=True)
    bank = make_bank(level_pct=11.1)
    assert may_charge(bank=bank, inverter=inverter, charger_w=most_w, supply=supply)
    assert not may_charge(bank=bank, inverter=inverter, charger_w=most_w + 1.0, supply=supply)


def test_running_watts_and_starts_keep_to_their_limits() -> None:
    inverter = make_inverter(continuous_w=1000.0, surge_w=1500.0)
    assert may_charge(inverter=inverter, lamp_w=400.0)
    assert not may_charge(inverter=inverter, lamp_w=401.0)
    assert may_charge(inverter=inverter, lamp_w=400.0, surge_w=900.0)
    assert not may_charge(inverter=inverter, lamp_w=400.0, surge_w=901.0)


@pytest.mark.parametrize("sleeps", [False, True])
def test_a_duty_load_pays_the_inverter_and_keeps_it_awake(sleeps: bool) -> None:
    dryer = HouseLoad(name="dryer", watts=80.0, hours_per_day=1.0)
    inverter = make_inverter(efficiency_pct=80.0, idle_w=10.0, off_when_unused=sleeps)
    # In the dark hour it takes 110 Wh of the bank, in the sunny one nothing.
    for level_pct, is_enough in ((11.1, True), (11.05, False)):
        yard = make_yard(house_loads=[dryer], bank=make_bank(level_pct=level_pct), inverter=inverter)
        agenda = make_agenda(yard, 2, duties=[DutyWindow("dryer", 0, 2, 1, 1)])
        case = build_case(yard, agenda, make_suns(agenda, [0.0, 110.0]))
        dark = Selection((), {"dryer": np.array([True, False])})
        assert case.house.holds
        assert Rows(build_choice(case)).allow(dark) == is_allowed(case, dark) == is_enough


@pytest.mark.parametrize(("surge_w", "fits"), [(400.0, True), (401.0, False)])
def test_a_duty_motor_starts_with_its_surge_beside_what_charges(surge_w: float, fits: bool) -> None:
    pump = HouseLoad(name="pump", watts=100.0, surge_w=surge_w, hours_per_day=1.0)
    inverter = make_inverter(continuous_w=900.0, surge_w=1000.0)
    outlets = (Outlet(name="east", kind="ac"),)
    yard = make_yard(make_machine(charger_w=600.0), house_loads=[pump], inverter=inverter, outlets=outlets)
    agenda = make_agenda(
        yard, 1, needs={"mower": [make_need(1, 5000.0)]}, duties=[DutyWindow("pump", 0, 1, 1, 1)]
    )
    case = build_case(yard, agenda, make_suns(agenda))
    charging = Selection((1 - idle_row(case, 0),), {"pump": np.array([True])})
    assert len(case.tables[0]) == 2
    assert Rows(build_choice(case)).allow(charging) == is_allowed(case, charging) == fits


def test_the_inverter_must_stand_the_first_moment_of_a_charger_that_soon_tapers() -> None:
    # 700 W for half an hour and then ever less: 470 W in the hour's mean.
    quick = {"battery_wh": 400.0, "charge_pct": 0.0}
    assert may_charge(inverter=make_inverter(continuous_w=700.0), charger_w=700.0, machine=quick)
    assert not may_charge(inverter=make_inverter(continuous_w=699.0), charger_w=700.0, machine=quick)


@pytest.mark.parametrize(("hours", "fits"), [(2, True), (3, False), (4, False)])
def test_no_outlet_ends_the_plan_with_three_hours_above_80_percent_of_its_breaker(
    hours: int, fits: bool
) -> None:
    outlets = (Outlet(name="east", kind="ac", breaker_a=10.0, volts=60.0),)
    yard = make_yard(make_machine(charger_w=500.0), outlets=outlets)
    agenda = make_agenda(yard, hours, needs={"mower": [make_need(hours, 5000.0)]})
    case = build_case(yard, agenda, make_suns(agenda))
    charging = Selection((1 - idle_row(case, 0),), {})
    assert len(case.tables[0]) == 2
    assert Rows(build_choice(case)).allow(charging) == is_allowed(case, charging) == fits


@pytest.mark.parametrize(
    ("first_visit", "fits"), [(2, [True, False, False]), (3, [True, False, False]), (5, [True, False, False])]
)
def test_what_was_hot_before_anybody_came_is_lived_with_if_the_first_to_come_ends_it(
    first_visit: int, fits: list[bool]
) -> None:
    outlets = (Outlet(name="east", kind="ac", breaker_a=10.0, volts=60.0),)
    yard = make_yard(make_machine(charger_w=500.0, outlet="east"), outlets=outlets)
    visits = (first_visit, first_visit + 1)
    agenda = make_agenda(
        yard, first_visit + 2, visits=visits, needs={"mower": [make_need(first_visit + 2, 5000.0)]}
    )
    case = build_case(yard, agenda, make_suns(agenda))
    rows = Rows(build_choice(case))
    hours_in = (case.tables[0].place >= 0).sum(axis=1)
    for hours, fit in zip((first_visit, first_visit + 1, first_visit + 2), fits, strict=True):
        choice = Selection((int(np.flatnonzero(hours_in == hours)[0]),), {})
        assert rows.allow(choice) == is_allowed(case, choice) == fit


def test_where_duty_loads_break_the_reserve_their_schedule_is_none_of_the_choice_and_nothing_is_added() -> (
    None
):
    dryer = HouseLoad(name="dryer", watts=600.0, hours_per_day=1.0)
    outlets = (Outlet(name="east", kind="ac"),)
    mower = make_machine(charger_w=10.0)
    yard = make_yard(mower, house_loads=[dryer], bank=make_bank(level_pct=15.0), outlets=outlets)
    agenda = make_agenda(
        yard, 1, needs={"mower": [make_need(1, 5000.0)]}, duties=[DutyWindow("dryer", 0, 1, 1, 1)]
    )
    case = build_case(yard, agenda, make_suns(agenda))
    model = build_choice(case)
    assert not case.house.holds
    assert not model.duty
    idle = idle_row(case, 0)
    for row, fits in ((idle, True), (1 - idle, False)):
        choice = Selection((row,), case.house.duty)
        assert Rows(model).allow(choice) == is_allowed(case, choice) == fits
