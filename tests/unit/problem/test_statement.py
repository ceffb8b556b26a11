"""The readable statement and the fast path come to the same, and the statement can be extended."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fitup.errors import NoPlan
from fitup.problem import build_problem
from fitup.problem.continuous import least_squares, least_worst
from fitup.problem.statement import Statement

Small = Callable[..., Any]


def problem_of(small: Small, seed: int, size: float = 0.012) -> Any:
    case = small(seed=seed, size=size)
    return build_problem(case.job, case.state, case.influence)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_both_come_to_the_same(small: Small, seed: int) -> None:
    problem = problem_of(small, seed)
    worst = least_worst(problem)
    statement = Statement.of(problem)
    x, value = statement.solve(statement.worst)
    assert value == pytest.approx(worst.value, abs=1e-6)
    assert problem.worst_ratio(x) == pytest.approx(value, abs=1e-6)
    for cap in (None, max(1.0, 1.1 * worst.value)):
        fast = least_squares(problem, cap)
        assert fast is not None
        statement = Statement.of(problem, cap)
        x, value = statement.solve(statement.squares)
        assert value == pytest.approx(fast.value, rel=1e-5, abs=1e-6)
        assert problem.squares(x) == pytest.approx(value, rel=1e-5, abs=1e-6)
        assert fast.lower <= value * (1.0 + 1e-6) + 1e-9


def test_a_constraint_of_ones_own_binds(small: Small) -> None:
    problem = problem_of(small, 2)
    statement = Statement.of(problem, 1.0)
    free, least = statement.solve(statement.squares)
    assert abs(free[0] - free[1]) > 1e-4
    tied, more = statement.solve(statement.squares, also=[statement.x[0] == statement.x[1]])
    assert tied[0] == pytest.approx(tied[1], abs=1e-7)
    assert more > least


def test_uncertainty_narrows_what_is_inside(small: Small) -> None:
    """1.6449 standard deviations at a risk of 5 % (normal distribution, any table)."""
    problem = problem_of(small, 2)
    u = np.full(len(problem.g), 0.2)
    statement = Statement.of(problem, 1.0, u=u, risk=0.05)
    x, _ = statement.solve(-statement.ratios[0])
    inside = np.abs(problem.F @ x - problem.g)
    assert inside.max() <= 1.0 - 1.6449 * 0.2 + 1e-4
    assert inside[0] == pytest.approx(1.0 - 1.6449 * 0.2, abs=1e-3)
    with pytest.raises(NoPlan):
        certain = Statement.of(problem, 1.0, u=np.full(len(problem.g), 1.0))
        certain.solve(certain.squares)
