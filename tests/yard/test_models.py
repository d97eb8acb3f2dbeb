"""The yard's records: derived figures, defaults, and what they refuse."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from pydantic import ValidationError

from scheduler.yard.clock import WEEKDAYS
from scheduler.yard.mistakes import HEADINGS
from scheduler.yard.models import (
    Array,
    Bank,
    HouseLoad,
    Inverter,
    Machine,
    Need,
    Outlet,
    Record,
    Site,
    Visits,
)
from tests.strategies import yards

SITE = {"latitude": 36.1, "longitude": -79.95, "timezone": "America/New_York"}
ARRAY = {"name": "roof", "panels": 4, "panel_w": 405.0, "tilt_deg": 25, "azimuth_deg": 180}
BANK = {"modules_wh": (5120, 2560.0), "reserve_pct": 25, "level_pct": 60}
MACHINE = {"name": "cart", "battery_wh": 1440, "charger_w": 300, "charge_pct": 40}
NEED = {"ready_by": "07:30"}


def test_named_losses_are_multiplied_and_not_added() -> None:
    # PVWatts' losses that are not 0 make 14.08 %, not their sum of 15 (Dobos 2014, NREL/TP-6A20-62641)
    losses = {
        "soiling": 2,
        "shading": 3,
        "mismatch": 2,
        "wiring": 2,
        "connections": 0.5,
        "lid": 1.5,
        "rating": 1,
        "availability": 3,
    }
    named = Array(**ARRAY, losses_pct=losses)
    assert named.loss_fraction == pytest.approx(0.1408, abs=5e-5)
    assert Array(**ARRAY).loss_fraction == pytest.approx(0.1408)
    assert Array(**ARRAY, losses_pct={}).loss_fraction == 0


def test_an_array_is_rated_by_all_its_panels() -> None:
    assert Array(**ARRAY).rated_w == 1620


def test_a_bank_holds_the_sum_of_its_modules() -> None:
    bank = Bank(**BANK)
    assert (bank.capacity_wh, bank.reserve_wh, bank.level_wh) == (7680, 1920, 4608)
    assert (bank.charge_efficiency, bank.discharge_efficiency) == (0.97, 0.97)


def test_a_level_at_the_reserve_is_allowed_and_one_below_is_not() -> None:
    assert Bank(**{**BANK, "level_pct": 25}).level_wh == 1920
    with pytest.raises(ValidationError, match=r"level_pct: 24\.9 is below reserve_pct 25, .* plan --bank 24\.9"):
        Bank(**{**BANK, "level_pct": 24.9})


def test_a_banks_lowest_volts_are_no_more_than_its_nominal_ones() -> None:
    assert Bank(**BANK, nominal_v=24.0, lowest_v=24.0).lowest_v == 24.0
    with pytest.raises(ValidationError, match=r"lowest_v: 24\.1 is above nominal_v 24"):
        Bank(**BANK, nominal_v=24.0, lowest_v=24.1)


def test_a_fuse_of_0_amperes_says_that_there_is_none_and_then_breaks_nothing() -> None:
    assert Bank(**BANK, fuse_a=0.0).fuse_a == 0.0
    with pytest.raises(ValidationError, match="fuse_breaks_a: goes with a fuse"):
        Bank(**BANK, fuse_a=0.0, fuse_breaks_a=20_000.0)
    with pytest.raises(ValidationError):
        Array(**ARRAY, fuse_a=0.0)


def test_all_that_is_wrong_with_a_bank_is_told_at_once() -> None:
    with pytest.raises(ValidationError, match=r"(?s)level_pct.*lowest_v"):
        Bank(**{**BANK, "level_pct": 20.0}, nominal_v=12.0, lowest_v=13.0)


def test_an_inverter_without_a_surge_figure_stands_no_surge() -> None:
    assert Inverter(continuous_w=2000).surge_limit_w == 2000
    assert Inverter(continuous_w=2000, surge_w=4000).surge_limit_w == 4000
    assert Inverter(continuous_w=2000, efficiency_pct=91).efficiency == 0.91


@pytest.mark.parametrize(
    ("breaker_a", "volts", "continuous_w"),
    [(15, 120, 1440), (20, 120, 1920), (30, 120, 2880), (30, 240, 5760), (50, 240, 9600)],
)
def test_a_breaker_gives_80_percent_for_long_and_all_of_it_for_short(
    breaker_a: float, volts: float, continuous_w: float
) -> None:
    # NEC 210.19(A)(1), 210.20(A)
    outlet = Outlet(name="A", kind="ac", breaker_a=breaker_a, volts=volts)
    assert outlet.continuous_w == pytest.approx(continuous_w)
    assert outlet.limit_w == breaker_a * volts


def test_an_outlet_gives_no_more_than_the_smaller_of_its_two_limits() -> None:
    assert Outlet(name="A", kind="ac", max_w=900, breaker_a=15).limit_w == 900
    assert Outlet(name="A", kind="ac", max_w=2500, breaker_a=15).limit_w == 1800
    assert Outlet(name="A", kind="ac").limit_w == math.inf
    assert Outlet(name="A", kind="ac", max_w=900).continuous_w == math.inf


@pytest.mark.parametrize(
    ("window", "minutes", "hours"),
    [
        (None, (0, 1440), 24),
        (("08:00", "20:00"), (480, 1200), 12),
        (("22:00", "04:30"), (1320, 1710), 6.5),
        (("00:00", "24:00"), (0, 1440), 24),
        (("12:00", "00:00"), (720, 1440), 12),
    ],
)
def test_a_window_may_run_over_midnight(window: Any, minutes: tuple[int, int], hours: float) -> None:
    load = HouseLoad(name="fan", watts=80, hours_per_day=2, window=window)
    assert load.window_minutes == minutes
    assert load.window_h == hours


def test_a_motor_draws_its_surge_while_it_starts() -> None:
    assert HouseLoad(name="fan", watts=80, always_on=True).start_w == 80
    assert HouseLoad(name="fan", watts=80, surge_w=300, always_on=True).start_w == 300


def test_a_weekday_may_have_its_own_visits() -> None:
    visits = Visits(times=("07:00", "12:30"), sat=("9:00",), sun=())
    assert visits.on_weekday(0) == (420, 750)
    assert visits.on_weekday(5) == (540,)
    assert visits.on_weekday(6) == ()


@pytest.mark.parametrize(
    ("said", "need_wh", "work_wh"),
    [
        ({"charge_pct": 90}, 1296, 0),
        ({"energy_wh": 500}, 500 + 288, 500),
        ({"hours": 2, "draw_w": 250}, 500 + 288, 500),
        ({"distance_km": 10, "wh_per_km": 50}, 500 + 288, 500),
        ({"distance_miles": 10, "wh_per_mile": 50}, 500 + 288, 500),
    ],
)
def test_a_need_is_work_on_top_of_the_floor_or_a_charge(
    said: dict[str, float], need_wh: float, work_wh: float
) -> None:
    need = Need(**NEED, **said)
    machine = Machine(**MACHINE, floor_pct=20, needs=(need,))
    assert machine.need_wh(need) == pytest.approx(need_wh)
    assert need.work_wh == work_wh


def test_a_need_of_just_what_the_battery_holds_is_allowed_and_more_is_not() -> None:
    Machine(**MACHINE, floor_pct=20, needs=({**NEED, "energy_wh": 1152},))
    with pytest.raises(
        ValidationError, match=r"wants 1441 Wh \(work 1153, floor_pct 20\), more than the 1440 Wh"
    ):
        Machine(**MACHINE, floor_pct=20, needs=({**NEED, "energy_wh": 1153},))


def test_a_battery_may_be_given_by_volts_and_ampere_hours() -> None:
    machine = Machine(name="cart", battery_v=48, battery_ah=30, charger_w=300, charge_pct=50)
    assert (machine.capacity_wh, machine.charge_wh) == (1440, 720)
    assert (machine.charger_efficiency, machine.taper_from, machine.floor_wh) == (0.88, 0.8, 0)


def test_a_need_has_its_own_class_or_its_machines() -> None:
    machine = Machine(**MACHINE, priority="must")
    assert machine.priority_of(Need(**NEED, charge_pct=90)) == "must"
    assert machine.priority_of(Need(**NEED, charge_pct=90, priority="could")) == "could"


@given(yards())
def test_a_yard_is_frozen_and_its_house_adds_up(yard: Any) -> None:
    assert yard.always_on_w == sum(load.watts for load in yard.house_loads if load.hours_per_day is None)
    with pytest.raises(ValidationError, match="frozen"):
        yard.bank.level_pct = 50.0


@pytest.mark.parametrize(
    ("model", "base", "key", "value"),
    [
        (Site, SITE, "latitude", True),
        (Site, SITE, "latitude", "36.1"),
        (Site, SITE, "longitude", 180.1),
        (Site, SITE, "timezone", "Greensboro"),
        (Site, SITE, "timezone", "../../etc/passwd"),
        (Site, SITE, "timezone", "America"),
        (Site, SITE, "elevation_m", math.inf),
        (Site, SITE, "name", " "),
        (Site, SITE, "name", "two\nlines"),
        (Site, SITE, "name", "bell\x07"),
        (Array, ARRAY, "panels", 4.0),
        (Array, ARRAY, "panels", 0),
        (Array, ARRAY, "panel_w", 1e300),
        (Array, ARRAY, "tilt_deg", 91),
        (Array, ARRAY, "azimuth_deg", -10),
        (Array, ARRAY, "losses_pct", 100),
        (Array, ARRAY, "losses_pct", {"dirt": 100}),
        (Array, ARRAY, "cable_awg", "5/0"),
        (Bank, BANK, "modules_wh", ()),
        (Bank, BANK, "modules_wh", (5120, math.nan)),
        (Bank, BANK, "charge_efficiency_pct", 0),
        (Bank, BANK, "nominal_v", 0),
        (Bank, BANK, "nominal_v", 9e-7),
        (Bank, BANK, "discharge_efficiency_pct", 1e-300),
        (Array, ARRAY, "cable_mm2", 5e-324),
        (Bank, BANK, "fuse_a", -1),
        (Machine, MACHINE, "charge_pct", 101),
        (Machine, MACHINE, "count", 100),
        (Machine, MACHINE, "self_protecting", 1),
        (Machine, MACHINE, "charge_temp_c", (0, 20, 45)),
        (Machine, MACHINE, "supply", "AC"),
    ],
)
def test_impossible_values_are_refused(
    model: type[Record], base: dict[str, Any], key: str, value: Any
) -> None:
    model(**base)
    with pytest.raises(ValidationError) as caught:
        model(**{**base, key: value})
    assert {error["loc"][0] for error in caught.value.errors()} == {key}


@pytest.mark.parametrize(("written", "kept"), [(10, "10"), ("4/0", "4/0"), ("00", "00"), (0, "0")])
def test_wire_gauges_may_be_numbers_or_text(written: Any, kept: str) -> None:
    assert Array(**ARRAY, cable_awg=written).cable_awg == kept


UNIT_ENDINGS = (
    "_w",
    "_wh",
    "_pct",
    "_c",
    "_h",
    "_m",
    "_km",
    "_miles",
    "_mm2",
    "_m3",
    "_per_kwh",
    "_v",
    "_a",
    "_ah",
    "_deg",
    "_per_km",
    "_per_mile",
    "_m2",
    "_kg",
    "_n",
    "_coefficient",
    "_m_s",
)

#: Numbers that need no unit in their key: counts, degrees on the globe, and words that are units themselves.
WITHOUT_ENDING = {
    "latitude",
    "longitude",
    "panels",
    "series",
    "parallel",
    "tie_downs",
    "count",
    "watts",
    "volts",
    "hours",
    "hours_per_day",
}


TIMES = {"between", "window", "times", "ready_by", *WEEKDAYS}


def test_every_number_has_its_unit_in_its_key() -> None:
    for model in HEADINGS:
        for key, field in model.model_fields.items():
            is_number = "float" in str(field.annotation) or "int" in str(field.annotation)
            if is_number and key not in TIMES:
                assert key.endswith(UNIT_ENDINGS) or key in WITHOUT_ENDING, f"{model.__name__}.{key}"
