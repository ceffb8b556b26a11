"""Is a general solver to be believed? It first solves a problem whose answer is known.

The problem is the 76th of W. Hock and K. Schittkowski, Test Examples for Nonlinear Programming
Codes, Springer LNEMS 187, 1981 (matrices from memory), over whole numbers from 0 to 5. Its least
value is -4.5, at (0, 2, 0, 1), by trying all 1296. Versions of HiGHS before 1.10 call -2 proven.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem, LimitRow
from fitup.solve.general_solvers import CARE, Solver, least_squares_by

_H: Final = np.array(
    [[2.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [-1.0, 0.0, 2.0, 1.0], [0.0, 0.0, 1.0, 1.0]]
)
_C: Final = np.array([-1.0, -3.0, 1.0, -1.0])
_A: Final = np.array([[1.0, 2.0, 1.0, 1.0], [3.0, 1.0, 2.0, -1.0], [0.0, -1.0, -4.0, 0.0]])
_B: Final = np.array([5.0, 4.0, -1.5])
_LEAST: Final = -4.5
#: longest that is waited for the known answer [s]
_LIMIT: Final = 20.0
_MM: Final = 1e-3


def known_problem() -> tuple[FitProblem, float]:
    """Return the known problem, one unit being a millimetre, and its least squares."""
    M = np.linalg.cholesky(_H / 2.0).T
    h = np.linalg.solve(M.T, -_C / 2.0)
    choices = (tuple(Choice(k * _MM, (), True, 0) for k in range(6)),) * 4
    problem = FitProblem(
        seats=("1", "2", "3", "4"),
        rows=("1", "2", "3", "4"),
        F=M / _MM,
        g=h,
        weights=np.ones(4),
        L=_A,
        b=_B * _MM,
        limits=(LimitRow("leave", "", "a published row"),) * 3,
        choices=choices,
        marks=("P",),
        counts=(np.zeros((6, 1), dtype=np.int64),) * 4,
        stock=np.zeros(1, dtype=np.int64),
        windows=np.tile([0.0, 5.0 * _MM], (4, 1)),
        clusters=((0, 1), (), (2, 3), ()),
        move_price=0.0,
    )
    return problem, _LEAST + float(h @ h)


def answers_right(solver: Solver) -> bool:
    """Say whether a general solver finds the known answer and claims no bound above it."""
    problem, least = known_problem()
    stated = least_squares_by(problem, None, solver, _LIMIT)
    care = CARE * max(1.0, least)
    return abs(stated.value - least) <= care and stated.lower <= least + care
