"""Which part of a logbook is compared: the days up to the last reading of the bank, and what to say of too few."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from scheduler.logbook.doubts import CLOCKS_DIFFER
from scheduler.logbook.readings import Logbook, Reading
from scheduler.logbook.strangers import MOST_TOLD, unreadable_lines
from scheduler.timegrid import QUARTER, nearest_to
from scheduler.yard.models import Site

#: What is read of machines and sky so long after the bank was read for the last time still tells of the days before.
AFTERWARDS = dt.timedelta(days=1)

#: So far can be looked back [d].
MOST_DAYS = 62

_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Stretch:
    """The days of a logbook that are compared.

    Attributes
    ----------
    log : Logbook
        Without what was read later.
    days : int
    ahead : tuple of Reading
        What is dated later than this machine's clock shows.
    goes_by_clock : bool
        What is ahead is left out; else too little is left without it, and it is the clock that may be behind.
    """

    log: Logbook
    days: int
    ahead: tuple[Reading, ...]
    goes_by_clock: bool

    @property
    def since(self) -> dt.datetime | None:
        """The begin, in UTC; None if the bank was never read."""
        return self.log.of_bank[-1].time - self.days * _DAY if self.log.of_bank else None

    @property
    def recent(self) -> Logbook:
        """The logbook of these days alone."""
        since = self.since
        return replace(self.log, readings=tuple(one for one in self.log.readings if since is None or one.time >= since))


def stretch_of(log: Logbook, now: dt.datetime, days: int) -> Stretch:
    """Return the last days of a logbook in which the bank was read; `now` is the clock, in UTC."""
    latest = now + CLOCKS_DIFFER
    ahead = tuple(one for one in log.standing if one.time > latest)
    goes_by_clock = sum(one.time <= latest for one in log.of_bank) >= 2
    of_bank = [one.time for one in log.of_bank if not goes_by_clock or one.time <= latest]
    if not of_bank:
        return Stretch(log, days, ahead, goes_by_clock)
    until = min(of_bank[-1] + AFTERWARDS, latest) if goes_by_clock else of_bank[-1] + AFTERWARDS
    kept = tuple(one for one in log.readings if one.time <= until)
    return Stretch(replace(log, readings=kept), days, ahead, goes_by_clock)


def about_clock(stretch: Stretch, site: Site) -> Iterator[str]:
    """Tell what is dated later than this machine's clock shows."""
    name = f"the logbook {stretch.log.path.name}"
    if not stretch.goes_by_clock:
        if any(one.what == "bank" for one in stretch.ahead):
            yield f"{name}: by this machine's clock the bank was read in time to come; it is compared all the same"
        return
    for one in stretch.ahead[:MOST_TOLD]:
        when = one.time.astimezone(site.zone)
        yield f"{name}, line {one.line}: {when:%Y-%m-%d %H:%M} has not come yet, and is left aside; set it right there"
    if len(stretch.ahead) > MOST_TOLD:
        yield f"{name}: {len(stretch.ahead) - MOST_TOLD} more lines are of a time to come"


def too_few(stretch: Stretch, fleet: Path, site: Site) -> str:
    """Say that the bank was read too seldom in those days, why, and what to do: a line each."""
    log = stretch.log
    told = [*unreadable_lines(log, f"the logbook {log.path.name},"), *about_clock(stretch, site)]
    note = f"note what its display shows at each visit, such as: sunroster note {fleet} --bank 62"
    if not log.of_bank:
        why = "no reading of the bank can be used" if log.path.exists() else "there is no logbook yet"
        return "\n".join([*told, f"{log.path}: {why}, wanted two or more; {note}"])
    last = log.of_bank[-1].time
    before = [one.time for one in log.of_bank if nearest_to(one.time, QUARTER) < nearest_to(last, QUARTER)]
    gap_days = math.ceil((last - before[-1]) / _DAY) if before else MOST_DAYS + 1
    if gap_days <= MOST_DAYS:
        far = min(gap_days + stretch.days, MOST_DAYS)
        note = f"the reading before is older: --days {far} looks so far"
    when = f"{last.astimezone(site.zone):%Y-%m-%d %H:%M}"
    why = f"in the {stretch.days} days up to {when} the bank was read once, wanted twice or more"
    return "\n".join([*told, f"{log.path}: {why}; {note}"])
