"""The continuous problem: plates of any thickness. Solved by others, believed only when checked.

Its optimum bounds every whole-plate choice from below, its multipliers say which checks decide
the worst ratio, and its settings are the ideal that the packs try to reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse

from fitup.errors import FitupError, NoPlan
from fitup.frames import Array
from fitup.problem.problem import FitProblem

#: how far a solver may miss a limit, relative to the limit's size
_FEASIBLE = 1e-6
#: how far a seat's reach is widened against the solver's own care [m]
_MARGIN = 1e-5
#: how far rows are widened where a solver comes to no end at the edge of what can be kept [mm]
_EDGE = 1e-5
#: up to so many seats their reach is found one by one
_MANY = 256


@dataclass(frozen=True, eq=False)
class Relaxed:
    """A continuous optimum: settings (n,) [m], its value, multipliers of the ratios (m,).

    ``pull`` (n,) [1/m] and ``give`` are what the multipliers of all rows ``G x <= d`` make of
    them: wherever the rows hold, ``pull . x - give`` is not above zero. ``lower`` is the bound that
    follows from them, however near the solver came to the optimum.
    """

    x: Array
    value: float
    multipliers: Array
    pull: Array
    give: float
    lower: float


def _scaled(problem: FitProblem) -> tuple[Array, Array]:
    """Limit rows with coefficients of order one, so that solvers see one scale [m]."""
    size = np.abs(problem.L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    return problem.L / size[:, None], problem.b / size


#: an excess worth naming, in settings [mm]
_NOTICED = 1e-4
#: one unit of the solvers' variable [m]: millimetres keep numbers near one
_MM = 1e-3


@dataclass(frozen=True, eq=False)
class _Ended:
    """How a solver ended, in our own word: solved, infeasible or failed; x and multipliers.

    ``x`` is empty where it did not end with one; multipliers (rows,) are not below zero.
    """

    word: str
    x: Array
    prices: Array


def _linear(c: Array, G: Any, d: Array) -> _Ended:
    """Minimise c . x with ``G x <= d``, by the simplex method."""
    from scipy.optimize import linprog

    answer = linprog(c, A_ub=G, b_ub=d, bounds=(None, None), method="highs")
    if answer.status != 0:
        # that no x keeps the rows is believed of the other method only
        return _conic(sparse.csc_matrix((len(c), len(c))), c, G, d)
    return _Ended("solved", np.asarray(answer.x), np.maximum(-answer.ineqlin.marginals, 0.0))


def _conic(P: Any, q: Array, G: Any, d: Array, ball: int = 0) -> _Ended:
    """Minimise x' P x / 2 + q . x with ``G x <= d``, by an interior point method.

    The last ``ball`` rows are not bounds each: of d - G x there, the first is at least as long as
    the others together.
    """
    import clarabel

    settings = clarabel.DefaultSettings()
    settings.verbose = False
    cones = [clarabel.NonnegativeConeT(len(d) - ball)]
    if ball:
        cones.append(clarabel.SecondOrderConeT(ball))
    upper, rows = sparse.triu(P, format="csc"), sparse.csc_matrix(G)
    answer = clarabel.DefaultSolver(upper, q, rows, d, cones, settings).solve()
    word = _WORDS.get(str(answer.status), "failed")
    return _Ended(word, np.array(answer.x), np.maximum(np.array(answer.z), 0.0))


#: what its own words mean; an inaccurate solution is judged by our own check of its settings
_WORDS = {"Solved": "solved", "AlmostSolved": "solved", "PrimalInfeasible": "infeasible"}


def _limits(problem: FitProblem, worst: float | None = None) -> tuple[Any, Array]:
    """Rows ``G x <= d`` in millimetres: windows, limits, and every ratio within ``worst``."""
    n = len(problem.seats)
    L, b = _scaled(problem)
    low, high = problem.windows.T / _MM
    each = sparse.identity(n)
    G, d = [-each, each, sparse.csr_matrix(L)], [-low, high, b / _MM]
    if worst is not None:
        F = sparse.csr_matrix(problem.F * _MM)
        G += [F, -F]
        d += [worst + problem.g, worst - problem.g]
    return sparse.vstack(G), np.concatenate(d)


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
    (G, d), F = _limits(problem), problem.F * _MM
    m, n = F.shape
    top = sparse.csr_matrix(-np.ones((m, 1)))
    rows = sparse.bmat([[F, top], [-F, top], [None, -np.ones((1, 1))], [G, None]])
    ended = _linear(np.r_[np.zeros(n), 1.0], rows, np.r_[problem.g, -problem.g, 0.0, d])
    if ended.word == "infeasible":
        raise NoPlan(f"no setting of the seats keeps all hard limits{_in_the_way(problem)}")
    if ended.word == "failed":
        raise FitupError("the continuous solver failed on the worst ratio")
    settings = _checked(problem, ended.x[:n] * _MM)
    pull = np.abs(ended.prices[:m] - ended.prices[m : 2 * m])
    total = float(pull.sum())
    share = pull / total if total > 0.0 else np.full(len(pull), 1.0 / max(1, len(pull)))
    value = max(float(ended.x[n]), 0.0)
    return Relaxed(settings, value, share, np.zeros(len(settings)), 0.0, value)


def _in_the_way(problem: FitProblem) -> str:
    """Name the limits to give way, and by how much, so that the rest can be kept."""
    size = np.abs(problem.L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    (G, d), n, k = _limits(problem), len(problem.seats), len(size)
    give = sparse.vstack([sparse.csr_matrix((2 * n, k)), -sparse.identity(k)])
    rows = sparse.bmat([[G, give], [None, -sparse.identity(k)]])
    ended = _linear(np.r_[np.zeros(n), np.ones(k)], rows, np.r_[d, np.zeros(k)])
    if ended.word != "solved":
        return ""
    excess = ended.x[n:]
    named = []
    for i in np.flatnonzero(excess > _NOTICED):
        amount = float(excess[i]) * _MM * size[i]
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
    A seat whose bound the solver cannot find keeps its whole window. With many seats the squares
    alone are asked: two programmes for every seat would take longer than the plan.

    Parameters
    ----------
    problem : FitProblem
    worst : float
        Greatest ratio of deviation to tolerance; not asked with many seats.
    squares : float
        Greatest sum of weighted squares.
    """
    n = len(problem.seats)
    if n > _MANY:
        return _reach_of_squares(problem, squares)
    M, h = _squares(problem)
    G, d = _limits(problem, worst)
    # the settings whose squares are within the bound: (sqrt(squares), M x - h) in a cone
    G = sparse.vstack([G, sparse.csr_matrix((1, n)), -M])
    d = np.r_[d, np.sqrt(squares), -h]
    flat, result = sparse.csc_matrix((n, n)), problem.windows.copy()
    for i in range(n):
        for side, sign in ((0, -1.0), (1, 1.0)):
            ended = _conic(flat, -sign * np.eye(n)[i], G, d, 1 + len(h))
            if ended.word == "solved":
                edge = float(ended.x[i]) * _MM + sign * _MARGIN
                result[i, side] = np.clip(edge, *problem.windows[i])
    return result


def _reach_of_squares(problem: FitProblem, squares: float) -> Array:
    """Return how far each seat can go (n, 2) [m] in the ellipsoid of the squares."""
    root = np.sqrt(problem.weights)
    M, h = problem.F * root[:, None], problem.g * root
    H = M.T @ M + problem.move_price * np.eye(len(problem.seats))
    inverse = np.linalg.inv(H)
    centre = inverse @ (M.T @ h)
    spare = max(0.0, squares - problem.squares(centre))
    half = np.sqrt(spare * np.diag(inverse)) + _MARGIN
    return np.clip(np.c_[centre - half, centre + half], *problem.windows.T[:, :, None])


def least_squares(problem: FitProblem, worst: float | None) -> Relaxed | None:
    """Return the settings of least weighted squares with every ratio within ``worst``.

    Parameters
    ----------
    problem : FitProblem
    worst : float, optional
        Greatest ratio of deviation to tolerance; None sets no limit.

    Returns
    -------
    Relaxed or None
        None if no setting keeps ``worst``. The ``multipliers`` are empty.

    Raises
    ------
    FitupError
        If the solver fails, or returns settings that break a limit.
    """
    M, h = _squares(problem)
    G, d = _limits(problem, worst)
    H, c = 2.0 * M.T @ M, -2.0 * M.T @ h
    ended = _conic(H, c, G, d)
    if ended.word == "failed":
        # at the very edge of what can be kept: a little beyond, all bounds still hold
        d = d + _EDGE * np.maximum(1.0, np.abs(d))
        ended = _conic(H, c, G, d)
    if ended.word == "infeasible":
        return None
    if ended.word == "failed":
        raise FitupError("the continuous solver failed on the least squares")
    settings = _checked(problem, ended.x * _MM)
    # any multipliers that are not negative bound from below, exact or not
    pull, give = G.T @ ended.prices / _MM, float(ended.prices @ d)
    lower = _bound(problem, settings, pull, give)
    return Relaxed(settings, problem.squares(settings), np.zeros(0), pull, give, lower)


def _bound(problem: FitProblem, x: Array, pull: Array, give: float) -> float:
    """Return what squares + pull . x - give is at least in the windows: its tangent at some x."""
    off = problem.F @ x - problem.g
    slope = 2.0 * (problem.F.T @ (problem.weights * off) + problem.move_price * x) + pull
    least = np.minimum(*(slope[:, None] * (problem.windows - x[:, None])).T).sum()
    return float(problem.squares(x) + pull @ x - give + least)


def _squares(problem: FitProblem) -> tuple[Any, Array]:
    """Return the squares as |M x - h|^2, x in millimetres, moves included."""
    root, n = np.sqrt(problem.weights), len(problem.seats)
    still = np.sqrt(problem.move_price) * sparse.identity(n)
    M = sparse.vstack([sparse.csr_matrix(problem.F * root[:, None]), still]) * _MM
    return M, np.r_[problem.g * root, np.zeros(n)]
