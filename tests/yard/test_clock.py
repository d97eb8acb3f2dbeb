"""Times as people write them."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import tomli
from hypothesis import given

from scheduler.yard.clock import parse_minute_of_day, parse_moment, parse_ready_by, show_minute_of_day
from tests.strategies import minutes_of_day


@pytest.mark.parametrize(
    ("written", "minute"),
    [
        ('"07:30"', 450),
        ('"7:30"', 450),
        ('" 7:30 "', 450),
        ("07:30", 450),
        ("07:30:00", 450),
        ('"07:30:00"', 450),
        ('"0:00"', 0),
        ("00:00", 0),
        ('"24:00"', 1440),
        ("23:59", 1439),
    ],
)
def test_a_time_of_day_may_stand_quoted_or_bare(written: str, minute: int) -> None:
    assert parse_minute_of_day(tomli.loads(f"at = {written}")["at"]) == minute


@pytest.mark.parametrize(
    "written",
    [
        '"24:01"',
        '"24:30"',
        '"7:60"',
        '"25:00"',
        '"7"',
        '"7.30"',
        '"7:30 pm"',
        '"noon"',
        '""',
        '"-1:00"',
        '"07:30:20"',
        "7",
        "7.5",
        "true",
        "27000",
        "07:30:20",
        "07:30:00.5",
        "2027-06-09",
        "2027-06-09 07:30",
        "[]",
        "{}",
    ],
)
def test_anything_else_is_no_time_of_day(written: str) -> None:
    with pytest.raises(ValueError, match="wanted"):
        parse_minute_of_day(tomli.loads(f"at = {written}")["at"])


@given(minutes_of_day)
def test_a_time_of_day_is_shown_as_it_is_read(minute: int) -> None:
    assert parse_minute_of_day(show_minute_of_day(minute)) == minute


@pytest.mark.parametrize(
    "written",
    [
        '"2027-06-09 07:30"',
        '"2027-06-09T07:30"',
        "2027-06-09 07:30",
        "2027-06-09T07:30:00",
        '" 2027-06-09 07:30 "',
    ],
)
def test_a_date_and_time_without_offset_is_left_to_the_sites_clock(written: str) -> None:
    moment = parse_moment(tomli.loads(f"at = {written}")["at"])
    assert moment == dt.datetime(2027, 6, 9, 7, 30)  # noqa: DTZ001
    assert moment.tzinfo is None


@pytest.mark.parametrize(
    "written", ['"2027-06-09 07:30-04:00"', "2027-06-09T07:30-04:00", "2027-06-09T11:30Z"]
)
def test_a_date_and_time_keeps_its_offset(written: str) -> None:
    moment = parse_moment(tomli.loads(f"at = {written}")["at"])
    assert moment == dt.datetime(2027, 6, 9, 11, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    "value", ["2027-06-09", dt.date(2027, 6, 9), "07:30", "2027-02-30 07:30", "soon: today", 7, None]
)
def test_anything_else_is_no_date_and_time(value: Any) -> None:
    with pytest.raises(ValueError, match="wanted a date and time"):
        parse_moment(value)


def test_ready_by_is_a_time_of_day_or_a_moment() -> None:
    assert parse_ready_by("7:30") == 450
    assert parse_ready_by(dt.time(7, 30)) == 450
    assert parse_ready_by("2027-06-09 7:30".replace(" 7", " 07")) == dt.datetime(2027, 6, 9, 7, 30)  # noqa: DTZ001
    with pytest.raises(ValueError, match="wanted a time such as"):
        parse_ready_by("later")
    with pytest.raises(ValueError, match="wanted a date and time"):
        parse_ready_by("09-06-2027 07:30")
