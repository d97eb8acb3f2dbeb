"""Linear programmes with as many columns as a year needs: gathered as arrays and handed to HiGHS in one piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scheduler.planning.solve import say_banner_to_nobody

Terms = Sequence[tuple[int, float]]  #: columns with their factors


class LinearFault(RuntimeError):
    """The solver proved nothing; `status` is its own word for why."""


@dataclass
class LinearModel:
    """Columns with bounds, rows ``lower <= terms <= upper``; columns are told by number."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    row_lower: list[float] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)
    row_starts: list[int] = field(default_factory=lambda: [0])
    columns: list[int] = field(default_factory=list)
    factors: list[float] = field(default_factory=list)

    def add_column(self, lower: float, upper: float) -> int:
        """Add a column, and return its number."""
        self.lower.append(lower)
        self.upper.append(upper)
        return len(self.lower) - 1

    def add_row(self, lower: float, upper: float, terms: Terms) -> None:
        """Add a row; each column stands in it once at most."""
        self.columns.extend(column for column, _ in terms)
        self.factors.extend(factor for _, factor in terms)
        self.row_starts.append(len(self.columns))
        self.row_lower.append(lower)
        self.row_upper.append(upper)


def solve_linear(model: LinearModel, aim: Terms) -> float:
    """Return the least that `aim` can be.

    Raises
    ------
    LinearFault
        Unless the solver calls its answer optimal.
    """
    import highspy

    say_banner_to_nobody()
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("threads", 1)
    highs.passModel(_as_highs(model, aim))
    highs.run()
    if highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        msg = highs.modelStatusToString(highs.getModelStatus())
        raise LinearFault(msg)
    return float(highs.getObjectiveValue())


def _as_highs(model: LinearModel, aim: Terms) -> Any:
    import highspy

    costs = np.zeros(len(model.lower))
    np.add.at(costs, [column for column, _ in aim], [factor for _, factor in aim])
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(model.lower), len(model.row_lower)
    lp.col_cost_ = costs
    lp.col_lower_, lp.col_upper_ = np.array(model.lower), np.array(model.upper)
    lp.row_lower_, lp.row_upper_ = np.array(model.row_lower), np.array(model.row_upper)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.array(model.row_starts, dtype=np.int32)
    lp.a_matrix_.index_ = np.array(model.columns, dtype=np.int32)
    lp.a_matrix_.value_ = np.array(model.factors)
    return lp
