"""The same problem given to general solvers, which know nothing of decks: a second opinion.

Every choice is a whole number, 0 or 1, and one is 1 at every seat; limits and stock are rows.
HiGHS comes with scipy and solves linear programmes: squares are led up to it by tangents, so that
its bound is never above the squares. SCIP, where it is installed (``pip install 'fitup[bench]'``),
takes the squares as they are. What either finds is weighed by :class:`FitProblem`. Both stop at a
time limit with the bound they have by then, and both work to about a millionth (:data:`CARE`).
"""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from scipy import sparse

from fitup.frames import Array
from fitup.problem.problem import FitProblem
from fitup.solve.exact import echelon

Solver = Literal["highs", "scip"]
Score = Callable[[Array], float]
NAMES: Final[dict[Solver, str]] = {"highs": "HiGHS", "scip": "SCIP"}
#: how far a bound of theirs may be off, relative to the value or to one, whichever is more
CARE: Final = 2e-6
#: settings in millimetres keep their numbers near one
_MM: Final = 1e-3
#: how far a ratio may pass its cap as rounding
_EDGE: Final = 1e-9
#: scipy's word for a problem without any solution
_IMPOSSIBLE: Final = 2
#: tangents of every square at the start: so far from what is missed at the continuous optimum
_AWAY: Final = (-1.0, -0.3, -0.1, 0.0, 0.1, 0.3, 1.0)


@dataclass(frozen=True, eq=False)
class Opinion:
    """What a general solver found: a selection (n,), its value, and a bound on every selection.

    ``value`` is worked out from the selection, not believed; infinite where there is none.
    ``proven`` says that the solver came to its end: no selection is better, or there is none. One
    that breaks a limit by what the solver takes for rounding does not count.
    """

    selection: Array | None
    value: float
    lower: float
    proven: bool


def solvers() -> tuple[Solver, ...]:
    """Return the general solvers that are installed."""
    return ("highs", "scip") if importlib.util.find_spec("pyscipopt") else ("highs",)


def least_worst_by(
    problem: FitProblem, solver: Solver, limit: float = np.inf, nodes: int | None = None
) -> Opinion:
    """Minimise the worst ratio.

    Parameters
    ----------
    problem : FitProblem
    solver : {'highs', 'scip'}
    limit : float
        Time allowed [s].
    nodes : int, optional
        Nodes allowed, of HiGHS: unlike time, the same on every machine.
    """
    rows = _rows(problem, None)
    F, m = problem.F * _MM, len(problem.g)
    none = np.zeros((1, F.shape[1]))
    ratios = np.block([[F, -np.ones((m, 1))], [-F, -np.ones((m, 1))], [none, -np.ones((1, 1))]])
    rows = rows.with_more(1, ratios, np.r_[problem.g, -problem.g, 0.0])
    deadline = time.monotonic() + limit
    if solver == "scip":
        model = _Scip(rows)
        model.minimise(model.more[0])
        return _weighed(problem, *model.run(deadline), problem.worst_ratio)
    objective = np.zeros(rows.width)
    objective[-1] = 1.0
    return _weighed(problem, *_highs(rows, objective, deadline, nodes), problem.worst_ratio)


def least_squares_by(
    problem: FitProblem, cap: float | None, solver: Solver, limit: float = np.inf
) -> Opinion:
    """Minimise the weighted squares with every ratio within ``cap``.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio.
    solver : {'highs', 'scip'}
    limit : float
        Time allowed [s].
    """
    rows = _rows(problem, cap)
    R, z, base = squares_of(problem)
    deadline = time.monotonic() + limit

    def score(x: Array) -> float:
        inside = cap is None or problem.worst_ratio(x) <= cap * (1.0 + _EDGE)
        return problem.squares(x) if inside else np.inf

    if solver == "highs":
        return _by_tangents(problem, rows, (R, z, base), score, deadline)
    model = _Scip(rows.with_more(len(R) + 1, sparse.csr_array((0, 0)), np.zeros(0)))
    model.add_squares(R, z)
    selection, lower, ended = model.run(deadline)
    return _weighed(problem, selection, lower + base, ended, score)


def squares_of(problem: FitProblem) -> tuple[Array, Array, float]:
    """Return the squares as ``base + |R x - z|^2``, x in millimetres, R having few rows."""
    root = np.sqrt(problem.weights)
    still = np.sqrt(problem.move_price) * np.eye(len(problem.seats))
    M = np.vstack([problem.F * root[:, None], still])
    h = np.r_[problem.g * root, np.zeros(len(problem.seats))]
    R, z, _, base = echelon(M, h)
    return R * _MM, z, base


@dataclass(frozen=True, eq=False)
class _Rows:
    """``A v <= b`` and ``E v = e`` over v = choices (k,), settings (n,) [mm], further variables.

    ``starts`` (n + 1,) says which choices are whose; ``more`` counts the further variables.
    """

    A: Any
    b: Array
    E: Any
    e: Array
    starts: Array
    low: Array
    high: Array
    more: int = 0

    @property
    def width(self) -> int:
        """How many variables there are."""
        return int(self.starts[-1]) + len(self.starts) - 1 + self.more

    def with_more(self, more: int, tied: Any, b: Array) -> _Rows:
        """Return rows with further variables; ``tied`` (p, n + more) are settings and these."""
        A, E = (sparse.hstack([m, sparse.csr_array((m.shape[0], more))]) for m in (self.A, self.E))
        if len(b):
            A = sparse.vstack([A, sparse.hstack([_none(len(b), self.starts[-1]), tied])])
        b = np.r_[self.b, b]
        return replace(self, A=sparse.csr_array(A), E=sparse.csr_array(E), b=b, more=more)


def _none(rows: int, columns: int) -> Any:
    return sparse.csr_array((rows, int(columns)))


def _rows(problem: FitProblem, cap: float | None) -> _Rows:
    """One choice at every seat, the settings they make, limits, cap and stock."""
    n = len(problem.seats)
    sizes = [len(own) for own in problem.choices]
    starts = np.r_[0, np.cumsum(sizes)]
    settings = [np.array([c.setting for c in own]) / _MM for own in problem.choices]
    selection_one = sparse.block_diag([sparse.coo_array(np.ones((1, k))) for k in sizes])
    makes = sparse.block_diag([sparse.coo_array(s[None, :]) for s in settings])
    E = sparse.bmat([[selection_one, _none(n, n)], [makes, -sparse.eye_array(n)]])
    # a limit may be passed by what FitProblem takes for rounding
    L, b = problem.L, (problem.b + _EDGE * np.maximum(1.0, np.abs(problem.b))) / _MM
    size = np.abs(L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    L, b = L / size[:, None], b / size
    if cap is not None:
        L = np.vstack([L, problem.F * _MM, -problem.F * _MM])
        b = np.r_[b, cap * (1.0 + _EDGE) + problem.g, cap * (1.0 + _EDGE) - problem.g]
    used = sparse.csr_array(np.vstack(problem.counts).T)
    A = sparse.bmat([[_none(len(b), starts[-1]), L], [used, _none(len(problem.stock), n)]])
    # the choices bound the settings; with bounds that just meet them HiGHS has been seen to call
    # a problem impossible that is not
    low = np.array([s.min() for s in settings]) - 1.0
    high = np.array([s.max() for s in settings]) + 1.0
    return _Rows(A, np.r_[b, problem.stock], E, np.r_[np.ones(n), np.zeros(n)], starts, low, high)


def _weighed(
    problem: FitProblem, selection: Array | None, lower: float, ended: bool, score: Score
) -> Opinion:
    """Weigh what a solver found."""
    if selection is None:
        return Opinion(None, np.inf, lower, ended)
    value = score(problem.settings(selection)) if problem.feasible(selection) else np.inf
    if np.isinf(value):
        return Opinion(None, np.inf, lower, False)
    return Opinion(selection, value, min(lower, value), ended)


def _picked(rows: _Rows, v: Array) -> Array:
    parts = zip(rows.starts[:-1], rows.starts[1:], strict=True)
    return np.array([int(np.argmax(v[i:j])) for i, j in parts])


def _highs(
    rows: _Rows, objective: Array, deadline: float, nodes: int | None = None
) -> tuple[Array | None, float, bool]:
    """Return the selection found, the bound, and whether the solver came to its end."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    k, free = int(rows.starts[-1]), np.full(rows.more, np.inf)
    # "impossible" is believed when it is said without presolve too
    for presolve in (True, False):
        left = deadline - time.monotonic()
        if left <= 0.0:
            return None, -np.inf, False
        answer = milp(
            objective,
            integrality=np.r_[np.ones(k), np.zeros(rows.width - k)],
            bounds=Bounds(np.r_[np.zeros(k), rows.low, -free], np.r_[np.ones(k), rows.high, free]),
            constraints=[
                LinearConstraint(rows.A, -np.inf, rows.b),
                LinearConstraint(rows.E, rows.e, rows.e),
            ],
            options={"mip_rel_gap": 0.0, "presolve": presolve}
            | ({"time_limit": left} if np.isfinite(left) else {})
            | ({"node_limit": nodes} if nodes is not None else {}),
        )
        if answer.status != _IMPOSSIBLE:
            break
    else:
        return None, np.inf, True
    bound = -np.inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)
    selection = None if answer.x is None else _picked(rows, answer.x)
    return selection, bound, answer.status == 0


def _by_tangents(
    problem: FitProblem,
    rows: _Rows,
    squares: tuple[Array, Array, float],
    score: Score,
    deadline: float,
) -> Opinion:
    """Least squares by linear programmes: every plan found adds the tangents that it lies on."""
    R, z, base = squares
    start = np.linalg.lstsq(R, z, rcond=None)[0]
    objective = np.r_[np.zeros(rows.width), np.ones(len(R))]
    tangents = [_tangents(R, z, R @ start - z + away) for away in _AWAY]
    best = Opinion(None, np.inf, base, False)
    seen: set[bytes] = set()
    while True:
        A, b = zip(*tangents, strict=True)
        whole = rows.with_more(len(R), sparse.vstack(A), np.concatenate(b))
        selection, lower, ended = _highs(whole, objective, deadline)
        found = _weighed(problem, selection, base + max(lower, 0.0), ended, score)
        bound = max(best.lower, found.lower)
        best = found if found.value < best.value else best
        near = bound >= best.value - CARE * max(1.0, best.value - base)
        best = replace(
            best, lower=min(bound, best.value), proven=ended and (near or selection is None)
        )
        # a plan found twice lies on its own tangents: nothing more is to be had from it
        if selection is None or not ended or near or selection.tobytes() in seen:
            return best
        seen.add(selection.tobytes())
        tangents.append(_tangents(R, z, R @ problem.settings(selection) / _MM - z))


def _tangents(R: Array, z: Array, miss: Array) -> tuple[Any, Array]:
    """Rows on (x, q) that keep every q above its tangent: q >= 2 miss (R x - z) - miss^2."""
    rows = sparse.hstack([2.0 * miss[:, None] * R, -sparse.eye_array(len(R))])
    return rows, 2.0 * miss * z + miss**2


class _Scip:
    """The rows as a model of SCIP."""

    def __init__(self, rows: _Rows) -> None:
        from pyscipopt import Model

        self.rows, self.model = rows, Model()
        self.model.hideOutput()
        self.model.setParam("misc/catchctrlc", False)
        self.model.setParam("limits/gap", 0.0)
        k = int(rows.starts[-1])
        self.choices = [self.model.addVar(vtype="B") for _ in range(k)]
        self.settings = [
            self.model.addVar(lb=float(a), ub=float(b))
            for a, b in zip(rows.low, rows.high, strict=True)
        ]
        self.more = [self.model.addVar(lb=None) for _ in range(rows.more)]
        self.every = [*self.choices, *self.settings, *self.more]
        for M, right, equal in ((rows.A, rows.b, False), (rows.E, rows.e, True)):
            for i, value in enumerate(right):
                self._add(sparse.csr_array(M)[[i]], float(value), equal)

    def _add(self, row: Any, right: float, equal: bool) -> None:
        from pyscipopt import quicksum

        # a row without any variable is a comparison of two numbers, which SCIP does not take
        terms = [float(a) * self.every[k] for a, k in zip(row.data, row.indices, strict=True)]
        total = quicksum(terms or [0.0 * self.every[0]])
        self.model.addCons(total == right if equal else total <= right)

    def add_squares(self, R: Array, z: Array) -> None:
        """Minimise |R x - z|^2; the last of the further variables is their sum."""
        from pyscipopt import quicksum

        *misses, total = self.more
        for row, right, miss in zip(R, z, misses, strict=True):
            terms = (float(a) * x for a, x in zip(row, self.settings, strict=True) if a)
            self.model.addCons(miss == quicksum(terms) - float(right))
        self.model.addCons(quicksum(m * m for m in misses) <= total)
        self.model.chgVarLb(total, 0.0)
        self.minimise(total)

    def minimise(self, variable: Any) -> None:
        """Take one of the further variables as what is to be least."""
        self.model.setObjective(variable)

    def run(self, deadline: float) -> tuple[Array | None, float, bool]:
        """Return the selection found, the bound, and whether SCIP came to its end."""
        left = deadline - time.monotonic()
        if np.isfinite(left):
            self.model.setParam("limits/time", max(left, 1e-3))
        self.model.optimize()
        status = self.model.getStatus()
        if status == "infeasible":
            return None, np.inf, True
        selection = None
        if self.model.getNSols():
            selection = _picked(self.rows, np.array([self.model.getVal(c) for c in self.choices]))
        return selection, float(self.model.getDualbound()), status == "optimal"
