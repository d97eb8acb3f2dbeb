"""The same choice as one time-indexed model: the yardstick for choosing among patterns.

Written as a textbook would: a binary for every machine, outlet and step, the charger's curve (R7) as a
piecewise-linear function of the charge with a binary a piece, everything else (R3 to R6, R9 to R12) as rows. The
needs met count as one weighted objective, must far before should far before could. It is an approximation:
between its breakpoints the curve is a straight line.
"""

from __future__ import annotations

import math
import re
import tempfile
import time
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from scheduler.yard.agenda import DueNeed, DutyWindow
from scheduler.yard.models import HouseLoad, Machine
from tests.benchmarks.yards import BenchYard
from tests.oracle_physics import charged_wh, share_of_full_power

CLASS_WEIGHT = {"must": 10_000.0, "should": 100.0, "could": 1.0}
#: Breakpoints of the curve, as fractions of the way below and above the taper point.
BELOW_TAPER = (0.0, 0.9, 1.0)
ABOVE_TAPER = (0.35, 0.7, 1.0)


@dataclass(frozen=True)
class Outcome:
    """What a solver made of the model in the time allowed; `met` and `bound` in weighted needs."""

    solver: str
    status: str
    met: float | None
    bound: float | None
    seconds: float
    n_binaries: int
    n_rows: int


def solve_time_indexed(bench: BenchYard, solver: str, limit_s: float) -> Outcome:
    """Build the model and give it to ``"cbc"`` or ``"highs"`` for `limit_s` seconds."""
    import pulp

    problem = TimeIndexed(bench).problem
    n_binaries = sum(variable.cat == "Integer" for variable in problem.variables())
    began = time.perf_counter()
    status, bound = (_run_cbc if solver == "cbc" else _run_highs)(problem, limit_s)
    seconds = time.perf_counter() - began
    with_solution = problem.sol_status in (pulp.LpSolutionOptimal, pulp.LpSolutionIntegerFeasible)
    met = -float(pulp.value(problem.objective)) if with_solution else None
    return Outcome(solver, status, met, bound, seconds, n_binaries, problem.numConstraints())


def _run_cbc(problem: Any, limit_s: float) -> tuple[str, float | None]:
    import pulp

    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        log = Path(folder) / "cbc.log"
        cbc = pulp.PULP_CBC_CMD(msg=False, timeLimit=limit_s, gapRel=0.0, logPath=str(log))
        cbc.tmpDir = folder
        problem.solve(cbc)
        text = log.read_text()
    proven = "Result - Optimal solution found" in text
    bound = re.search(r"Lower bound:\s+(\S+)", text)
    if proven or bound is None:
        return ("proven" if proven else "no bound told"), None
    return "time limit", -float(bound[1])


def _run_highs(problem: Any, limit_s: float) -> tuple[str, float | None]:
    import highspy
    import pulp

    problem.solve(pulp.HiGHS(msg=False, timeLimit=limit_s, gapRel=0.0))
    model = problem.solverModel
    proven = model.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return ("proven" if proven else "time limit"), -float(model.getInfo().mip_dual_bound)


class TimeIndexed:
    """The model as it grows; `problem` is PuLP's, to be minimised."""

    def __init__(self, bench: BenchYard) -> None:
        import pulp

        self.bench, self.pulp = bench, pulp
        self.problem = pulp.LpProblem("time_indexed", pulp.LpMinimize)
        self.n_steps, self.step_h = bench.agenda.grid.n_steps, bench.agenda.grid.step_h
        self.wall: list[list[Any]] = [[] for _ in range(self.n_steps)]
        self.peak: list[list[Any]] = [[] for _ in range(self.n_steps)]
        self.plugged: list[list[list[Any]]] = []
        met = [self._machine(index, machine) for index, machine in enumerate(bench.yard.machines)]
        self._outlets()
        self._house_and_bank()
        self.problem.setObjective(pulp.lpSum(-weight * need for needs in met for weight, need in needs))

    def _real(self, name: str, upper: float | None = None, lower: float | None = 0.0) -> Any:
        return self.problem.add_variable(name, lower, upper)

    def _binary(self, name: str) -> Any:
        return self.problem.add_variable(name, cat="Binary")

    def _machine(self, index: int, machine: Machine) -> list[tuple[float, Any]]:
        """R7, R9, R10 and R12 of one machine; returns its needs with their weights."""
        agenda, capacity = self.bench.agenda, machine.capacity_wh
        away, needs = agenda.away[machine.name], agenda.needs[machine.name]
        places = [
            [self._binary(f"x_{index}_{outlet}_{step}") for outlet in range(len(self.bench.yard.outlets))]
            for step in range(self.n_steps)
        ]
        self.plugged.append(places)
        stored = self._real(f"s_{index}_0", machine.charge_wh, machine.charge_wh)
        met: list[tuple[float, Any]] = []
        for step in range(self.n_steps):
            for due in (need for need in needs if need.edge == step):
                stored = self._work(f"{index}_{len(met)}", due, stored, capacity, met)
            self._hands(step, places, gone=bool(away[step]))
            after = self._real(f"s_{index}_{step + 1}", capacity)
            gain = self._charge(f"{index}_{step}", machine, stored, self.pulp.lpSum(places[step]), step)
            self.problem += after == stored + gain
            stored = after
        for due in (need for need in needs if need.edge == self.n_steps):
            self._work(f"{index}_{len(met)}", due, stored, capacity, met)
        return met

    def _hands(self, step: int, places: list[list[Any]], *, gone: bool) -> None:
        """R9 and R10: nothing while away, and no change but at visits."""
        for outlet, here in enumerate(places[step]):
            if gone:
                self.problem += here == 0
            elif step not in self.bench.agenda.visits:
                self.problem += here == (places[step - 1][outlet] if step else 0)

    def _work(
        self, name: str, due: DueNeed, stored: Any, capacity: float, met: list[tuple[float, Any]]
    ) -> Any:
        """R12, and R9: the work takes its energy, or all there is; returns what is left."""
        ready, emptied = self._binary(f"u_{name}"), self._binary(f"q_{name}")
        self.problem += stored >= due.need_wh * ready
        met.append((CLASS_WEIGHT[due.priority], ready))
        left = self._real(f"l_{name}", capacity)
        self.problem += left >= stored - due.work_wh
        self.problem += left <= stored - due.work_wh + due.work_wh * emptied
        self.problem += left <= capacity * (1 - emptied)
        return left

    def _charge(self, name: str, machine: Machine, stored: Any, on: Any, step: int) -> Any:
        """R7 as a piecewise-linear function of the charge; returns what goes into the battery."""
        capacity = machine.capacity_wh
        taper_wh = machine.taper_from * capacity
        points = [share * taper_wh for share in BELOW_TAPER]
        points += [taper_wh + share * (capacity - taper_wh) for share in ABOVE_TAPER]
        gains = [charged_wh(machine, point, self.step_h) - point for point in points]
        # The last point keeps the power of just before full, where the charger stops.
        shares = [share_of_full_power(machine, min(point, capacity * (1 - 1e-6))) for point in points]
        weights = [self._real(f"w_{name}_{index}", 1.0) for index in range(len(points))]
        pieces = [self._binary(f"z_{name}_{index}") for index in range(len(points) - 1)]
        total = self.pulp.lpSum
        self.problem += total(weights) == 1
        self.problem += total(pieces) == 1
        for index, weight in enumerate(weights):
            self.problem += weight <= total(pieces[max(0, index - 1) : index + 1])
        self.problem += stored == total(point * weight for point, weight in zip(points, weights, strict=True))
        free_gain = total(gain * weight for gain, weight in zip(gains, weights, strict=True))
        free_share = total(share * weight for share, weight in zip(shares, weights, strict=True))
        gain, peak = self._real(f"g_{name}", max(gains)), self._real(f"p_{name}", machine.charger_w)
        self.problem += gain <= max(gains) * on
        self.problem += gain <= free_gain
        self.problem += gain >= free_gain - max(gains) * (1 - on)
        self.problem += peak >= machine.charger_w * (free_share - (1 - on))
        self.wall[step].append(gain / machine.charger_efficiency)
        self.peak[step].append(peak)
        return gain

    def _outlets(self) -> None:
        """R6: one machine an outlet; no charger here passes 80 % of a breaker, which is checked."""
        for machine in self.bench.yard.machines:
            assert all(machine.charger_w <= outlet.continuous_w for outlet in self.bench.yard.outlets)
        for step in range(self.n_steps):
            for outlet in range(len(self.bench.yard.outlets)):
                self.problem += self.pulp.lpSum(places[step][outlet] for places in self.plugged) <= 1

    def _house_and_bank(self) -> None:
        """R3 to R5 and R11, the bank under the dull sun."""
        yard, total = self.bench.yard, self.pulp.lpSum
        duty: list[list[tuple[HouseLoad, Any]]] = [[] for _ in range(self.n_steps)]
        for index, window in enumerate(self.bench.agenda.duties):
            load = next(load for load in yard.house_loads if load.name == window.load)
            for step, on in self._duty(index, window).items():
                duty[step].append((load, on))
        bank, inverter = yard.bank, yard.inverter
        level: Any = bank.level_pct / 100 * bank.capacity_wh
        for step in range(self.n_steps):
            running_w = yard.always_on_w + total(load.watts * on for load, on in duty[step])
            peak_w = running_w + total(self.peak[step])
            self.problem += peak_w <= inverter.continuous_w
            for load in yard.house_loads:
                extra_w = load.start_w - load.watts
                if load.always_on and extra_w:
                    self.problem += peak_w + extra_w <= inverter.surge_limit_w
            for load, on in duty[step]:
                self.problem += peak_w + (load.start_w - load.watts) * on <= inverter.surge_limit_w
            draw = (running_w * self.step_h + total(self.wall[step])) / inverter.efficiency
            net = self.bench.suns.dull_w[step] * self.step_h - draw - inverter.idle_w * self.step_h
            self.problem += net >= -(bank.discharge_max_w or math.inf) * self.step_h
            after = self._real(f"b_{step + 1}", bank.capacity_wh, bank.reserve_wh)
            self.problem += after - level <= net * bank.charge_efficiency
            self.problem += after - level <= net / bank.discharge_efficiency
            level = after

    def _duty(self, index: int, window: DutyWindow) -> dict[int, Any]:
        """R11: hours in a window, in blocks no shorter than the least."""
        on = {step: self._binary(f"d_{index}_{step}") for step in range(window.first, window.last)}
        self.problem += self.pulp.lpSum(on.values()) == window.on_steps
        for step, here in on.items():
            for later in range(step + 1, step + window.min_steps):
                self.problem += on.get(later, 0) >= here - on.get(step - 1, 0)
        return on
