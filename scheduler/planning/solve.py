"""The border to the solvers: CBC, bundled with PuLP, and HiGHS as the second opinion.

Nothing outside this module reads a solver's status or values. CBC runs with `preprocess off`: with its integer
preprocessing on, the bundled build calls 12 optimal on a model of four binaries whose optimum is 8 (kept as a
test). Its process is started here, not by PuLP, so that one that hangs is killed at the limit and Ctrl-C leaves no
orphan.
"""

from __future__ import annotations

import functools
import math
import os
import re
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pulp

#: What a solver may take beyond its limit [s]; CBC looks at its clock between nodes only.
GRACE_S = 5.0
#: PuLP's problems are no place for two threads at once: numbering, naming and listing the variables change them.
_pulp_alone = threading.RLock()
_LOWER_BOUND = re.compile(r"^Lower bound:\s+(\S+)", re.MULTILINE)


class SolveStatus(Enum):
    """What a solver's answer is worth."""

    PROVEN = "optimal, as the solver says"
    STOPPED = "a solution, stopped by the time limit"
    NOTHING = "no solution within the time limit"
    FAULT = "missing, crashed, killed, or an answer that cannot be"


@dataclass(frozen=True)
class Solution:
    """An answer.

    Attributes
    ----------
    status : SolveStatus
    values : dict of str to float
        By variable name; empty unless there is a solution.
    objective : float or None
        Value of the model's objective at `values`, worked out here.
    bound : float or None
        The solver's bound on the objective, where it gives one.
    seconds : float
    detail : str
        What went wrong, in words.
    """

    status: SolveStatus
    values: dict[str, float]
    objective: float | None
    bound: float | None
    seconds: float
    detail: str = ""

    @property
    def is_usable(self) -> bool:
        """Whether there are values to look at."""
        return self.status in {SolveStatus.PROVEN, SolveStatus.STOPPED}


class Halt:
    """The wish that a solver stop at once, because its answer is not wanted any more."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._stops: list[Callable[[], None]] = []
        self.is_called = False

    def when_called(self, stop: Callable[[], None]) -> None:
        """Let whoever is at work say how it is stopped."""
        with self._lock:
            self._stops.append(stop)
            called = self.is_called
        if called:
            stop()

    def call(self) -> None:
        """Stop whoever is at work, and whoever begins later."""
        with self._lock:
            self.is_called = True
            stops = tuple(self._stops)
        for stop in stops:
            stop()


def solve_cbc(problem: pulp.LpProblem, limit_s: float, halt: Halt | None = None) -> Solution:
    """Solve by the CBC that comes with PuLP, in a process of its own.

    Parameters
    ----------
    problem : pulp.LpProblem
        A minimisation that is feasible by construction, so that "infeasible" is always the solver's fault.
    limit_s : float
        Wall-clock limit [s].
    halt : Halt, optional
        By which it can be told that its answer is not wanted any more.
    """
    halt = halt or Halt()
    # In a thread of its own: Ctrl-C reaches the main thread only, so it can never fall between the start of the
    # process and the moment from which somebody ends it.
    with ThreadPoolExecutor(max_workers=1) as worker:
        try:
            return worker.submit(_ask_cbc, problem, limit_s, halt).result()
        finally:
            halt.call()


def _ask_cbc(problem: pulp.LpProblem, limit_s: float, halt: Halt) -> Solution:
    begun = time.perf_counter()
    try:
        with tempfile.TemporaryDirectory(prefix="sunroster-") as folder:
            status, values, log = _run_cbc(problem, limit_s, Path(folder), halt)
    except _CBC_FAULTS as fault:
        return _halted(begun) if halt.is_called else _faulty(begun, f"CBC: {fault or type(fault).__name__}")
    if halt.is_called:
        return _halted(begun)
    with _pulp_alone:
        return _judged(problem, status, values, _bound_in(log), begun, "CBC")


_CBC_FAULTS = (OSError, subprocess.SubprocessError, ValueError, LookupError)


def _run_cbc(
    problem: pulp.LpProblem, limit_s: float, folder: Path, halt: Halt
) -> tuple[int, dict[str, float] | None, str]:
    import pulp

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # PuLP 4 will have another door to CBC
        reader = pulp.PULP_CBC_CMD(msg=False)
    if reader.path is None:
        msg = "not there"
        raise FileNotFoundError(msg)
    model, answer, log = folder / "choice.mps", folder / "choice.sol", folder / "choice.log"
    with _pulp_alone:
        variables, variable_names, row_names, _ = problem.writeMPS(str(model), rename=1)
    begun = time.perf_counter()
    command = [str(reader.path), str(model), "-sec", f"{limit_s:g}", "-timeMode", "elapsed"]
    command += ["-ratio", "0", "-preprocess", "off", "-cuts", "off", "-solve"]
    command += ["-printingOptions", "all", "-solution", str(answer)]
    with log.open("wb") as sink, _process(command, sink) as process:
        # A timer, since waiting with a timeout looks only every so often and costs every solve its pause.
        watchdog = threading.Timer(limit_s + GRACE_S, process.kill)
        watchdog.start()
        halt.when_called(process.kill)
        returned = process.wait()
        watchdog.cancel()
    if returned != 0 or not answer.exists():
        late = time.perf_counter() - begun > limit_s + GRACE_S
        msg = "did not stop at its limit" if late else f"ended with code {returned} and no answer"
        raise subprocess.SubprocessError(msg)
    with _pulp_alone:
        read = reader.readsol_MPS(str(answer), problem, variables, variable_names, row_names)
    return read[5], read[1], log.read_text(errors="replace")


def _process(command: list[str], sink: Any) -> subprocess.Popen[bytes]:
    return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=sink, stderr=subprocess.STDOUT)


def _bound_in(log: str) -> float | None:
    """CBC's bound at its stop; it prints none when it has proven its answer."""
    found = _LOWER_BOUND.findall(log)
    return float(found[-1]) if found else None


def solve_highs(
    problem: pulp.LpProblem,
    limit_s: float,
    halt: Halt | None = None,
    start: Mapping[str, float] | None = None,
) -> Solution:
    """Solve by HiGHS through PuLP, in this process; arguments as for `solve_cbc`.

    `start` holds the whole-numbered variables' values of a solution that is known, to go on from.
    """
    begun, halt = time.perf_counter(), halt or Halt()
    try:
        import highspy
        import pulp

        say_banner_to_nobody()
        # Restarts from the root cost more here than they save.
        solver = pulp.HiGHS(msg=False, gapRel=0.0, threads=1, timeLimit=limit_s, mip_allow_restart=False)
        with _pulp_alone:
            solver.createAndConfigureSolver(problem)
            highs = problem.solverModel
            solver.buildSolverModel(problem)
            if start:
                known = [variable for variable in problem.variables() if variable.name in start]
                at = np.array([start[variable.name] for variable in known])
                highs.setSolution(len(known), np.array([variable.index for variable in known]), at)
        _stop_when(halt, highs)
        highs.run()
        info, status = highs.getInfo(), highs.getModelStatus()
        columns, claimed = list(highs.getSolution().col_value), highs.getObjectiveValue()
    except Exception as fault:  # noqa: BLE001  whatever a solver throws, the other one is asked
        return _faulty(begun, f"HiGHS: {fault or type(fault).__name__}")
    if halt.is_called:
        return _halted(begun)
    has_values = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    statuses = {
        highspy.HighsModelStatus.kOptimal: pulp.LpSolutionOptimal,
        highspy.HighsModelStatus.kTimeLimit: (
            pulp.LpSolutionIntegerFeasible if has_values else pulp.LpSolutionNoSolutionFound
        ),
    }
    with _pulp_alone:
        named = [(variable.name, variable.index) for variable in problem.variables()]
        values = {name: columns[index] for name, index in named} if has_values else {}
        outcome = statuses.get(status, pulp.LpSolutionInfeasible)
        found = _judged(problem, outcome, values, info.mip_dual_bound, begun, "HiGHS")
    # Begun from a known solution, it may give that one back beside the objective of a better one that it found.
    is_other = found.objective is not None and not math.isclose(
        found.objective, claimed, rel_tol=_TOLERANCE, abs_tol=_TOLERANCE
    )
    return replace(found, status=SolveStatus.STOPPED, bound=info.mip_dual_bound) if is_other else found


def _stop_when(halt: Halt, highs: Any) -> None:
    """Let HiGHS look, whenever it asks whether to go on, whether its answer is still wanted."""
    import highspy

    def look(kind: object, message: str, state: object, reply: Any, data: object) -> None:
        reply.user_interrupt = halt.is_called

    highs.setCallback(look, None)
    asked = highspy.cb.HighsCallbackType
    for asks in (asked.kCallbackMipInterrupt, asked.kCallbackSimplexInterrupt):
        highs.startCallback(asks)


@functools.cache
def say_banner_to_nobody() -> None:
    """HiGHS greets on standard output, once a process, whatever its options say; machine output goes there."""
    import highspy

    sys.stdout.flush()
    kept = os.dup(1)
    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123  a device, not a path of the user's
        os.dup2(nowhere.fileno(), 1)
    try:
        highspy.Highs()  # type: ignore[no-untyped-call]
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _judged(
    problem: pulp.LpProblem,
    outcome: int,
    values: dict[str, float] | None,
    bound: float | None,
    begun: float,
    who: str,
) -> Solution:
    """Turn a solver's word into ours, never further than it goes."""
    import pulp

    seconds = time.perf_counter() - begun
    if outcome == pulp.LpSolutionNoSolutionFound:
        return Solution(SolveStatus.NOTHING, {}, None, bound, seconds, f"{who}: nothing found in time")
    if outcome not in {pulp.LpSolutionOptimal, pulp.LpSolutionIntegerFeasible} or values is None:
        return _faulty(begun, f"{who}: calls a model infeasible that cannot be")
    found = {variable.name: values.get(variable.name) for variable in problem.variables()}
    complete = {name: value for name, value in found.items() if value is not None}
    if len(complete) < len(found) or not (_bounds_kept(problem, complete) and _rows_kept(problem, complete)):
        return _faulty(begun, f"{who}: its answer does not fit the model")
    objective = _value_of(problem.objective, complete)
    proven = outcome == pulp.LpSolutionOptimal
    status = SolveStatus.PROVEN if proven else SolveStatus.STOPPED
    return Solution(status, complete, objective, objective if proven else bound, seconds)


def _halted(begun: float) -> Solution:
    return Solution(SolveStatus.NOTHING, {}, None, None, time.perf_counter() - begun)


def _faulty(begun: float, detail: str) -> Solution:
    return Solution(SolveStatus.FAULT, {}, None, None, time.perf_counter() - begun, detail)


def _value_of(expression: Any, values: dict[str, float]) -> float:
    return float(
        sum(factor * values[variable.name] for variable, factor in expression.items()) + expression.constant
    )


# No status is taken on trust. Comparisons are written so that NaN fails them.
_TOLERANCE = 1e-5  # CBC's answer has 8 digits; against the largest term of a row, at least 1


def _bounds_kept(problem: pulp.LpProblem, values: dict[str, float]) -> bool:
    """Whether every value lies within its variable's bounds, and is whole where it must be."""
    for variable in problem.variables():
        value = values[variable.name]
        allowed = _TOLERANCE * max(1.0, abs(value))
        low = -math.inf if variable.lowBound is None else variable.lowBound
        high = math.inf if variable.upBound is None else variable.upBound
        if not low - allowed <= value <= high + allowed or math.isinf(value):
            return False
        if variable.isInteger() and abs(value - round(value)) > allowed:
            return False
    return True


def _rows_kept(problem: pulp.LpProblem, values: dict[str, float]) -> bool:
    """Whether the values keep every row."""
    for row in problem.constraints():
        terms = [factor * values[variable.name] for variable, factor in row.items()]
        excess = sum(terms) + row.constant
        allowed = _TOLERANCE * max([1.0, *map(abs, terms)])
        if not (excess <= allowed or row.sense > 0) or not (excess >= -allowed or row.sense < 0):
            return False
    return True
