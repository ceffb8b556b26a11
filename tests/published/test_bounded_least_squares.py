"""The continuous problem against published bounded least squares and quadratic programmes.

Sources
-------
- C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, SIAM 1995 (Prentice-Hall 1974),
  ch. 23, section 7, constrained line fit; data and published solution (0.621, 0.379) from memory,
  further digits recomputed.
- W. Hock and K. Schittkowski, Test Examples for Nonlinear Programming Codes, Springer LNEMS 187,
  1981, problems 21, 35 and 76; matrices and optima from memory, optima recomputed.
- P. B. Stark and R. L. Parker, Bounded-variable least squares, Computational Statistics 10, 1995,
  by way of ``scipy.optimize.lsq_linear(method="bvls")``, on random problems of our own.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from fitup.errors import NoPlan
from fitup.frames import Array
from fitup.problem.continuous import least_squares, least_worst
from fitup.problem.problem import FitProblem, LimitRow

#: the solvers see millimetres: one unit of a published problem is one millimetre here
MM = 1e-3
FAR = 1e3


def problem(
    F: Array, g: Array, bounds: Array, L: Array | None = None, b: Array | None = None
) -> FitProblem:
    """Minimise |F x - g|^2 within bounds and L x <= b; x in millimetres."""
    m, n = F.shape
    rows = np.zeros((0, n)) if L is None else L
    return FitProblem(
        seats=tuple(f"S{i}" for i in range(n)),
        rows=tuple(f"C{i}" for i in range(m)),
        F=F / MM,
        g=g,
        weights=np.ones(m),
        L=rows,
        b=np.zeros(0) if b is None else b * MM,
        limits=tuple(LimitRow("leave", "", "a published row") for _ in rows),
        choices=(),
        marks=(),
        counts=(),
        stock=np.zeros(0, dtype=np.int64),
        windows=bounds * MM,
        clusters=(),
        move_price=0.0,
    )


def quadratic(H: Array, c: Array) -> tuple[Array, Array, float]:
    """Return F, g and a constant with x'Hx/2 + c'x = |F x - g|^2 + constant."""
    F = np.linalg.cholesky(H / 2.0).T
    g = np.linalg.solve(F.T, -c / 2.0)
    return F, g, -float(g @ g)


def test_lawson_and_hanson_line_fit() -> None:
    t, f = np.array([0.25, 0.5, 0.5, 0.8]), np.array([0.5, 0.6, 0.7, 1.2])
    F = np.c_[t, np.ones(4)]
    bounds = np.array([[0.0, FAR], [0.0, FAR]])
    found = least_squares(problem(F, f, bounds, np.array([[1.0, 1.0]]), np.array([1.0])), None)
    assert found is not None
    # published with three digits
    assert found.x / MM == pytest.approx([0.621, 0.379], abs=5e-4)
    # recomputed; a solver stopped at 1e-8 of the squares is right to about 1e-5 in x
    assert found.x / MM == pytest.approx([0.6213151927, 0.3786848073], abs=1e-5)
    assert np.sqrt(found.value) == pytest.approx(0.33822935, abs=1e-6)


def test_lawson_and_hanson_line_fit_unconstrained() -> None:
    t, f = np.array([0.25, 0.5, 0.5, 0.8]), np.array([0.5, 0.6, 0.7, 1.2])
    found = least_squares(problem(np.c_[t, np.ones(4)], f, np.array([[-FAR, FAR]] * 2)), None)
    assert found is not None
    assert found.x / MM == pytest.approx([1.3004115, 0.0835391], abs=1e-5)


# Hessian, gradient at zero, constant, rows and bounds A x <= b, box, optimum, where
HOCK_SCHITTKOWSKI = {
    "HS21": (
        [[0.02, 0.0], [0.0, 2.0]], [0.0, 0.0], -100.0, [[-10.0, 1.0]], [-10.0],
        [[2.0, 50.0], [-50.0, 50.0]], -99.96, [2.0, 0.0],
    ),
    "HS35": (
        [[4.0, 2.0, 2.0], [2.0, 4.0, 0.0], [2.0, 0.0, 2.0]], [-8.0, -6.0, -4.0], 9.0,
        [[1.0, 1.0, 2.0]], [3.0], [[0.0, FAR]] * 3, 1.0 / 9.0, [4.0 / 3.0, 7.0 / 9.0, 4.0 / 9.0],
    ),
    "HS76": (
        [[2.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [-1.0, 0.0, 2.0, 1.0], [0.0, 0.0, 1.0, 1.0]],
        [-1.0, -3.0, 1.0, -1.0], 0.0,
        [[1.0, 2.0, 1.0, 1.0], [3.0, 1.0, 2.0, -1.0], [0.0, -1.0, -4.0, 0.0]], [5.0, 4.0, -1.5],
        [[0.0, FAR]] * 4, -4.681818182, [3.0 / 11.0, 23.0 / 11.0, 0.0, 6.0 / 11.0],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HOCK_SCHITTKOWSKI)
def test_hock_schittkowski(name: str) -> None:
    H, c, constant, A, b, box, optimum, where = HOCK_SCHITTKOWSKI[name]
    F, g, rest = quadratic(np.array(H), np.array(c))
    job = problem(F, g, np.array(box), np.array(A), np.array(b))
    found = least_squares(job, None)
    assert found is not None
    # published optima have eight to ten digits; interior-point answers are good to about 1e-6
    assert found.value + rest + constant == pytest.approx(optimum, abs=1e-5)
    assert found.x / MM == pytest.approx(where, abs=1e-3)


def test_random_bounded_problems_against_bvls() -> None:
    rng = np.random.default_rng(11)
    for _ in range(12):
        m, n = int(rng.integers(3, 8)), int(rng.integers(2, 6))
        F, g = rng.normal(size=(m, n)), rng.normal(size=m)
        low = rng.uniform(-1.0, 0.0, n)
        bounds = np.c_[low, low + rng.uniform(0.05, 1.0, n)]
        found = least_squares(problem(F, g, bounds), None)
        best = lsq_linear(F, g, bounds=bounds.T, method="bvls", tol=1e-12)
        assert found is not None
        assert found.value == pytest.approx(2.0 * best.cost, rel=1e-5, abs=1e-7)
        assert np.all(found.x / MM >= bounds[:, 0] - 1e-12)
        assert np.all(found.x / MM <= bounds[:, 1] + 1e-12)


def test_least_worst_of_a_line_through_three_points() -> None:
    # textbook Chebyshev fit: heights 0, 1, 0 at -1, 0, 1 leave half a unit, signs in turn
    F, g = np.array([[1.0, -1.0], [1.0, 0.0], [1.0, 1.0]]), np.array([0.0, 1.0, 0.0])
    found = least_worst(problem(F, g, np.array([[-FAR, FAR]] * 2)))
    assert found.value == pytest.approx(0.5, abs=1e-7)
    assert found.x / MM == pytest.approx([0.5, 0.0], abs=1e-6)
    # multipliers of the extreme points: 1/4, 1/2, 1/4
    assert found.multipliers == pytest.approx([0.25, 0.5, 0.25], abs=1e-6)


def test_rows_that_exclude_each_other() -> None:
    job = problem(
        np.eye(1), np.zeros(1), np.array([[-1.0, 1.0]]), np.array([[1.0], [-1.0]]),
        np.array([-0.5, -0.5]),
    )  # fmt: skip
    assert least_squares(job, None) is None
    with pytest.raises(NoPlan):
        least_worst(job)
