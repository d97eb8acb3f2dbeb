"""What the page says, before it is printed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from scheduler.planning.record import IfAtLeast, IfBelow, PlugAction, ReplayReport, Violation
from scheduler.sheet.page import Line, page_content
from scheduler.sheet.pagetext import line_words, render_text
from tests.sheet.page_samples import hostile_yard, moving_plan, twenty_yard
from tests.sheet.sample import (
    autumn_plan,
    field_plan,
    field_yard,
    make_plan,
    ready_plan,
    ready_yard,
    yard_with,
)


def lines_of(plan, yard, visit_index):
    return page_content(plan, yard).boxes[visit_index].lines


def with_visit(plan, index, **changed):
    visits = list(plan.visits)
    visits[index] = replace(visits[index], **changed)
    return replace(plan, visits=tuple(visits))


def test_every_sure_action_is_a_line_and_there_is_no_other():
    plan = field_plan()
    sure_only = replace(
        plan, visits=tuple(replace(visit, if_at_least=(), if_below=()) for visit in plan.visits)
    )
    boxes = page_content(sure_only, field_yard()).boxes
    for box, visit in zip(boxes, plan.visits, strict=True):
        assert all(line.only_if is None for line in box.lines)
        assert [(line.verb, line.machine, line.outlet) for line in box.lines] == [
            *(("UNPLUG", action.machine, action.outlet) for action in visit.unplug),
            *(("PLUG IN", action.machine, action.outlet) for action in visit.plug),
        ]


def test_a_line_for_a_full_bank_says_the_figure_before_the_action():
    plan = with_visit(field_plan(), 2, if_at_least=(IfAtLeast(71, "two-wheel tractor", "A"),))
    line = lines_of(plan, field_yard(), 2)[-1]
    assert line_words(line) == "ONLY IF the bank shows 71 % or more: PLUG IN two-wheel tractor into outlet A."


def test_lines_for_a_full_bank_stand_in_rising_order():
    plan = with_visit(
        field_plan(),
        2,
        if_at_least=(IfAtLeast(83, "wheel hoe", "B"), IfAtLeast(71, "yard cart", "A")),
        if_below=(),
    )
    figures = [line.only_if[1] for line in lines_of(plan, field_yard(), 2) if line.only_if]
    assert figures == ["71 % or more", "83 % or more"]


def test_what_an_if_line_plugged_in_is_taken_out_at_the_next_visit():
    plan = with_visit(field_plan(), 2, if_at_least=(IfAtLeast(71, "two-wheel tractor", "A"),))
    first = lines_of(with_visit(plan, 3, if_below=()), field_yard(), 3)[0]
    assert first == Line("UNPLUG", "two-wheel tractor", "from", "A", only_if=("it was added", "at 12:30"))


def test_what_an_if_line_plugged_in_stays_where_the_sure_plan_wants_it_next():
    plan = with_visit(field_plan(), 2, if_at_least=(IfAtLeast(71, "two-wheel tractor", "A"),))
    plan = with_visit(plan, 3, plug=(PlugAction("two-wheel tractor", "A"),))
    assert [line.verb for line in lines_of(plan, field_yard(), 3) if line.machine == "two-wheel tractor"] == [
        "PLUG IN"
    ]


def test_a_low_bank_unplugs_before_anything_else():
    plan = with_visit(
        field_plan(), 2, if_below=(IfBelow(41, "seed drill"), IfBelow(48, "seed drill")), if_at_least=()
    )
    first, second = lines_of(plan, field_yard(), 2)[:2]
    assert line_words(first) == "ONLY IF the bank shows less than 48 %: UNPLUG seed drill from outlet A."
    assert line_words(second) == "ONLY IF the bank shows less than 41 %: UNPLUG seed drill from outlet A."


def test_a_sure_line_says_in_itself_below_which_level_it_is_left_out():
    plan = with_visit(field_plan(), 1, if_below=(IfBelow(30, "hedge cutter"),))
    [line] = [line for line in lines_of(plan, field_yard(), 1) if line.machine == "hedge cutter"]
    assert line_words(line) == "PLUG IN hedge cutter into outlet B. Not if the bank shows less than 30 %."


def test_a_timer_is_set_even_where_it_is_to_stay_on():
    plan = with_visit(field_plan(), 2, plug=(PlugAction("wheel hoe", "C"),))
    line = next(line for line in lines_of(plan, field_yard(), 2) if line.machine == "wheel hoe")
    assert line.note == "Set its timer to stay on."


def test_an_outlet_without_a_timer_says_nothing_about_one():
    assert all("timer" not in line.note for line in lines_of(field_plan(), field_yard(), 1))


def test_timer_times_of_the_second_pass_of_an_autumn_hour_are_told_apart():
    [line] = lines_of(autumn_plan(), ready_yard(), 0)
    assert line.note == "Set its timer: on Sun 01:30 (1st), off 01:30 (2nd)."


def test_a_visit_with_nothing_to_do_says_so():
    plan = with_visit(ready_plan(), 2, plug=(), unplug=())
    text = render_text(page_content(plan, ready_yard()))
    assert "Nothing to plug in or unplug. Write down what the bank shows." in text


def test_what_is_plugged_in_before_anybody_comes_is_told():
    plan = ready_plan()
    without_first = replace(plan, visits=plan.visits[1:])
    assert "this is plugged in: sprayer in outlet A." in page_content(without_first, ready_yard()).rules[-1]
    assert "nothing is plugged in" in page_content(plan, ready_yard()).rules[-1]


@pytest.mark.parametrize(
    "replay",
    [None, ReplayReport((Violation("R4", 3, 12.0, "below reserve"),), 0.0)],
    ids=["none", "violation"],
)
def test_no_page_is_made_of_a_plan_that_did_not_replay_clean(replay):
    with pytest.raises(ValueError, match="replayed without a violation"):
        page_content(field_plan(replay=replay), field_yard())


def test_machines_that_will_not_be_ready_are_named_with_reason_and_help():
    unready = page_content(field_plan(), field_yard()).unready
    assert [machine.machine for machine in unready] == ["two-wheel tractor", "sprayer"]
    assert "The dull-sun reserve binds from Wed 04:00. A visit at 15:00 would help." in unready[0].why


def test_the_text_says_everything_in_the_order_of_the_page():
    content = page_content(field_plan(), field_yard())
    said = [content.yard, content.period, content.headline, content.made, content.care, *content.rules]
    for box in content.boxes:
        said += [box.time, box.expect, *(line.machine for line in box.lines)]
    said += [*(machine.why for machine in content.unready), *content.strip_words, *content.notes]
    said += [content.proof, *content.cautions]
    text, at = render_text(content), 0
    for words in said:
        at = text.find(words, at)
        assert at >= 0, words


def test_the_text_keeps_foreign_letters_and_shows_unseen_ones_as_codes():
    text = render_text(page_content(moving_plan(hostile_yard()), hostile_yard()))
    assert "日本の草刈機" in text
    assert "turned[U+200E]around[U+200B] &amp;" in text
    assert "\u200e" not in text


def test_the_strip_tells_on_idle_and_off_apart():
    rows = {row.machine: row for row in page_content(field_plan(), field_yard()).strip.rows}
    assert [run.kind for run in rows["yard cart"].runs] == ["off", "on", "off"]
    assert [run.kind for run in rows["sprayer"].runs] == ["on", "idle"]
    assert [mark.ready for mark in rows["sprayer"].marks] == [True, False]


def test_an_hour_that_comes_twice_is_labelled_once_where_labels_are_tight():
    site = {"name": "yard", "latitude": 52.5, "longitude": 13.4, "timezone": "Europe/Berlin"}
    yard = yard_with([], site=site)
    plan = make_plan(yard, [], dt.datetime(2027, 10, 30, 16, tzinfo=dt.UTC), 30.0)
    labels = page_content(plan, yard).strip.hours
    assert [label.text for label in labels[3:7]] == ["00", "02", "04", "06"]
    assert labels[5].at - labels[4].at == pytest.approx(3 / 30, abs=1e-4)


def test_hour_labels_never_stand_closer_than_their_digits_need():
    for plan, yard in (
        (field_plan(), field_yard()),
        (moving_plan(twenty_yard()), twenty_yard()),
        (autumn_plan(), ready_yard()),
    ):
        places = [label.at for label in page_content(plan, yard).strip.hours]
        assert len(places) > 4
        assert min(after - before for before, after in pairwise(places)) >= 0.04


def rules_with(plan, shed_temp_c):
    suns = replace(plan.suns, shed_temp_c=np.full(plan.grid.n_steps, shed_temp_c))
    return page_content(replace(plan, suns=suns), field_yard()).rules


def test_frost_near_is_told_before_the_first_box_and_mild_weather_is_not():
    assert any(rule.startswith("FROST: down to 2 C") for rule in rules_with(field_plan(), 2.0))
    assert not any("FROST" in rule for rule in rules_with(field_plan(), 3.0))


def test_a_page_with_timers_says_that_they_are_meant_for_one_time():
    once = "A timer is meant for one time."
    timed = with_visit(field_plan(), 1, plug=(PlugAction("wheel hoe", "C", (20, 22)),))
    assert any(rule.startswith(once) for rule in page_content(timed, field_yard()).rules)
    bare = field_plan()
    for index in range(len(bare.visits)):
        bare = with_visit(bare, index, plug=(), if_at_least=())
    assert not any(rule.startswith(once) for rule in page_content(bare, field_yard()).rules)


def test_below_the_reserve_the_rule_on_top_leaves_the_boxes_their_word():
    plan = field_plan()
    assert any("unplug every machine" in rule for rule in page_content(plan, field_yard()).rules)
    short = replace(plan, bank=replace(plan.bank, allowed_wh=plan.bank.allowed_wh - 100.0))
    rules = page_content(short, field_yard()).rules
    assert not any("unplug every machine" in rule for rule in rules)
    assert any("The plan counts with that" in rule for rule in rules)


def test_once_a_machine_went_without_no_more_if_lines_are_followed():
    """They count on every machine as full as planned."""
    plan = with_visit(field_plan(), 2, if_below=(IfBelow(48, "seed drill"),), if_at_least=())
    after = with_visit(plan, 3, if_below=(), if_at_least=(IfAtLeast(71, "two-wheel tractor", "A"),))
    for index in range(len(plan.visits)):
        if index not in (2, 3):
            after = with_visit(after, index, if_below=(), if_at_least=())
    assert [rule for rule in page_content(after, field_yard()).rules if "LESS than a line asks" in rule]
    before = with_visit(with_visit(after, 3, if_at_least=()), 1, if_at_least=after.visits[3].if_at_least)
    assert not [rule for rule in page_content(before, field_yard()).rules if "LESS than a line asks" in rule]
