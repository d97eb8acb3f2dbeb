"""Prices on what the machines share, and the bound that follows from them by arithmetic alone.

HiGHS solves the linear relaxation, but its word for the optimum is not taken. Whatever the prices y on the rows of
min c'x, b_low <= Ax <= b_high, l <= x <= u, no x has less than

    sum over rows of min(y b_low, y b_high) taken with y's sign + sum over columns of min(r l, r u), r = c - A'y

(weak duality; after Neumaier and Shcherbina, Safe bounds in linear and mixed-integer linear programming, Mathematical
Programming 99, 2004). So a solver that errs gives a weaker bound, never a wrong one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scheduler.charging.routes import IntArray
from scheduler.planning.solve import say_banner_to_nobody
from scheduler.timegrid import FloatArray

if TYPE_CHECKING:
    import pulp


@dataclass(frozen=True)
class Prices:
    """What the relaxation's rows are worth.

    Attributes
    ----------
    bound : float
        No choice has a lower objective.
    by_row : dict of str to float
        What one more of a row's right side would change the optimum by.
    by_variable : dict of str to float
        What one more of a variable would, at these prices: its reduced cost.
    optimum : dict of str to float
        The variables' values at the relaxation's optimum, as HiGHS says; nothing rests on them.
    """

    bound: float
    by_row: dict[str, float]
    by_variable: dict[str, float]
    optimum: dict[str, float]

    def of(self, row: str) -> float:
        """Price of a row; 0 for one that is not there, since it cannot bind."""
        return self.by_row.get(row, 0.0)


def price_relaxation(problem: pulp.LpProblem, limit_s: float) -> Prices | None:
    """Solve with the binaries taken for continuous; None if HiGHS does not answer."""
    try:
        import highspy
        import pulp

        say_banner_to_nobody()
        solver = pulp.HiGHS(mip=False, msg=False, threads=1, timeLimit=limit_s)
        solver.createAndConfigureSolver(problem)
        solver.buildSolverModel(problem)
        highs = problem.solverModel
        highs.run()
        if highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = highs.getSolution()
        price, bound, reduced = _bound_at(highs.getLp(), np.array(solution.row_dual))
    except Exception:  # noqa: BLE001  without prices all there is is asked at once, and no plan is wrong
        return None
    by_row = dict(zip((row.name for row in problem.constraints()), price.tolist(), strict=True))
    names = [column.name for column in problem.variables()]
    by_variable = dict(zip(names, reduced.tolist(), strict=True))
    return Prices(bound, by_row, by_variable, dict(zip(names, solution.col_value, strict=True)))


def _bound_at(lp: Any, dual: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Prices with their signs put right, the bound that they prove, and the columns' reduced costs."""
    low, high = np.array(lp.row_lower_), np.array(lp.row_upper_)
    price = np.where(dual > 0, np.where(np.isfinite(low), dual, 0.0), np.where(np.isfinite(high), dual, 0.0))
    row, column, factor = _entries(lp.a_matrix_)
    reduced: FloatArray = np.array(lp.col_cost_) - np.bincount(
        column, factor * price[row], minlength=lp.num_col_
    )
    rows = price @ np.where(price > 0, _finite(low), _finite(high))
    ends = np.where(reduced > 0, np.array(lp.col_lower_), np.array(lp.col_upper_))
    with np.errstate(invalid="ignore"):
        least = np.where(reduced == 0.0, 0.0, reduced * ends)
    return price, float(rows + least.sum()), reduced


def _entries(matrix: Any) -> tuple[IntArray, IntArray, FloatArray]:
    """Row, column and factor of what stands in a matrix of HiGHS, which keeps it by rows or by columns."""
    import highspy

    starts, across = np.array(matrix.start_), np.array(matrix.index_, dtype=np.int64)
    along = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    by_rows = matrix.format_ == highspy.MatrixFormat.kRowwise
    return *((along, across) if by_rows else (across, along)), np.array(matrix.value_)


def _finite(limit: FloatArray) -> FloatArray:
    return np.where(np.isfinite(limit), limit, 0.0)
