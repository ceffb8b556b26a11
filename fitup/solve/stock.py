"""Plates shared along a line: prices on what is scarce, then every line the prices leave.

With a price on every plate of a scarce mark, the best line leaves some of them to others. For any
prices the cost of the best line, less what the whole stock is worth, bounds every plan that keeps
the stock (Lagrange, Everett 1963). Prices are guessed on a few settings of each segment, then
raised where a mark is overdrawn. What gap remains is closed by listing, segment by segment, every
line that could still beat the best plan, with what it has taken from the stock so far.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem
from fitup.solve.balance import balance
from fitup.solve.deckline import DeckLine, deck_line
from fitup.solve.effort import ENDLESS, Effort
from fitup.solve.exact import SearchResult, Space
from fitup.solve.line import Kept, ReducedLink, SegmentLine, best_line, values_after
from fitup.solve.sweep import LineResult, costed, near_selections, solve_line

#: rounds of prices
_ROUNDS: Final = 5
#: cutting planes of a round; when a bound is near enough to what they allow
_CUTS: Final = 40
_CLOSE: Final = 1e-5
#: greatest price of a plate, as a share of the cost of the line
_HIGHEST: Final = 0.1
#: first price of steel that is short in all [1/m], how it grows, how far, and how fine it is found
_STEEL: Final = 0.1
_DEARER: Final = 4.0
_DEAREST: Final = 1e6
_HALVINGS: Final = 8
#: change of prices, as a share, that is not worth another round
_SETTLED: Final = 1e-3
#: how much dearer settings are kept for other prices: so many times what a segment costs
_ROOM: Final = 1.0
_CARE: Final = 1e-9
#: steps of a setting looked at, and of a line listed
_SETTING, _LISTED = 8.0, 4.0
#: settings of each segment on which prices are tried first, and how often they are looked for
_NEAR: Final = 200
_GUESSES: Final = 6
#: shares of the gap up to which lines are listed, one after the other; shares of the bound where
#: no plan is known
_PARTS: Final = (1.0 / 64.0, 1.0 / 16.0, 1.0 / 4.0, 1.0)
_FARTHER: Final = (0.1, 1.0, 1.0, 1.0, 1.0, 1.0)
#: most lines begun that are listed at once, in the end and before; how many are enough to find a
#: good one; how many ways each may go on, and how much lower the limit is where they are more
_MOST: Final = 100_000
_SOME: Final = 5_000
_FEW: Final = 2_000
_PAIRS: Final = 20
_LESS: Final = 0.5

Repair = Callable[[Array], Array | None]


def solve_deck_line(
    problem: FitProblem, cap: float | None, repair: Repair, effort: Effort = ENDLESS
) -> SearchResult | None:
    """Find the selection of least squares of a line of segments, the stock being shared.

    Parameters
    ----------
    problem : FitProblem
    cap : float, optional
        Greatest ratio of deviation to tolerance.
    repair : callable
        From a selection that overdraws the stock to one that does not, or None.
    effort : Effort
        Work after which the gap is stated instead of closed.

    Returns
    -------
    SearchResult or None
        None where the problem is no line. The selection is None where none was found; that proves
        nothing.
    """
    deck = deck_line(problem, cap)
    if deck is None:
        return None
    pricing = _Pricing(problem, deck, repair)
    pricing.guess(effort)
    for _ in range(_ROUNDS):
        weighed = pricing.prices
        if not pricing.weigh(effort) or pricing.closed():
            break
        settled = np.allclose(weighed, pricing.prices, rtol=_SETTLED)
        # better prices are cheaper than long lists
        if pricing.close(_MOST if settled else _SOME, effort) or settled:
            break
        if effort.over():
            break
    return pricing.result()


class _Pricing:
    """The best plan and the best bound so far, and prices of plates."""

    def __init__(self, problem: FitProblem, deck: DeckLine, repair: Repair) -> None:
        self.problem, self.deck, self.repair = problem, deck, repair
        self.selection: Array | None = None
        self.score, self.lower = np.inf, -np.inf
        self.prices = np.zeros(len(problem.stock))
        self.about = np.zeros(len(problem.seats))
        """Settings of the best line under the prices."""
        self.best: Array = self.prices
        """Prices of the best bound, what was found under them, and which lines it keeps."""
        self.tight: LineResult | None = None
        self.reach = -np.inf
        self.highest = _HIGHEST
        self.costs: list[float] = []
        self.over: list[Array] = []

    def guess(self, effort: Effort) -> None:
        """Find prices by some settings of each segment, about what the last prices ask for."""
        balanced = balance(self.deck.line)
        ties = [ReducedLink.of(link) for link in balanced.line.links]
        self.about[np.concatenate(self.deck.blocks)] = np.concatenate(balanced.x)
        self.highest = _HIGHEST * max(1.0, abs(self.problem.squares(self.about)))
        self._dear_steel()
        selections: list[Array] | None = None
        for _ in range(_GUESSES):
            more = near_selections(self._line(), _NEAR)
            if more is None:
                return
            if selections is not None:
                joined = [np.vstack(two) for two in zip(selections, more, strict=True)]
                more = [np.unique(own, axis=0) for own in joined]
            grown = selections is None or any(
                len(a) < len(b) for a, b in zip(selections, more, strict=True)
            )
            selections, before = more, self.prices
            kept = [costed(balanced.line, s, own) for s, own in enumerate(selections)]
            self.raise_prices(kept, ties, balanced.moved, np.zeros_like(before), effort)
            same = np.allclose(before, self.prices, rtol=1e-2, atol=1e-12)
            if same or not grown or effort.over():
                return

    def _dear_steel(self) -> None:
        """Where there is too little steel in all, put a price on every millimetre of it.

        The price at which plates of any thickness ask for no more than there is.
        """
        thick = _thicknesses(self.problem)
        most = float(thick @ self.problem.stock)
        low, asked, price = 0.0, self._asked(thick), _STEEL
        while asked > most and price < _DEAREST:
            low, self.prices = price, price * thick
            asked, price = self._asked(thick), price * _DEARER
        if not low:
            return
        high, low = low, low / _DEARER
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            self.prices = middle * thick
            low, high = (middle, high) if self._asked(thick) > most else (low, middle)
        self.prices = high * thick
        self.highest = max(self.highest, 2.0 * float(self.prices.max(initial=0.0)))

    def _asked(self, thick: Array) -> float:
        """Return how much steel the continuous optimum takes under the prices [m]."""
        x = balance(self._line()).x
        self.about[np.concatenate(self.deck.blocks)] = np.concatenate(x)
        own = zip(self.problem.choices, self.problem.counts, self.about, strict=True)
        return float(sum(_steel(c, uses @ thick, x) for c, uses, x in own))

    def _line(self) -> SegmentLine:
        return self.deck.priced(self.problem, self.prices, self.about)

    def weigh(self, effort: Effort) -> bool:
        """Find the best line under the prices, better prices, and what could beat the best plan.

        Says whether there is a line.
        """
        prices, worth = self.prices, self._worth(self.prices)
        # settings a little dearer are kept as well where plates are scarce: other prices will
        # want them
        usual = self._least_seen(prices)
        room = min(self.score, usual * (1.0 + _ROOM / len(self.deck.blocks))) + worth
        if not prices.any():
            room = -np.inf
        found = solve_line(self._line(), below=room, effort=effort)
        if found is None:
            return False
        if found.lower - worth > self.lower:
            self.lower, self.best = found.lower - worth, prices
            self.tight, self.reach = found, max(room, found.score)
        selection = self.deck.selection(found.selections, len(self.problem.seats))
        if np.all(self._add(selection) <= 0):
            self.offer(selection)
        elif np.isinf(self.score):
            self.offer(self.repair(selection))
        self.raise_prices(found.kept, found.ties, found.moved, prices, effort)
        return True

    def _least_seen(self, prices: Array) -> float:
        """Return the least bound that lines seen leave for prices."""
        values = np.array(self.costs) + np.array(self.over).reshape(-1, len(prices)) @ prices
        return float(values.min(initial=np.inf))

    def _add(self, selection: Array) -> Array:
        """Note what a line costs, and by how much it overdraws each mark."""
        taken = [c[k] for c, k in zip(self.problem.counts, selection, strict=True)]
        over = np.asarray(np.sum(taken, axis=0)) - self.problem.stock
        self.costs.append(self.problem.squares(self.problem.settings(selection)))
        self.over.append(over)
        return over

    def offer(self, selection: Array | None) -> None:
        """Keep a selection if it is the best so far."""
        if selection is None:
            return
        score = self.problem.squares(self.problem.settings(selection))
        if score < self.score:
            self.selection, self.score = selection, score

    def raise_prices(
        self,
        kept: Sequence[Kept],
        ties: Sequence[ReducedLink],
        moved: float,
        base: Array,
        effort: Effort,
    ) -> None:
        """Find the prices under which the best line among those kept costs most.

        Cutting planes (Kelley 1960): every line seen bounds what prices can make of it. The
        settings kept cost what they do under the prices ``base``.
        """
        if not kept or not all(len(k.x) for k in kept):
            if self.costs:
                self.prices = self._cut(self.highest)[1]
            return
        uses = plates_used(self.deck.line.spaces, kept)
        prices, bound = self.prices, np.inf
        for _ in range(_CUTS):
            extra = [use @ (prices - base) for use in uses]
            dearer = [replace(k, alone=k.alone + e) for k, e in zip(kept, extra, strict=True)]
            effort.spend(_SETTING * sum(len(k.x) for k in kept))
            score, selections, _ = best_line(ties, dearer)
            if np.isinf(score):
                return
            selection = self.deck.selection(selections, len(self.problem.seats))
            self.prices, self.about = prices, self.problem.settings(selection)
            if np.all(self._add(selection) <= 0):
                self.offer(selection)
            value = score + moved - self._worth(prices)
            near = value >= bound - _CLOSE * max(1.0, abs(bound))
            if near or effort.over():
                return
            bound, prices = self._cut(self.highest)

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
        return bool(self.lower >= self.score - _CARE * max(1.0, abs(self.score)))

    def close(self, most: int, effort: Effort) -> bool:
        """List every line that could beat the best plan under the best prices.

        The best plan is seldom the least there is: lines up to a little above the bound are
        listed first, then farther, until one of them keeps the stock. Says whether the bound met
        the plan.
        """
        if self.tight is not None and self.tight.kept:
            self._look(self.tight, min(self.score, self.reach - self._worth(self.best)), _FEW)
        for part in _PARTS if np.isfinite(self.score) else _FARTHER:
            gap = self.score - self.lower if np.isfinite(self.score) else abs(self.lower)
            limit = self.lower + part * gap
            if self.closed() or not self._list(limit, most, effort):
                break
            self.lower = max(self.lower, min(limit, self.score))
        return self.closed()

    def _list(self, limit: float, most: int, effort: Effort) -> bool:
        """Look at all lines below a limit; say whether that could be done."""
        worth = self._worth(self.best)
        if limit + worth > self.reach:
            line = self.deck.priced(self.problem, self.best, self.about)
            self.tight = solve_line(line, below=limit + worth, effort=effort)
            self.reach = limit + worth
        found = self.tight
        return found is not None and found.proven and self._look(found, limit, most, effort)

    def _look(self, found: LineResult, limit: float, most: int, effort: Effort = ENDLESS) -> bool:
        """Look at lines below a limit along the settings found; say whether at all of them."""
        uses = plates_used(self.deck.line.spaces, found.kept)
        below = limit + self._worth(self.best) - found.moved
        stock = self.problem.stock
        lines, complete = list_lines(
            found.ties, found.kept, uses, stock, below, most=most, effort=effort
        )
        for selections in lines:
            self.offer(self.deck.selection(selections, len(self.problem.seats)))
        return complete

    def _worth(self, prices: Array) -> float:
        """Return what the whole stock is worth."""
        return float(prices @ self.problem.stock)

    def result(self) -> SearchResult:
        """Return what is known."""
        lower = min(self.lower, self.score)
        return SearchResult(
            self.selection, self.score, lower, self.selection is not None and self.closed()
        )


def _thicknesses(problem: FitProblem) -> Array:
    """Return how much every plate of each mark adds to a pack (t,) [m], by what packs come to."""
    rows = np.vstack([u - u.mean(axis=0) for u in problem.counts])
    moves = [np.array([c.setting for c in own]) for own in problem.choices]
    right = np.concatenate([m - m.mean() for m in moves])
    return np.maximum(np.linalg.lstsq(rows, right, rcond=None)[0], 0.0)


def _steel(choices: Sequence[Choice], steel: Array, x: float) -> float:
    """Return the steel [m] of a pack that makes a move x [m], packs in between allowed."""
    return float(np.interp(x, [c.setting for c in choices], steel))


def plates_used(spaces: Sequence[Space], kept: Sequence[Kept]) -> list[Array]:
    """Return the plates that every kept setting of each segment takes, (k, t) each.

    Parameters
    ----------
    spaces : sequence of Space
        Their ``uses`` count the plates.
    kept : sequence of Kept
        Settings of every segment.
    """
    return [
        np.asarray(np.sum([c[k.selection[:, i]] for i, c in enumerate(space.uses)], axis=0))
        for space, k in zip(spaces, kept, strict=True)
    ]


@dataclass(frozen=True, eq=False)
class _Begun:
    """Lines begun: the kept setting each has come to, its cost, what it took, where it was."""

    at: Array
    cost: Array
    used: Array
    came: Array

    def cheapest(self, rest: Array, most: int) -> _Begun:
        """Return those that will cost least, by what is left from each kept setting on."""
        if len(self.at) <= most:
            return self
        return self._at(np.sort(np.argsort(self.cost + rest[self.at], kind="stable")[:most]))

    def cheapest_alike(self) -> _Begun:
        """Return the cheapest of those that go on alike: same setting, same plates taken."""
        order = np.lexsort((self.came, self.cost))
        _, first = np.unique(np.c_[self.at, self.used][order], axis=0, return_index=True)
        return self._at(order[first])

    def _at(self, which: Array) -> _Begun:
        return _Begun(self.at[which], self.cost[which], self.used[which], self.came[which])


def list_lines(
    ties: Sequence[ReducedLink],
    kept: Sequence[Kept],
    uses: Sequence[Array],
    stock: Array,
    limit: float,
    *,
    alike: bool = True,
    most: int = _MOST,
    effort: Effort = ENDLESS,
) -> tuple[list[list[Array]], bool]:
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
    most : int
        When more lines than this are begun at once, only some of the most promising go on.
    effort : Effort
        Work after which they are few.

    Returns
    -------
    lines : list of list of Array
        Picks by segment.
    complete : bool
        Whether these are all.
    """
    rest = values_after(ties, kept)
    scarce = np.sum([use.max(axis=0, initial=0) for use in uses], axis=0) > stock
    uses, stock = [use[:, scarce] for use in uses], stock[scarce]
    least = [np.zeros(len(stock))]
    for use in reversed(uses[1:]):
        least.append(least[-1] + use.min(axis=0, initial=np.iinfo(np.int32).max))
    least = least[::-1]
    limit += _CARE
    first = np.flatnonzero(kept[0].alone + rest[0] <= limit)
    some = _Begun(first, kept[0].alone[first], uses[0][first], np.zeros(len(first), np.int64))
    begun, complete = [some], True
    for s, tie in enumerate(ties):
        before, after = begun[-1], kept[s + 1]
        if effort.over():
            most = min(most, _FEW)
        top, low = limit, float((before.cost + rest[s][before.at]).min(initial=np.inf))
        while True:
            label, to, cost, all_found = tie.within(
                kept[s].x[before.at], before.cost, after, rest[s + 1], top, _PAIRS * most
            )
            effort.spend(_LISTED * (len(label) + len(before.at) + len(after.x)))
            if all_found:
                break
            complete = False
            # lines at the very same cost are as many below any limit
            if top - low <= _CARE:
                break
            top = low + _LESS * (top - low)
        used = before.used[label] + uses[s + 1][to]
        fits = np.all(used + least[s + 1] <= stock, axis=1)
        ways = _Begun(to[fits], cost[fits], used[fits], label[fits])
        if alike:
            ways = ways.cheapest_alike()
        complete &= len(ways.at) <= most
        begun.append(ways.cheapest(rest[s + 1], most))
    return [_trace(begun, kept, k) for k in range(len(begun[-1].at))], complete


def _trace(begun: Sequence[_Begun], kept: Sequence[Kept], k: int) -> list[Array]:
    selections = []
    for s in range(len(begun) - 1, -1, -1):
        selections.append(kept[s].selection[begun[s].at[k]])
        k = int(begun[s].came[k])
    return selections[::-1]
