"""Exact search over whole-number choices, with three kinds of bound and a proof at the end.

The seats are fixed one after the other. What is fixed so far bounds every completion:

1. a sum of squares ``|M x - h|^2`` in row echelon form, so that fixing a seat adds a known
   square (the closest-vector search of Fincke and Pohst 1985),
2. every limit row ``L x <= b`` by the least that the seats not yet fixed can add,
3. whole-number capacities: plates in stock, seats disturbed, plates handled.

The search runs in rings: first everything within a small distance of the continuous optimum,
then a wider ring. A ring searched to its end raises the lower bound; where it reaches as far as
the best selection found, that is the proof.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fitup.frames import Array
from fitup.solve.effort import ENDLESS, Effort

#: nodes between two looks at the effort
_CHUNK: Final = 500_000
#: first ring, as a share of the way to the known upper bound, and how rings grow
_FIRST_RING: Final = 1.0 / 256.0
_GROWTH: Final = 2.0
_BIG: Final = 1 << 40
#: steps of a node of the walk, and for each row that it looks at
_NODE, _ROW = 0.02, 0.004
#: how far a limit that no seat changes may be passed as rounding
_EDGE: Final = 1e-9

Watch = Callable[[int, float, float], None]


@dataclass(frozen=True, eq=False)
class Space:
    """What may be chosen.

    Parameters
    ----------
    values : sequence of Array (k_i,)
        Settings each seat may take, ascending [m].
    uses : sequence of Array (k_i, c)
        Whole-number amounts each choice takes from the capacities.
    capacity : Array (c,)
    L, b : Array (p, n), Array (p,)
        Hard limits ``L x <= b``, every row scaled to coefficients of order one [m].
    ideal : Array (n,)
        Settings near which the search starts where nothing else tells [m].
    """

    values: Sequence[Array]
    uses: Sequence[Array]
    capacity: Array
    L: Array
    b: Array
    ideal: Array


@dataclass(frozen=True, eq=False)
class Goal:
    """What is minimised: the ``squares`` |F x - g|^2, or the ``worst`` of |F x - g|.

    ``M, h`` bound the score from below, whatever the choice: for ``squares``, |F x - g|^2 is at
    least |M x - h|^2 + offset wherever the limits hold; for ``worst``, the square of the worst
    ratio is at least |M x - h|^2. The second holds under weights that sum to one, which come from
    the multipliers of the continuous problem, where the two meet (Lawson's weights).
    """

    kind: str
    M: Array
    h: Array
    F: Array
    g: Array
    offset: float = 0.0

    def radius(self, score: float) -> float:
        """Return the greatest |M x - h|^2 that a choice of this score can have."""
        return score**2 if self.kind == "worst" else score - self.offset

    def bound(self, radius: float) -> float:
        """Return the least score of choices whose |M x - h|^2 is no less than this."""
        if self.kind == "worst":
            return float(np.sqrt(max(radius, 0.0)))
        return radius + self.offset

    def scores(self, x: Array) -> Array:
        """Return the scores (k,) of settings (k, n)."""
        miss = x @ self.F.T - self.g
        if self.kind == "worst":
            return np.asarray(np.abs(miss).max(axis=1, initial=0.0))
        return np.asarray((miss**2).sum(axis=1))


@dataclass(slots=True)
class SearchResult:
    """Best selection (n,) of choices, its score, a lower bound on all, and the count of nodes."""

    selection: Array | None
    score: float
    lower: float
    proven: bool
    nodes: int = 0


def search(
    space: Space,
    goal: Goal,
    *,
    best: float = np.inf,
    first_only: bool = False,
    most_nodes: float = np.inf,
    effort: Effort = ENDLESS,
    watch: Watch | None = None,
) -> SearchResult:
    """Find the selection of least score, or prove that none is below ``best``.

    Parameters
    ----------
    space : Space
    goal : Goal
    best : float
        Only selections with a lower score are looked for.
    first_only : bool
        Any selection below ``best`` will do; no rings.
    most_nodes : float
        Stop with a gap after about so many nodes.
    effort : Effort
        Work after which the search stops with a gap.
    watch : callable, optional
        Called now and then with nodes, best score and lower bound.

    Returns
    -------
    SearchResult
        ``selection`` is None when there is no selection below ``best``, which ``proven`` confirms.
    """
    worst = goal.kind == "worst"
    base = echelon(goal.M, goal.h)[3]
    result = SearchResult(None, best, goal.bound(base), False)
    full = goal.radius(best)
    width = (full - base) * _FIRST_RING
    while True:
        ring = full if first_only or not np.isfinite(full) else min(base + width, full)
        whole = ring >= full
        tables = _Tables(space, goal, ring)
        if tables.impossible:
            done = True
        else:
            stop = (most_nodes, effort)
            done = _walk(tables, worst, first_only, ring, result, stop, watch)
        if not done:
            return result
        if first_only and result.selection is not None:
            result.lower = min(result.lower, result.score)
            return result
        if result.selection is not None:
            # where the squares only bound the score, a better one may lie outside of this ring
            full = min(full, max(ring, goal.radius(result.score)))
            width = full - base
        if whole or ring >= full:
            result.lower, result.proven = result.score, True
            return result
        result.lower = goal.bound(ring)
        width *= _GROWTH


def _walk(
    tables: _Tables,
    worst: bool,
    first_only: bool,
    radius: float,
    result: SearchResult,
    stop: tuple[float, Effort],
    watch: Watch | None,
) -> bool:
    """Search one ring; return False when the time was over before its end."""
    from fitup.solve.kernel import walk

    state = tables.fresh(result.score)
    before = result.nodes
    while True:
        more = walk(_CHUNK, int(worst), first_only, radius, *tables.fixed, *state)
        status, score = state[-4], state[-3]
        stop[1].spend(tables.worth * (int(status[1]) - result.nodes + before))
        result.nodes = before + int(status[1])
        if status[2]:
            result.selection, result.score = np.array(state[-5]), float(score[0])
        if watch is not None:
            watch(result.nodes, result.score, result.lower)
        if not more:
            return True
        if result.nodes > stop[0] or stop[1].over():
            return False


class _Tables:
    """Everything the walk reads, worked out once.

    Seats are fixed from the last to the first. The job names a segment's seats one after the
    other, so what they decide together is known early.
    """

    def __init__(self, space: Space, goal: Goal, radius: float) -> None:
        n = len(space.values)
        values, uses = space.values, space.uses
        # a row that no seat changes is broken by all selections or by none
        broken = ~space.L.any(axis=1) & (space.b < -_EDGE)
        self.impossible = any(len(v) == 0 for v in values) or bool(broken.any())
        R, z, row_of, self.base = echelon(goal.M, goal.h)
        reach = _reach(goal.M, goal.h, radius)
        L, b, floating = _live_rows(space, goal, reach)
        widest = max(1, *(len(v) for v in values))
        V = np.zeros((n, widest))
        U = np.zeros((n, widest, len(space.capacity)), dtype=np.int64)
        for j in range(n):
            V[j, : len(values[j])] = values[j]
            U[j, : len(values[j])] = uses[j]
        start, rows, coefficients = sparse_columns(L)
        self.fixed: tuple[Any, ...] = (
            V,
            np.array([len(v) for v in values]),
            U,
            np.ascontiguousarray(R),
            np.array(row_of),
            start,
            rows,
            coefficients,
            _least_ahead(L, values),
            _uses_ahead(uses, len(space.capacity)),
            floating,
            np.ascontiguousarray(space.ideal),
            np.ascontiguousarray(goal.F),
            np.ascontiguousarray(goal.g),
            goal.offset,
        )
        self._start = (z, b, space.capacity)
        #: steps of one node
        self.worth = _NODE + _ROW * (len(R) + len(L))
        self._sizes = (n, widest, max(1, int(np.diff(start).max(initial=0))))

    def fresh(self, best: float) -> tuple[Any, ...]:
        """Return the state of a walk that has not begun."""
        n, widest, touched = self._sizes
        z, b, capacity = self._start
        rest = np.zeros((n + 1, len(z)))
        rest[n] = z
        cost = np.full(n + 1, self.base)
        room = np.zeros((n + 1, len(capacity)), dtype=np.int64)
        room[n] = capacity
        return (
            rest,
            cost,
            b.copy(),
            np.zeros((n, touched)),
            room,
            np.zeros((n, widest), dtype=np.int64),
            np.zeros(n, dtype=np.int64),
            np.full(n, -1, dtype=np.int64),
            np.zeros(n, dtype=np.int64),
            np.zeros(n, dtype=np.int64),
            np.array([n - 1, 0, 0], dtype=np.int64),
            np.array([best if np.isfinite(best) else 1e150]),
            np.zeros((0, n), dtype=np.int32),
            np.zeros(0),
        )


def echelon(M: Array, h: Array) -> tuple[Array, Array, list[int], float]:
    """Bring ``|M x - h|^2`` to row echelon form by Householder reflections.

    Parameters
    ----------
    M : Array (m, n)
    h : Array (m,)

    Returns
    -------
    R : Array (r, n)
        Row i starts at its pivot column; r is the rank of M.
    z : Array (r,)
    row_of : list of int
        Column -> the row whose pivot it is, or -1.
    base : float
        ``|M x - h|^2 = base + |R x - z|^2`` for every x.
    """
    A = np.c_[M, h].astype(float)
    n = M.shape[1]
    small = 1e-10 * max(float(np.linalg.norm(M)), 1e-300)
    if 0 < n < len(A):
        quick = np.asarray(np.linalg.qr(A, mode="r"))
        if np.abs(quick.diagonal()[:n]).min() > small:
            return quick[:n, :n], quick[:n, n], list(range(n)), float(quick[n, n] ** 2)
    row_of, rank = [-1] * n, 0
    for column in range(n):
        below = A[rank:, column]
        size = float(np.linalg.norm(below))
        if size <= small:
            A[rank:, column] = 0.0
            continue
        mirror = below.copy()
        mirror[0] += np.copysign(size, below[0])
        mirror /= np.linalg.norm(mirror)
        A[rank:] -= 2.0 * np.outer(mirror, mirror @ A[rank:])
        A[rank + 1 :, column] = 0.0
        row_of[column] = rank
        rank += 1
    left = A[rank:, n]
    return A[:rank, :n], A[:rank, n], row_of, float(left @ left)


def _reach(M: Array, h: Array, radius: float) -> Callable[[Array], Array]:
    """Return a function of rows (p, n): the most each can be while |M x - h|^2 <= radius."""
    U, size, Vt = np.linalg.svd(M, full_matrices=False)
    keep = size > 1e-9 * size.max(initial=0.0)
    U, size, Vt = U[:, keep], size[keep], Vt[keep]
    z = U.T @ h
    centre = Vt.T @ (z / size)
    spread = np.sqrt(max(0.0, radius - float(h @ h - z @ z)))

    def most(rows: Array) -> Array:
        inside = rows @ Vt.T
        outside = np.abs(rows - inside @ Vt).max(axis=1, initial=0.0)
        size_of = np.abs(rows).max(axis=1, initial=0.0)
        value = rows @ centre + spread * np.linalg.norm(inside / size, axis=1)
        return np.where(outside > 1e-9 * size_of, np.inf, value)

    return most if np.isfinite(radius) else lambda rows: np.full(len(rows), np.inf)


def _live_rows(
    space: Space, goal: Goal, reach: Callable[[Array], Array]
) -> tuple[Array, Array, Array]:
    """Limit rows that can bind, one for each direction; for ``worst`` the ratio rows as well.

    Many rows say the same of the same direction (the four reactions of a stiff box all follow
    its warp): only the tightest of each is kept.
    """
    L, b = space.L, space.b
    low = np.array([v.min(initial=0.0) for v in space.values])
    high = np.array([v.max(initial=0.0) for v in space.values])
    most = np.maximum(L * low, L * high).sum(axis=1)
    most = np.minimum(most, reach(L) + 1e-9)
    size = np.abs(L).max(axis=1, initial=0.0)
    live = np.flatnonzero((most > b) & (size > 0.0))
    alike = np.round(L[live] / size[live, None], 9) + 0.0
    tight = b[live] / size[live]
    tightest: dict[bytes, int] = {}
    for i, row in enumerate(alike):
        other = tightest.setdefault(row.tobytes(), i)
        if tight[i] < tight[other]:
            tightest[row.tobytes()] = i
    keep = live[sorted(tightest.values())]
    L, b = L[keep], b[keep]
    floating = np.zeros(len(b), dtype=np.bool_)
    if goal.kind == "worst":
        F = goal.F
        L = np.vstack([L, F, -F])
        b = np.r_[b, goal.g, -goal.g]
        floating = np.r_[floating, np.ones(2 * len(F), dtype=np.bool_)]
    return L, np.ascontiguousarray(b), floating


def sparse_columns(L: Array) -> tuple[Array, Array, Array]:
    """Column-wise non-zeros of L: starts (n + 1,), row numbers, coefficients."""
    n = L.shape[1]
    found = [np.flatnonzero(L[:, j]) for j in range(n)]
    start = np.r_[0, np.cumsum([len(f) for f in found])].astype(np.int64)
    rows = np.concatenate([*found, np.zeros(0, dtype=np.int64)]).astype(np.int64)
    coefficients = np.concatenate([*(L[f, j] for j, f in enumerate(found)), np.zeros(0)])
    return start, rows, coefficients


def _least_ahead(L: Array, values: Sequence[Array]) -> Array:
    """The least that seats 0..j-1 can add to each row, for every j (n + 1, p)."""
    low = np.array([v.min(initial=np.inf) for v in values])
    high = np.array([v.max(initial=-np.inf) for v in values])
    with np.errstate(invalid="ignore"):
        least = np.where(L == 0.0, 0.0, np.minimum(L * low, L * high))
    return np.vstack([np.zeros(len(L)), np.cumsum(least, axis=1).T])


def _uses_ahead(uses: Sequence[Array], c: int) -> Array:
    """The least that seats 0..j-1 must use of each capacity, for every j (n + 1, c)."""
    table = np.zeros((len(uses) + 1, c), dtype=np.int64)
    for j, used in enumerate(uses):
        table[j + 1] = table[j] + used.min(axis=0, initial=_BIG)
    return table


def collect(
    space: Space, goal: Goal, radius: float, most: int, effort: Effort = ENDLESS
) -> tuple[Array, Array] | None:
    """Return every selection (k, n) with |M x - h|^2 <= radius, and its squares (k,).

    Parameters
    ----------
    space, goal
        As for :func:`search`.
    radius : float
        May be infinite.
    most : int
        Limit to the number of selections.
    effort : Effort
        Work after which nothing is returned.

    Returns
    -------
    selection : Array (k, n)
    squares : Array (k,)
        None instead of both when there are ``most`` selections or more, or the effort is over.
    """
    from fitup.solve.kernel import walk

    n = len(space.values)
    tables = _Tables(space, goal, radius)
    if tables.impossible:
        return np.zeros((0, n), dtype=np.int32), np.zeros(0)
    state = list(tables.fresh(np.inf))
    state[-2:] = [np.zeros((min(most, 1 << 16), n), dtype=np.int32), np.zeros(min(most, 1 << 16))]
    while True:
        before = int(state[-4][1])
        more = walk(_CHUNK, 2, False, radius, *tables.fixed, *state)
        effort.spend(tables.worth * (int(state[-4][1]) - before))
        count = int(state[-4][2])
        if more == 0:
            # not a view: what is kept of a segment must not keep the whole table
            return state[-2][:count].copy(), state[-1][:count].copy()
        if effort.over() or count >= most:
            return None
        if more == 2:
            size = min(most, 2 * count) - count
            state[-2] = np.vstack([state[-2], np.zeros((size, n), dtype=np.int32)])
            state[-1] = np.r_[state[-1], np.zeros(size)]
