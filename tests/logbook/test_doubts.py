"""Readings that can hardly be true are asked back; those that the yard could have made are not."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from scheduler.logbook.doubts import doubts_about, most_bank_w
from scheduler.logbook.readings import Logbook, Reading, What
from scheduler.yard.fleetfile import read_yard
from scheduler.yard.models import Yard
from tests.cli_yard import FLEET

NOON = dt.datetime(2027, 6, 8, 16, 0, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    path = tmp_path_factory.mktemp("doubts") / "yard.toml"
    path.write_text(FLEET)
    return read_yard(path)


def shown(pct: float, minutes: float = 0, what: What = "bank", machine: str = "") -> Reading:
    value_pct = min(max(pct, 0.0), 100.0)
    return Reading(NOON + dt.timedelta(minutes=minutes), what, machine, value_pct, f"{pct:g}", "", 1)


def doubts(yard: Yard, reading: Reading, *earlier: Reading, now_minutes: float = 0) -> list[str]:
    now = NOON + dt.timedelta(minutes=now_minutes)
    return list(doubts_about(reading, Logbook(Path("log.csv"), earlier), yard, now))


def test_the_first_reading_is_believed(yard: Yard) -> None:
    assert doubts(yard, shown(62)) == []
    assert doubts(yard, Reading(NOON, "note", "", None, "wet", "", 1)) == []


def test_more_than_full_and_less_than_empty(yard: Yard) -> None:
    assert doubts(yard, shown(120)) == ["120 % is more than full"]
    assert doubts(yard, shown(100)) == []
    assert doubts(yard, shown(-1)) == ["-1 % is less than empty"]


def test_tomorrows_reading_is_asked_back_and_a_clock_a_little_ahead_is_not(yard: Yard) -> None:
    assert doubts(yard, shown(62, 10)) == []
    assert doubts(yard, shown(62, 11)) == ["that time has not come yet"]
    assert doubts(yard, shown(62), now_minutes=31 * 24 * 60) == []
    assert "32 days ago" in doubts(yard, shown(62), now_minutes=32 * 24 * 60)[0]


def test_a_leap_of_40_points_in_a_minute_is_asked_back(yard: Yard) -> None:
    (doubt,) = doubts(yard, shown(90, 1), shown(50), now_minutes=1)
    assert doubt == "it was 50 % at Tue 8 Jun 12:00, and in 1 min it can go 6 up at most"
    assert "down at most" in doubts(yard, shown(10, 1), shown(50), now_minutes=1)[0]


def test_just_inside_and_just_outside_of_what_the_limits_allow(yard: Yard) -> None:
    """Four panels of 400 W charge 5 kWh by at most 1.2 times 1600 W and 97 %, and the displays may err by 5."""
    up_pct = 1.2 * 1600 * 0.97 / 5000 * 100 + 5
    down_pct = (1500 / 0.9 + 20) / 0.97 / 5000 * 100 + 5
    assert most_bank_w(yard) == pytest.approx(((1500 / 0.9 + 20) / 0.97, 1.2 * 1600 * 0.97))
    for change_pct, asked in (
        (up_pct - 0.1, 0),
        (up_pct + 0.1, 1),
        (0.1 - down_pct, 0),
        (-0.1 - down_pct, 1),
    ):
        assert len(doubts(yard, shown(50 + change_pct, 60), shown(50), now_minutes=60)) == asked


def test_the_banks_own_limits_count_where_the_file_has_them(yard: Yard) -> None:
    bank = yard.bank.model_copy(update={"charge_max_w": 500.0, "discharge_max_w": 400.0})
    limited = yard.model_copy(update={"bank": bank})
    assert most_bank_w(limited) == pytest.approx((400 / 0.97, 500 * 0.97))


def test_a_reading_put_in_between_is_held_against_the_one_after_it_too(yard: Yard) -> None:
    earlier, later = shown(50), shown(52, 2)
    assert doubts(yard, shown(51, 1), earlier, later, now_minutes=2) == []
    assert len(doubts(yard, shown(90, 1), earlier, later, now_minutes=2)) == 2


def test_only_the_neighbours_in_time_count(yard: Yard) -> None:
    assert doubts(yard, shown(62, 61), shown(20), shown(60, 60), now_minutes=61) == []
    assert len(doubts(yard, shown(22, 61), shown(20), shown(60, 60), now_minutes=61)) == 1


def test_a_withdrawn_reading_casts_no_doubt(yard: Yard) -> None:
    wrong = Reading(NOON, "bank", "", 20.0, "20", "", 2, withdrawn=True)
    assert doubts(yard, shown(62, 1), wrong, now_minutes=1) == []


def test_a_machine_fills_no_faster_than_its_charger_and_may_be_emptied_by_work(yard: Yard) -> None:
    """260 W at 88 % into 1400 Wh are 16 points an hour."""
    before = shown(40, 0, "machine", "cart")
    assert doubts(yard, shown(61, 60, "machine", "cart"), before, now_minutes=60) == []
    assert len(doubts(yard, shown(62, 60, "machine", "cart"), before, now_minutes=60)) == 1
    assert doubts(yard, shown(0, 60, "machine", "cart"), before, now_minutes=60) == []
    assert doubts(yard, shown(100, 1, "machine", "mower"), before, now_minutes=1) == []
