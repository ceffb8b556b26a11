"""Rows of the problem by hand: patterns of limits, scales for solvers, the reach of the squares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.problem.continuous import _reach_of_squares, _scaled
from fitup.problem.problem import FitProblem, build_problem, limit_pattern


@pytest.fixture
def problem(small: Callable[..., Any]) -> FitProblem:
    case = small()
    return build_problem(case.job, case.state, case.influence)


def test_the_warp_of_a_rectangle(small: Callable[..., Any]) -> None:
    """One corner of a rectangle leaves the plane of the others by a - b + c - d, walked round."""
    job = small().job
    names = [s.id for s in job.seats.values() if s.pushes == "up"][:4]
    corners = ((0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0))
    seats = {
        n: replace(job.seats[n], position=np.array([*c, 5.0]))
        for n, c in zip(names, corners, strict=True)
    }
    own = replace(job, seats={**job.seats, **seats})
    found = limit_pattern(own, "warp", tuple(names))
    assert found == pytest.approx([1.0, -1.0, 1.0, -1.0], abs=1e-9)
    # no plane warps, whatever its slope
    plane = np.array([0.001 + 0.0002 * x - 0.0003 * y for x, y in corners])
    assert found @ plane == pytest.approx(0.0, abs=1e-12)
    assert limit_pattern(own, "difference", tuple(names[:2])) == pytest.approx([1.0, -1.0])


def test_rows_for_solvers_are_of_one_scale(problem: FitProblem) -> None:
    """Every row is divided by its greatest coefficient, an empty one by nothing."""
    L = np.array([[2e6, -4e6], [0.0, 0.0], [0.5, 0.1]])
    b = np.array([8e3, 3.0, 0.2])
    rows, bounds = _scaled(replace(problem, L=L, b=b))
    assert rows == pytest.approx(np.array([[0.5, -1.0], [0.0, 0.0], [1.0, 0.2]]))
    assert bounds == pytest.approx([2e-3, 3.0, 0.4])


def test_no_setting_of_less_squares_lies_beyond_their_reach(problem: FitProblem) -> None:
    """Along the axis of a seat the ellipsoid of the squares ends at its reach, margins aside."""
    n = len(problem.seats)
    wide = replace(problem, windows=np.tile([-1.0, 1.0], (n, 1)))
    root = np.sqrt(wide.weights)
    M, h = wide.F * root[:, None], wide.g * root
    H = M.T @ M + wide.move_price * np.eye(n)
    centre = np.linalg.solve(H, M.T @ h)
    least = wide.squares(centre)
    reach = _reach_of_squares(wide, least + 4.0)
    half = 2.0 * np.sqrt(np.diag(np.linalg.inv(H)))
    assert reach[:, 0] == pytest.approx(centre - half, abs=2e-5)
    assert reach[:, 1] == pytest.approx(centre + half, abs=2e-5)
    # asked for less than there is: the best point alone
    alone = _reach_of_squares(wide, least - 4.0)
    assert alone == pytest.approx(np.c_[centre, centre], abs=2e-5)
