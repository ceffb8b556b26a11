"""A fit problem seen as a line: segments in order, each tied to its neighbours only.

Which seats are tied is read from the rows of checks and limits. Segments side by side, or a
branch, share a block; the fewer and smaller the blocks, the faster the recursion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.problem.problem import FitProblem, Rows
from fitup.solve.exact import Space
from fitup.solve.line import Link, SegmentLine

#: share of a row's greatest coefficient below which a seat is not tied by it
_LOOSE: Final = 1e-12


@dataclass(frozen=True, eq=False)
class DeckLine:
    """A problem as a line of blocks of seats (by number)."""

    line: SegmentLine
    blocks: list[Array]

    def selection(self, selections: list[Array], n: int) -> Array:
        """Return selections by block as one selection (n,) of choices.

        Parameters
        ----------
        selections : list of Array (k_i,)
            Choice of each seat of a block, in the order of ``blocks``.
        n : int
            Seats of the whole problem.
        """
        selection = np.zeros(n, dtype=np.int64)
        for block, own in zip(self.blocks, selections, strict=True):
            selection[block] = own
        return selection

    def priced(self, problem: FitProblem, prices: Array, about: Array) -> SegmentLine:
        """Return the line with a price (t,) on every plate of each mark, none below zero.

        What a pack costs grows about evenly with its thickness. That part joins the squares, where
        the bounds see it; what a pack costs more than that stays with it. Where a block's own
        squares leave a direction free, all of it stays.

        Parameters
        ----------
        problem : FitProblem
            The problem that the line was made from.
        prices : Array (t,)
            Added to the squares for each plate of a mark.
        about : Array (n,)
            Settings nearest to which the even part supports the prices of all packs from below [m].
        """
        if not prices.any():
            return self.line
        slopes, dearer, base = np.zeros(len(about)), [], 0.0
        for block, (M, _) in zip(self.blocks, self.line.own, strict=True):
            rest = []
            definite = np.linalg.matrix_rank(M) == len(block)
            for i in block:
                price = problem.counts[i] @ prices
                x = np.array([c.setting for c in problem.choices[i]])
                least = float(price.min())
                if definite:
                    slopes[i], least = support(x, price, float(about[i]))
                rest.append(np.maximum(price - least - slopes[i] * (x - about[i]), 0.0))
                base += least - slopes[i] * about[i]
            dearer.append(rest)
        return replace(self.sloped(slopes, base), prices=dearer)

    def sloped(self, slopes: Array, base: float) -> SegmentLine:
        """Return the line that costs ``slopes . x + base`` more, within its squares.

        Parameters
        ----------
        slopes : Array (n,)
            By seat of the problem [1/m]; zero in directions that a block's own squares leave free.
        base : float
            Constant part of the added cost.
        """
        own, total = [], self.line.base + base
        for block, (M, h) in zip(self.blocks, self.line.own, strict=True):
            shift = -0.5 * (M @ np.linalg.pinv(M.T @ M) @ slopes[block])
            own.append((M, h + shift))
            total += float(h @ h - (h + shift) @ (h + shift))
        return replace(self.line, own=own, base=total)


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
    from scipy import sparse

    M, h, L, b = rows_of_choices(problem, cap)
    blocks = _blocks(problem, sparse.vstack([M, L], format="coo"))
    if len(blocks) < 2:
        return None
    at = np.empty(len(problem.seats), dtype=np.int64)
    for k, block in enumerate(blocks):
        at[block] = k
    squares, limits = _split(M, h, at, blocks), _split(L, b, at, blocks)
    own, spaces, links = [], [], []
    for k, block in enumerate(blocks):
        rows, right = squares[0][k]
        still = np.sqrt(problem.move_price) * np.eye(len(block))
        own.append((np.vstack([rows, still]), np.r_[right, np.zeros(len(block))]))
        spaces.append(_space(problem, block, *limits[0][k]))
    for k, one in enumerate(blocks[:-1]):
        (A, right), (P, r) = squares[1][k], limits[1][k]
        n = len(one)
        links.append(Link(A[:, :n], A[:, n:], right, P[:, :n], P[:, n:], r))
    return DeckLine(SegmentLine(spaces, own, links), blocks)


def _space(problem: FitProblem, block: Array, L: Array, b: Array) -> Space:
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


def rows_of_choices(problem: FitProblem, cap: float | None) -> tuple[Rows, Array, Rows, Array]:
    """Return the squares ``|M x - h|^2`` and limits ``L x <= b`` of the seats that have a choice.

    What moves add to the squares is left out.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio of deviation to tolerance, which adds two limit rows for every check.

    Returns
    -------
    M : sparse array (m, n)
        Columns of seats without a choice are empty; what those seats do is in the right-hand side.
    h : Array (m,)
    L : sparse array (p, n)
    b : Array (p,)
    """
    from scipy import sparse

    root = np.sqrt(problem.weights)
    M, h = sparse.diags_array(root) @ sparse.csr_array(problem.F), problem.g * root
    L, b = sparse.csr_array(problem.L), problem.b
    if cap is not None:
        F = sparse.csr_array(problem.F)
        L = sparse.vstack([L, F, -F], format="csr")
        b = np.r_[b, cap + problem.g, cap - problem.g]
    return (*_of_choices(problem, M, h), *_of_choices(problem, L, b))


def _of_choices(problem: FitProblem, rows: Rows, right: Array) -> tuple[Rows, Array]:
    """Return rows (p, n) of the seats that they tie and that have a choice.

    What a seat without a choice does goes to the right-hand side (p,).
    """
    from scipy import sparse

    held = np.array([len(c) == 1 for c in problem.choices])
    x = np.array([c[0].setting if len(c) == 1 else 0.0 for c in problem.choices])
    entries = rows.tocoo()
    value, (row, seat) = entries.data, entries.coords
    size = np.zeros(len(right))
    np.maximum.at(size, row, np.abs(value))
    keep = (np.abs(value) > _LOOSE * size[row]) & ~held[seat]
    tied = sparse.csr_array((value[keep], (row[keep], seat[keep])), shape=rows.shape)
    return tied, right - rows @ x


def _blocks(problem: FitProblem, tied: Rows) -> list[Array]:
    """Return blocks of seats such that every row ties one block or two that follow each other.

    Segments are laid out by how many ties they are from an end of the deck (the level sets of a
    breadth-first walk); parts of a job that nothing ties come one after the other.
    """
    segments, touched = segments_of(problem, tied)
    ties = (touched.T @ touched).tocsr()
    ahead = [set(own.tolist()) for own in np.split(ties.indices, ties.indptr[1:-1])]
    levels: list[list[int]] = []
    left = set(range(len(segments)))
    while left:
        levels += _levels(ahead, _end(ahead, min(left)))
        left -= {s for level in levels for s in level}
    return [np.concatenate([segments[s] for s in level]) for level in levels]


def segments_of(problem: FitProblem, tied: Rows) -> tuple[list[Array], Rows]:
    """Return the seats of each segment, and how often each row touches each segment (p, k).

    Parameters
    ----------
    problem : FitProblem
    tied : sparse array (p, n)
        Rows with an entry for every seat that they tie.

    Returns
    -------
    segments : list of Array
        Seats by number, ascending; segments without seats are left out.
    touched : sparse array (p, k)
    """
    from scipy import sparse

    halves = zip(problem.clusters[::2], problem.clusters[1::2], strict=True)
    segments = [np.array(sorted(a + b), dtype=np.int64) for a, b in halves if a or b]
    of_seat = np.empty(len(problem.seats), dtype=np.int64)
    for s, own in enumerate(segments):
        of_seat[own] = s
    row, seat = tied.tocoo().coords
    shape = (tied.shape[0], len(segments))
    return segments, sparse.csr_array((np.ones(len(row)), (row, of_seat[seat])), shape=shape)


def _levels(ahead: Sequence[set[int]], start: int) -> list[list[int]]:
    levels, seen = [[start]], {start}
    while True:
        more = {t for s in levels[-1] for t in ahead[s]} - seen
        if not more:
            return levels
        levels.append(sorted(more))
        seen |= more


def _end(ahead: Sequence[set[int]], start: int) -> int:
    """Return a segment at an end of the deck: one as far as can be from the one before."""
    while True:
        levels = _levels(ahead, start)
        farthest = min(levels[-1])
        if len(_levels(ahead, farthest)) <= len(levels):
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


_Split = list[tuple[Array, Array]]


def _split(rows: Rows, right: Array, at: Array, blocks: Sequence[Array]) -> tuple[_Split, _Split]:
    """Return rows by block and by pair of blocks; rows that tie no seat are in the first block.

    Columns are those of the block, or of both, in their order.
    """
    entries = rows.tocoo()
    value, (row, seat) = entries.data, entries.coords
    first = np.full(len(right), len(blocks), dtype=np.int64)
    last = np.zeros(len(right), dtype=np.int64)
    np.minimum.at(first, row, at[seat])
    np.maximum.at(last, row, at[seat])
    first = np.minimum(first, last)
    place = np.empty(len(at), dtype=np.int64)
    for block in blocks:
        place[block] = np.arange(len(block))
    sizes = np.array([len(block) for block in blocks])
    column = place[seat] + np.where(at[seat] > first[row], sizes[first[row]], 0)
    own = _gathered(value, row, column, right, first, first == last, sizes)
    both = sizes[:-1] + sizes[1:]
    return own, _gathered(value, row, column, right, first, first < last, both)


def _gathered(
    value: Array, row: Array, column: Array, right: Array, of: Array, which: Array, sizes: Array
) -> _Split:
    """Gather some rows (p,) of bool with the same number in ``of`` (p,) into dense arrays."""
    rows = np.flatnonzero(which)
    rows = rows[np.argsort(of[rows], kind="stable")]
    counts = np.bincount(of[rows], minlength=len(sizes))
    start = np.r_[0, np.cumsum(counts)]
    line = np.full(len(right), -1, dtype=np.int64)
    line[rows] = np.arange(len(rows)) - start[of[rows]]
    parts = [np.zeros((count, size)) for count, size in zip(counts, sizes, strict=True)]
    for k in np.flatnonzero(line[row] >= 0):
        i = row[k]
        parts[of[i]][line[i], column[k]] = value[k]
    bounds = pairwise(start)
    return [(part, right[rows[i:j]]) for part, (i, j) in zip(parts, bounds, strict=True)]
