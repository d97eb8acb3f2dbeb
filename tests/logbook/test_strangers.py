"""Names in a logbook or a saved plan that the yard does not have, lines that cannot be read, and whose plan it is."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.logbook.readings import parse_logbook
from scheduler.logbook.strangers import (
    is_of_another_yard,
    strange_outlets,
    strangers_in_log,
    strangers_in_plan,
    unreadable_lines,
)
from scheduler.planning.record import MachinePlan, Plan
from scheduler.yard.models import Bank, Machine, Yard
from tests.sheet.sample import field_plan, field_yard
from tests.studies.small_yard import SITE

INSTEAD = "its charge is left aside"


def renamed(yard: Yard, names: dict[str, str]) -> Yard:
    """The yard with other names for some machines."""
    machines = tuple(
        machine.model_copy(update={"name": names.get(machine.name, machine.name)}) for machine in yard.machines
    )
    return yard.model_copy(update={"machines": machines})


def strangers(plan: Plan, yard: Yard) -> list[str]:
    return list(strangers_in_plan(plan, "door.json", yard, INSTEAD))


def test_a_plan_of_this_yard_has_no_strangers() -> None:
    assert strangers(field_plan(), field_yard()) == []
    assert list(strange_outlets(field_plan(), "door.json", field_yard())) == []
    assert not is_of_another_yard(field_plan(), field_yard())


def test_a_machine_that_was_given_another_name_is_told_with_both() -> None:
    first = field_plan().machines[0].name
    for new in (f"old {first}", "xyz"):  # the only new name will be it, though nothing in it is alike
        (told,) = strangers(field_plan(), renamed(field_yard(), {first: new}))
        assert told == (
            f'the plan door.json names "{first}", which is no machine of this yard; {INSTEAD}; did you mean "{new}"?'
        )


def test_a_name_that_the_plan_has_beside_is_not_taken_for_the_strangers_new_one() -> None:
    plan = field_plan()
    twin: MachinePlan = replace(plan.machines[0], name=f"{plan.machines[0].name} 2")
    (told,) = strangers(replace(plan, machines=(*plan.machines, twin)), field_yard())
    assert told.endswith(INSTEAD)


def test_many_strangers_are_counted() -> None:
    plan = field_plan()
    many = tuple(replace(plan.machines[0], name=f"crane {number}") for number in range(9))
    told = strangers(replace(plan, machines=(*plan.machines, *many)), field_yard())
    assert len(told) == 4
    assert told[-1] == "the plan door.json names 6 more that are no machines of this yard"


def test_an_outlet_that_was_given_another_name_is_told() -> None:
    yard, plan = field_yard(), field_plan()
    used = next(outlet for machine in plan.machines for outlet in machine.outlet if outlet)
    outlets = tuple(
        outlet.model_copy(update={"name": "north wall" if outlet.name == used else outlet.name})
        for outlet in yard.outlets
    )
    told = list(strange_outlets(plan, "door.json", yard.model_copy(update={"outlets": outlets})))
    assert len(told) == 1
    assert f'names "{used}", which is no outlet of this yard; what it has plugged in there is taken' in told[0]


def other_names(yard: Yard) -> Yard:
    return renamed(yard, {machine.name: f"new {number}" for number, machine in enumerate(yard.machines)})


def test_new_names_for_all_machines_alone_make_no_other_yard() -> None:
    yard = other_names(field_yard())
    assert not is_of_another_yard(field_plan(), yard)
    larger = Bank(modules_wh=(*yard.bank.modules_wh, 5000.0), reserve_pct=25.0, level_pct=78.0)
    assert is_of_another_yard(field_plan(), yard.model_copy(update={"bank": larger}))
    assert is_of_another_yard(field_plan(), yard.model_copy(update={"outlets": ()}))


@pytest.mark.parametrize("known", [1, 0])
def test_one_machine_of_its_own_is_enough(known: int) -> None:
    yard = field_yard()
    own: tuple[Machine, ...] = yard.machines[:known]
    elsewhere = other_names(yard).model_copy(update={"machines": (*own, *other_names(yard).machines), "outlets": ()})
    assert is_of_another_yard(field_plan(), elsewhere) is not bool(known)


def test_lines_that_cannot_be_read_are_told_up_to_three() -> None:
    lines = "time,what,value,who\n" + "2027-06-08 12:00,bank,xx,\n" * 300
    told = list(unreadable_lines(parse_logbook(lines.encode(), Path("log.csv"), SITE), "log.csv,"))
    assert len(told) == 4
    assert told[0] == 'log.csv, line 2: "xx": wanted a percent such as 62'
    assert told[3] == "log.csv, 297 more lines cannot be read"


def test_machines_that_the_logbook_alone_knows_are_told_with_the_one_that_may_be_meant() -> None:
    yard = field_yard()
    name = yard.machines[0].name
    lines = "time,what,value,who\n" + "".join(f"2027-06-08 12:00,{one},50,\n" for one in (name, f"ute {name}", "xyz"))
    near, far = strangers_in_log(parse_logbook(lines.encode(), Path("log.csv"), SITE), yard)
    assert near.startswith(f'the logbook log.csv names "ute {name}", which is no machine of this yard; ')
    assert near.endswith(f'did you mean "{name}"?')
    assert far.endswith("its readings are left aside")
