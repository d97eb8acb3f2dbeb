"""A plan that was saved is read back as it was; what is no plan is told with what to do."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from scheduler.errors import SavedPlanError
from scheduler.logbook.savedplan import plan_from_json, read_saved_plan
from scheduler.planning.planjson import plan_to_json, render_plan_json
from scheduler.planning.record import AimStatus, Plan, ReplayReport, Violation
from scheduler.yard.models import Yard
from tests.sheet.sample import autumn_plan, dark_plan, dark_yard, field_plan, field_yard


@pytest.mark.parametrize(
    ("plan", "yard"),
    [(field_plan(), field_yard()), (dark_plan(), dark_yard()), (autumn_plan(), field_yard())],
    ids=["field", "dark", "autumn"],
)
def test_a_plan_read_back_writes_the_same_json(plan: Plan, yard: Yard) -> None:
    written = plan_to_json(plan, yard)
    assert plan_to_json(plan_from_json(written), yard) == written


def test_what_a_plan_rarely_has_comes_back_too() -> None:
    plan = field_plan()
    aim = replace(plan.aims[0], status=AimStatus.TIME_LIMIT, gap=None)
    replay = ReplayReport((Violation("R4", 3, 12.5, "the bank falls"),), 7.4)
    plan = replace(plan, aims=(aim,), replay=replay, notes=("moved",))
    written = plan_to_json(plan, field_yard())
    back = plan_from_json(written)
    assert (back.aims, back.replay, back.notes) == ((aim,), replay, ("moved",))
    assert plan_from_json(plan_to_json(replace(plan, replay=None), field_yard())).replay is None


def test_a_saved_plan_is_read_from_its_file(tmp_path: Path) -> None:
    path = tmp_path / "door.json"
    path.write_text(render_plan_json(field_plan(), field_yard()))
    plan = read_saved_plan(path, field_yard())
    assert plan.visits == replace(field_plan(), visits=plan.visits).visits
    assert plan.grid == field_plan().grid


def _without(key: str) -> Callable[[dict[str, Any]], object]:
    return lambda data: data.pop(key)


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (_without("format"), "no plan of format sunroster.plan/1"),
        (_without("visits"), "its field 'visits' is missing"),
        (lambda data: data.update(site="bean shed"), 'the plan of another yard, "bean shed"'),
        (lambda data: data["machines"][0]["outlet"].pop(), "changed or cut off"),
        (lambda data: data["machines"][0]["charge_wh"].pop(), "changed or cut off"),
        (lambda data: data["visits"][0].update(at="2027-06-08T18:07-04:00"), "changed or cut off"),
        (lambda data: data.update(starts=[]), "changed or cut off"),
        (lambda data: data.update(machines=None), "changed or cut off"),
        (lambda data: data["machines"].append("cart"), "changed or cut off"),
    ],
)
def test_what_was_changed_is_told(
    tmp_path: Path, spoil: Callable[[dict[str, Any]], object], told: str
) -> None:
    data = plan_to_json(field_plan(), field_yard())
    spoil(data)
    path = tmp_path / "door.json"
    path.write_text(json.dumps(data))
    with pytest.raises(SavedPlanError) as fault:
        read_saved_plan(path, field_yard())
    assert told in str(fault.value)


def test_a_plan_whose_every_machine_and_bank_are_others_is_of_another_yard_of_the_same_name(tmp_path: Path) -> None:
    data = plan_to_json(field_plan(), field_yard())
    path = tmp_path / "door.json"
    for number, machine in enumerate(data["machines"]):
        machine["name"] = f"crane {number}"
    path.write_text(json.dumps(data))
    assert read_saved_plan(path, field_yard()).machines[0].name == "crane 0"  # new names alone may be
    data["bank"]["capacity_wh"] *= 2
    path.write_text(json.dumps(data))
    with pytest.raises(SavedPlanError, match=r"the plan of another yard: it is of crane 0, .*, this yard has "):
        read_saved_plan(path, field_yard())


@pytest.mark.parametrize("content", [b"", b"[]", b"%PDF-1.7", b'{"format": "sunroster.pl', b"\xff\xfe"])
def test_what_is_no_plan_is_told_with_how_to_make_one(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "door.json"
    path.write_bytes(content)
    with pytest.raises(SavedPlanError, match=r"--json door\.json"):
        read_saved_plan(path, field_yard())
    with pytest.raises(SavedPlanError, match="No such file"):
        read_saved_plan(tmp_path / "else.json", field_yard())
