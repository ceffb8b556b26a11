"""The problem with plates of any thickness as one would write it down, to be read and extended.

The fast path (:mod:`fitup.problem.continuous`) makes rows for its solvers; this states the same in
the words of convex optimisation. Tests and the second opinion hold the one to the other, and an
engineer may add a constraint or an objective of their own:

    statement = Statement.of(problem, cap=1.0)
    level = statement.x[0] == statement.x[1]
    settings, squares = statement.solve(statement.squares, also=[level])

This is the only file that imports cvxpy (S. Diamond and S. Boyd, CVXPY: a Python-embedded modeling
language for convex optimization, Journal of Machine Learning Research 17 (2016) 1-5; from memory).
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitup.errors import NoPlan
from fitup.frames import Array
from fitup.problem.problem import FitProblem

#: settings are stated in millimetres, which keeps numbers near one
_MM = 1e-3


def _cvxpy() -> Any:
    """Return the library, imported when asked for; its names are made at run time."""
    return importlib.import_module("cvxpy")


@dataclass(frozen=True, eq=False)
class Statement:
    """Settings x that keep every limit, what they miss, and what may be made least.

    Parameters
    ----------
    x : variable (n,)
        Moves of the seats [mm], in the order of ``problem.seats``.
    ratios : expression (m,)
        Deviation over tolerance of every check, with its sign.
    constraints : mapping of str to list
        ``windows``, ``limits`` and, where a cap is given, ``inside``.
    squares : expression
        Weighted squares of the ratios, and the little that moves themselves add.
    worst : expression
        The greatest ratio.
    """

    x: Any
    ratios: Any
    constraints: Mapping[str, list[Any]]
    squares: Any
    worst: Any

    @classmethod
    def of(
        cls,
        problem: FitProblem,
        cap: float | None = None,
        *,
        u: Array | None = None,
        risk: float = 0.05,
    ) -> Statement:
        """State a problem; with uncertainties, so that each check is inside at a stated risk.

        Parameters
        ----------
        problem : FitProblem
        cap : float, optional
            Greatest ratio of deviation to tolerance.
        u : Array (m,), optional
            Standard uncertainty of every check as a share of its tolerance. The cap is then
            narrowed by the guard band of JCGM 106:2012, 8.3.2, at the given risk.
        risk : float
            Probability that a check called inside is not, at most.
        """
        from scipy.stats import norm

        cp = _cvxpy()

        low, high = problem.windows.T / _MM
        x = cp.Variable(len(problem.seats))
        ratios = (problem.F * _MM) @ x - problem.g
        size = np.maximum(np.abs(problem.L).max(axis=1, initial=0.0), 1e-300)
        constraints: dict[str, list[Any]] = {"windows": [x >= low, x <= high]}
        if len(problem.b):
            rows, bounds = problem.L / size[:, None], problem.b / size / _MM
            constraints["limits"] = [rows @ x <= bounds]
        if cap is not None:
            guard = 0.0 if u is None else float(norm.ppf(1.0 - risk)) * u
            constraints["inside"] = [cp.abs(ratios) <= cap - guard]
        root = np.sqrt(problem.weights)
        still = problem.move_price * _MM**2 * cp.sum_squares(x)
        squares = cp.sum_squares(cp.multiply(root, ratios)) + still
        return cls(x, ratios, constraints, squares, cp.norm_inf(ratios))

    def solve(self, objective: Any, also: Sequence[Any] = ()) -> tuple[Array, float]:
        """Make an objective least under all constraints.

        Parameters
        ----------
        objective : expression
            Convex in the settings, such as ``squares`` or ``worst``.
        also : sequence of constraints
            Further ones, for this solution only.

        Returns
        -------
        settings : Array (n,)
            Moves of the seats [m].
        value : float
            Of the objective.

        Raises
        ------
        NoPlan
            If no settings keep all constraints.
        """
        cp = _cvxpy()
        rows = [c for own in self.constraints.values() for c in own]
        stated = cp.Problem(cp.Minimize(objective), [*rows, *also])
        stated.solve(solver=cp.CLARABEL)
        if self.x.value is None:
            raise NoPlan(f"no setting of the seats keeps what is stated ({stated.status})")
        return np.asarray(self.x.value) * _MM, float(stated.value)
