"""The replay's own physics against sums done by hand and the charger's exact curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.replay_physics import BoolArray, Decisions, Physics, run_bank, run_loads, run_yard
from scheduler.yard.agenda import Agenda
from scheduler.yard.models import HouseLoad, Machine, Outlet, Yard
from tests.planning.replay_samples import (
    make_agenda,
    make_bank,
    make_inverter,
    make_machine,
    make_need,
    make_yard,
)


def decide(
    yard: Yard, agenda: Agenda, plugged: list[list[int]], house_on: list[list[int]] | None = None
) -> Decisions:
    """Decide by lists of steps, one a machine and one a load, always-on loads included."""
    n_steps = agenda.grid.n_steps

    def columns(steps: list[list[int]]) -> BoolArray:
        return np.array([[step in own for own in steps] for step in range(n_steps)]).reshape(
            n_steps, len(steps)
        )

    on = columns(house_on if house_on is not None else [[*range(n_steps)] for _ in yard.house_loads])
    outlet = tuple(
        tuple(yard.outlets[column].name if step in own else None for step in range(n_steps))
        for column, own in enumerate(plugged)
    )
    return Decisions(outlet, columns(plugged).astype(bool), on.astype(bool))


def run(
    yard: Yard, agenda: Agenda, plugged: list[list[int]], sun_w: list[float], temp_c: float = 20.0
) -> Physics:
    n_steps = agenda.grid.n_steps
    sun = np.array([sun_w], dtype=float).T
    return run_yard(yard, agenda, sun, np.full(n_steps, temp_c), decide(yard, agenda, plugged))


LAMP = HouseLoad(name="lamp", watts=90.0, always_on=True)


def test_the_bank_pays_the_inverter_and_its_own_losses_both_ways() -> None:
    yard = make_yard(
        house_loads=[LAMP],
        bank=make_bank(charge_efficiency_pct=90.0, discharge_efficiency_pct=80.0),
        inverter=make_inverter(efficiency_pct=90.0, idle_w=20.0),
    )
    physics = run(yard, make_agenda(yard, 3), [], [0.0, 1120.0, 0.0])
    # 90 W / 0.9 + 20 W = 120 W: out of the bank 120 / 0.8 = 150 Wh; in the sun (1120 - 120) * 0.9 = 900 Wh.
    assert physics.bank.level_wh[:, 0] == pytest.approx([5000.0, 4850.0, 5750.0, 5600.0], abs=1e-9)


def test_power_becomes_energy_by_the_length_of_the_step() -> None:
    yard = make_yard(house_loads=[LAMP])
    physics = run(yard, make_agenda(yard, 4, step_minutes=15), [], [0.0, 0.0, 490.0, 490.0])
    assert physics.bank.level_wh[:, 0] == pytest.approx([5000.0, 4977.5, 4955.0, 5055.0, 5155.0], abs=1e-9)


def test_what_passes_the_charge_limit_or_finds_no_room_is_curtailed() -> None:
    yard = make_yard(bank=make_bank(charge_max_w=2000.0, charge_efficiency_pct=80.0, level_pct=80.0))
    physics = run(yard, make_agenda(yard, 3), [], [3000.0, 3000.0, 100.0])
    # 2000 Wh in, 1600 kept; then there is room for 400, which takes 500; then for nothing.
    assert physics.bank.level_wh[:, 0] == pytest.approx([8000.0, 9600.0, 10000.0, 10000.0], abs=1e-9)
    assert physics.bank.charged_wh[:, 0] == pytest.approx([2000.0, 500.0, 0.0], abs=1e-9)
    assert physics.bank.curtailed_wh[:, 0] == pytest.approx([1000.0, 2500.0, 100.0], abs=1e-9)


def test_what_passes_the_discharge_limit_is_not_served() -> None:
    lamp = HouseLoad(name="lamp", watts=900.0, always_on=True)
    yard = make_yard(house_loads=[lamp], bank=make_bank(discharge_max_w=600.0, discharge_efficiency_pct=80.0))
    physics = run(yard, make_agenda(yard, 1), [], [0.0])
    assert physics.bank.level_wh[:, 0] == pytest.approx([5000.0, 4250.0], abs=1e-9)
    assert physics.bank.limited_wh[:, 0] == pytest.approx([300.0], abs=1e-9)
    assert physics.bank.short_wh[:, 0] == pytest.approx([0.0], abs=1e-9)


def test_the_banks_limits_are_watts_however_short_the_step() -> None:
    lamp = HouseLoad(name="lamp", watts=900.0, always_on=True)
    yard = make_yard(house_loads=[lamp], bank=make_bank(charge_max_w=400.0, discharge_max_w=600.0))
    physics = run(yard, make_agenda(yard, 2, step_minutes=15), [], [0.0, 1500.0])
    # A quarter of an hour at 600 W out, then at 400 W in.
    assert physics.bank.level_wh[:, 0] == pytest.approx([5000.0, 4850.0, 4950.0], abs=1e-9)
    assert physics.bank.limited_wh[:, 0] == pytest.approx([75.0, 0.0], abs=1e-9)
    assert physics.bank.curtailed_wh[:, 0] == pytest.approx([0.0, 50.0], abs=1e-9)


def test_an_empty_bank_serves_no_more_and_stays_at_zero() -> None:
    lamp = HouseLoad(name="lamp", watts=900.0, always_on=True)
    bank = make_bank(reserve_pct=0.0, level_pct=10.0, discharge_efficiency_pct=80.0)
    yard = make_yard(house_loads=[lamp], bank=bank)
    physics = run(yard, make_agenda(yard, 2), [], [0.0, 0.0])
    # 1000 Wh in store give 800.
    assert physics.bank.level_wh[:, 0] == pytest.approx([1000.0, 0.0, 0.0], abs=1e-9)
    assert physics.bank.short_wh[:, 0] == pytest.approx([100.0, 900.0], abs=1e-9)


def test_an_inverter_switched_off_between_pays_idle_only_where_something_draws() -> None:
    yard = make_yard(make_machine(), inverter=make_inverter(idle_w=50.0, off_when_unused=True))
    agenda = make_agenda(yard, 3)
    loads = run_loads(yard, agenda, np.full(3, 20.0), decide(yard, agenda, [[1]]))
    assert loads.demand_wh == pytest.approx([0.0, 550.0, 0.0], abs=1e-9)


def test_a_full_machine_that_stays_plugged_in_lets_the_inverter_switch_off() -> None:
    full = make_machine(charge_pct=100.0)
    yard = make_yard(full, inverter=make_inverter(idle_w=50.0, off_when_unused=True))
    agenda = make_agenda(yard, 2)
    loads = run_loads(yard, agenda, np.full(2, 20.0), decide(yard, agenda, [[0, 1]]))
    assert loads.demand_wh == pytest.approx([0.0, 0.0], abs=1e-12)


def test_a_machine_on_a_dc_port_skips_the_inverter() -> None:
    ac, dc = make_machine("cart"), make_machine("sprayer", supply="dc", charger_w=100.0)
    outlets = (Outlet(name="east", kind="ac"), Outlet(name="port", kind="dc"))
    yard = make_yard(ac, dc, outlets=outlets, inverter=make_inverter(efficiency_pct=80.0, idle_w=10.0))
    agenda = make_agenda(yard, 2)
    loads = run_loads(yard, agenda, np.full(2, 20.0), decide(yard, agenda, [[0], [0, 1]]))
    assert loads.demand_wh == pytest.approx([500.0 / 0.8 + 100.0 + 10.0, 110.0], abs=1e-9)
    assert loads.ac_w[[0, 59, 60, 119]] == pytest.approx([500.0, 500.0, 0.0, 0.0], abs=1e-9)


def test_the_inverters_running_watts_are_those_of_every_minute_and_not_the_mean() -> None:
    yard = make_yard(make_machine(charge_pct=90.0, battery_wh=800.0), house_loads=[LAMP])
    agenda = make_agenda(yard, 1)
    loads = run_loads(yard, agenda, np.full(1, 20.0), decide(yard, agenda, [[0]]))
    # At 90 % half of the fall from full power to a twentieth is behind it.
    assert loads.ac_w[0] == pytest.approx(90.0 + 500.0 * 0.525, abs=1e-9)
    assert loads.ac_w[-1] == pytest.approx(90.0, abs=1e-9)
    assert loads.wall_wh[0, 0] == pytest.approx(80.0, abs=1e-9)


def exact_fraction(machine: Machine, hours: float) -> float:
    """Charge fraction after `hours`, by the solution of R7's differential equation.

    Up to the taper point k the fraction gains F = efficiency * P / capacity an hour. From k on, with
    c = 0.95 / (1 - k), ds/dt = F * (1 - c * (s - k)), so s = k + (1 - exp(-c * F * t)) / c, which is 1 when
    exp(-c * F * t) = 0.05: after ln(20) / (c * F).
    """
    gain, corner = machine.charger_efficiency * machine.charger_w / machine.capacity_wh, machine.taper_from
    start = machine.charge_wh / machine.capacity_wh
    flat_h = max(0.0, corner - start) / gain
    if hours <= flat_h:
        return start + gain * hours
    if corner == 1.0:
        return 1.0
    fall = 0.95 / (1.0 - corner)
    # A start beyond the taper point is met that much later on the same curve.
    ahead_h = -math.log(1.0 - fall * max(0.0, start - corner)) / (fall * gain)
    taper_h = hours - flat_h + ahead_h
    return min(1.0, corner + (1.0 - math.exp(-fall * gain * taper_h)) / fall)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({}, id="flat, then the taper from 80 %"),
        pytest.param({"taper_from_pct": 50.0, "charger_efficiency_pct": 70.0}, id="taper from 50 %"),
        pytest.param({"taper_from_pct": 0.0, "charge_pct": 0.0}, id="all taper"),
        pytest.param({"taper_from_pct": 100.0}, id="no taper"),
        pytest.param({"taper_from_pct": 99.0, "battery_wh": 700.0}, id="a steep taper"),
        pytest.param({"charge_pct": 93.0, "battery_wh": 900.0}, id="starts within the taper"),
        pytest.param({"battery_wh": 120.0}, id="full in a quarter of an hour"),
        pytest.param({"battery_wh": 20.0, "charge_pct": 0.0, "taper_from_pct": 60.0}, id="full in minutes"),
        pytest.param({"battery_wh": 1.0, "charge_pct": 0.0}, id="full within a minute"),
    ],
)
def test_the_charger_follows_its_exact_curve(changes: dict[str, float]) -> None:
    machine = make_machine(**changes)
    yard = make_yard(machine)
    agenda = make_agenda(yard, 48, step_minutes=15)
    loads = run_loads(yard, agenda, np.full(48, 20.0), decide(yard, agenda, [[*range(48)]]))
    exact = np.array([exact_fraction(machine, edge * 0.25) for edge in range(49)])
    assert loads.charge_wh[:, 0] / machine.capacity_wh == pytest.approx(exact, abs=1e-5)
    gained_wh = loads.charge_wh[-1, 0] - loads.charge_wh[0, 0]
    assert loads.wall_wh.sum() * machine.charger_efficiency == pytest.approx(gained_wh, rel=1e-9)


def test_the_charger_stops_when_the_battery_is_full() -> None:
    machine = make_machine(charge_pct=99.9)
    yard = make_yard(machine)
    agenda = make_agenda(yard, 2)
    loads = run_loads(yard, agenda, np.full(2, 20.0), decide(yard, agenda, [[0, 1]]))
    assert loads.charge_wh[1:, 0] == pytest.approx([5000.0, 5000.0], abs=1e-9)
    # Its last watts are a twentieth of full power and a little; the second hour has none.
    assert loads.begin_w[loads.begin_w > 0.0].min() >= 25.0
    assert loads.begin_w[60:].max() == 0.0


def test_work_is_taken_at_ready_by_and_an_empty_battery_gives_no_more() -> None:
    yard = make_yard(make_machine())
    needs = {"mower": [make_need(1, 900.0, work_wh=1200.0, back=3), make_need(4, 2000.0, work_wh=9000.0)]}
    agenda = make_agenda(yard, 5, needs=needs)
    loads = run_loads(yard, agenda, np.full(5, 20.0), decide(yard, agenda, [[0, 3]]))
    # 1000 + 500, less 1200; back at edge 3: + 500; then it goes out with 800 and comes back with nothing.
    assert loads.charge_wh[:, 0] == pytest.approx([1000.0, 300.0, 300.0, 300.0, 0.0, 0.0], abs=1e-9)
    assert loads.have_wh[0] == pytest.approx([1500.0, 800.0], abs=1e-9)


def test_work_at_the_very_start_and_the_very_end_is_taken() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 1, needs={"mower": [make_need(0, work_wh=100.0), make_need(1, work_wh=50.0)]})
    loads = run_loads(yard, agenda, np.full(1, 20.0), decide(yard, agenda, [[]]))
    assert loads.charge_wh[:, 0] == pytest.approx([900.0, 850.0], abs=1e-9)
    assert loads.have_wh[0] == pytest.approx([1000.0, 900.0], abs=1e-9)


def test_a_machine_that_is_away_draws_nothing_whatever_the_plan_says() -> None:
    yard = make_yard(make_machine())
    agenda = make_agenda(yard, 3, needs={"mower": [make_need(1, back=2)]})
    loads = run_loads(yard, agenda, np.full(3, 20.0), decide(yard, agenda, [[0, 1, 2]]))
    assert loads.wall_wh[:, 0] == pytest.approx([500.0, 0.0, 500.0], abs=1e-9)


@pytest.mark.parametrize(("temp_c", "draws"), [(-0.1, False), (0.0, True), (45.0, True), (45.1, False)])
def test_a_battery_that_protects_itself_draws_only_within_its_window(temp_c: float, draws: bool) -> None:
    guarded, plain = make_machine("cart", self_protecting=True), make_machine()
    yard = make_yard(guarded, plain)
    agenda = make_agenda(yard, 1)
    physics = run(yard, agenda, [[0], [0]], [0.0], temp_c)
    assert physics.loads.wall_wh[0] == pytest.approx([500.0 if draws else 0.0, 500.0], abs=1e-9)


def test_the_bank_can_be_run_on_from_any_level_under_many_suns_at_once() -> None:
    yard = make_yard(house_loads=[LAMP])
    agenda = make_agenda(yard, 6)
    sun_wh = np.random.default_rng(7).uniform(0.0, 2000.0, (6, 5))
    whole = run_bank(yard.bank, agenda.grid, sun_wh, np.full(6, 90.0), yard.bank.level_wh)
    rest = run_bank(yard.bank, agenda.grid, sun_wh[2:], np.full(4, 90.0), whole.level_wh[2])
    assert rest.level_wh == pytest.approx(whole.level_wh[2:], abs=1e-9)


def test_a_yard_without_machines_or_loads_runs() -> None:
    yard = make_yard()
    physics = run(yard, make_agenda(yard, 2), [], [100.0, 0.0])
    assert physics.bank.level_wh[:, 0] == pytest.approx([5000.0, 5100.0, 5100.0], abs=1e-9)
    assert physics.loads.charge_wh.shape == (3, 0)


N_STEPS = 12


@st.composite
def running_yards(draw: st.DrawFn) -> tuple[Yard, Agenda, list[list[int]], list[float]]:
    """Yards with two machines, one on DC, one load, limits and losses, and any plugging under any sun."""
    quarter = st.integers(1, 8).map(lambda eighth: eighth / 8.0)
    limit = st.one_of(st.none(), st.integers(1, 12).map(lambda hundred: hundred * 100.0))
    bank = make_bank(
        modules_wh=(draw(st.sampled_from([300.0, 2000.0, 8000.0])),),
        reserve_pct=0.0,
        level_pct=100.0 * draw(quarter),
        charge_max_w=draw(limit),
        discharge_max_w=draw(limit),
        charge_efficiency_pct=60.0 + 40.0 * draw(quarter),
        discharge_efficiency_pct=60.0 + 40.0 * draw(quarter),
    )
    machines = [
        make_machine(
            supply,
            supply=supply,
            battery_wh=draw(st.sampled_from([60.0, 800.0, 3000.0])),
            charger_w=draw(st.sampled_from([40.0, 250.0, 900.0])),
            charge_pct=100.0 * draw(quarter),
            taper_from_pct=draw(st.sampled_from([0.0, 60.0, 85.0, 100.0])),
            charger_efficiency_pct=50.0 + 50.0 * draw(quarter),
        )
        for supply in ("ac", "dc")
    ]
    inverter = make_inverter(
        continuous_w=5000.0,
        efficiency_pct=80.0 + 20.0 * draw(quarter),
        idle_w=draw(st.sampled_from([0.0, 30.0])),
        off_when_unused=draw(st.booleans()),
    )
    lamp = HouseLoad(name="lamp", watts=100.0 * draw(quarter), always_on=True)
    outlets = (Outlet(name="east", kind="ac"), Outlet(name="port", kind="dc"))
    yard = make_yard(*machines, outlets=outlets, house_loads=[lamp], bank=bank, inverter=inverter)
    needs = {"ac": [make_need(draw(st.integers(0, N_STEPS)), work_wh=500.0)]}
    plugged = [sorted(draw(st.sets(st.integers(0, N_STEPS - 1)))) for _ in machines]
    powers = st.sampled_from([0.0, 150.0, 900.0, 2500.0])
    sun_w = [draw(powers) for _ in range(N_STEPS)]
    return yard, make_agenda(yard, N_STEPS, step_minutes=30, needs=needs), plugged, sun_w


@settings(max_examples=60, deadline=None)
@given(running_yards())
def test_delivered_lost_stored_and_curtailed_energy_is_what_the_sun_generates(
    case: tuple[Yard, Agenda, list[list[int]], list[float]],
) -> None:
    # ID-01, in every step and in all.
    yard, agenda, plugged, sun_w = case
    physics = run(yard, agenda, plugged, sun_w)
    bank, loads = physics.bank, physics.loads
    ac_wh, dc_wh = loads.wall_wh[:, 0] + 0.5 * yard.always_on_w, loads.wall_wh[:, 1]
    runs = np.ones(N_STEPS, dtype=bool) if not yard.inverter.off_when_unused else ac_wh > 0.0
    inverter_lost_wh = (
        ac_wh / yard.inverter.efficiency - ac_wh + np.where(runs, 0.5 * yard.inverter.idle_w, 0.0)
    )
    bank_lost_wh = bank.charged_wh * (1.0 - yard.bank.charge_efficiency) + bank.discharged_wh * (
        1.0 / yard.bank.discharge_efficiency - 1.0
    )
    unserved_wh = bank.limited_wh + bank.short_wh
    used_wh = (ac_wh + dc_wh + inverter_lost_wh)[:, np.newaxis] - unserved_wh + bank_lost_wh
    generated_wh = used_wh + np.diff(bank.level_wh, axis=0) + bank.curtailed_wh
    assert generated_wh[:, 0] == pytest.approx(0.5 * np.array(sun_w), abs=1e-6)
    assert (
        min(bank.charged_wh.min(), bank.discharged_wh.min(), unserved_wh.min(), bank.curtailed_wh.min())
        >= -1e-9
    )
    assert bank.level_wh.min() >= 0.0
    assert bank.level_wh.max() <= yard.bank.capacity_wh


@settings(max_examples=40, deadline=None)
@given(running_yards())
def test_without_sun_the_bank_only_falls(case: tuple[Yard, Agenda, list[list[int]], list[float]]) -> None:
    yard, agenda, plugged, _ = case
    bank = run(yard, agenda, plugged, [0.0] * N_STEPS).bank
    assert np.diff(bank.level_wh, axis=0).max() <= 0.0
    assert bank.charged_wh.max() == bank.curtailed_wh.max() == 0.0


@settings(max_examples=40, deadline=None)
@given(st.data(), st.sampled_from([0.25, 2.0, 8.0]))
def test_a_yard_of_twice_the_size_holds_twice_as_much(data: st.DataObject, factor: float) -> None:
    # ID-04: the same draws, every watt and watt-hour multiplied; powers of two, so that rounding is the same.
    yard, agenda, plugged, sun_w = data.draw(running_yards())
    large = scaled(yard, factor)
    needs = {"ac": [make_need(need.edge, work_wh=need.work_wh * factor) for need in agenda.needs["ac"]]}
    large_agenda = make_agenda(large, N_STEPS, step_minutes=30, needs=needs)
    small_run = run(yard, agenda, plugged, sun_w)
    large_run = run(large, large_agenda, plugged, [watts * factor for watts in sun_w])
    assert large_run.bank.level_wh == pytest.approx(factor * small_run.bank.level_wh, rel=1e-9, abs=1e-9)
    assert large_run.loads.charge_wh == pytest.approx(factor * small_run.loads.charge_wh, rel=1e-9, abs=1e-9)


def scaled(yard: Yard, factor: float) -> Yard:
    """Multiply every watt and watt-hour of a yard."""

    def times(record: object, *keys: str) -> dict[str, float]:
        values = {key: getattr(record, key) for key in keys}
        return {key: value * factor for key, value in values.items() if value is not None}

    bank = yard.bank.model_copy(
        update={
            "modules_wh": tuple(wh * factor for wh in yard.bank.modules_wh),
            **times(yard.bank, "charge_max_w", "discharge_max_w"),
        }
    )
    return yard.model_copy(
        update={
            "bank": bank,
            "inverter": yard.inverter.model_copy(update=times(yard.inverter, "continuous_w", "idle_w")),
            "house_loads": tuple(load.model_copy(update=times(load, "watts")) for load in yard.house_loads),
            "machines": tuple(
                machine.model_copy(update=times(machine, "battery_wh", "charger_w"))
                for machine in yard.machines
            ),
        }
    )
