"""The aims in their order, each solved while the ones before are kept.

Class by class the most needs met, then the least shortfall of what is not met, then the fewest plug changes,
then the most energy left under the likely sun. Each aim is its own solve with its own row, with slack for
the solver's rounding; CBC answers, HiGHS confirms the needs met at the same time on the other core.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from scheduler.charging.routes import BoolArray
from scheduler.planning.model import Case, ChoiceModel
from scheduler.planning.parts import (
    MOST_ARCS,
    MOST_FIRST,
    Grown,
    Kept,
    grow_parts,
    nearest,
    pose,
    with_placements,
    without_hope,
)
from scheduler.planning.record import Aim, AimStatus
from scheduler.planning.selection import Selection, is_allowed
from scheduler.planning.solve import GRACE_S, Solution, SolveStatus, solve_cbc, solve_highs
from scheduler.planning.stages import KEPT_SLACK, Stage, best_possible, keep_aim, list_stages


@dataclass(frozen=True)
class Chosen:
    """The choice after all aims.

    Attributes
    ----------
    case : Case
        With every pattern that was looked at; the selection's rows are its.
    selection : Selection
    aims : tuple of Aim
    made_by : str
        How the choice was made, for the reader.
    remarks : tuple of str
        What has to be said about the solvers.
    """

    case: Case
    selection: Selection
    aims: tuple[Aim, ...]
    made_by: str
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Answered:
    """What the solvers made of one aim, the best bound they prove, and whether any answer stood."""

    case: Case
    selection: Selection
    bound: float | None
    remarks: list[str]
    any_stood: bool


def choose(case: Case, first: Selection, limit_s: float, tell: Callable[[str], None]) -> Chosen:
    """Go through the aims.

    Parameters
    ----------
    case : Case
    first : Selection
        An allowed selection to fall back on.
    limit_s : float
        Wall-clock limit of each solve [s].
    tell : callable
        Told the name of each aim as it is begun.
    """
    chooser = _Chooser(case, first, limit_s)
    stages = list_stages(case)
    for stage in stages:
        tell(stage.name)
        chooser.pursue(stage)
    remarks = tuple(dict.fromkeys(chooser.remarks))
    case = with_placements(chooser.case, chooser.best)
    return Chosen(case, chooser.best, tuple(chooser.aims), chooser.made_by, remarks)


class _Chooser:
    """Goes from aim to aim with the best choice so far and what must be kept."""

    def __init__(self, case: Case, first: Selection, limit_s: float) -> None:
        self.case = case
        self.best = first
        self.limit_s = limit_s
        self.kept: list[Kept] = []
        self.aims: list[Aim] = []
        self.remarks: list[str] = []
        self.model: ChoiceModel | None = None
        self.answered = False

    @property
    def made_by(self) -> str:
        """How the choice was made, for the reader."""
        if all(aim.status is AimStatus.PROVEN for aim in self.aims):
            return "every aim proven"
        if not self.answered:
            return "a careful rule of thumb: no solver answered"
        return "the best plan found in the time allowed"

    def pursue(self, stage: Stage) -> None:
        """Better the choice by one aim, and keep what it reaches."""
        least, bound, seconds = stage.least(self.case), None, 0.0
        if stage.value(self.case, self.best) > least + KEPT_SLACK:
            begun = time.perf_counter()
            bound = self._pursue_open(stage) if self.case.parts else self._ask(stage, self.limit_s)
            seconds = time.perf_counter() - begun
        reached = stage.value(self.case, self.best)
        self.kept.append((stage, reached))
        if self.model is not None:
            keep_aim(self.model, stage, reached)
        self.aims.append(_aim(stage, reached, least, bound, seconds))

    def _ask(self, stage: Stage, limit_s: float) -> float | None:
        """Ask the solvers over the tables and parts as they are; return the bound they prove."""
        self.model = pose(self.case, stage, self.kept, self.model)
        return self._take(self.model, stage, limit_s)

    def _take(self, model: ChoiceModel, stage: Stage, limit_s: float) -> float | None:
        answered = _answer(model, stage, self.best, limit_s)
        self.case, self.best = answered.case, answered.selection
        self.remarks += answered.remarks
        self.answered |= answered.any_stood
        return answered.bound

    def _pursue_open(self, stage: Stage) -> float | None:
        """Bound the aim by its relaxation, close in on the bound, and leave out what has become hopeless.

        The relaxation is HiGHS's word, so where CBC's answer reaches it the two agree without asking twice.
        """
        until = time.perf_counter() + self.limit_s
        grown = grow_parts(self.case, self.best, stage, self.kept, self.model, self.limit_s / 2)
        self.case, self.model = grown.case, grown.model
        if grown.bound is None:
            return self._take(grown.model, stage, self.limit_s)
        bound = self._close_in(grown, stage, grown.bound, until)
        narrowed = without_hope(grown, stage, stage.value(self.case, self.best))
        self.case = replace(self.case, parts=narrowed)
        return bound

    def _close_in(self, grown: Grown, stage: Stage, bound: float, until: float) -> float:
        """Look for a good choice near the bound, then among all that could be better."""
        if self._reaches(stage, bound):
            return bound
        once = replace(stage, asks_twice=False)
        if grown.is_whole:
            self.case, _ = nearest(grown, self.best, np.inf, MOST_FIRST)
            self._ask(once, _left_s(until) / 2)
        else:
            self._take(grown.model, once, _left_s(until) / 2)
        if self._reaches(stage, bound):
            return bound
        # The next better value of a whole-numbered aim is one less: what cannot reach it need not be looked at.
        room = stage.value(self.case, self.best) - bound - (1.0 - KEPT_SLACK if stage.whole else 0.0)
        grown = replace(grown, case=replace(grown.case, tables=self.case.tables))
        self.case, complete = nearest(grown, self.best, room, MOST_ARCS)
        proven = self._ask(stage, _left_s(until))
        return max(proven, bound) if complete and proven is not None else bound

    def _reaches(self, stage: Stage, bound: float | None) -> bool:
        reached = stage.value(self.case, self.best)
        return bound is not None and reached <= best_possible(stage, bound) + _proof_slack(reached)


def _left_s(until: float) -> float:
    """Time left, and a second where there is none: enough to answer easy questions [s]."""
    return max(1.0, until - time.perf_counter())


def _answer(model: ChoiceModel, stage: Stage, best: Selection, limit_s: float) -> _Answered:
    """Ask, and take the best answer that is allowed when worked out again; tell where the solvers differ."""
    answers = _ask(model, stage, limit_s)
    instead = (
        "the other solver answered" if any(answer.is_usable for answer in answers) else "no solver answered"
    )
    remarks = [f"{answer.detail}; {instead}" for answer in answers if answer.detail]
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
    elif max(bounds, default=least) > least + _proof_slack(least):
        remarks.append(f"what a solver calls the best of {stage.name} is not: a better plan is known")
        bounds = []
    return _Answered(model.case, best, max(bounds, default=None), remarks, bool(reached))


def _both_prove_otherwise(answers: list[Solution], reached: list[float]) -> bool:
    proven = all(answer.status is SolveStatus.PROVEN for answer in answers)
    return proven and abs(reached[0] - reached[1]) > KEPT_SLACK * max(1.0, abs(reached[0]))


def _ask(model: ChoiceModel, stage: Stage, limit_s: float) -> list[Solution]:
    """CBC, with HiGHS beside it where the aim asks twice and in its stead where it fails."""
    if not stage.asks_twice:
        answer = solve_cbc(model.problem, limit_s)
        return [answer] if answer.is_usable else [answer, solve_highs(model.problem, limit_s)]
    second: list[Solution] = []
    # A daemon, so that Ctrl-C need not wait for HiGHS, which listens to nobody while it runs.
    thread = threading.Thread(target=lambda: second.append(solve_highs(model.problem, limit_s)), daemon=True)
    thread.start()
    first = solve_cbc(model.problem, limit_s)
    thread.join(limit_s + GRACE_S)
    return [first, *second] if second else [first, _late("HiGHS", limit_s)]


def _late(who: str, limit_s: float) -> Solution:
    return Solution(SolveStatus.FAULT, {}, None, None, limit_s, f"{who}: did not stop at its limit")


def _proof_slack(reached: float) -> float:
    """Below this a gap is the solvers' rounding: CBC's answers have 8 digits, and stages keep a slack."""
    return 1e-4 * max(1.0, abs(reached))


def _aim(stage: Stage, reached: float, least: float, bound: float | None, seconds: float) -> Aim:
    told = stage.told_by * reached + 0.0
    at_best = least if bound is None else max(least, best_possible(stage, bound))
    missed = reached - at_best
    if missed <= _proof_slack(reached):
        return Aim(stage.name, told, AimStatus.PROVEN, 0.0, seconds)
    if bound is None:
        return Aim(stage.name, told, AimStatus.TIME_LIMIT, None, seconds)
    return Aim(stage.name, told, AimStatus.GAP, missed / max(abs(reached), abs(at_best)), seconds)


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


def _duty_from(model: ChoiceModel, values: dict[str, float]) -> dict[str, BoolArray]:
    house = model.case.house
    if not model.duty:
        return house.duty
    duty = {name: np.zeros_like(run) for name, run in house.duty.items()}
    for (load, step), run in model.duty.items():
        duty[load][step] = round(values[run.name]) == 1
    return duty
