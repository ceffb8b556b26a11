"""The continuous optimum as a bound: true however near its solver came, and at the very edge."""

from __future__ import annotations

from dataclasses import replace
from unittest import mock

import numpy as np
import pytest

from fitup.plan.priorities import best_squares
from fitup.problem import continuous as module
from fitup.problem.continuous import least_squares, least_worst
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem
from fitup.solve.effort import Effort


def made_problem(seed: int) -> FitProblem:
    """Four seats and five checks, a limit; every seat may also stay."""
    rng = np.random.default_rng(seed)
    return FitProblem(
        seats=tuple("abcd"),
        rows=tuple("12345"),
        F=rng.normal(size=(5, 4)) * 500.0,
        g=rng.normal(size=5) * 2.0,
        weights=rng.uniform(0.5, 2.0, 5),
        L=rng.normal(size=(1, 4)),
        b=np.array([4e-3]),
        limits=(),
        choices=((Choice(0.0, (), False, 0),),) * 4,
        marks=("P",),
        counts=(np.zeros((1, 1), dtype=np.int64),) * 4,
        stock=np.array([9]),
        windows=rng.uniform(1e-3, 6e-3, (4, 1)) * np.array([-1.0, 1.0]),
        clusters=((0, 1), (), (2, 3), ()),
    )


def with_the_optimum(seed: int) -> tuple[FitProblem, float]:
    """A problem without limits that binds nowhere, one of whose plans is its optimum."""
    problem = made_problem(seed)
    problem = replace(problem, L=problem.L[:0], b=problem.b[:0])
    problem = replace(problem, windows=np.tile([-0.1, 0.1], (4, 1)))
    weights, F = problem.weights, problem.F
    H = F.T @ (weights[:, None] * F) + problem.move_price * np.eye(4)
    x = np.linalg.solve(H, F.T @ (weights * problem.g))
    own = tuple((Choice(float(v), ("P",), True, 1),) for v in x)
    counts = (np.ones((1, 1), dtype=np.int64),) * 4
    return replace(problem, choices=own, counts=counts), problem.squares(x)


@pytest.mark.parametrize("seed", range(6))
def test_a_solver_that_stops_short_bounds_no_plan_from_above(seed: int) -> None:
    problem, truth = with_the_optimum(seed)
    conic = module._conic

    def short(*given: object) -> module._Ended:
        ended = conic(*given)
        return replace(ended, x=ended.x + 0.05)

    with mock.patch.object(module, "_conic", short):
        nearest = least_squares(problem, 50.0)
        found = best_squares(problem, 50.0, effort=Effort(0.0), begin=None)
    assert nearest is not None
    assert nearest.value > truth * (1.0 + 1e-4)
    assert nearest.lower <= truth
    assert found.lower <= truth * (1.0 + 1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_is_near_the_value(seed: int) -> None:
    nearest = least_squares(made_problem(seed), 50.0)
    assert nearest is not None
    assert nearest.lower == pytest.approx(nearest.value, rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("seed", [6, 10, 14, 34, 70, 78, 226])
@pytest.mark.parametrize("short", [1e-6, 1e-9])
def test_a_worst_ratio_just_out_of_reach_is_no_failure(seed: int, short: float) -> None:
    problem = made_problem(seed)
    edge = least_worst(problem).value
    beside = least_squares(problem, edge * (1.0 - short))
    at = least_squares(problem, edge * (1.0 + 1e-9))
    assert at is not None
    if beside is not None:
        assert beside.lower <= at.value * (1.0 + 1e-3)
