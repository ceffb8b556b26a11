"""Branches: decks side by side, or tied by a cross beam. Ties that make no line pay from below.

Of the ties between segments the strongest are kept, as far as they leave every segment two
neighbours at most: what is left are lines, laid one after the other. With p what a lost row comes
to at the continuous optimum,

    e^2 >= 2 p e - p^2,

and the right-hand side belongs to the segments one by one. At the continuous optimum nothing is
lost. So the line bounds every plan from below; those of its plans that could beat the best one
known are summed up in full.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitup.frames import Array
from fitup.problem.continuous import least_squares
from fitup.problem.problem import FitProblem, Rows
from fitup.solve.banded import Loosened, look_along
from fitup.solve.deckline import deck_line, rows_of_choices, segments_of
from fitup.solve.effort import ENDLESS, Effort
from fitup.solve.exact import SearchResult

#: how often the line is searched again after a better plan was found
_AGAIN = 3


def solve_branched(
    problem: FitProblem, cap: float | None, selection: Array, effort: Effort = ENDLESS
) -> SearchResult | None:
    """Find the selection of least squares of decks that are tied beyond their neighbours.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio of deviation to tolerance.
    selection : Array (n,)
        A selection that keeps cap, limits and stock, to be beaten.
    effort : Effort
        Work after which the gap is stated instead of closed.

    Returns
    -------
    SearchResult or None
        None where nothing can be learned this way.
    """
    easier = unbranched(problem, cap)
    if easier is None:
        return None
    result = SearchResult(selection, problem.squares(problem.settings(selection)), 0.0, False)
    for k in range(_AGAIN):
        before = result.score
        if not look_along(problem, cap, easier, result, effort):
            return result if k else None
        if result.proven or result.score == before:
            break
    return result


def unbranched(problem: FitProblem, cap: float | None) -> Loosened | None:
    """Return the lines that the strongest ties leave, bounded from below; None without any.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio of deviation to tolerance; None sets no limit.

    Returns
    -------
    Loosened or None
        None, too, where no settings keep ``cap``, or a block's own squares leave a direction free.
    """
    nearest = least_squares(problem, cap)
    if nearest is None:
        return None
    M, h, L, b = rows_of_choices(problem, cap)
    kept = _strongest(problem, M)
    stay, limits = _along(problem, M, kept), _along(problem, L, kept)
    lost = M[np.flatnonzero(~stay)]
    p = lost @ nearest.x - h[~stay]
    deck = deck_line(
        replace(
            problem,
            F=M[np.flatnonzero(stay)],
            g=h[stay],
            weights=np.ones(int(stay.sum())),
            L=L[np.flatnonzero(limits)],
            b=b[limits],
        ),
        None,
    )
    if deck is None or any(
        np.linalg.matrix_rank(rows) < len(block)
        for block, (rows, _) in zip(deck.blocks, deck.line.own, strict=True)
    ):
        return None
    base = float(-2.0 * (p @ h[~stay]) - p @ p)
    return Loosened(replace(deck, line=deck.sloped(2.0 * (lost.T @ p), base)), 0.0)


def _strongest(problem: FitProblem, M: Rows) -> set[tuple[int, int]]:
    """Return pairs of segments, the strongest ties first, that make lines and no rings."""
    segments, touched = segments_of(problem, M)
    size = np.asarray((M * M).sum(axis=1)).ravel()
    weight = (touched != 0).astype(float)
    strength = (weight.T @ (weight * size[:, None])).tocoo()
    one, two = strength.coords
    above = one < two
    order = np.lexsort((two[above], one[above], -strength.data[above]))
    ends, line = np.zeros(len(segments), dtype=np.int64), np.arange(len(segments))
    kept = set()
    for i, j in zip(one[above][order].tolist(), two[above][order].tolist(), strict=True):
        if ends[i] < 2 and ends[j] < 2 and line[i] != line[j]:
            kept.add((i, j))
            ends[[i, j]] += 1
            line[line == line[j]] = line[i]
    return kept


def _along(problem: FitProblem, rows: Rows, kept: set[tuple[int, int]]) -> Array:
    """Say of every row whether it ties one segment or two whose tie is kept (p,)."""
    _, touched = segments_of(problem, rows)
    ties = [tuple(sorted(own.tolist())) for own in np.split(touched.indices, touched.indptr[1:-1])]
    return np.array([len(t) < 2 or t in kept for t in ties], dtype=np.bool_)
