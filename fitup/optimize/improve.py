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
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.optimize.search import Goal, Space

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
class Work:
    """Prices (k_i,) of every choice at every seat, to be least while squares are ``allowed``."""

    prices: Sequence[Array]
    allowed: float


def improve(
    space: Space,
    goal: Goal,
    starts: int,
    *,
    spread: float = 0.3e-3,
    work: Work | None = None,
    begin: Array | None = None,
) -> tuple[Array | None, float]:
    """Return the best pick found (n,) and its sum of squares or, given work, its price.

    The pick is None and the value infinite when none was found.

    Parameters
    ----------
    space, goal
        As for the search; the squares of ``goal.M`` are minimised.
    starts : int
        How many starts; the first is the nearest choice at every seat.
    spread : float
        How far other starts are shaken [m].
    work : Work, optional
        Minimise this instead of the squares.
    begin : Array (n,) of whole numbers, optional
        The pick of the first start.
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
            best = (value, descent.pick())
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
        self, space: Space, goal: Goal, shake: Array, work: Work | None, begin: Array | None
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
        self.at = [int(np.argmin(np.abs(v - a))) for v, a in zip(self.values, aim, strict=True)]
        if begin is not None:
            self.at = [int(np.searchsorted(k, b)) for k, b in zip(self.near, begin, strict=True)]
        self.pairs = _pairs(space, self.H) or [(0, 0)]

    def state(self) -> tuple[Array, Array]:
        x = np.array([v[k] for v, k in zip(self.values, self.at, strict=True)])
        used = sum(u[k] for u, k in zip(self.uses, self.at, strict=True))
        return x, np.asarray(used)

    def price(self, squares: Array) -> Array:
        """What a sum of squares costs: itself, or all that is not allowed when work counts."""
        if self.work is None:
            return squares
        return _BEYOND * np.maximum(squares - self.work.allowed, 0.0) + _LITTLE * squares

    def cost(self) -> float:
        x, used = self.state()
        squares = float(x @ self.H @ x - 2.0 * self.lin @ x + self.const)
        spent = sum(p[k] for p, k in zip(self.prices, self.at, strict=True))
        over = np.maximum(self.space.L @ x - self.space.b, 0.0).sum()
        short = np.maximum(used - self.space.capacity, 0).sum()
        scale = 1.0 if self.work is None else _BEYOND
        return float(
            self.price(np.array(squares)) + spent + scale * (_OVER * over + _SHORT * short)
        )

    def inside(self) -> bool:
        x, used = self.state()
        over = self.space.L @ x - self.space.b
        squares = float(x @ self.H @ x - 2.0 * self.lin @ x + self.const)
        if self.work is not None and squares > self.work.allowed:
            return False
        return bool(np.all(over <= 1e-10) and np.all(used <= self.space.capacity))

    def pick(self) -> Array:
        return np.array([k[a] for k, a in zip(self.near, self.at, strict=True)])

    def run(self) -> float:
        best = self.cost()
        for _ in range(_SWEEPS):
            before = best
            for i, j in self.pairs:
                total = self._table(i, j)
                k = int(np.argmin(total))
                if total.flat[k] < best - 1e-12 * max(1.0, abs(best)):
                    self.at[i], self.at[j] = divmod(k, total.shape[1])
                    best = self.cost()
            if best >= before - 1e-12 * max(1.0, abs(before)):
                break
        return best

    def _table(self, i: int, j: int) -> Array:
        """Cost of every pair of choices at seats i and j, all others staying (k_i, k_j)."""
        space, (x, used) = self.space, self.state()
        di, dj = self.values[i] - x[i], self.values[j] - x[j]
        if i == j:
            dj = np.zeros(1)
        pull = 2.0 * (self.H @ x - self.lin)
        here = float(x @ self.H @ x - 2.0 * self.lin @ x + self.const)
        total = (
            here
            + (pull[i] * di + self.H[i, i] * di**2)[:, None]
            + (pull[j] * dj + self.H[j, j] * dj**2)[None, :]
            + 2.0 * self.H[i, j] * np.outer(di, dj)
        )
        total = self.price(total)
        spent = sum(p[k] for p, k in zip(self.prices, self.at, strict=True))
        if i == j:
            total = total + spent + (self.prices[i] - self.prices[i][self.at[i]])[:, None]
        else:
            total = (
                total
                + spent
                + (self.prices[i] - self.prices[i][self.at[i]])[:, None]
                + (self.prices[j] - self.prices[j][self.at[j]])[None, :]
            )
        scale = 1.0 if self.work is None else _BEYOND
        touched = (space.L[:, i] != 0.0) | (space.L[:, j] != 0.0)
        over = space.L @ x - space.b
        total += scale * _OVER * np.maximum(over[~touched], 0.0).sum()
        rows = space.L[touched]
        reach = (
            over[touched][:, None, None]
            + (rows[:, i][:, None] * di)[:, :, None]
            + (rows[:, j][:, None] * dj)[:, None, :]
        )
        total += scale * _OVER * np.maximum(reach, 0.0).sum(axis=0)
        left = used - self.uses[i][self.at[i]] - space.capacity
        if i == j:
            need = left[None, None, :] + self.uses[i][:, None, :]
        else:
            left = left - self.uses[j][self.at[j]]
            need = left[None, None, :] + self.uses[i][:, None, :] + self.uses[j][None, :, :]
        return np.asarray(total + scale * _SHORT * np.maximum(need, 0).sum(axis=2))
