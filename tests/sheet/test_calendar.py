"""The calendar file, read back by a library that is not the one that wrote it, and held to RFC 5545."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
import vobject

from scheduler.sheet.calendar import render_calendar
from scheduler.sheet.page import page_content
from scheduler.sheet.pagetext import line_words
from tests.sheet.page_samples import hostile_yard, moving_plan
from tests.sheet.sample import autumn_plan, field_plan, field_yard, ready_yard


def read_events(data):
    return list(vobject.readOne(data.decode("utf-8")).vevent_list)


def test_there_is_one_entry_a_visit_at_its_moment():
    plan = field_plan()
    starts = [event.dtstart.value for event in read_events(render_calendar(plan, field_yard()))]
    assert starts == [plan.grid.edge(visit.edge) for visit in plan.visits]
    assert all(start.utcoffset() == dt.timedelta(0) for start in starts)


def test_the_text_of_an_entry_holds_the_lines_of_the_box():
    plan = field_plan()
    boxes = page_content(plan, field_yard()).boxes
    for event, box in zip(read_events(render_calendar(plan, field_yard())), boxes, strict=True):
        assert event.description.value.split("\n")[1:-1] == [line_words(line) for line in box.lines]
        assert f"{box.day} {box.time}" in event.description.value


def test_an_entry_rings_before_the_visit():
    for event in read_events(render_calendar(field_plan(), field_yard())):
        assert event.valarm.action.value == "DISPLAY"
        assert event.valarm.trigger.value == dt.timedelta(minutes=-10)
        assert event.valarm.description.value == event.summary.value


def test_a_newer_plan_replaces_the_entries_of_the_older_one():
    older, newer = field_plan(), field_plan(made_at=field_plan().made_at + dt.timedelta(minutes=5))
    before, after = (read_events(render_calendar(plan, field_yard())) for plan in (older, newer))
    assert [event.uid.value for event in before] == [event.uid.value for event in after]
    assert len({event.uid.value for event in before}) == len(before)
    for old, new in zip(before, after, strict=True):
        assert int(new.sequence.value) > int(old.sequence.value)
        assert new.dtstamp.value > old.dtstamp.value


def test_entries_of_another_yard_are_others():
    here, there = field_plan(), field_plan(site="Another store")
    ids = [
        {event.uid.value for event in read_events(render_calendar(plan, field_yard()))}
        for plan in (here, there)
    ]
    assert not ids[0] & ids[1]


def test_both_passes_of_the_autumn_hour_have_their_own_moment():
    plan = autumn_plan()
    second_pass = replace(plan.visits[1], edge=16)
    plan = replace(plan, visits=(replace(plan.visits[1], edge=14), second_pass))
    first, second = (event.dtstart.value for event in read_events(render_calendar(plan, ready_yard())))
    assert plan.grid.local(14).replace(tzinfo=None) == plan.grid.local(16).replace(tzinfo=None)
    assert second - first == dt.timedelta(hours=1)


def test_names_come_back_as_they_are_written():
    plan, yard = moving_plan(hostile_yard()), hostile_yard()
    told = "\n".join(event.description.value for event in read_events(render_calendar(plan, yard)))
    for name in (machine.name for machine in yard.machines):
        if name.isprintable():
            assert name in told
    assert "turned[U+200E]around[U+200B] &amp;" in told


@pytest.mark.parametrize(
    "plan_of", [field_plan, lambda: moving_plan(hostile_yard())], ids=["plain", "hostile"]
)
def test_the_file_keeps_the_rules_of_rfc_5545(plan_of):
    plan = plan_of()
    yard = field_yard() if plan.site == field_yard().site.name else hostile_yard()
    data = render_calendar(plan, yard)
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b"\r" not in data.replace(b"\r\n", b"")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75  # 3.1: octets, without the line break
    lines = data.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    events = "\n".join(lines).split("BEGIN:VEVENT")[1:]
    assert len(events) == len(plan.visits)
    for event in events:
        own = event.split("BEGIN:VALARM")[0].split("\n")
        for required in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE"):
            [value] = [line.partition(":")[2] for line in own if line.split(":")[0] == required]
            assert required in {"UID", "SEQUENCE"} or value.endswith("Z")  # 3.3.5, form 2
        assert event.count("BEGIN:VALARM") == 1


def test_the_same_plan_gives_the_same_bytes():
    assert render_calendar(field_plan(), field_yard()) == render_calendar(field_plan(), field_yard())
