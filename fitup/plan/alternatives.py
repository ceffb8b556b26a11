"""Other places to work: the best plans that each leave alone a seat which all before them work at.

Which seats a plan disturbs is what a crew feels most. Every further plan has to leave at least
one seat alone of each plan before it; of all such plans it is the one of least squares. Sets of
seats left alone are tried from the best bound upwards, like the hitting sets of a diagnosis
(Reiter 1987): as more seats are left alone, the least squares can only grow.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.plan.priorities import Least, best_squares
from fitup.plan.search_space import tight_goal
from fitup.problem.continuous import Relaxed, least_squares
from fitup.problem.problem import FitProblem
from fitup.solve.effort import SECOND, Effort

Report = Callable[[str], None]
#: longest search for one set of seats left alone [million steps]
_LONGEST: Final = 10.0
#: a bound of floating point may be wrong by so much
_CARE: Final = 1e-6
#: steps of a bound by plates of any thickness, for every seat
_BOUND: Final = 200.0


@dataclass(frozen=True, eq=False)
class Elsewhere:
    """The best plan that leaves some seats alone.

    ``lower`` is below the squares of every plan that leaves alone at least one seat of each plan
    before it; ``proven`` where none has less than ``squares``.
    """

    left_alone: tuple[str, ...]
    selection: Array
    disturbed: tuple[str, ...]
    worst: float
    squares: float
    lower: float
    proven: bool


@dataclass(order=True)
class _Node:
    """Seats (by number) left alone, with a lower bound on the squares: the best is tried first."""

    bound: float
    alone: tuple[int, ...]
    looked_at: int = field(compare=False, default=0)
    """0 bounded by the set it came from, 1 by plates of any thickness, 2 searched."""
    relaxed: Relaxed | None = field(compare=False, default=None)
    found: Least | None = field(compare=False, default=None)


def without(problem: FitProblem, alone: frozenset[int]) -> FitProblem | None:
    """Return the problem with some seats left as they are.

    Parameters
    ----------
    problem : FitProblem
    alone : frozenset of int
        Seats by number.

    Returns
    -------
    FitProblem or None
        None where one of these seats must move.
    """
    keep = [
        [k for k, c in enumerate(own) if not (c.disturbed and i in alone)]
        for i, own in enumerate(problem.choices)
    ]
    if not all(keep):
        return None
    windows = problem.windows.copy()
    windows[sorted(alone)] = 0.0
    return replace(
        problem,
        choices=tuple(
            tuple(own[k] for k in ks) for own, ks in zip(problem.choices, keep, strict=True)
        ),
        counts=tuple(u[ks] for u, ks in zip(problem.counts, keep, strict=True)),
        windows=windows,
    )


def disturbed_by(problem: FitProblem, selection: Array) -> frozenset[int]:
    """Return the seats (by number) that a selection disturbs.

    Parameters
    ----------
    problem : FitProblem
    selection : Array (n,)
    """
    return frozenset(
        i
        for i, (own, k) in enumerate(zip(problem.choices, selection, strict=True))
        if own[int(k)].disturbed
    )


def other_places(
    problem: FitProblem,
    cap: float,
    first: frozenset[int],
    settle: Callable[[Elsewhere], frozenset[int] | None],
    effort: Effort,
    report: Report = lambda line: None,
) -> Iterator[Elsewhere]:
    """Yield the best plans that work elsewhere, one after the other.

    Parameters
    ----------
    problem : FitProblem
    cap : float
        Greatest ratio of deviation to tolerance.
    first : frozenset of int
        Seats that the plan disturbs which the others are to differ from.
    settle : callable
        Told a plan that was found; returns the seats that are really to be disturbed, by which
        the following plans differ, or None where it cannot be carried out after all.
    effort : Effort
    report : callable
    """
    search = _Sets(problem, cap, effort, report)
    worked = [first]
    while (node := search.next(worked)) is not None:
        found = search.elsewhere(node, worked)
        settled = settle(found)
        if settled is None:
            search.floor = min(search.floor, node.bound)
            search.split(node, disturbed_by(problem, found.selection))
            continue
        worked.append(settled)
        search.put(node)
        yield found


class _Sets:
    """Sets of seats left alone, from the best bound upwards."""

    def __init__(self, problem: FitProblem, cap: float, effort: Effort, report: Report) -> None:
        self.problem, self.cap, self.effort, self.report = problem, cap, effort, report
        #: no plan that was given up on the way has less squares
        self.floor = np.inf
        self.queue = [_Node(0.0, ())]
        self.seen: set[tuple[int, ...]] = {()}

    def put(self, node: _Node) -> None:
        heapq.heappush(self.queue, node)

    def next(self, worked: list[frozenset[int]]) -> _Node | None:
        """Return the set of least squares that leave a seat alone of each plan so far."""
        while self.queue:
            node = heapq.heappop(self.queue)
            if node.looked_at < 2 and self.effort.over():
                self.put(node)
                return None
            if node.looked_at < 2:
                self._look(node)
                continue
            hit = self._not_left_alone(node, worked)
            if hit is None:
                return node
            self.split(node, hit)
        return None

    def _not_left_alone(self, node: _Node, worked: list[frozenset[int]]) -> frozenset[int] | None:
        """Return the seats of the first plan so far at which the node's selection works as well."""
        assert node.found is not None
        assert node.found.selection is not None
        own = self.own(node)
        return next((seats for seats in worked if seats <= own), None)

    def own(self, node: _Node) -> frozenset[int]:
        """Return the seats that the selection of a node disturbs."""
        narrowed = without(self.problem, frozenset(node.alone))
        assert narrowed is not None
        assert node.found is not None
        assert node.found.selection is not None
        return disturbed_by(narrowed, node.found.selection)

    def _look(self, node: _Node) -> None:
        """Look at a set more closely and put it back with a better bound, if it has any plan."""
        narrowed = without(self.problem, frozenset(node.alone))
        if narrowed is None:
            return
        if node.looked_at == 0:
            self.effort.spend(_BOUND * len(self.problem.seats))
            node.relaxed = least_squares(narrowed, self.cap)
            if node.relaxed is None:
                return
            bound, node.looked_at = node.relaxed.lower * (1.0 - _CARE), 1
        else:
            names = ", ".join(self.problem.seats[i] for i in node.alone) or "none"
            self.report(f"left alone: {names}")
            effort = self.effort.part(_LONGEST * SECOND)
            node.found = best_squares(narrowed, self.cap, effort)
            if node.found.selection is None:
                if not node.found.proven:
                    self.floor = min(self.floor, node.bound)
                return
            bound, node.looked_at = node.found.lower, 2
        node.bound = max(node.bound, bound)
        self.put(node)

    def split(self, node: _Node, seats: frozenset[int]) -> None:
        """Replace a set by those that also leave alone one of the seats, each bounded cheaply."""
        rises = self._rises(node)
        for i in sorted(seats):
            alone = tuple(sorted({*node.alone, i}))
            if i in node.alone or alone in self.seen:
                continue
            self.seen.add(alone)
            self.put(_Node(max(node.bound, rises[i] * (1.0 - _CARE)), alone))

    def _rises(self, node: _Node) -> Array:
        """Return bounds (n,) on the squares when one more seat is left alone.

        The least of ``|M x - h|^2`` with x_i = 0 is the least without, and x_i^2 over the
        diagonal of the inverse of M' M.
        """
        n = len(self.problem.seats)
        narrowed = without(self.problem, frozenset(node.alone))
        if node.relaxed is None or narrowed is None:
            return np.full(n, node.bound)
        goal = tight_goal(narrowed, node.relaxed)
        free = np.setdiff1d(np.arange(n), node.alone)
        inverse = np.linalg.inv(goal.M[:, free].T @ goal.M[:, free])
        x = inverse @ (goal.M[:, free].T @ goal.h)
        least = float(((goal.M[:, free] @ x - goal.h) ** 2).sum()) + goal.offset
        rises = np.full(n, node.bound)
        rises[free] = least + x**2 / np.diag(inverse)
        return rises

    def elsewhere(self, node: _Node, worked: list[frozenset[int]]) -> Elsewhere:
        """Return what was found for a set that differs from every plan so far."""
        assert node.found is not None
        assert node.found.selection is not None
        narrowed = without(self.problem, frozenset(node.alone))
        assert narrowed is not None
        own = self.own(node)
        alone = set(node.alone)
        for seats in worked:
            if not alone & seats:
                alone.add(min(seats - own))
        selection = _same(narrowed, self.problem, node.found.selection)
        names = self.problem.seats
        x = self.problem.settings(selection)
        lower = min(node.bound, self.floor, node.found.upper)
        return Elsewhere(
            tuple(names[i] for i in sorted(alone)),
            selection,
            tuple(names[i] for i in sorted(own)),
            self.problem.worst_ratio(x),
            self.problem.squares(x),
            lower,
            node.found.upper <= lower * (1.0 + _CARE),
        )


def _same(source: FitProblem, target: FitProblem, selection: Array) -> Array:
    """Return the selection of the same choices where more may be chosen."""
    return np.array(
        [
            theirs.index(own[int(k)])
            for own, theirs, k in zip(source.choices, target.choices, selection, strict=True)
        ]
    )
