"""Published figures of batteries: storage, charging windows, rates, lead-acid emptied fast."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scheduler.checkup.ageing import capacity_kept_fraction
from scheduler.checkup.batterycare import (
    BEST_C,
    FROST_RATE_PER_H,
    LITHIUM_C,
    check_batteries,
    hours_by_month,
)
from scheduler.checkup.chargerloss import yearly_limit_kwh
from scheduler.checkup.cycles import cycles_at_depth
from scheduler.checkup.leadacid import peukert_hours
from scheduler.checkup.resting import LOST_PER_MONTH, PARKED, held_after
from scheduler.checkup.siteyear import SiteYear, build_site_year
from scheduler.sun.typicalyear import TypicalYear
from scheduler.sun.weather import read_weather
from scheduler.units import CHARGER_CUTOFF_FRACTION
from scheduler.yard.figures import Chemistry
from scheduler.yard.models import Bank, Machine
from scheduler.yard.notes import COLDEST_CHARGE_C, HOTTEST_CHARGE_C
from tests.checkup.small_yard import make_yard

ROOT = Path(__file__).parents[2]

# ---- B-01 to B-03: Battery University, BU-410, Table 1, seen. How plans keep to it: test_charging_limits.py.


def test_charging_windows_are_the_published_ones() -> None:
    assert Machine(name="cart", battery_wh=500.0, charger_w=100.0, charge_pct=0.0).charge_temp_c == LITHIUM_C
    assert LITHIUM_C == (0.0, 45.0)
    assert (COLDEST_CHARGE_C, HOTTEST_CHARGE_C) == (-20.0, 50.0)
    assert BEST_C == (10.0, 30.0)
    assert FROST_RATE_PER_H == 0.3


# ---- B-04, B-05: Battery University, recoverable capacity after a year in storage, seen in two reproductions.
STORED_PCT = [
    (0.4, 0.0, 98.0),
    (0.4, 25.0, 96.0),
    (0.4, 40.0, 85.0),
    (0.4, 60.0, 75.0),
    (1.0, 0.0, 94.0),
    (1.0, 25.0, 80.0),
    (1.0, 40.0, 65.0),
]


@pytest.mark.parametrize(("charge", "temp_c", "kept_pct"), STORED_PCT)
def test_a_years_storage_leaves_what_the_table_says(charge: float, temp_c: float, kept_pct: float) -> None:
    assert capacity_kept_fraction(charge, temp_c) * 100.0 == pytest.approx(kept_pct, abs=1e-9)


@pytest.mark.parametrize(
    ("charge", "temp_c"), [(1.0, 60.0), (0.41, 40.1), (0.39, 25.0), (0.4, -1.0), (1.01, 20.0)]
)
def test_where_the_table_has_no_figure_for_a_year_none_is_made_up(charge: float, temp_c: float) -> None:
    """The 60 % that are printed for 60 C and full are those of three months."""
    with pytest.raises(ValueError, match="outside the table"):
        capacity_kept_fraction(charge, temp_c)


# ---- B-06: Battery University, cycle life by depth of discharge, seen in a reproduction.
CYCLES = [(1.0, 300, 500), (0.5, 1200, 1500), (0.25, 2000, 2500), (0.1, 3750, 4700)]


@pytest.mark.parametrize(("depth", "least", "most"), CYCLES)
def test_cycles_by_depth_are_what_the_table_says(depth: float, least: float, most: float) -> None:
    assert cycles_at_depth(depth) == pytest.approx((least, most), rel=1e-9)


# ---- B-09: Encyclopedia of Alternative Energy, self-discharge a month; three sources agree, seen.


@pytest.mark.parametrize(("chemistry", "slow", "fast"), [("lithium", 0.02, 0.03), ("lead_acid", 0.04, 0.06)])
def test_a_month_at_rest_takes_what_is_published(chemistry: Chemistry, slow: float, fast: float) -> None:
    assert LOST_PER_MONTH[chemistry] == (slow, fast)
    parked = PARKED[chemistry][0]
    assert held_after(1.0, chemistry) == pytest.approx((parked - fast, parked - slow), abs=1e-12)


# ---- B-18, B-19: 10 CFR 430.32(z), classes 6 and 5; coefficients from memory, not compared with a copy.


@pytest.mark.parametrize(("of_class", "limit_kwh"), [(6, 41.30), (5, 13.67)])
def test_a_charger_for_500_wh_may_use_so_much_in_a_year(of_class: int, limit_kwh: float) -> None:
    assert yearly_limit_kwh(500.0, of_class) == pytest.approx(limit_kwh, abs=0.01)


# ---- B-07, B-08: coulombic and energy efficiencies, seen (Battery Design; Dirac Delta encyclopedia).


def test_what_is_taken_for_a_bank_and_for_a_battery_lies_within_lithiums_published_efficiency() -> None:
    bank = Bank(modules_wh=(5000.0,), reserve_pct=20.0, level_pct=50.0)
    assert 0.85 <= bank.charge_efficiency * bank.discharge_efficiency <= 0.95
    machine = Machine(name="cart", battery_wh=500.0, charger_w=100.0, charge_pct=0.0)
    assert machine.charger_efficiency <= 0.95  # its charger's losses are in it too


# ---- B-10 to B-13: Peukert. Tutorials and a supplier's text, seen; the form with rated hours computed.


def test_the_plain_form_of_peukert_gives_the_printed_hours() -> None:
    """Its capacity is one at 1 A, which 100 Ah would give for 100 h."""
    assert peukert_hours(100.0, 5.0, 100.0, 1.2) == pytest.approx(14.5, abs=0.05)
    assert peukert_hours(250.0, 20.0, 250.0, 1.3) == pytest.approx(5.0886, abs=1e-3)
    assert peukert_hours(250.0, 20.0, 250.0, 1.3) * 20.0 == pytest.approx(101.773, abs=0.01)


def test_a_capacity_for_20_hours_lasts_20_hours_at_its_rated_draw_and_less_than_half_at_twice_that() -> None:
    assert peukert_hours(100.0, 5.0, 20.0, 1.2) == pytest.approx(20.0, abs=1e-9)
    assert peukert_hours(100.0, 10.0, 20.0, 1.2) == pytest.approx(8.706, abs=1e-3)


def test_a_suppliers_100_ah_become_60_at_four_times_the_draw() -> None:
    assert peukert_hours(100.0, 20.0, 20.0, 1.368) * 20.0 == pytest.approx(60.0, abs=0.06)


# ---- B-14: constant current until about 70 %, an end at 3 to 5 % of it (notes from Battery University), seen.


def test_the_charger_ends_within_the_published_range_and_slows_down_after_most_of_the_charge() -> None:
    assert 0.03 <= CHARGER_CUTOFF_FRACTION <= 0.05
    machine = Machine(name="cart", battery_wh=500.0, charger_w=100.0, charge_pct=0.0)
    assert machine.taper_from == pytest.approx(0.70, abs=0.15)


# ---- WX-02: hours at or below 0 C in three typical years, TMY3 and TMY2 data by NREL, computed from them.
COLD_HOURS = {"greensboro": 849, "703165TY.csv": 1827, "12839.tm2": 0}


def shed_like_the_air(place: str) -> SiteYear:
    """A year whose shed follows the air."""
    import pvlib

    yard = make_yard(
        site={"timezone": "America/Anchorage", "latitude": 55.317, "longitude": -160.517}
        if place == "703165TY.csv"
        else None
    )
    stored = Path(pvlib.__file__).parent / "data" / place
    path = ROOT / "forecasts" / "greensboro-tmy3.csv" if place == "greensboro" else stored
    year = read_weather(path, yard.site)
    assert isinstance(year, TypicalYear)
    return build_site_year(yard, year)


@pytest.mark.parametrize("place", COLD_HOURS)
def test_hours_of_frost_are_those_of_the_published_years(place: str) -> None:
    year = shed_like_the_air(place)
    machine = {"name": "cart", "battery_wh": 500.0, "charger_w": 100.0, "charge_pct": 0.0}
    report = check_batteries(make_yard(machines=[machine]), year)
    figures = {figure.name: figure.value for figure in report.figures}
    assert figures["shed at or below 0 C"] == COLD_HOURS[place]
    assert figures["shed above 45 C"] == 0
    by_month = hours_by_month(year.month, year.shed_c <= 0.0)
    assert by_month.sum() == COLD_HOURS[place]
    assert len(by_month) == 12
    assert np.all(by_month[5:8] == 0)  # no frost from June to August in any of the three
