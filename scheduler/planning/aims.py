"""The aims in their order, each solved while the ones before are kept.

Class by class the most needs met, then the least shortfall of what is not met, then the fewest plug changes,
then the most energy left under the likely sun. Each aim is its own solve with its own row, with slack for
the solver's rounding; CBC answers, HiGHS confirms the needs met at the same time on the other core.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from scheduler.charging.routes import BoolArray
from scheduler.planning.model import Case, ChoiceModel, Term, add_bank, build_choice
from scheduler.planning.record import Aim, AimStatus
from scheduler.planning.selection import Selection, draws_of, is_allowed, path_under
from scheduler.planning.solve import Solution, SolveStatus, solve_cbc, solve_highs
from scheduler.timegrid import FloatArray
from scheduler.units import kwh_from_wh
from scheduler.yard.models import PRIORITIES

_KEPT_SLACK = 1e-6


@dataclass(frozen=True)
class Stage:
    """One aim, as something to be made small.

    Attributes
    ----------
    name : str
    sign : float
        Turns what is minimised into what is told: -1 for the aims that want the most.
    terms : callable
        The objective's terms in a model.
    value : callable
        What is minimised, worked out from a selection alone.
    least : float
        No selection can do better than this.
    whole : bool
        Whether the values are whole numbers.
    scale : float
        From the model's unit to the told one.
    asks_twice : bool
        Whether HiGHS confirms it.
    """

    name: str
    sign: float
    terms: Callable[[ChoiceModel], list[Term]]
    value: Callable[[Selection], float]
    least: float
    whole: bool
    scale: float = 1.0
    asks_twice: bool = False


@dataclass(frozen=True)
class Chosen:
    """The selection after all aims, what was reached, and what has to be said about the solvers."""

    selection: Selection
    aims: tuple[Aim, ...]
    remarks: tuple[str, ...]


def stages_of(case: Case) -> list[Stage]:
    """Return the aims of a case in their order; a class without needs is left out."""
    present = [
        rank for rank in range(len(PRIORITIES)) if any(table.met[:, rank].any() for table in case.tables)
    ]
    stages = [_needs_stage(case, rank) for rank in present]
    stages.append(
        _sum_stage(case, "shortfall", [kwh_from_wh(1.0) * table.short_wh for table in case.tables], scale=1000.0)
    )
    stages.append(
        _sum_stage(case, "plug changes", [table.changes.astype(float) for table in case.tables], whole=True)
    )
    stages.append(_energy_stage(case))
    return stages


def _needs_stage(case: Case, rank: int) -> Stage:
    lost = [-table.met[:, rank].astype(float) for table in case.tables]
    stage = _sum_stage(case, f"{PRIORITIES[rank]} needs met", lost, whole=True)
    return replace(stage, sign=-1.0, asks_twice=True)


def _sum_stage(
    case: Case, name: str, values: list[FloatArray], whole: bool = False, scale: float = 1.0
) -> Stage:
    """Return an aim that is a sum of one number a pattern."""
    return Stage(
        name=name,
        sign=1.0,
        terms=lambda model: model.pick_terms(values),
        value=lambda selection: float(
            sum(value[row] for value, row in zip(values, selection.rows, strict=True))
        ),
        least=float(sum(value.min() for value in values)),
        whole=whole,
        scale=scale,
    )


def _energy_stage(case: Case) -> Stage:
    def terms(model: ChoiceModel) -> list[Term]:
        n_steps = case.agenda.grid.n_steps
        last = add_bank(model, "likely", case.suns.likely_w, np.zeros(n_steps + 1), np.zeros(n_steps))
        return [(last, -1.0)]

    def value(selection: Selection) -> float:
        path = path_under(case, draws_of(case, selection), case.suns.likely_w)
        return -kwh_from_wh(float(path.level_wh[-1]))

    return Stage(
        name="energy left",
        sign=-1.0,
        terms=terms,
        value=value,
        least=-kwh_from_wh(case.yard.bank.capacity_wh),
        whole=False,
        scale=1000.0,
    )


def choose(case: Case, first: Selection, limit_s: float) -> Chosen:
    """Go through the aims.

    Parameters
    ----------
    case : Case
    first : Selection
        An allowed selection to fall back on.
    limit_s : float
        Wall-clock limit of each solve [s].
    """
    model = build_choice(case)
    best, aims, remarks = first, [], []
    for stage in stages_of(case):
        best, aim, said = _run_stage(case, model, stage, best, limit_s)
        aims.append(aim)
        remarks += said
    return Chosen(best, tuple(aims), tuple(dict.fromkeys(remarks)))


def _run_stage(
    case: Case, model: ChoiceModel, stage: Stage, best: Selection, limit_s: float
) -> tuple[Selection, Aim, list[str]]:
    terms = stage.terms(model)
    remarks: list[str] = []
    solution = None
    if stage.value(best) > stage.least + _KEPT_SLACK:
        _set_objective(model, terms)
        answers = _ask(model, stage, limit_s)
        best, solution, remarks = _better_of(case, model, stage, best, answers)
    reached = stage.value(best)
    model.add(terms, -1, reached + _KEPT_SLACK * max(1.0, abs(reached)), f"keep_{stage.name.replace(' ', '_')}")
    return best, _aim(stage, reached, solution), remarks


def _set_objective(model: ChoiceModel, terms: list[Term]) -> None:
    import pulp

    model.problem.setObjective(pulp.LpAffineExpression(terms))


def _ask(model: ChoiceModel, stage: Stage, limit_s: float) -> list[Solution]:
    """CBC, with HiGHS beside it where the aim asks twice and in its stead where it fails."""
    if not stage.asks_twice:
        answer = solve_cbc(model.problem, limit_s)
        if answer.is_usable:
            return [answer]
        return [answer, solve_highs(model.problem, limit_s)]
    second: list[Solution] = []
    # A daemon, so that Ctrl-C need not wait for HiGHS, which listens to nobody while it runs.
    thread = threading.Thread(target=lambda: second.append(solve_highs(model.problem, limit_s)), daemon=True)
    thread.start()
    first = solve_cbc(model.problem, limit_s)
    thread.join()
    return [first, *second]


def _better_of(
    case: Case, model: ChoiceModel, stage: Stage, best: Selection, answers: list[Solution]
) -> tuple[Selection, Solution | None, list[str]]:
    """Take the best answer that is allowed when worked out again; tell where the solvers differ."""
    remarks = [answer.detail for answer in answers if answer.detail]
    values: list[float] = []
    bounds: list[float] = []
    for answer in answers:
        if answer.bound is not None:
            bounds.append(answer.bound)
        if not answer.is_usable:
            continue
        found = selection_from(case, model, answer.values)
        if not is_allowed(case, found):
            remarks.append("a solver's answer did not stand when worked out again, and was put aside")
            continue
        values.append(stage.value(found))
        if stage.value(found) < stage.value(best) - _KEPT_SLACK:
            best = found
    proofs = [answer for answer in answers if answer.status is SolveStatus.PROVEN]
    if len(values) == 2 and len(proofs) == 2 and abs(values[0] - values[1]) > _KEPT_SLACK:
        remarks.append(f"the two solvers differ on {stage.name}; the better plan was taken")
        return best, None, remarks
    return best, _verdict(stage.value(best), proofs, answers, bounds), remarks


def _verdict(
    reached: float, proofs: list[Solution], answers: list[Solution], bounds: list[float]
) -> Solution | None:
    """Return the answer that says most about how good `reached` is."""
    if proofs and abs(reached - (proofs[0].objective or 0.0)) <= 1e-4 * max(1.0, abs(reached)):
        return replace(proofs[0], seconds=max(answer.seconds for answer in answers))
    if bounds:
        return replace(answers[0], status=SolveStatus.STOPPED, bound=max(bounds))
    return None


def _aim(stage: Stage, reached: float, solution: Solution | None) -> Aim:
    told = stage.sign * reached * stage.scale + 0.0
    seconds = 0.0 if solution is None else solution.seconds
    if reached <= stage.least + _KEPT_SLACK or (solution and solution.status is SolveStatus.PROVEN):
        return Aim(stage.name, told, AimStatus.PROVEN, 0.0, seconds)
    if solution is None or solution.bound is None:
        return Aim(stage.name, told, AimStatus.TIME_LIMIT, None, seconds)
    bound = float(np.ceil(solution.bound - _KEPT_SLACK)) if stage.whole else solution.bound
    gap = max(0.0, reached - max(bound, stage.least)) / max(abs(reached), 1e-9)
    return Aim(stage.name, told, AimStatus.PROVEN if gap <= 1e-9 else AimStatus.GAP, gap, seconds)


def selection_from(case: Case, model: ChoiceModel, values: dict[str, float]) -> Selection:
    """Round a solver's values to a selection."""
    rows = tuple(int(np.argmax([values[pick.name] for pick in picks])) for picks in model.picks)
    return Selection(rows, _duty_from(case, model, values))


def _duty_from(case: Case, model: ChoiceModel, values: dict[str, float]) -> dict[str, BoolArray]:
    if not model.duty:
        return case.house.duty
    duty = {name: np.zeros_like(run) for name, run in case.house.duty.items()}
    for (load, step), run in model.duty.items():
        duty[load][step] = _is_one(values[run.name])
    return duty


def _is_one(value: Any) -> bool:
    return round(float(value)) == 1
