"""Times of day and weekdays as people write them, and the clock of this machine."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any

from pydantic import BeforeValidator, PlainSerializer

from scheduler.errors import UsageError

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

MINUTES_PER_DAY = 24 * 60

#: A year outside these is a slip of the finger, and at the calendar's own ends zones cannot be worked out.
YEARS = range(2000, 2101)

_TIME_OF_DAY = re.compile(r"(\d{1,2}):(\d{2})(?::00)?")


def parse_minute_of_day(value: Any) -> int:
    """Minutes since local midnight from ``"7:30"``, ``"24:00"`` or a bare TOML time.

    Raises
    ------
    ValueError
        For anything else; 24:00 is the end of the day and the latest allowed.
    """
    if isinstance(value, dt.datetime) or (isinstance(value, dt.time) and value.tzinfo is not None):
        msg = 'wanted a time of day such as "07:30"'
        raise ValueError(msg)
    if isinstance(value, dt.time):
        if value.second or value.microsecond:
            msg = 'wanted whole minutes, such as "07:30"'
            raise ValueError(msg)
        return value.hour * 60 + value.minute
    match = _TIME_OF_DAY.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        msg = 'wanted a time of day such as "07:30"'
        raise ValueError(msg)
    minute = int(match[1]) * 60 + int(match[2])
    if int(match[2]) > 59 or minute > MINUTES_PER_DAY:
        msg = "wanted a time of day from 00:00 to 24:00"
        raise ValueError(msg)
    return minute


def show_minute_of_day(minute: int) -> str:
    """``07:30`` for 450, ``24:00`` for the end of the day."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def parse_moment(value: Any) -> dt.datetime:
    """Return a moment on the site's clock, or with its own offset.

    From ``2027-06-09 07:30``, quoted or bare; a naive result is a local time of the site.

    Raises
    ------
    ValueError
        For anything else, a date without a time or of another century among it.
    """
    wanted = 'wanted a date and time such as "2027-06-09 07:30"'
    if isinstance(value, dt.datetime):
        moment = value
    elif not isinstance(value, str) or ":" not in value:
        raise ValueError(wanted)
    else:
        try:
            moment = dt.datetime.fromisoformat(value.strip())
        except ValueError as fault:
            raise ValueError(wanted) from fault
    if moment.year not in YEARS:
        msg = f"wanted a year from {YEARS[0]} to {YEARS[-1]}"
        raise ValueError(msg)
    return moment


def parse_ready_by(value: Any) -> dt.datetime | int:
    """Return a moment (date and time) or a minute of the day (time alone), as the file has it."""
    if isinstance(value, dt.datetime) or (isinstance(value, str) and "-" in value):
        return parse_moment(value)
    try:
        return parse_minute_of_day(value)
    except ValueError as fault:
        msg = 'wanted a time such as "07:30" or a date and time such as "2027-06-09 07:30"'
        raise ValueError(msg) from fault


def _show_ready_by(ready_by: dt.datetime | int) -> str:
    return show_minute_of_day(ready_by) if isinstance(ready_by, int) else ready_by.isoformat()


# As JSON each is written as a fleet file has it, so that it can be read again.
MinuteOfDay = Annotated[
    int, BeforeValidator(parse_minute_of_day), PlainSerializer(show_minute_of_day, when_used="json")
]
Moment = Annotated[dt.datetime, BeforeValidator(parse_moment)]
ReadyBy = Annotated[
    dt.datetime | int, BeforeValidator(parse_ready_by), PlainSerializer(_show_ready_by, when_used="json")
]


def check_clock(now: dt.datetime, flag: str) -> None:
    """Stop what would go by a clock that is years off, as one is after its battery has died.

    Raises
    ------
    UsageError
    """
    if now.year not in YEARS:
        msg = f"this machine's clock shows {now.year}: set it right, or give date and time with {flag}"
        raise UsageError(msg)
