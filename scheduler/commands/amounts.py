"""Percents and hours given in flags, as people write them."""

from __future__ import annotations

from scheduler.errors import UsageError
from scheduler.logbook.cells import parse_number

#: Length of a plan [h].
LEAST_HOURS, MOST_HOURS = 0.25, 168.0


def parse_amount(flag: str, said: str | None, example: str) -> float | None:
    """Read a number; ``62,5`` and ``62.5 %`` are numbers too, as in a logbook. None is what was not given.

    Raises
    ------
    UsageError
        With `example` as what to write.
    """
    if said is None:
        return None
    try:
        return parse_number(said)
    except ValueError as fault:
        msg = f'{flag} "{said}": that is no number; write one, such as {flag} {example}'
        raise UsageError(msg) from fault


def parse_pct(flag: str, said: str | None) -> float | None:
    """Read what a display shows [%].

    Raises
    ------
    UsageError
    """
    shown_pct = parse_amount(flag, said, "62.5")
    if shown_pct is None or 0.0 <= shown_pct <= 100.0:
        return shown_pct
    if shown_pct > 100.0:
        msg = f"{flag} {said}: more than full cannot be planned from; if the bank is full, write {flag} 100"
    else:
        msg = f"{flag} {said}: wanted a percent from 0 for empty to 100 for full, such as {flag} 62"
    raise UsageError(msg)


def parse_hours(flag: str, said: str | None) -> float | None:
    """Read the length of a plan [h].

    Raises
    ------
    UsageError
    """
    hours = parse_amount(flag, said, "48")
    if hours is None or LEAST_HOURS <= hours <= MOST_HOURS:
        return hours
    if hours > MOST_HOURS:
        msg = f"{flag} {said}: a plan is no longer than a week; write {flag} {MOST_HOURS:g} or less"
    else:
        msg = f"{flag} {said}: wanted a length from {LEAST_HOURS:g} to {MOST_HOURS:g} hours, such as {flag} 48"
    raise UsageError(msg)
