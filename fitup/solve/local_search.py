"""A good plan quickly: from the continuous optimum, change two seats at a time while it helps.

The exact search needs a plan to beat; the better it is, the smaller the rings. For every pair of
seats all pairs of nearby choices are weighed at once. Limits and stock are counted as costs on
the way, so that a start that breaks them is led back inside. Starts differ by a fixed seed: the
same job gives the same plan.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fitup.frames import Array
from fitup.solve.exact import Goal, Space, sparse_columns

_NEAR: Final = 48
_SWEEPS: Final = 20
#: up to so many seats every pair is tried
_FEW: Final = 24
#: cost of a metre over a limit, and of a plate that is not there
_OVER: Final = 5.0e3
_SHORT: Final = 0.5
#: when work counts: price of a unit of squares beyond what is allowed, and within
_BEYOND: Final = 1.0e6
_LITTLE: Final = 1.0e-3
_SEED: Final = 20_310_402


@dataclass(frozen=True, eq=False)
class PricedSearch:
    """Prices (k_i,) of every choice at every seat, to be least while squares are ``allowed``."""

    prices: Sequence[Array]
    allowed: float


def improve(
    space: Space,
    goal: Goal,
    starts: int,
    *,
    spread: float = 0.3e-3,
    work: PricedSearch | None = None,
    begin: Array | None = None,
) -> tuple[Array | None, float]:
    """Return the best selection found (n,) and its sum of squares or, given work, its price.

    The selection is None and the value infinite when none was found.

    Parameters
    ----------
    space, goal
        As for the search; the squares of ``goal.M`` are minimised.
    starts : int
        How many starts; the first is the nearest choice at every seat.
    spread : float
        How far other starts are shaken [m].
    work : PricedSearch, optional
        Minimise this instead of the squares.
    begin : Array (n,) of whole numbers, optional
        The selection of the first start.
    """
    if any(len(v) == 0 for v in space.values):
        return None, np.inf
    rng = np.random.default_rng(_SEED)
    best: tuple[float, Array | None] = (np.inf, None)
    for start in range(starts):
        shake = (
            np.zeros(len(space.values))
            if start == 0
            else rng.normal(0.0, spread, len(space.values))
        )
        descent = _Descent(space, goal, shake, work, begin if start == 0 else None)
        value = descent.run()
        if descent.inside() and value < best[0] - 1e-12 * max(1.0, abs(value)):
            best = (value, descent.selection())
    return best[1], best[0]


def _pairs(space: Space, H: Array) -> list[tuple[int, int]]:
    """Return the pairs of seats worth changing together: all, or those that share a row."""
    n = len(space.values)
    if n <= _FEW:
        return list(itertools.combinations(range(n), 2))
    touched = (space.L != 0.0).astype(np.int64)
    tied = (np.abs(H) > 1e-12 * np.abs(H).max(initial=0.0)) | (touched.T @ touched > 0)
    return [(int(i), int(j)) for i, j in np.argwhere(np.triu(tied, 1))]


class _Descent:
    """One descent: the choices near the ideal, where it stands, and what it costs there."""

    def __init__(
        self, space: Space, goal: Goal, shake: Array, work: PricedSearch | None, begin: Array | None
    ) -> None:
        self.space = space
        self.work = work
        self.near = [
            np.sort(np.argsort(np.abs(v - x), kind="stable")[:_NEAR])
            for v, x in zip(space.values, space.ideal, strict=True)
        ]
        self.H = goal.M.T @ goal.M
        self.lin = goal.M.T @ goal.h
        self.const = float(goal.h @ goal.h)
        aim = space.ideal + shake
        if begin is not None:
            self.near = [np.union1d(k, [b]) for k, b in zip(self.near, begin, strict=True)]
        self.values = [v[k] for v, k in zip(space.values, self.near, strict=True)]
        self.uses = [u[k] for u, k in zip(space.uses, self.near, strict=True)]
        prices = [np.zeros(len(v)) for v in space.values] if work is None else work.prices
        self.prices = [p[k] for p, k in zip(prices, self.near, strict=True)]
        self.at = np.array(
            [int(np.argmin(np.abs(v - a))) for v, a in zip(self.values, aim, strict=True)]
        )
        if begin is not None:
            self.at = np.array(
                [int(np.searchsorted(k, b)) for k, b in zip(self.near, begin, strict=True)]
            )
        self.pairs = np.array(_pairs(space, self.H) or [(0, 0)])

    def state(self) -> tuple[Array, Array]:
        x = np.array([v[k] for v, k in zip(self.values, self.at, strict=True)])
        used = sum(u[k] for u, k in zip(self.uses, self.at, strict=True))
        return x, np.asarray(used)

    def inside(self) -> bool:
        x, used = self.state()
        over = self.space.L @ x - self.space.b
        squares = float(x @ self.H @ x - 2.0 * self.lin @ x + self.const)
        if self.work is not None and squares > self.work.allowed:
            return False
        return bool(np.all(over <= 1e-10) and np.all(used <= self.space.capacity))

    def selection(self) -> Array:
        return np.array([k[a] for k, a in zip(self.near, self.at, strict=True)])

    def run(self) -> float:
        """Change two seats at a time until nothing improves; return what is then to be paid."""
        from fitup.solve.exchange import sweep

        tables = self._tables()
        best = np.inf
        for _ in range(_SWEEPS):
            before, best = best, sweep(self.pairs, self.at, *tables)
            if best >= before - 1e-12 * max(1.0, abs(before)):
                break
        return float(best)

    def _tables(self) -> tuple[Any, ...]:
        """Everything a sweep reads, every seat's choices filled up to the same number."""
        space, n = self.space, len(self.values)
        widest = max(len(v) for v in self.values)
        V, P = np.zeros((n, widest)), np.zeros((n, widest))
        U = np.zeros((n, widest, len(space.capacity)), dtype=np.int64)
        for i, (v, u, p) in enumerate(zip(self.values, self.uses, self.prices, strict=True)):
            V[i, : len(v)], U[i, : len(v)], P[i, : len(v)] = v, u, p
        sizes = np.array([len(v) for v in self.values])
        prices = np.array([1.0, 0.0, 0.0, _OVER, _SHORT])
        if self.work is not None:
            beyond = [_BEYOND * _OVER, _BEYOND * _SHORT]
            prices = np.array([_LITTLE, _BEYOND, self.work.allowed, *beyond])
        limits = sparse_columns(space.L)
        goal = (self.H, self.lin, self.const)
        return (V, sizes, U, P, *goal, *limits, space.b, space.capacity, prices)
