"""Plates shared along a line: prices on what is scarce, then every line the prices leave.

With a price on every plate of a scarce mark, the best line leaves some of them to others. For any
prices the cost of the best line, less what the whole stock is worth, bounds every plan that keeps
the stock (Lagrange, Everett 1963). Prices are raised where a mark is overdrawn. What gap remains
is closed by listing, segment by segment, every line that could still beat the best plan, with
what it has taken from the stock so far.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.optimize.deckline import DeckLine, deck_line
from fitup.optimize.line import Kept, Tie, best_line, values_after
from fitup.optimize.problem import FitProblem
from fitup.optimize.search import SearchResult, Space
from fitup.optimize.sweep import LineResult, solve_line

#: rounds of prices, and from which of them on the gap is tried to close
_ROUNDS: Final = 5
_FIRST_TRY: Final = 1
#: cutting planes of a round; when a bound is near enough to what they allow
_CUTS: Final = 40
_CLOSE: Final = 1e-5
#: greatest price of a plate, as a share of the cost of the line
_HIGHEST: Final = 0.1
#: how much dearer settings are kept for other prices: so many times what a segment costs
_ROOM: Final = 2.0
_CARE: Final = 1e-9
#: most lines begun that are listed at once, and cells of a table of costs
_MOST: Final = 200_000
_TABLE: Final = 4_000_000

Repair = Callable[[Array], Array | None]


def solve_deck_line(
    problem: FitProblem, cap: float | None, repair: Repair, deadline: float = np.inf
) -> SearchResult | None:
    """Find the pick of least squares of a line of segments, the stock being shared.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio of deviation to tolerance.
    repair : callable
        From a pick that overdraws the stock to one that does not, or None.
    deadline : float
        ``time.monotonic()`` after which the gap is stated instead of closed.

    Returns
    -------
    SearchResult or None
        None where the problem is no line. The pick is None where none was found; then
        ``proven`` says whether there is none.
    """
    deck = deck_line(problem, cap)
    if deck is None:
        return None
    pricing = _Pricing(problem, cap, deck, repair)
    for k in range(_ROUNDS):
        if not pricing.weigh(deadline) or pricing.closed() or time.monotonic() > deadline:
            break
        pricing.raise_prices(deadline)
        if k >= _FIRST_TRY and not pricing.closed():
            pricing.close(deadline)
        if pricing.closed():
            break
    return pricing.result()


class _Pricing:
    """The best plan and the best bound so far, and prices of plates."""

    def __init__(
        self, problem: FitProblem, cap: float | None, deck: DeckLine, repair: Repair
    ) -> None:
        self.problem, self.cap, self.deck, self.repair = problem, cap, deck, repair
        self.pick: Array | None = None
        self.score, self.lower = np.inf, -np.inf
        self.best_prices = self.prices = np.zeros(len(problem.stock))
        self.found: LineResult | None = None
        self.costs: list[float] = []
        self.over: list[Array] = []

    def weigh(self, deadline: float) -> bool:
        """Find the best line under the prices; say whether there is one."""
        priced = deck_line(self.problem, self.cap, self.prices)
        if priced is None:
            return False
        # settings a little dearer are kept as well: other prices will want them
        room = -np.inf
        if self.found is not None:
            room = self.found.score * (1.0 + _ROOM / len(self.deck.blocks))
        self.found = solve_line(priced.line, below=room, deadline=deadline)
        if self.found is None:
            return False
        worth = float(self.prices @ self.problem.stock)
        lower = self.found.lower - worth
        if lower > self.lower:
            self.lower, self.best_prices = lower, self.prices
        pick = self.deck.pick(self.found.picks, len(self.problem.seats))
        over = self._add(pick)
        self.offer(pick if np.all(over <= 0) else self.repair(pick))
        return True

    def _add(self, pick: Array) -> Array:
        """Note what a line costs, and by how much it overdraws each mark."""
        taken = [c[k] for c, k in zip(self.problem.counts, pick, strict=True)]
        over = np.asarray(np.sum(taken, axis=0)) - self.problem.stock
        self.costs.append(self.problem.squares(self.problem.settings(pick)))
        self.over.append(over)
        return over

    def offer(self, pick: Array | None) -> None:
        """Keep a pick if it is the best so far."""
        if pick is None:
            return
        score = self.problem.squares(self.problem.settings(pick))
        if score < self.score:
            self.pick, self.score = pick, score

    def raise_prices(self, deadline: float) -> None:
        """Find the prices under which the best line among those kept costs most.

        Cutting planes (Kelley 1960): every line seen bounds what prices can make of it.
        """
        found = self.found
        if found is None or not found.kept or not all(len(k.x) for k in found.kept):
            return
        uses = plates_used(self.deck.line.spaces, found.kept)
        base = self.prices
        highest = _HIGHEST * max(1.0, abs(found.score))
        for _ in range(_CUTS):
            if time.monotonic() > deadline:
                return
            bound, prices = self._cut(highest)
            extra = [use @ (prices - base) for use in uses]
            kept = [replace(k, alone=k.alone + e) for k, e in zip(found.kept, extra, strict=True)]
            score, picks, _ = best_line(found.ties, kept)
            self.prices = prices
            pick = self.deck.pick(picks, len(self.problem.seats))
            over = self._add(pick)
            if np.all(over <= 0):
                self.offer(pick)
            value = score + found.moved - float(prices @ self.problem.stock)
            if value >= bound - _CLOSE * max(1.0, abs(bound)):
                return

    def _cut(self, highest: float) -> tuple[float, Array]:
        """Return the greatest bound that the lines seen allow, and prices that reach it."""
        from scipy.optimize import linprog

        marks = len(self.problem.stock)
        rows = np.c_[np.ones(len(self.costs)), -np.array(self.over, dtype=float)]
        answer = linprog(
            np.r_[-1.0, np.zeros(marks)],
            A_ub=rows,
            b_ub=np.array(self.costs),
            bounds=[(None, None), *[(0.0, highest)] * marks],
        )
        return float(answer.x[0]), np.maximum(answer.x[1:], 0.0)

    def closed(self) -> bool:
        """Say whether the bound has met the plan."""
        return self.lower >= self.score - _CARE * max(1.0, abs(self.score))

    def close(self, deadline: float) -> None:
        """List every line that could beat the best plan under the best prices."""
        priced = deck_line(self.problem, self.cap, self.best_prices)
        if priced is None or not np.isfinite(self.score):
            return
        worth = float(self.best_prices @ self.problem.stock)
        found = solve_line(priced.line, below=self.score + worth, deadline=deadline)
        if found is None or not found.proven:
            return
        uses = plates_used(priced.line.spaces, found.kept)
        limit = self.score + worth - found.moved
        lines = list_lines(found.ties, found.kept, uses, self.problem.stock, limit)
        if lines is None:
            return
        for picks in lines:
            self.offer(self.deck.pick(picks, len(self.problem.seats)))
        self.lower = self.score

    def result(self) -> SearchResult:
        """Return what is known."""
        lower = min(self.lower, self.score)
        return SearchResult(self.pick, self.score, lower, self.pick is not None and self.closed())


def plates_used(spaces: Sequence[Space], kept: Sequence[Kept]) -> list[Array]:
    """Return the plates that every kept setting of each segment takes, (k, t) each."""
    return [
        np.asarray(np.sum([c[k.pick[:, i]] for i, c in enumerate(space.uses)], axis=0))
        for space, k in zip(spaces, kept, strict=True)
    ]


@dataclass(frozen=True, eq=False)
class _Begun:
    """Lines begun: the kept setting each has come to, its cost, what it took, where it was."""

    at: Array
    cost: Array
    used: Array
    came: Array


def list_lines(
    ties: Sequence[Tie],
    kept: Sequence[Kept],
    uses: Sequence[Array],
    stock: Array,
    limit: float,
    *,
    alike: bool = True,
) -> list[list[Array]] | None:
    """Return the lines that cost at most ``limit`` and keep the stock.

    Lines that have come to the same setting with the same plates taken go on alike: of these the
    cheapest is kept.

    Parameters
    ----------
    ties, kept : sequence
        As proven by the sweep to hold every such line.
    uses : sequence of Array (k, t)
        Plates that each kept setting takes.
    stock : Array (t,)
    limit : float
    alike : bool
        Keep only the cheapest of lines that go on alike; otherwise all of them.

    Returns
    -------
    list of list of Array, or None
        Picks by segment; None when too many lines are begun at once.
    """
    rest = values_after(ties, kept)
    least = [np.zeros(len(stock))]
    for use in reversed(uses[1:]):
        least.append(least[-1] + use.min(axis=0, initial=np.iinfo(np.int32).max))
    least = least[::-1]
    first = np.flatnonzero(kept[0].alone + rest[0] <= limit + _CARE)
    begun = [_Begun(first, kept[0].alone[first], uses[0][first], np.zeros(len(first), np.int64))]
    for s, tie in enumerate(ties):
        before, after = begun[-1], kept[s + 1]
        if not len(before.at):
            return []
        parts = []
        bite = max(1, _TABLE // max(1, len(after.x)))
        for i in range(0, len(before.at), bite):
            some = slice(i, i + bite)
            cost = before.cost[some, None] + tie.table(kept[s].x[before.at[some]], after)
            label, to = np.nonzero(cost + rest[s + 1][None, :] <= limit + _CARE)
            used = before.used[some][label] + uses[s + 1][to]
            fits = np.all(used + least[s + 1] <= stock, axis=1)
            parts.append(_Begun(to[fits], cost[label, to][fits], used[fits], label[fits] + i))
            if sum(len(p.at) for p in parts) > 10 * _MOST:
                return None
        joined = _joined(parts, alike)
        if len(joined.at) > _MOST:
            return None
        begun.append(joined)
    return [_trace(begun, kept, k) for k in range(len(begun[-1].at))]


def _joined(parts: Sequence[_Begun], alike: bool) -> _Begun:
    """Join lists of lines, keeping the cheapest of those that go on alike."""
    at = np.concatenate([p.at for p in parts])
    cost = np.concatenate([p.cost for p in parts])
    used = np.vstack([p.used for p in parts])
    came = np.concatenate([p.came for p in parts])
    if not alike:
        return _Begun(at, cost, used, came)
    order = np.lexsort((came, cost))
    _, first = np.unique(np.c_[at, used][order], axis=0, return_index=True)
    keep = order[first]
    return _Begun(at[keep], cost[keep], used[keep], came[keep])


def _trace(begun: Sequence[_Begun], kept: Sequence[Kept], k: int) -> list[Array]:
    picks = []
    for s in range(len(begun) - 1, -1, -1):
        picks.append(kept[s].pick[begun[s].at[k]])
        k = int(begun[s].came[k])
    return picks[::-1]
