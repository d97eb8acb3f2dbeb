"""Solvers that fail in the middle of the main job: there is a plan all the same, it replays clean, and it says so."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pulp
import pytest

from scheduler.planning import aims, asking, planner, relaxation, solve
from scheduler.planning.model import Case
from scheduler.planning.planner import Settings, build_case, make_plan
from scheduler.planning.record import AimStatus, Plan
from scheduler.planning.solve import Solution, SolveStatus
from scheduler.yard.models import PRIORITIES
from tests.benchmarks.yards import YardSize, make_yard
from tests.planning.solver_stubs import answering, put_in_place_of_cbc, stub

#: A yard in which the rule of thumb that every plan begins with is not the best: two needs more can be met.
YARD = make_yard(YardSize(machines=6, hours=24, step_minutes=60), seed=4)
MADE_AT = dt.datetime(2027, 6, 9, 9, 0, tzinfo=dt.UTC)
QUICK = Settings(aim_limit_s=10.0, reasons_limit_s=1.0)


def planned(settings: Settings = QUICK) -> Plan:
    return make_plan(YARD.yard, YARD.agenda, YARD.suns, settings, MADE_AT)


def met(plan: Plan) -> list[int]:
    needs = [need for machine in plan.machines for need in machine.needs if need.ready]
    return [sum(need.priority == priority for need in needs) for priority in PRIORITIES]


def aims_reached(plan: Plan) -> list[float]:
    return [round(aim.value, 1) for aim in plan.aims]


def is_clean(plan: Plan) -> bool:
    return plan.replay is not None and not plan.replay.violations


def forget_highs(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: object, **__: object) -> None:
        msg = "not installed"
        raise ImportError(msg)

    monkeypatch.setattr(pulp, "HiGHS", gone)


@pytest.fixture(scope="module")
def undisturbed() -> Plan:
    return planned()


def test_undisturbed_every_aim_is_proven_and_nothing_is_said_about_solvers(undisturbed: Plan) -> None:
    assert undisturbed.made_by == "every aim proven"
    assert is_clean(undisturbed)
    assert met(undisturbed) == [0, 7, 2]
    assert not undisturbed.notes


CBC_FAULTS: dict[str, Callable[[Path], Path]] = {
    "missing": lambda folder: folder / "nowhere",
    "killed": lambda folder: stub(folder, "kill -9 $$"),
    "crashed": lambda folder: stub(folder, "exit 139"),
    "lying": lambda folder: answering(folder, "Optimal - objective value -99\n"),
    "out of time": lambda folder: answering(
        folder, "Stopped on time (no integer solution - continuous used) - objective value 0\n"
    ),
}


@pytest.mark.parametrize("fault", CBC_FAULTS)
def test_highs_answers_as_well_where_cbc_does_not(
    fault: str, undisturbed: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in_place_of_cbc(monkeypatch, CBC_FAULTS[fault](tmp_path))
    plan = planned()
    assert is_clean(plan)
    assert aims_reached(plan) == aims_reached(undisturbed)
    assert plan.made_by == "every aim proven"
    told = [note for note in plan.notes if note.startswith("CBC: ")]
    assert told
    assert all(note.endswith("; the other solver answered") for note in told)


def test_a_cbc_that_hangs_costs_its_limit_and_no_more(
    undisturbed: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in_place_of_cbc(monkeypatch, stub(tmp_path, "exec sleep 30"))
    for module in (solve, asking):
        monkeypatch.setattr(module, "GRACE_S", 0.1)
    forget_highs(monkeypatch)
    plan = planned(Settings(aim_limit_s=0.5, reasons_limit_s=1.0))
    assert is_clean(plan)
    assert met(plan) <= met(undisturbed)
    assert any("did not stop at its limit" in note for note in plan.notes)


def test_a_cbc_that_hangs_is_not_waited_for_once_highs_has_proven(
    undisturbed: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in_place_of_cbc(monkeypatch, stub(tmp_path, "exec sleep 30"))
    begun = time.perf_counter()
    plan = planned(Settings(aim_limit_s=20.0, reasons_limit_s=0.0))
    assert time.perf_counter() - begun < 15.0
    assert is_clean(plan)
    assert aims_reached(plan) == aims_reached(undisturbed)


def test_a_count_that_one_solver_alone_has_proven_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_in_place_of_cbc(monkeypatch, stub(tmp_path, "exec sleep 30"))
    loose = relaxation.best_possible
    # A relaxation that proves nothing by itself leaves the word of the solvers.
    monkeypatch.setattr(aims, "best_possible", lambda stage, bound: loose(stage, bound) - 5.0)
    monkeypatch.setattr(asking, "_LEAST_S", 0.1)
    notes = planned(Settings(aim_limit_s=5.0, reasons_limit_s=0.0)).notes
    assert "could needs met: HiGHS alone has proven it; CBC had not come to an end in as long again" in notes


def test_cbc_alone_plans_as_well(undisturbed: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    forget_highs(monkeypatch)
    plan = planned()
    assert is_clean(plan)
    assert aims_reached(plan) == aims_reached(undisturbed)
    assert any(note.startswith("HiGHS: not installed") for note in plan.notes)


def test_a_highs_that_hangs_is_not_waited_for(undisturbed: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    answered = asking.threading.Event()

    def hang(*_: object) -> Solution:
        answered.wait(60.0)
        return Solution(SolveStatus.NOTHING, {}, None, None, 60.0, "too late to count")

    monkeypatch.setattr(asking, "solve_highs", hang)
    monkeypatch.setattr(asking, "GRACE_S", 0.1)
    plan = planned(Settings(aim_limit_s=1.0, reasons_limit_s=0.0))
    answered.set()
    assert is_clean(plan)
    assert met(plan) == met(undisturbed)
    assert "HiGHS: did not stop at its limit; the other solver answered" in plan.notes


@pytest.mark.parametrize("is_open", [False, True], ids=["all patterns listed", "patterns sought"])
def test_without_any_solver_the_rule_of_thumb_is_the_plan_and_says_so(
    is_open: bool, undisturbed: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if is_open:
        monkeypatch.setattr(planner, "MOST_LISTED", 5)
    put_in_place_of_cbc(monkeypatch, tmp_path / "nowhere")
    forget_highs(monkeypatch)
    plan = planned()
    assert is_clean(plan)
    assert plan.made_by == "a careful rule of thumb: no solver answered"
    assert met(plan) == [0, 7, 0]
    assert met(plan) < met(undisturbed)
    assert all(aim.status is not AimStatus.PROVEN for aim in plan.aims)
    assert any(note.endswith("; no solver answered") for note in plan.notes)


def _everything_plugged(problem: Any, *_: object) -> Solution:
    """Each machine's last pattern, which is not what the bank can bear, sold as the optimum."""
    values = {variable.name: float(variable.upBound or 0.0) for variable in problem.variables()}
    for name in values:
        if name.startswith("x_"):
            values[name] = float(f"x_{name[2:5]}_{int(name[6:]) + 1:05d}" not in values)
    return Solution(SolveStatus.PROVEN, values, -99.0, -99.0, 0.01)


def _worst(problem: Any, limit_s: float, *_: object) -> Solution:
    """The worst choice that keeps every row, sold as the optimum."""
    turned = problem.copy()
    turned.setObjective(-1.0 * problem.objective)
    answer = solve.solve_cbc(turned, limit_s)
    assert answer.objective is not None
    return replace(answer, objective=-answer.objective, bound=-answer.objective)


@pytest.mark.parametrize("lie", [_everything_plugged, _worst])
def test_two_solvers_that_lie_alike_spoil_no_plan_and_prove_nothing(
    lie: Callable[..., Solution], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asking, "solve_cbc", lie)
    monkeypatch.setattr(asking, "solve_highs", lie)
    plan = planned()
    assert is_clean(plan)
    assert met(plan) == [0, 7, 0]
    assert plan.made_by != "every aim proven"
    assert any(aim.status is not AimStatus.PROVEN for aim in plan.aims)
    assert any("did not stand" in note or "a better plan is known" in note for note in plan.notes)


def test_solvers_that_differ_are_told_of_and_the_better_plan_is_taken(
    undisturbed: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asking, "solve_cbc", _worst)
    plan = planned()
    assert is_clean(plan)
    assert met(plan) == met(undisturbed)
    assert any("differ on could needs met" in note for note in plan.notes)


def test_the_replay_sees_what_a_planner_blind_to_the_reserve_lets_through(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def without_reserve(*given: Any) -> Case:
        case = build_case(*given)
        return replace(case, house=replace(case.house, allowed_wh=np.zeros_like(case.house.allowed_wh)))

    monkeypatch.setattr(planner, "build_case", without_reserve)
    plan = planned()
    assert plan.replay is not None
    assert {violation.rule for violation in plan.replay.violations} >= {"R4"}


def test_a_limit_that_passes_before_anything_is_found_leaves_a_clean_plan_that_says_so() -> None:
    plan = planned(Settings(aim_limit_s=1e-6, reasons_limit_s=0.0))
    assert is_clean(plan)
    assert met(plan) == [0, 7, 0]
    assert plan.made_by == "a careful rule of thumb: no solver answered"
    assert "CBC: nothing found in time; no solver answered" in plan.notes
    gaps = [aim.gap for aim in plan.aims if aim.status is AimStatus.GAP]
    assert gaps
    assert all(gap is not None and 0.0 < gap <= 1.0 for gap in gaps)


def test_a_solver_out_of_time_with_a_better_plan_is_the_best_found_in_the_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def in_time(problem: Any, limit_s: float, *_: object) -> Solution:
        return replace(solve.solve_highs(problem, limit_s), status=SolveStatus.STOPPED, bound=None)

    monkeypatch.setattr(asking, "solve_cbc", in_time)
    monkeypatch.setattr(asking, "solve_highs", lambda *_: Solution(SolveStatus.NOTHING, {}, None, None, 0.0))
    monkeypatch.setattr(relaxation, "price_relaxation", lambda *_: None)
    plan = planned()
    assert is_clean(plan)
    assert met(plan) == [0, 7, 2]
    assert plan.made_by == "the best plan found in the time allowed"
    assert AimStatus.TIME_LIMIT in {aim.status for aim in plan.aims}
