"""Flags go before the logbook, the logbook before the page on the door, that before the fleet file; and it is told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.logbook.readings import Logbook, Reading
from scheduler.logbook.startingpoint import Known, added_since, yard_at
from scheduler.planning.record import Plan, PlugAction
from scheduler.yard.models import Machine, Yard
from tests.sheet.sample import TUESDAY_18, field_plan, field_yard

HOUR = dt.timedelta(hours=1)
WED_1230 = TUESDAY_18 + 18.5 * HOUR
WED_0900 = TUESDAY_18 + 15 * HOUR


def at(begin: dt.datetime, hours_before: float, what: str, pct: float, line: int = 2) -> Reading:
    kind, name = ("bank", "") if what == "bank" else ("machine", what)
    return Reading(begin - hours_before * HOUR, kind, name, pct, f"{pct:g}", "", line)  # type: ignore[arg-type]


def found(
    *readings: Reading,
    begin: dt.datetime = WED_1230,
    door: Plan | None = None,
    bank_pct: float | None = None,
    charge_pct: Mapping[str, float] | None = None,
    problems: tuple[str, ...] = (),
    yard: Yard | None = None,
) -> tuple[Yard, str]:
    log = Logbook(Path("here/yard-logbook.csv"), readings, problems)
    there, notes = yard_at(yard or field_yard(), Known(bank_pct, charge_pct or {}, log, door), begin)
    return there, " | ".join(notes)


def machine(yard: Yard, name: str) -> Machine:
    return next(machine for machine in yard.machines if machine.name == name)


def test_without_logbook_and_page_the_fleet_file_stands_and_nothing_is_told() -> None:
    yard, told = found()
    assert (yard, told) == (field_yard(), "")
    yard, told = found(bank_pct=20.0, charge_pct={"sprayer": 90.0})
    assert (yard.bank.level_pct, machine(yard, "sprayer").charge_pct, told) == (20.0, 90.0, "")
    assert found(at(WED_1230, -24, "bank", 62.0)) == (field_yard(), "")


def test_flags_go_before_the_logbook_and_it_before_the_file() -> None:
    readings = (
        at(WED_1230, 1, "bank", 62.0),
        at(WED_1230, 1, "sprayer", 70.0),
        at(WED_1230, 1, "yard cart", 44.0),
    )
    yard, told = found(*readings, bank_pct=58.0, charge_pct={"sprayer": 90.0})
    assert yard.bank.level_pct == 58.0
    assert [machine(yard, name).charge_pct for name in ("sprayer", "yard cart", "wheel hoe")] == [
        90.0,
        44.0,
        25.0,
    ]
    assert told == (
        "at the start, from the command line: bank 58 %, sprayer 90 %; "
        "from the logbook: yard cart 44 % (Wed 9 Jun 11:30); from the fleet file: the rest"
    )


def test_the_latest_reading_counts_that_is_not_after_the_start() -> None:
    readings = (at(WED_1230, -1, "bank", 90.0), at(WED_1230, 0, "bank", 62.0), at(WED_1230, 5, "bank", 40.0))
    yard, told = found(*readings)
    assert yard.bank.level_pct == 62.0
    assert "bank 62 % (Wed 9 Jun 12:30)" in told


def test_a_withdrawn_reading_does_not_count() -> None:
    wrong = Reading(WED_1230, "bank", "", 90.0, "90", "", 3, withdrawn=True)
    yard, _ = found(at(WED_1230, 1, "bank", 62.0), wrong)
    assert yard.bank.level_pct == 62.0


@pytest.mark.parametrize(
    ("hours", "level_pct", "told"),
    [
        (3.0, 62.0, None),
        (3.1, 62.0, "the bank was read 3 h before the plan begins"),
        (48.0, 62.0, "the bank was read 48 h before the plan begins"),
        (48.1, 34.0, "62 % of Mon 7 Jun 12:24, is more than 48 h older than the plan and left aside"),
    ],
)
def test_an_old_reading_is_told_and_a_very_old_one_left_aside(
    hours: float, level_pct: float, told: str | None
) -> None:
    dark = field_yard(bank={"modules_wh": (5120.0, 5120.0), "reserve_pct": 25.0, "level_pct": 34.0})
    yard, notes = found(at(WED_1230, hours, "bank", 62.0), yard=dark)
    assert yard.bank.level_pct == level_pct
    assert told in notes if told else "read it again" not in notes


def test_the_page_says_what_is_plugged_in_and_what_nobody_read() -> None:
    door = field_plan()
    yard, told = found(at(WED_1230, 0.1, "bank", 62.0), door=door)
    plugged = {each.name: each.outlet for each in yard.machines if each.outlet}
    assert plugged == {"seed drill": "A", "hedge cutter": "B"}
    assert (
        "plugged in at the start, as the page on the door has it: hedge cutter in B; seed drill in A" in told
    )
    drill = next(each for each in door.machines if each.name == "seed drill")
    assert machine(yard, "seed drill").charge_pct == pytest.approx(drill.charge_wh[37] / 480 * 100)
    assert yard.bank.level_pct == 62.0


def test_at_a_visit_the_plugs_are_those_before_it() -> None:
    yard, _ = found(begin=TUESDAY_18 + 13 * HOUR, door=field_plan())
    assert machine(yard, "push mower").outlet == "B"
    sprayer = machine(yard, "sprayer")
    assert (sprayer.outlet, sprayer.away_until) == ("A", None)


def test_who_goes_to_work_as_the_plan_begins_still_holds_what_the_work_takes() -> None:
    door = field_plan()
    yard, _ = found(begin=TUESDAY_18 + 13 * HOUR, door=door)
    (need, *_) = next(each for each in door.machines if each.name == "sprayer").needs
    assert machine(yard, "sprayer").charge_pct == pytest.approx(need.have_wh / 216 * 100)


def test_who_is_out_stays_out_until_its_return() -> None:
    yard, _ = found(begin=WED_0900, door=field_plan())
    cart = machine(yard, "yard cart")
    assert cart.outlet is None
    assert cart.away_until is not None
    assert cart.away_until == WED_0900 + 3 * HOUR
    assert machine(yard, "hedge cutter").away_until is None


def test_without_a_reading_the_bank_is_as_the_page_has_it_under_its_dull_sun() -> None:
    door = field_plan()
    yard, told = found(door=door)
    assert yard.bank.level_pct == int(100 * door.bank.level_wh["dull"][37] / door.bank.capacity_wh)
    assert "(its dull sun)" in told
    old, _ = found(at(WED_1230, 13, "bank", 90.0), door=door)
    assert old.bank.level_pct == yard.bank.level_pct


def test_what_the_night_took_since_the_reading_is_taken_off_and_what_the_sun_brought_is_not_added() -> None:
    door = field_plan()
    level_pct = 100 * door.bank.level_wh["dull"] / door.bank.capacity_wh
    taken_pct = level_pct[14] - level_pct[22]
    assert taken_pct > 1
    begin = TUESDAY_18 + 11 * HOUR
    yard, told = found(at(begin, 4, "bank", 60.0), begin=begin, door=door)
    assert yard.bank.level_pct == pytest.approx(60 - taken_pct)
    assert "(Wed 9 Jun 01:00, less what the page has taken since)" in told
    assert "read it again" not in told
    assert level_pct[37] > level_pct[33]
    yard, _ = found(at(WED_1230, 2, "bank", 60.0), door=door)
    assert yard.bank.level_pct == 60.0


def test_a_machine_read_before_it_charged_is_taken_on_by_what_the_page_did_since() -> None:
    door = field_plan()
    drill = next(each for each in door.machines if each.name == "seed drill")
    since_pct = (drill.charge_wh[37] - drill.charge_wh[30]) / 480 * 100
    assert since_pct > 5
    yard, told = found(at(WED_1230, 3.5, "seed drill", 40.0), door=door)
    assert machine(yard, "seed drill").charge_pct == pytest.approx(40 + since_pct)
    assert "and what the page has done since" in told
    full, _ = found(at(WED_1230, 3.5, "seed drill", 99.0), door=door)
    assert machine(full, "seed drill").charge_pct == 100.0
    before_the_page, _ = found(at(WED_1230, 20, "seed drill", 40.0), door=door)
    assert machine(before_the_page, "seed drill").charge_pct == 40.0


def test_a_plan_that_begins_as_the_page_does_finds_the_yard_as_the_page_found_it() -> None:
    door = field_plan()
    yard, told = found(begin=TUESDAY_18, door=door)
    assert "outside of that" not in told
    assert {each.name: each.outlet for each in yard.machines if each.outlet} == door.plugged_at_start
    for each in door.machines:
        held_pct = 100 * each.charge_wh[0] / machine(yard, each.name).capacity_wh
        assert machine(yard, each.name).charge_pct == pytest.approx(min(held_pct, 100.0)), each.name
    assert yard.bank.level_pct == int(100 * door.bank.level_wh["dull"][0] / door.bank.capacity_wh)


def test_a_level_of_whole_percent_loses_none_to_float_noise() -> None:
    door = field_plan()
    dull_wh = door.bank.level_wh["dull"].copy()
    dull_wh[0] = 0.58 * 9600.0
    level_wh = {**door.bank.level_wh, "dull": dull_wh}
    door = replace(door, bank=replace(door.bank, capacity_wh=9600.0, level_wh=level_wh))
    assert 100.0 * (dull_wh[0] / 9600.0) < 58.0
    yard, _ = found(begin=TUESDAY_18, door=door)
    assert yard.bank.level_pct == 58.0


def test_what_the_first_visit_moves_was_in_its_old_outlet_as_the_page_began() -> None:
    door = field_plan()
    first = replace(door.visits[0], plug=(PlugAction("sprayer", "A"),), unplug=(PlugAction("sprayer", "B"),))
    machines = tuple(
        replace(each, outlet=("A" if each.name == "sprayer" else "C" if each.name == "wheel hoe" else None,) * 74)
        for each in door.machines
    )
    door = replace(door, visits=(first, *door.visits[1:]), machines=machines)
    assert door.visits[0].edge == 0
    yard, _ = found(begin=TUESDAY_18, door=door)
    assert {each.name: each.outlet for each in yard.machines if each.outlet} == {"sprayer": "B", "wheel hoe": "C"}


def test_extras_that_may_have_been_added_are_told() -> None:
    door = field_plan()
    after = door.grid.edge(37) + HOUR
    assert [line.machine for line in added_since(door, after)] == ["two-wheel tractor"]
    assert added_since(door, door.grid.edge(37)) == ()
    _, told = found(begin=after, door=door)
    assert "ONLY IF lines were done (two-wheel tractor into A) is not known here" in told


@pytest.mark.parametrize("hours", [-0.5, 37.5])
def test_a_page_that_is_not_good_at_the_start_says_nothing_of_the_yard(hours: float) -> None:
    yard, told = found(begin=TUESDAY_18 + hours * HOUR, door=field_plan())
    assert yard == field_yard()
    assert "good from Tue 8 Jun 18:00 to Thu 10 Jun 07:00" in told


def test_a_machine_and_an_outlet_that_came_or_went_since_are_no_reason_to_stop() -> None:
    yard = field_yard()
    newcomer = machine(yard, "sprayer").model_copy(update={"name": "pump", "outlet": "C"})
    outlets = tuple(outlet for outlet in yard.outlets if outlet.name != "A")
    changed = yard.model_copy(update={"machines": (*yard.machines, newcomer), "outlets": outlets})
    there, _ = found(door=field_plan(), yard=changed)
    assert machine(there, "pump").outlet == "C"
    assert machine(there, "seed drill").outlet is None


def test_what_the_logbook_has_wrong_is_told_in_a_few_notes() -> None:
    problems = tuple(f"line {number}: cut off" for number in range(2, 7))
    _, told = found(at(WED_1230, 1, "yard crat", 40.0), at(WED_1230, 1, "oven", 40.0), problems=problems)
    assert told.count("cut off") == 3
    assert "yard-logbook.csv, 2 more lines cannot be read" in told
    left = "its readings are left aside"
    assert f'names "yard crat", which is no machine of this yard; {left}; did you mean "yard cart"?' in told
    assert f'names "oven", which is no machine of this yard; {left}' in told
