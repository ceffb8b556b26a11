"""Continuous decks: rows that fade with distance are cut to a band, and the cut is paid for.

A seat of a continuous deck moves every check a little, but what it does fades from span to span.
With seats in blocks along the deck and every row cut to two neighbouring blocks, the deck is a
line. With x0 the least-squares settings, d = x - x0, and E what was cut from the rows,

    |F x - g| = |F_band d + (F x0 - g) + E d|

and a plan better than the one known has d' H d < best - least. So |E d| is at most delta, the
greatest singular value of E H^(-1/2) times sqrt(best - least), and

    |sqrt(squares) - sqrt(band squares)| <= delta.

The line gives every plan whose band squares are below (sqrt(best) + delta)^2; each is then
summed up in full. Limits are cut the same way and loosened by what was cut.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.problem.problem import FitProblem
from fitup.solve.deckline import DeckLine, deck_line
from fitup.solve.effort import ENDLESS, Effort
from fitup.solve.exact import SearchResult
from fitup.solve.stock import list_lines, plates_used
from fitup.solve.sweep import solve_line

#: seats in a block, tried in this order: more cut less and list more
_SEATS: Final = (7, 6, 5, 4, 3)
#: how often a band is tried again, the cut being worth less with every better plan
_AGAIN: Final = 3
#: a better plan, as a share of the gap, for which that is worth while
_BETTER: Final = 0.2
_CARE: Final = 1e-9
#: shares of the way from the bound of a band to what is worth listing
_PARTS: Final = (1.0 / 16.0, 1.0 / 4.0, 1.0 / 2.0, 1.0)
#: greatest share of the squares that the cut may be worth
_WORTH: Final = 0.06


@dataclass(frozen=True, eq=False)
class Loosened:
    """A line that is easier than the problem.

    Its limits are looser, and the root of its squares is at most ``delta`` above that of the
    problem's for every plan worth finding.
    """

    deck: DeckLine
    delta: float


def solve_banded(
    problem: FitProblem, cap: float | None, selection: Array, effort: Effort = ENDLESS
) -> SearchResult | None:
    """Find the selection of least squares of a deck whose rows fade along it.

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
        None where rows do not fade enough, or blocks hold too many packs.
    """
    best = problem.squares(problem.settings(selection))
    result = SearchResult(selection, best, 0.0, False)
    tried = False
    for size in _SEATS:
        for _ in range(_AGAIN):
            before = result.score
            band = _cut(problem, cap, *_better_plans(problem, before), size)
            if band is None or 2.0 * band.delta > _WORTH * np.sqrt(before):
                return result if tried else None
            if effort.over() or not look_along(problem, cap, band, result, effort):
                break
            tried = True
            if result.proven or before - result.score < _BETTER * (result.score - result.lower):
                return result
        if tried:
            return result
    return None


def look_along(
    problem: FitProblem, cap: float | None, band: Loosened, result: SearchResult, effort: Effort
) -> bool:
    """Better a result by the plans of an easier line; say whether there was anything to learn.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio of deviation to tolerance; None sets no limit.
    band : Loosened
        The easier line.
    result : SearchResult
        Must hold a selection; its selection, score, lower bound and proof are updated in place.
    effort : Effort
        Work after which the gap stays.

    Returns
    -------
    bool
        False where no plan of the easier line was found.
    """
    deck = band.deck
    limit = (np.sqrt(result.score) + band.delta) ** 2
    found = solve_line(deck.line, below=limit, effort=effort)
    if found is None:
        return False
    _raise(result, found.lower, band)
    if not found.proven:
        return True
    uses = plates_used(deck.line.spaces, found.kept)
    for part in _PARTS:
        limit = (np.sqrt(result.score) + band.delta) ** 2
        top = found.lower + part * (limit - found.lower)
        below = top - found.moved
        lines, complete = list_lines(
            found.ties, found.kept, uses, problem.stock, below, alike=False, effort=effort
        )
        for line in lines:
            selection = deck.selection(line, len(problem.seats))
            x = problem.settings(selection)
            score = problem.squares(x)
            inside = cap is None or problem.worst_ratio(x) <= cap
            if score < result.score and inside and problem.feasible(selection):
                result.selection, result.score = selection, score
        if not complete:
            break
        _raise(result, top, band)
        if result.lower >= result.score * (1.0 - _CARE):
            result.lower, result.proven = result.score, True
            break
    return True


def _raise(result: SearchResult, band_squares: float, band: Loosened) -> None:
    """Raise the bound of a result: no plan has fewer squares of the band than these."""
    least = max(0.0, np.sqrt(max(0.0, band_squares)) - band.delta) ** 2
    result.lower = max(result.lower, min(float(least), result.score))


def _better_plans(problem: FitProblem, best: float) -> tuple[Array, Array]:
    """Return x0 (n,) and reach (n, n): plans better than ``best`` lie at x0 + reach u, |u| < 1."""
    root = np.sqrt(problem.weights)
    still = np.sqrt(problem.move_price) * np.eye(len(problem.seats))
    M = np.vstack([problem.F * root[:, None], still])
    h = np.r_[problem.g * root, np.zeros(len(problem.seats))]
    x0 = np.linalg.lstsq(M, h, rcond=None)[0]
    spare = max(0.0, best - float(((M @ x0 - h) ** 2).sum())) * (1.0 + 1e-9)
    size, vectors = np.linalg.eigh(M.T @ M)
    return x0, np.sqrt(spare) * vectors / np.sqrt(size)


def seats_along(problem: FitProblem) -> Array:
    """Return the seats (n,) in the order in which they act along the deck.

    Seats that share checks stand near one another: the order is that of the Fiedler vector of the
    graph whose ties are the shares of their columns.
    """
    F = problem.F / np.maximum(np.linalg.norm(problem.F, axis=0), 1e-300)
    tie = np.abs(F.T @ F)
    np.fill_diagonal(tie, 0.0)
    vector = np.linalg.eigh(np.diag(tie.sum(axis=1)) - tie)[1][:, min(1, len(tie) - 1)]
    vector = np.round(vector * (1.0 if vector[0] <= vector[-1] else -1.0), 9)
    return np.argsort(vector, kind="stable")


def _cut(
    problem: FitProblem, cap: float | None, x0: Array, reach: Array, size: int
) -> Loosened | None:
    """Cut every row to two neighbouring blocks of so many seats.

    Better plans lie at ``x0 + reach u`` with |u| < 1.
    """
    n = len(problem.seats)
    count = max(1, n // size)
    parts = np.array_split(seats_along(problem), count)
    blocks = [tuple(sorted(int(i) for i in part)) for part in parts]
    L, b = problem.L, problem.b
    if cap is not None:
        L = np.vstack([L, problem.F, -problem.F])
        b = np.r_[b, cap + problem.g, cap - problem.g]
    F_band, L_band = _within_blocks(problem.F, blocks), _within_blocks(L, blocks)
    F_rest, L_rest = problem.F - F_band, L - L_band
    # what was cut, at x0, goes to the right-hand side; what it may differ from there is the cut
    off = (F_rest * np.sqrt(problem.weights)[:, None]) @ reach
    cut = replace(
        problem,
        F=F_band,
        g=problem.g - F_rest @ x0,
        L=L_band,
        b=b - L_rest @ x0 + np.linalg.norm(L_rest @ reach, axis=1),
        clusters=tuple(c for block in blocks for c in (block, ())),
    )
    deck = deck_line(cut, None)
    return None if deck is None else Loosened(deck, float(np.linalg.norm(off, 2)))


def _within_blocks(rows: Array, blocks: list[tuple[int, ...]]) -> Array:
    """Return rows with only the two neighbouring blocks left in which each weighs most."""
    if len(blocks) < 3:
        return rows
    weight = np.stack([(rows[:, block] ** 2).sum(axis=1) for block in blocks], axis=1)
    first = (weight[:, :-1] + weight[:, 1:]).argmax(axis=1)
    kept = np.zeros_like(rows)
    for k in range(len(blocks) - 1):
        columns = np.array([*blocks[k], *blocks[k + 1]])
        which = np.flatnonzero(first == k)
        kept[np.ix_(which, columns)] = rows[np.ix_(which, columns)]
    return kept
