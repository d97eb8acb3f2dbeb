"""The aims in their order, each solved while the ones before are kept.

Class by class the most needs met, then the least shortfall of what is not met, then the fewest plug changes,
then the most energy left under the likely sun. Each aim is its own solve with its own row, with slack for
the solver's rounding; CBC answers, HiGHS confirms the needs met at the same time on the other core.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from scheduler.planning.asking import put_to_solvers
from scheduler.planning.model import Case, ChoiceModel
from scheduler.planning.parts import MOST_ARCS, with_placements
from scheduler.planning.record import Aim, AimStatus
from scheduler.planning.relaxation import (
    Kept,
    Relaxed,
    carry_over,
    cheapest,
    count_within,
    pose,
    relax,
    within,
    without_dearer,
    without_hope,
)
from scheduler.planning.selection import Selection
from scheduler.planning.stages import KEPT_SLACK, Stage, best_possible, keep_aim, list_stages, proof_slack

#: With so many patterns or arcs, over all machines, a good choice is looked for first.
FIRST_PATTERNS, FIRST_ARCS = 400, 2000
#: Up to so many patterns and arcs all are looked at at once; fewer where two solvers must come to an end.
ENOUGH, ENOUGH_TWICE = 1000, 300


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
    case, best = carry_over(chooser.best, chooser.case, case)
    case = with_placements(case, best)
    return Chosen(case, best, tuple(chooser.aims), chooser.made_by, remarks)


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
            bound = self._close_in(stage)
            seconds = time.perf_counter() - begun
        self.case, self.best = without_dearer(self.case, stage, self.best)
        reached = stage.value(self.case, self.best)
        self.kept.append((stage, reached))
        if self.model is not None:
            keep_aim(self.model, stage, reached)
        self.aims.append(_aim(stage, reached, least, bound, seconds))

    def _close_in(self, stage: Stage) -> float | None:
        """Bound the aim by its relaxation, look for a choice near the bound, and leave out what has become hopeless.

        The relaxation is HiGHS's word, so where CBC's answer reaches it the two agree without asking twice.
        """
        until = time.perf_counter() + self.limit_s
        relaxed = relax(self.case, self.best, stage, self.kept, self.model, self.limit_s / 2)
        self.case, self.model = relaxed.case, relaxed.model
        if relaxed.bound is None:
            return self._ask(relaxed, relaxed.case, self.best, stage, self.limit_s)
        bound = self._approach(relaxed, stage, relaxed.bound, until)
        self.case, self.best = without_hope(replace(relaxed, case=self.case), stage, self.best)
        return bound

    def _approach(self, relaxed: Relaxed, stage: Stage, bound: float, until: float) -> float:
        """Look for a good choice among the cheapest, then among all that could be better."""
        if self._reaches(stage, bound):
            return bound
        once = replace(stage, asks_twice=False)
        if count_within(relaxed, self._room(stage, bound)) > (ENOUGH_TWICE if stage.asks_twice else ENOUGH):
            held, best = self._cheapest(relaxed, FIRST_PATTERNS, FIRST_ARCS)
            self._ask(relaxed, held, best, once, _left_s(until) / 2)
            if self._reaches(stage, bound):
                return bound
        room = self._room(stage, bound)
        relaxed = replace(relaxed, case=self.case)
        if count_within(relaxed, room) > MOST_ARCS:
            held, best = self._cheapest(relaxed, FIRST_PATTERNS, 3 * FIRST_ARCS)
            self._ask(relaxed, held, best, once, _left_s(until))
            return bound
        proven = self._ask(relaxed, *within(relaxed, self.best, room), stage, _left_s(until))
        return bound if proven is None else max(bound, proven)

    def _cheapest(self, relaxed: Relaxed, patterns: int, arcs: int) -> tuple[Case, Selection]:
        n = len(relaxed.case.tables)
        return cheapest(relaxed, self.best, patterns // n, arcs // n)

    def _room(self, stage: Stage, bound: float) -> float:
        """By how much a better choice than the best so far may pass the bound.

        The next better value of a whole-numbered aim is one less: what cannot reach it need not be looked at.
        """
        return stage.value(self.case, self.best) - bound - (1.0 - KEPT_SLACK if stage.whole else 0.0)

    def _reaches(self, stage: Stage, bound: float | None) -> bool:
        reached = stage.value(self.case, self.best)
        return bound is not None and reached <= best_possible(stage, bound) + proof_slack(reached)

    def _ask(
        self, relaxed: Relaxed, held: Case, best: Selection, stage: Stage, limit_s: float
    ) -> float | None:
        """Ask the solvers over what is `held` of the relaxed case; return the bound they prove for that."""
        if held is relaxed.case:
            model = relaxed.model
            model.case = held  # its tables may have grown since the model was built
        else:
            model = pose(held, stage, self.kept)
        answered = put_to_solvers(model, stage, best, limit_s)
        self.case, self.best = carry_over(answered.selection, answered.case, relaxed.case)
        self.remarks += answered.remarks
        if stage.asks_twice and answered.alone and not self._reaches(stage, relaxed.bound):
            self.remarks.append(f"{stage.name}: {answered.alone}")
        self.answered |= answered.any_stood
        return answered.bound


def _left_s(until: float) -> float:
    """Time left, and a second where there is none: enough to answer easy questions [s]."""
    return max(1.0, until - time.perf_counter())


def _aim(stage: Stage, reached: float, least: float, bound: float | None, seconds: float) -> Aim:
    told = stage.told_by * reached + 0.0
    at_best = least if bound is None else max(least, best_possible(stage, bound))
    missed = reached - at_best
    if missed <= proof_slack(reached):
        return Aim(stage.name, told, AimStatus.PROVEN, 0.0, seconds)
    if bound is None:
        return Aim(stage.name, told, AimStatus.TIME_LIMIT, None, seconds)
    return Aim(stage.name, told, AimStatus.GAP, missed / max(abs(reached), abs(at_best)), seconds)
