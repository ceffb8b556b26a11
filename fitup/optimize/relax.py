"""The continuous problem: plates of any thickness. Solved by cvxpy, believed only when checked.

Its optimum bounds every whole-plate choice from below, its multipliers say which checks decide
the worst ratio, and its settings are the ideal that the packs try to reach.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitup.errors import FitupError, NoPlan
from fitup.frames import Array
from fitup.optimize.problem import FitProblem

#: how far a solver may miss a limit, relative to the limit's size
_FEASIBLE = 1e-6
#: how far a seat's reach is widened against the solver's own care [m]
_MARGIN = 1e-5


@dataclass(frozen=True, eq=False)
class Relaxed:
    """A continuous optimum: settings (n,) [m], its value, multipliers of the ratios (m,).

    ``pull`` (n,) [1/m] and ``give`` are what the multipliers of all rows ``G x <= d`` make of
    them: wherever the rows hold, ``pull . x - give`` is not above zero.
    """

    x: Array
    value: float
    multipliers: Array
    pull: Array
    give: float


def _cvxpy() -> Any:
    """Import cvxpy only when it is needed: it takes two seconds."""
    import cvxpy

    return cvxpy


def _scaled(problem: FitProblem) -> tuple[Array, Array]:
    """Limit rows with coefficients of order one, so that solvers see one scale [m]."""
    size = np.abs(problem.L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    return problem.L / size[:, None], problem.b / size


#: an excess worth naming, in settings [mm]
_NOTICED = 1e-4
#: one unit of the solvers' variable [m]: millimetres keep numbers near one
_MM = 1e-3


def _solve(objective: Any, constraints: list[Any], solvers: tuple[str, ...]) -> str:
    """Solve and return our own word for how it ended; a solver's own is not a result."""
    cp = _cvxpy()

    return _run(cp.Problem(objective, constraints), solvers)


def _run(programme: Any, solvers: tuple[str, ...]) -> str:
    cp = _cvxpy()

    table = {cp.OPTIMAL: "solved", cp.OPTIMAL_INACCURATE: "solved", cp.INFEASIBLE: "infeasible"}
    for solver in solvers:
        try:
            with warnings.catch_warnings():
                # an inaccurate solution is judged by our own check of its settings
                warnings.simplefilter("ignore")
                programme.solve(solver=solver)
        except cp.error.SolverError:
            continue
        if programme.status in table:
            return table[programme.status]
    return "failed"


def _limits(problem: FitProblem, x: Any) -> list[Any]:
    L, b = _scaled(problem)
    low, high = problem.windows.T / _MM
    rows = [x >= low, x <= high]
    return [*rows, L @ x <= b / _MM] if len(b) else rows


def _checked(problem: FitProblem, x: Array) -> Array:
    """Return the settings if they keep the limits, rounded into the windows."""
    x = np.clip(x, problem.windows[:, 0], problem.windows[:, 1])
    L, b = _scaled(problem)
    if np.any(L @ x - b > _FEASIBLE * np.maximum(1.0, np.abs(b))):
        raise FitupError("the continuous solver returned settings that break a limit")
    return x


def least_worst(problem: FitProblem) -> Relaxed:
    """Return the settings of least worst ratio, plates being of any thickness.

    Raises
    ------
    NoPlan
        If no setting at all keeps the hard limits.
    """
    cp = _cvxpy()

    x, tau = cp.Variable(len(problem.seats)), cp.Variable(nonneg=True)
    ratio = (problem.F * _MM) @ x - problem.g
    bounds = [ratio <= tau, -ratio <= tau]
    outcome = _solve(cp.Minimize(tau), [*bounds, *_limits(problem, x)], ("SCIPY", "CLARABEL"))
    if outcome == "infeasible":
        raise NoPlan(f"no setting of the seats keeps all hard limits{_in_the_way(problem)}")
    if outcome == "failed" or x.value is None:
        raise FitupError("the continuous solver failed on the worst ratio")
    settings = _checked(problem, np.asarray(x.value) * _MM)
    pull = np.abs(np.asarray(bounds[0].dual_value) - np.asarray(bounds[1].dual_value))
    total = float(pull.sum())
    share = pull / total if total > 0.0 else np.full(len(pull), 1.0 / max(1, len(pull)))
    return Relaxed(settings, float(tau.value), share, np.zeros(len(settings)), 0.0)


def _in_the_way(problem: FitProblem) -> str:
    """Name the limits to give way, and by how much, so that the rest can be kept."""
    cp = _cvxpy()

    size = np.abs(problem.L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    L, b = _scaled(problem)
    x, over = cp.Variable(len(problem.seats)), cp.Variable(len(b), nonneg=True)
    low, high = problem.windows.T / _MM
    rows = [x >= low, x <= high, L @ x <= b / _MM + over]
    if _solve(cp.Minimize(cp.sum(over)), rows, ("SCIPY", "CLARABEL")) != "solved":
        return ""
    named = []
    for i in np.flatnonzero(np.asarray(over.value) > _NOTICED):
        amount = float(over.value[i]) * _MM * size[i]
        label = problem.limits[i]
        named.append(f"{label.text} by {_amount(label.kind, amount)}")
    return "; they could all be kept if these gave way: " + ", ".join(named) if named else ""


def _amount(kind: str, amount: float) -> str:
    """Say an amount of a limit, from SI, in the unit of its kind."""
    if kind in ("reaction_least", "reaction_most", "jack", "force"):
        return f"{amount / 1e3:.0f} kN"
    if kind == "moment":
        return f"{amount / 1e3:.0f} kNm"
    return f"{amount / 1e6:.1f} MPa" if kind == "stress" else f"{amount / 1e-3:.2f} mm"


def reach(problem: FitProblem, worst: float, squares: float) -> Array:
    """Return how far each seat can go (n, 2) [m] with ratios and squares within bounds.

    Limits are kept and plates may be of any thickness, so every choice outside is impossible.
    A seat whose bound the solver cannot find keeps its whole window.
    """
    cp = _cvxpy()

    n = len(problem.seats)
    x, pull = cp.Variable(n), cp.Parameter(n)
    ratio = (problem.F * _MM) @ x - problem.g
    root = np.sqrt(problem.weights)
    rows = [ratio <= worst, -ratio <= worst, *_limits(problem, x)]
    terms = cp.hstack([cp.multiply(root, ratio), np.sqrt(problem.move_price) * _MM * x])
    rows.append(cp.norm(terms) <= np.sqrt(squares))
    programme = cp.Problem(cp.Maximize(pull @ x), rows)
    result = problem.windows.copy()
    for i in range(n):
        for side, sign in ((0, -1.0), (1, 1.0)):
            pull.value = sign * np.eye(n)[i]
            if _run(programme, ("CLARABEL",)) == "solved" and x.value is not None:
                edge = float(x.value[i]) * _MM + sign * _MARGIN
                result[i, side] = np.clip(edge, *problem.windows[i])
    return result


def least_squares(problem: FitProblem, worst: float | None) -> Relaxed | None:
    """Return the settings of least weighted squares with every ratio within ``worst``.

    Returns None if no setting keeps ``worst``.
    """
    cp = _cvxpy()

    x = cp.Variable(len(problem.seats))
    ratio = (problem.F * _MM) @ x - problem.g
    rows = _limits(problem, x)
    if worst is not None:
        rows += [ratio <= worst, -ratio <= worst]
    outcome = _solve(
        cp.Minimize(
            cp.sum_squares(cp.multiply(np.sqrt(problem.weights), ratio))
            + problem.move_price * _MM**2 * cp.sum_squares(x)
        ),
        rows,
        ("CLARABEL", "OSQP"),
    )
    if outcome == "infeasible":
        return None
    if outcome == "failed" or x.value is None:
        raise FitupError("the continuous solver failed on the least squares")
    settings = _checked(problem, np.asarray(x.value) * _MM)
    pull, give = _priced(problem, worst, [row.dual_value for row in rows])
    return Relaxed(settings, problem.squares(settings), np.zeros(0), pull, give)


def _priced(problem: FitProblem, worst: float | None, duals: list[Any]) -> tuple[Array, float]:
    """Add up rows ``G x <= d`` by their multipliers, in the order in which they were given."""
    n = len(problem.seats)
    low, high = problem.windows.T / _MM
    G, d = [-np.eye(n), np.eye(n)], [-low, high]
    L, b = _scaled(problem)
    if len(b):
        G.append(L)
        d.append(b / _MM)
    if worst is not None:
        G += [problem.F * _MM, -problem.F * _MM]
        d += [worst + problem.g, worst - problem.g]
    pull, give = np.zeros(n), 0.0
    for rows, right, dual in zip(G, d, duals, strict=True):
        # any multipliers that are not negative bound from below, exact or not
        price = np.maximum(np.asarray(dual, dtype=float), 0.0)
        pull += rows.T @ price
        give += float(price @ right)
    return pull / _MM, give
