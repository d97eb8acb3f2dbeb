"""The visits as calendar entries with an alarm, for the phone (RFC 5545).

Times stand in UTC, so that no zone rules need to travel with them; the phone shows them on its own clock, the
text tells the yard's.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import TYPE_CHECKING

from scheduler.planning.record import Plan, VisitPlan
from scheduler.sheet import words
from scheduler.sheet.glyphs import visible
from scheduler.sheet.page import NOTHING_TO_DO, Box, visit_box
from scheduler.sheet.pagetext import line_words
from scheduler.yard.models import Yard

if TYPE_CHECKING:
    from icalendar import Alarm, Event

#: How long an entry lasts; common practice, no source.
VISIT_LENGTH = dt.timedelta(minutes=15)

#: How long before a visit the phone rings; common practice, no source.
ALARM_BEFORE = dt.timedelta(minutes=10)

#: SEQUENCE counts minutes from here: a plan made later always carries the higher number (RFC 5545, 3.8.7.4).
_SEQUENCE_FROM = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


def render_calendar(plan: Plan, yard: Yard) -> bytes:
    """Return an iCalendar file with one entry a visit.

    An entry's UID is made of the yard and the visit's time, so that the entry of a newer plan takes the place
    of the older one.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//Sunroster//Charging plan//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for index, visit in enumerate(plan.visits):
        calendar.add_component(_event(plan, visit, visit_box(plan, yard, index)))
    return bytes(calendar.to_ical())


def _event(plan: Plan, visit: VisitPlan, box: Box) -> Event:
    from icalendar import Event

    starts = plan.grid.edge(visit.edge)
    made_at = plan.made_at.astimezone(dt.UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", _uid(plan.site, starts))
    event.add("dtstamp", made_at)
    event.add("sequence", (made_at - _SEQUENCE_FROM) // dt.timedelta(minutes=1))
    event.add("dtstart", starts)
    event.add("dtend", starts + VISIT_LENGTH)
    event.add("summary", visible(f"{plan.site}: {_short(box)}"))
    event.add("description", _description(plan, box))
    event.add_component(_alarm(event))
    return event


def _alarm(event: Event) -> Alarm:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", -ALARM_BEFORE)
    alarm.add("description", str(event["summary"]))
    return alarm


def _uid(site: str, starts: dt.datetime) -> str:
    named = f"{site}\n{starts.astimezone(dt.UTC).isoformat()}"
    return f"{hashlib.sha256(named.encode()).hexdigest()[:32]}@sunroster"


def _short(box: Box) -> str:
    """Say what waits in a few words: ``2 to plug in, 1 to unplug, 1 if the bank allows``."""
    sure = [line.verb for line in box.lines if line.only_if is None]
    conditional = len(box.lines) - len(sure)
    counts = (
        (sure.count("UNPLUG"), "to unplug"),
        (sure.count("PLUG IN"), "to plug in"),
        (conditional, "ONLY IF"),
    )
    return ", ".join(f"{number} {what}" for number, what in counts if number) or "read the bank"


def _description(plan: Plan, box: Box) -> str:
    head = f"{box.day} {box.time} at the yard. Bank should show {box.expect}."
    lines = [line_words(line) for line in box.lines] or [NOTHING_TO_DO]
    made = f"Plan made {words.moment(plan.made_at, plan.grid)}. The page inside the door counts."
    return "\n".join(visible(line) for line in (head, *lines, made))
