"""A fit problem seen as a line: segments in order, each tied to its neighbours only.

Which seats are tied is read from the rows of checks and limits. Segments side by side, or a
branch, share a block; the fewer and smaller the blocks, the faster the recursion.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.optimize.line import Line, Link
from fitup.optimize.problem import FitProblem
from fitup.optimize.search import Space

#: share of a row's greatest coefficient below which a seat is not tied by it
_LOOSE: Final = 1e-12


@dataclass(frozen=True, eq=False)
class DeckLine:
    """A problem as a line of blocks of seats (by number)."""

    line: Line
    blocks: list[Array]

    def pick(self, picks: list[Array], n: int) -> Array:
        """Return picks by block as one pick (n,) of choices."""
        pick = np.zeros(n, dtype=np.int64)
        for block, own in zip(self.blocks, picks, strict=True):
            pick[block] = own
        return pick

    def priced(self, problem: FitProblem, prices: Array, about: Array) -> Line:
        """Return the line with a price (t,) on every plate of each mark, none below zero.

        What a pack costs grows about evenly with its thickness. That part, at each seat the line
        that supports all packs from below nearest to ``about`` (n,), joins the squares, where the
        bounds see it; what a pack costs more than that stays with it.
        """
        own, dearer, base = [], [], self.line.base
        for block, (M, h) in zip(self.blocks, self.line.own, strict=True):
            slopes, rest = np.zeros(len(block)), []
            for k, i in enumerate(block):
                price = problem.counts[i] @ prices
                x = np.array([c.setting for c in problem.choices[i]])
                slopes[k], least = support(x, price, float(about[i]))
                rest.append(np.maximum(price - least - slopes[k] * (x - about[i]), 0.0))
                base += least - slopes[k] * about[i]
            shift = -0.5 * (M @ np.linalg.solve(M.T @ M, slopes))
            own.append((M, h + shift))
            base += float(h @ h - (h + shift) @ (h + shift))
            dearer.append(rest)
        return replace(self.line, own=own, prices=dearer, base=base)


def deck_line(problem: FitProblem, cap: float | None) -> DeckLine | None:
    """Return a problem as a line, every ratio within ``cap``.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional

    Returns
    -------
    DeckLine or None
        None when it is a single block: then it is no line.
    """
    root = np.sqrt(problem.weights)
    M, h = problem.F * root[:, None], problem.g * root
    L, b = problem.L, problem.b
    if cap is not None:
        L = np.vstack([L, problem.F, -problem.F])
        b = np.r_[b, cap + problem.g, cap - problem.g]
    M, h = _of_choices(problem, M, h)
    L, b = _of_choices(problem, L, b)
    blocks = _blocks(problem, np.vstack([M, L]) != 0.0)
    if len(blocks) < 2:
        return None
    at = np.empty(len(problem.seats), dtype=np.int64)
    for k, block in enumerate(blocks):
        at[block] = k
    squares, limits = _split(M, h, at, len(blocks)), _split(L, b, at, len(blocks))
    own, spaces, links = [], [], []
    for k, block in enumerate(blocks):
        rows, right = squares[0][k]
        still = np.sqrt(problem.move_price) * np.eye(len(block))
        own.append((np.vstack([rows[:, block], still]), np.r_[right, np.zeros(len(block))]))
        spaces.append(_space(problem, block, *limits[0][k]))
    for k, (one, two) in enumerate(pairwise(blocks)):
        (A, right), (P, r) = squares[1][k], limits[1][k]
        links.append(Link(A[:, one], A[:, two], right, P[:, one], P[:, two], r))
    return DeckLine(Line(spaces, own, links), blocks)


def _space(problem: FitProblem, block: Array, L: Array, b: Array) -> Space:
    L = L[:, block]
    size = np.abs(L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    return Space(
        [np.array([c.setting for c in problem.choices[i]]) for i in block],
        [problem.counts[i] for i in block],
        problem.stock,
        L / size[:, None],
        b / size,
        np.zeros(len(block)),
    )


def _of_choices(problem: FitProblem, rows: Array, right: Array) -> tuple[Array, Array]:
    """Return rows (p, n) of the seats that they tie and that have a choice.

    What a seat without a choice does goes to the right-hand side (p,).
    """
    held = np.array([len(c) == 1 for c in problem.choices])
    x = np.array([c[0].setting for c in problem.choices if len(c) == 1])
    size = np.abs(rows).max(axis=1, initial=0.0)
    tied = np.abs(rows) > _LOOSE * np.where(size > 0.0, size, 1.0)[:, None]
    return np.where(tied & ~held, rows, 0.0), right - rows[:, held] @ x


def _blocks(problem: FitProblem, tied: Array) -> list[Array]:
    """Return blocks of seats such that every row ties one block or two that follow each other.

    Segments are laid out by how many ties they are from an end of the deck (the level sets of a
    breadth-first walk); parts of a job that nothing ties come one after the other.
    """
    halves = zip(problem.clusters[::2], problem.clusters[1::2], strict=True)
    segments = [np.array(sorted(a + b), dtype=np.int64) for a, b in halves if a or b]
    touched = np.stack([tied[:, own].any(axis=1) for own in segments])
    ties = (touched.astype(float) @ touched.T.astype(float)) > 0.0
    levels: list[list[int]] = []
    left = set(range(len(segments)))
    while left:
        levels += _levels(ties, _end(ties, min(left), left))
        left -= {s for level in levels for s in level}
    return [np.concatenate([segments[s] for s in level]) for level in levels]


def _levels(ties: Array, start: int) -> list[list[int]]:
    levels, seen = [[start]], {start}
    while True:
        ahead = {int(t) for s in levels[-1] for t in np.flatnonzero(ties[s])} - seen
        if not ahead:
            return levels
        levels.append(sorted(ahead))
        seen |= ahead


def _end(ties: Array, start: int, left: set[int]) -> int:
    """Return a segment at an end of the deck: one as far as can be from the one before."""
    while True:
        levels = _levels(ties, start)
        farthest = min(levels[-1])
        if len(_levels(ties, farthest)) <= len(levels):
            return start
        start = farthest


def support(x: Array, y: Array, at: float) -> tuple[float, float]:
    """Return slope and value at ``at`` of the line below all points that is highest there.

    Parameters
    ----------
    x, y : Array (k,)
        Points by rising x.
    at : float

    Examples
    --------
    >>> support(np.array([0.0, 1.0, 2.0]), np.array([0.0, 5.0, 2.0]), 1.5)
    (1.0, 1.5)
    """
    hull: list[int] = []
    for i in range(len(x)):
        while hull and x[hull[-1]] == x[i] and y[hull[-1]] >= y[i]:
            hull.pop()
        if hull and x[hull[-1]] == x[i]:
            continue
        while len(hull) > 1:
            one, two = hull[-2], hull[-1]
            if (y[two] - y[one]) * (x[i] - x[one]) < (y[i] - y[one]) * (x[two] - x[one]):
                break
            hull.pop()
        hull.append(i)
    if len(hull) == 1:
        return 0.0, float(y[hull[0]])
    k = min(max(int(np.searchsorted(x[hull], at)), 1), len(hull) - 1)
    one, two = hull[k - 1], hull[k]
    slope = float((y[two] - y[one]) / (x[two] - x[one]))
    return slope, float(y[one] + slope * (at - x[one]))


_Rows = list[tuple[Array, Array]]


def _split(rows: Array, right: Array, at: Array, count: int) -> tuple[_Rows, _Rows]:
    """Return rows by block and by pair of blocks; rows that tie no seat are in the first block."""
    tied = rows != 0.0
    last = np.array([at[t].max(initial=0) for t in tied], dtype=np.int64)
    first = np.array([at[t].min(initial=k) for t, k in zip(tied, last, strict=True)], np.int64)
    own = [
        (rows[which], right[which]) for k in range(count) for which in [(first == k) & (last == k)]
    ]
    pairs = [
        (rows[which], right[which])
        for k in range(count - 1)
        for which in [(first == k) & (last == k + 1)]
    ]
    return own, pairs
