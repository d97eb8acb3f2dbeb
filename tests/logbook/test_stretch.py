"""The days of a logbook that are compared: up to the last reading of the bank, by the clock if it can be."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from scheduler.logbook.readings import parse_logbook
from scheduler.logbook.stretch import Stretch, about_clock, stretch_of, too_few
from tests.studies.small_yard import SITE

ZONE = ZoneInfo("America/New_York")
NOW = dt.datetime(2026, 11, 26, 12, tzinfo=ZONE).astimezone(dt.UTC)


def stretch(*lines: str, days: int = 7) -> Stretch:
    text = "time,what,value,who\n" + "".join(f"{line}\n" for line in lines)
    return stretch_of(parse_logbook(text.encode(), Path("log.csv"), SITE), NOW, days)


def read(found: Stretch) -> list[str]:
    return [f"{one.time.astimezone(ZONE):%m-%d %H}" for one in found.log.standing]


TWO = ("2026-11-24 06:00,bank,50,", "2026-11-25 06:00,bank,60,")


@pytest.mark.parametrize("late", ["note,typo,", "bank,60,", "cart,6,"])
def test_a_line_of_a_time_to_come_moves_no_window_and_is_told(late: str) -> None:
    found = stretch(*TWO, f"2027-11-25 12:00,{late}")
    assert read(found) == ["11-24 06", "11-25 06"]
    assert found.since == dt.datetime(2026, 11, 18, 6, tzinfo=ZONE)
    assert list(about_clock(found, SITE)) == [
        "the logbook log.csv, line 4: 2027-11-25 12:00 has not come yet, and is left aside; set it right there"
    ]


def test_a_clock_that_goes_ten_minutes_behind_leaves_nothing_out() -> None:
    assert len(read(stretch(*TWO, "2026-11-26 12:10,bank,60,"))) == 3
    assert len(read(stretch(*TWO, "2026-11-26 12:11,bank,60,"))) == 2


def test_many_lines_of_a_time_to_come_are_counted() -> None:
    told = list(about_clock(stretch(*TWO, *["2027-11-25 12:00,bank,60,"] * 9), SITE))
    assert len(told) == 4
    assert told[3] == "the logbook log.csv: 6 more lines are of a time to come"


def test_a_clock_that_is_behind_all_readings_is_told_and_not_gone_by() -> None:
    found = stretch("2027-06-08 16:00,bank,50,", "2027-06-09 06:00,bank,40,", "2027-06-09 07:00,note,so,")
    assert read(found) == ["06-08 16", "06-09 06", "06-09 07"]
    (told,) = about_clock(found, SITE)
    assert "by this machine's clock the bank was read in time to come" in told


def test_of_one_reading_before_the_clock_and_one_after_it_both_are_kept() -> None:
    found = stretch("2026-11-25 06:00,bank,60,", "2026-11-28 06:00,bank,70,")
    assert len(read(found)) == 2
    assert "it is compared all the same" in next(about_clock(found, SITE))


def test_what_is_read_a_day_after_the_bank_still_counts_and_later_not() -> None:
    found = stretch(*TWO, "2026-11-25 06:15,sky,fair,", "2026-11-26 06:00,cart,40,", "2026-11-26 06:01,cart,40,")
    assert read(found) == ["11-24 06", "11-25 06", "11-25 06", "11-26 06"]


def test_what_is_older_than_the_days_asked_for_is_not_recent() -> None:
    found = stretch("2026-11-18 05:59,cart,40,", "2026-11-18 06:00,mower,40,", *TWO)
    assert [one.machine for one in found.recent.readings] == ["mower", "", ""]


def said(found: Stretch) -> str:
    return too_few(found, Path("yard.toml"), SITE)


def test_after_a_holiday_the_days_that_would_do_are_named() -> None:
    found = stretch("2026-11-05 06:00,bank,50,", "2026-11-05 12:00,bank,60,", "2026-11-22 12:30,bank,60,")
    assert said(found) == (
        "log.csv: in the 7 days up to 2026-11-22 12:30 the bank was read once, wanted twice or more; "
        "the reading before is older: --days 25 looks so far"
    )
    assert said(stretch("2026-09-20 07:00,bank,5,", "2026-11-21 06:00,bank,6,")).endswith("--days 62 looks so far")
    assert "sunroster note yard.toml" in said(stretch("2026-09-20 06:00,bank,5,", "2026-11-21 06:00,bank,6,"))


def test_readings_of_one_quarter_of_an_hour_are_one() -> None:
    assert "was read once" in said(stretch("2026-11-22 12:30,bank,50,", "2026-11-22 12:31,bank,60,"))


def test_lines_that_cannot_be_read_stand_before_that_nothing_is_left() -> None:
    first, second, last = said(stretch("11/12/2026 06:30,bank,62,", "11/12/2026 12:30,bank,80,")).split("\n")
    assert first.startswith('the logbook log.csv, line 2: "11/12/2026 06:30": day or month first?')
    assert second.startswith("the logbook log.csv, line 3: ")
    assert last.startswith("log.csv: there is no logbook yet, wanted two or more; note what its display shows")


def test_a_logbook_without_one_reading_of_the_bank_is_told_so(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,what,value,who\n2026-11-22 12:30,note,so,\n", encoding="utf-8")
    found = stretch_of(parse_logbook(path.read_bytes(), path, SITE), NOW, 7)
    assert f"{path}: no reading of the bank can be used, wanted two or more" in said(found)
