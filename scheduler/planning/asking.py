"""An aim put to both solvers, and what of their answers stands when it is worked out again without them."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.charging.routes import BoolArray
from scheduler.planning.model import Case, ChoiceModel
from scheduler.planning.selection import Selection, is_allowed
from scheduler.planning.solve import GRACE_S, Halt, Solution, SolveStatus, solve_cbc, solve_highs
from scheduler.planning.stages import KEPT_SLACK, Stage, proof_slack

_HIGHS, _CBC = 0, 1
#: What a solver is given at least after the other [s]: on a busy machine it may be late by chance, and whose of two
#: equally good answers is taken decides which of equal plans it is.
_LEAST_S = 3.0


@dataclass(frozen=True)
class Answered:
    """What the solvers made of one aim.

    Attributes
    ----------
    case : Case
    selection : Selection
        The best that is known now.
    bound : float or None
        The best that they prove.
    remarks : list of str
        What has to be said about them.
    any_stood : bool
        Whether any answer was allowed when worked out again.
    alone : str
        In words that only one of them has proven its answer, where the other was waited for in vain; else empty.
    """

    case: Case
    selection: Selection
    bound: float | None
    remarks: list[str]
    any_stood: bool
    alone: str


def put_to_solvers(model: ChoiceModel, stage: Stage, best: Selection, limit_s: float) -> Answered:
    """Ask, and take the best answer that is allowed when worked out again; tell where the solvers differ."""
    # Models of a few hundred patterns are solved as soon without a start.
    answers = _ask(model, stage, limit_s, values_from(model, best) if model.case.parts else {})
    remarks = _faults(answers)
    reached: list[float] = []
    bounds: list[float] = []
    for answer in answers:
        if answer.is_usable:
            model.case, found = choice_from(model, answer.values)
            if not is_allowed(model.case, found):
                remarks.append("a solver's answer did not stand when worked out again, and was put aside")
                continue
            reached.append(stage.value(model.case, found))
            if reached[-1] < stage.value(model.case, best) - KEPT_SLACK:
                best = found
        if answer.bound is not None:
            bounds.append(answer.bound)
    least = stage.value(model.case, best)
    if len(reached) == 2 and _both_prove_otherwise(answers, reached):
        remarks.append(f"the two solvers differ on {stage.name}; the better plan was taken")
        bounds = bounds if min(bounds) == max(bounds) else []
    elif max(bounds, default=least) > least + proof_slack(least):
        remarks.append(f"what a solver calls the best of {stage.name} is not: a better plan is known")
        bounds = []
    return Answered(model.case, best, max(bounds, default=None), remarks, bool(reached), _alone(answers))


def _faults(answers: Sequence[Solution]) -> list[str]:
    """Tell what went wrong with a solver, and who answered in its stead."""
    answered = any(answer.is_usable for answer in answers)
    instead = "the other solver answered" if answered else "no solver answered"
    return [f"{answer.detail}; {instead}" for answer in answers if answer.detail]


def _alone(answers: Sequence[Solution]) -> str:
    highs, cbc = answers
    for who, answer, late, other in (("CBC", cbc, "HiGHS", highs), ("HiGHS", highs, "CBC", cbc)):
        if answer.status is SolveStatus.PROVEN and other.status is SolveStatus.NOTHING and not other.detail:
            return f"{who} alone has proven it; {late} had not come to an end in as long again"
    return ""


def _both_prove_otherwise(answers: list[Solution], reached: list[float]) -> bool:
    proven = all(answer.status is SolveStatus.PROVEN for answer in answers)
    return proven and abs(reached[0] - reached[1]) > KEPT_SLACK * max(1.0, abs(reached[0]))


def _ask(model: ChoiceModel, stage: Stage, limit_s: float, start: Mapping[str, float]) -> list[Solution]:
    """HiGHS and CBC at once, each on its own core; HiGHS's answer comes first.

    When one has proven its answer the other is given as long again: CBC to agree, where the aim asks twice, and HiGHS
    so that the plan does not hang on which of the two was faster by a hair this time.
    """
    halts, answers, last_calls = (Halt(), Halt()), dict[int, Solution](), list[threading.Timer]()

    def hear(which: int, answer: Solution) -> None:
        answers[which] = answer
        if answer.status is SolveStatus.PROVEN:
            waits = which == _CBC or stage.asks_twice
            last_call = threading.Timer(
                max(_LEAST_S, answer.seconds) if waits else 0.0, halts[1 - which].call
            )
            last_calls.append(last_call)
            last_call.start()

    # A daemon, so that Ctrl-C need not wait for HiGHS.
    thread = threading.Thread(
        target=lambda: hear(_HIGHS, solve_highs(model.problem, limit_s, halts[_HIGHS], start)), daemon=True
    )
    thread.start()
    try:
        hear(_CBC, solve_cbc(model.problem, limit_s, halts[_CBC]))
        thread.join(limit_s + GRACE_S)
    finally:
        halts[_HIGHS].call()
        for pending in last_calls:
            pending.cancel()
    return [answers.get(_HIGHS, _late("HiGHS", limit_s)), answers[_CBC]]


def _late(who: str, limit_s: float) -> Solution:
    return Solution(SolveStatus.FAULT, {}, None, None, limit_s, f"{who}: did not stop at its limit")


def choice_from(model: ChoiceModel, values: dict[str, float]) -> tuple[Case, Selection]:
    """Round a solver's values to a selection, and add the patterns made of pieces to the case's tables."""
    case, rows = model.case, list[int]()
    tables = list(case.tables)
    for number, picks in enumerate(model.picks):
        taken = [values[pick.name] for pick in picks]
        if number in case.parts:
            route = case.parts[number].route_of(taken)
            tables[number] = tables[number].extended(route[np.newaxis])
            rows.append(tables[number].row_of(route))
        else:
            rows.append(int(np.argmax(taken)))
    return replace(case, tables=tuple(tables)), Selection(tuple(rows), _duty_from(model, values))


def values_from(model: ChoiceModel, selection: Selection) -> dict[str, float]:
    """Write a selection as the values of the model's binaries; the other way round from `choice_from`."""
    values: dict[str, float] = {}
    for number, picks in enumerate(model.picks):
        taken = np.zeros(len(picks))
        if number in model.case.parts:
            taken[
                model.case.parts[number].pieces_of(model.case.tables[number].routes[selection.rows[number]])
            ] = 1.0
        else:
            taken[selection.rows[number]] = 1.0
        values |= dict(zip((pick.name for pick in picks), taken.tolist(), strict=True))
    for (load, step), run in model.duty.items():
        values[run.name] = float(selection.duty[load][step])
    return values


def _duty_from(model: ChoiceModel, values: dict[str, float]) -> dict[str, BoolArray]:
    house = model.case.house
    if not model.duty:
        return house.duty
    duty = {name: np.zeros_like(run) for name, run in house.duty.items()}
    for (load, step), run in model.duty.items():
        duty[load][step] = round(values[run.name]) == 1
    return duty
