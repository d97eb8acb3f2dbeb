"""Prices of a relaxation, and bounds that hold whatever the prices are."""

from __future__ import annotations

import highspy
import numpy as np
import pulp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning import prices as pricing
from scheduler.planning.prices import price_relaxation
from tests.planning.test_solve import four_binaries


def test_prices_are_what_one_more_would_change() -> None:
    """min x + 2y, x + y >= 3, x <= 2: one more asked for costs 2, one more x allowed saves 1."""
    problem = pulp.LpProblem("prices", pulp.LpMinimize)
    x, y = problem.add_variable("x", 0), problem.add_variable("y", 0)
    problem += x + y >= 3, "asked"
    problem += x <= 2, "allowed"
    problem += y <= 10, "loose"
    problem.setObjective(x + 2.0 * y)
    prices = price_relaxation(problem, 10.0)
    assert prices is not None
    assert prices.bound == pytest.approx(4.0)
    assert [prices.of(row) for row in ("asked", "allowed", "loose", "not there")] == [2.0, -1.0, 0.0, 0.0]


def highs_of(problem: pulp.LpProblem) -> highspy.HighsLp:
    solver = pulp.HiGHS(mip=False, msg=False)
    solver.createAndConfigureSolver(problem)
    solver.buildSolverModel(problem)
    return problem.solverModel.getLp()


@given(st.data())
def test_no_prices_however_wrong_prove_more_than_is_true(data: st.DataObject) -> None:
    """The four binaries cost 8 at the least."""
    problem = four_binaries()
    rows = len(problem.constraints())
    dual = data.draw(st.lists(st.floats(-50.0, 50.0), min_size=rows, max_size=rows))
    _, bound, _ = pricing._bound_at(highs_of(problem), np.array(dual))
    assert bound <= 8.0 + 1e-9


def test_the_relaxations_own_prices_prove_its_optimum() -> None:
    prices = price_relaxation(four_binaries(), 10.0)
    assert prices is not None
    relaxed = highs_of(four_binaries())
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.passModel(relaxed)
    highs.run()
    assert prices.bound == pytest.approx(highs.getObjectiveValue())
