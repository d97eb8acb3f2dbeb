"""The bank in the cold: what it must not take, and what that costs."""

from __future__ import annotations

import pytest

from scheduler.checkup.bankcold import cold_factor, cold_sun
from scheduler.checkup.bankside import check_bank
from scheduler.checkup.findings import Finding, Grade
from scheduler.checkup.siteyear import SiteYear
from scheduler.yard.models import Yard
from tests.checkup.storeyard import load, store_yard, year_of

LAMP = load("lamp", 80.0, 80.0, always_on=True)


def frosty(days: int, shed_c: float = -5.0) -> SiteYear:
    """That cold for the first days of the year, 15 C later and 16 in July; 12 h of 500 W of sun all the time."""
    return year_of(lambda _: 500.0, lambda day: shed_c if day < days else 16.0 if day == 200 else 15.0)


def told(yard: Yard, words: str, year: SiteYear) -> list[Finding]:
    return [found for found in check_bank(yard, year).findings if words in found.title]


def test_the_sun_of_cold_hours_is_lost_to_the_bank() -> None:
    # 3 days of 12 h; 500 W less the 100 W that run always.
    year = frosty(3)
    year.shed_c[200 * 24 + 14] = 20.0  # the year is gone round from here
    year.shed_c[:6] = 15.0
    cold = cold_sun(store_yard(house_loads=(LAMP,)), year, year.arrays[0].panels_w)
    assert cold.hours == 36
    assert cold.lost_wh == pytest.approx(3 * 12 * 400.0)
    assert cold.year_wh == pytest.approx(365 * 12 * 400.0)
    assert cold.without_hours == cold.with_duty_hours == 0


def test_cold_that_the_bank_outlasts_is_a_note() -> None:
    # From full 8000 Wh above the reserve. The last evening of December takes 600 Wh, each frosty day 1200, the night
    # before the first warm day the last 600: 7200 Wh. By day the sun carries the house, though the bank takes nothing.
    yard = store_yard(house_loads=(LAMP,))
    (found,) = told(yard, "must not be charged", frosty(5))
    assert found.grade is Grade.NOTE
    assert "the house alone never brings it below its reserve" in found.meaning
    assert (found.found, found.limit) == (-5.0, 0.0)


def test_cold_that_takes_the_bank_below_its_reserve_is_a_warning() -> None:
    # 10 kWh down to 30 %: 7000 Wh, 70 h of night. 66 are over by the end of the 5th day, the evening before New Year
    # among them, so that the first hour below ends at 5:00 of the 6th: 20 h of it, all of the 7th, 6 h of the 8th, the
    # first warm one. At its sunrise 96 h are over and 400 Wh are left; the 7th hour of 400 W brings it above 3000.
    yard, year = store_yard(bank={"reserve_pct": 30.0}, house_loads=(LAMP,)), frosty(7)
    (found,) = told(yard, "must not be charged", year)
    assert found.grade is Grade.WARNING
    assert cold_sun(yard, year, year.arrays[0].panels_w).without_hours == 20 + 24 + 6 + 6
    assert "for 56 h because of that" in found.meaning


def test_loads_that_can_wait_make_a_note_only_and_are_told() -> None:
    # 1200 W for 2 h a day are 100 W on the mean: 200 W at night, 2400 Wh; 8000 Wh are gone within 4 nights.
    pump = load("pump", 1200.0, 1200.0)
    (found,) = told(store_yard(house_loads=(LAMP, pump)), "must not be charged", frosty(5))
    assert found.grade is Grade.NOTE
    assert "with the house's other loads too it falls below its reserve for" in found.meaning


@pytest.mark.parametrize(
    ("chemistry", "shed_c", "notes"),
    [("lithium", -0.1, 1), ("lithium", 0.0, 0), ("lead_acid", -20.1, 1), ("lead_acid", -20.0, 0)],
)
def test_each_chemistry_has_its_own_limit(chemistry: str, shed_c: float, notes: int) -> None:
    yard = store_yard(bank={"chemistry": chemistry})
    assert len(told(yard, "must not be charged", frosty(2, shed_c))) == notes


def test_frost_at_night_only_costs_nothing_and_is_not_told() -> None:
    year = year_of(lambda _: 500.0)
    year.shed_c[~year.sun_up] = -5.0
    assert not told(store_yard(), "must not be charged", year)


def test_a_lithium_bank_below_20_c_of_frost_gives_nothing() -> None:
    (found,) = told(store_yard(), "gives nothing", frosty(2, -21.0))
    assert found.grade is Grade.WARNING
    assert "For 48 h a year" in found.title
    assert not told(store_yard(), "gives nothing", frosty(2, -20.0))
    assert not told(store_yard(bank={"chemistry": "lead_acid"}), "gives nothing", frosty(2, -21.0))


def test_what_the_cold_takes_of_a_lead_acid_bank_is_told_by_its_coldest_day() -> None:
    yard = store_yard(bank={"chemistry": "lead_acid", "charge_max_w": 1500.0})
    year = frosty(2, -1.1)
    assert cold_factor(yard, year) == pytest.approx(1.40)
    assert cold_factor(yard, year, month=7) == pytest.approx(1.11, abs=0.01)
    (found,) = told(yard, "On its coldest day", year)
    assert "holds 7143 Wh of its 10000 Wh" in found.title
    assert not told(yard, "On its coldest day", year_of(lambda _: 500.0, lambda _: 20.0))
    assert cold_factor(store_yard(), year) == 1.0


def test_a_frozen_lead_acid_bank_takes_three_tenths_of_its_capacity_an_hour() -> None:
    # 1000 Wh: 300 W.
    bank = {"chemistry": "lead_acid", "modules_wh": (1000.0,)}
    assert told(store_yard(bank=bank | {"charge_max_w": 301.0}), "below freezing", frosty(2))
    assert not told(store_yard(bank=bank | {"charge_max_w": 300.0}), "below freezing", frosty(2))
    assert not told(store_yard(bank=bank | {"charge_max_w": 301.0}), "below freezing", frosty(2, 0.0))
