"""Least work within the slack: the fewest seats, then plates handled, then plates in new packs.

Found by descent, then in neighbourhoods: most seats keep their packs, a few are searched exactly
for less work, and whatever is found becomes the plan for the next few (P. Shaw, Using constraint
programming and local search methods to solve vehicle routing problems, CP98, LNCS 1520; cited from
memory). What no plan can be below is proven by the exact search with the count as one more
capacity, from the least possible count upwards: few plates leave few plans.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from fitup.frames import Array
from fitup.model import ObjectiveResult, Objectives
from fitup.plan.search_space import space_of, squares_goal, tight_goal
from fitup.problem.continuous import Relaxed, least_squares, reach
from fitup.problem.problem import FitProblem
from fitup.solve.clusters import cluster_tree
from fitup.solve.effort import Effort
from fitup.solve.exact import SearchResult, Space
from fitup.solve.local_search import PricedSearch, improve
from fitup.solve.rings import FIRST_RING, search_rings

NAMES = ("seats disturbed", "plates handled", "plates in new packs")
_STARTS = 8
#: up to so many seats counts are proven exactly
_JOINT = 24
#: shares of the effort for each proof, and for all neighbourhoods
_PROOF, _NEAR = 1.0 / 15.0, 1.0 / 20.0
#: seats that are searched together, how many sets of them by chance, and steps of setting up one
_FREE, _CHANCES, _SETUP = 7, 12, 8000.0
#: most steps of one set
_ONE = 1e5
_MANY = 1 << 30
#: price of a seat disturbed, a plate handled, a plate in a new pack: each outweighs what follows
_PRICE = np.array([1.0e4, 1.0e2, 1.0])
_EDGE = 1e-9
#: squares that differ by no more, as a share, are the same
_EVEN = 1e-8

Counts = tuple[int, int, int]


def allowed_squares(objectives: Objectives, least: float) -> float:
    """Return the greatest sum of squares that a plan of less work may come to.

    Parameters
    ----------
    objectives : Objectives
        The slack: a share of the least, and a floor below which it does not go.
    least : float
        Least sum of squares of any plan.
    """
    return least + max(objectives.squares_slack * least, objectives.squares_slack_floor)


def least_work(
    problem: FitProblem,
    objectives: Objectives,
    selection: Array,
    cap: float,
    ideal: Array,
    squares: ObjectiveResult,
    effort: Effort,
    report: Callable[[str], None],
) -> tuple[Array, tuple[ObjectiveResult, ...]]:
    """Find less work within the slack, and bound from below what any plan must do.

    Parameters
    ----------
    problem : FitProblem
    objectives : Objectives
    selection : Array (n,)
        The plan of least squares.
    cap : float
        Greatest ratio of deviation to tolerance.
    ideal : Array (n,)
        Settings of any thickness [m].
    squares : ObjectiveResult
        What is known of the least sum of squares.
    effort : Effort
    report : callable

    Returns
    -------
    selection : Array (n,)
    results : tuple of ObjectiveResult
        Of the three counts.
    """
    report("third objective: least work")
    allowed = allowed_squares(objectives, squares.upper)
    near = problem if effort.stop() else within(problem, reach(problem, cap, allowed))
    begin = _lighter(near, ideal, cap, allowed, same_selection(problem, near, selection))
    least = [sum(min(c.work[k] for c in own) for own in near.choices) for k in range(len(NAMES))]
    relaxed = None if effort.stop() else least_squares(near, cap)
    if relaxed is not None:
        less = _Less(near, relaxed, cap, allowed, effort)
        begin = less.in_neighbourhoods(begin, least)
        begin, least = less.prove(begin, least)
        begin = less.more_exact(begin)
    text = f"with the sum of squares at most {allowed:.3f}"
    results = []
    open_before = False
    for name, upper, lower in zip(NAMES, near.work(begin), least, strict=True):
        proven = upper == lower and not open_before
        open_before = open_before or not proven
        results.append(ObjectiveResult(name, upper, lower, proven, text))
        # a bound on a later count holds where the earlier ones are no more than they are
        text += f" and at most {upper} {name}"
    return same_selection(near, problem, begin), tuple(results)


def count_again(result: ObjectiveResult, value: int, *, fewer_before: bool) -> ObjectiveResult:
    """Return what is known of a count for another plan than that of least work.

    Parameters
    ----------
    result : ObjectiveResult
        Of the plan of least work: its bound holds under the conditions of its text.
    value : int
        What the other plan comes to.
    fewer_before : bool
        The other plan's earlier counts are no more than those of the plan of least work.
    """
    if fewer_before and value >= result.lower:
        return replace(result, upper=value, proven=result.proven and value == result.lower)
    text = "no bound is known for a plan of more squares, seats or plates than that of least work"
    return replace(result, upper=value, lower=0, proven=False, text=text)


def counts_again(
    results: Sequence[ObjectiveResult], values: Sequence[int]
) -> tuple[ObjectiveResult, ...]:
    """Return what is known of all counts for another plan than that of least work.

    Parameters
    ----------
    results : sequence of ObjectiveResult
        Of the plan of least work, in the order of ``NAMES``.
    values : sequence of int
        What the other plan comes to.
    """
    fewer, again = True, []
    for result, value in zip(results, values, strict=True):
        again.append(count_again(result, value, fewer_before=fewer))
        fewer = fewer and result.lower <= value <= result.upper
    return tuple(again)


class _Less:
    """Exact searches for less work, among all seats or a few of them."""

    def __init__(
        self, near: FitProblem, relaxed: Relaxed, cap: float, allowed: float, effort: Effort
    ) -> None:
        self.near = near
        self.space = space_of(near, relaxed.x, cap, (_MANY, _MANY, _MANY))
        self.goal = tight_goal(near, relaxed)
        groups = [np.array(c, dtype=np.int64) for c in near.clusters if c]
        self.tree = cluster_tree(self.goal, groups)
        # the search looks below what it is given: a selection that comes to what is allowed will do
        self.most = allowed + _EVEN * max(1.0, allowed)
        self.effort = effort

    def in_neighbourhoods(self, selection: Array, least: Sequence[int]) -> Array:
        """Return a selection of less work, or the same, by searching a few seats at a time."""
        effort = self.effort.part(self.effort.steps * _NEAR)
        for count in range(len(NAMES)):
            sets = list(self._sets(len(selection)))
            at = since = 0
            while since < len(sets) and not effort.over():
                done = self.near.work(selection)
                if done[count] <= least[count]:
                    break
                found = self._few(selection, sets[at % len(sets)], _below(done, count), effort)
                since = since + 1 if found is None else 0
                # what helped once may help again
                at += found is None
                selection = selection if found is None else found
        return selection

    def more_exact(self, selection: Array) -> Array:
        """Return a selection of no more work and less squares, or the same."""
        done = self.near.work(selection)
        finer, _ = improve(self._within(done), squares_goal(self.near), 2, begin=selection)
        return selection if finer is None else finer

    def prove(self, selection: Array, least: list[int]) -> tuple[Array, list[int]]:
        """Raise the least counts as far as the effort allows; what is found on the way counts."""
        least = list(least)
        for count in range(len(NAMES)):
            effort = self.effort.part(self.effort.steps * _PROOF)
            while least[count] < self.near.work(selection)[count]:
                done = self.near.work(selection)
                stride = max(1, (done[count] - least[count]) // 3)
                limit = min(done[count] - 1, least[count] + stride - 1)
                found = self._all((*done[:count], limit), effort)
                if isinstance(found, bool):
                    if not found:
                        return selection, least
                    least[count] = limit + 1
                else:
                    selection = found
            if effort.over():
                break
        return selection, least

    def _all(self, limits: tuple[int, ...], effort: Effort) -> Array | bool:
        """Return a selection within limits of the first counts; True: none; False: open."""
        if len(self.near.seats) > _JOINT:
            return False
        work = (*limits, *[_MANY] * (len(NAMES) - len(limits)))
        found = self._search(self._within(work), effort)
        return found.proven if found.selection is None else found.selection

    def _few(self, selection: Array, free: Array, limits: Counts, effort: Effort) -> Array | None:
        """Return a selection within limits that differs at some seats only, if one is found."""
        effort.spend(_SETUP)
        space = self._within(limits)
        values, uses = list(space.values), list(space.uses)
        for i in np.setdiff1d(np.arange(len(selection)), free):
            own = [int(selection[i])]
            values[i], uses[i] = values[i][own], uses[i][own]
        part = replace(space, values=values, uses=uses)
        found = self._search(part, effort.part(_ONE)).selection
        if found is None:
            return None
        result = selection.copy()
        result[free] = found[free]
        return result

    def _within(self, work: tuple[int, ...]) -> Space:
        """Return the space with work within three counts: they are its last capacities."""
        capacity = self.space.capacity.copy()
        capacity[-len(NAMES) :] = work
        return replace(self.space, capacity=capacity)

    def _search(self, space: Space, effort: Effort) -> SearchResult:
        # most often there is nothing to find, and one ring says so; growing ones list less
        for first in (1.0, FIRST_RING):
            found = search_rings(
                space, self.goal, self.tree, best=self.most, first=first, effort=effort
            )
            if found.proven or found.selection is not None:
                break
        return found

    def _sets(self, n: int) -> Iterator[Array]:
        """Yield seats to search together: those tied most to each other, and some by chance."""
        size = min(_FREE, n)
        H = self.goal.M.T @ self.goal.M
        covariance = np.linalg.pinv(H)
        spread = np.sqrt(np.maximum(covariance.diagonal(), 1e-300))
        tie = np.abs(covariance / np.outer(spread, spread))
        for i in range(n):
            yield np.sort(np.argsort(-tie[i], kind="stable")[:size])
        chance = np.random.default_rng(0)
        for _ in range(_CHANCES if n > size else 0):
            yield np.sort(chance.choice(n, size, replace=False))


def _below(done: Counts, count: int) -> Counts:
    """Return limits: earlier counts as they are, one of them less by one, later ones free."""
    limits = [*done[:count], done[count] - 1, *[_MANY] * (len(done) - count - 1)]
    return limits[0], limits[1], limits[2]


def _lighter(near: FitProblem, ideal: Array, cap: float, allowed: float, begin: Array) -> Array:
    """Return a selection of less work than one to begin with, found by descent, or that one."""
    space, goal = space_of(near, ideal, cap), squares_goal(near)
    prices = [np.array([_PRICE @ np.array(c.work) for c in own]) for own in near.choices]
    better, _ = improve(
        space, goal, _STARTS, spread=1e-3, work=PricedSearch(prices, allowed), begin=begin
    )
    if better is None:
        return begin
    # among plans of this work the least squares decide
    exact = space_of(near, ideal, cap, near.work(better))
    finer, _ = improve(exact, goal, 2, begin=better)
    return better if finer is None else finer


def within(problem: FitProblem, windows: Array) -> FitProblem:
    """Return the problem with only the choices whose settings lie in the windows (n, 2).

    Parameters
    ----------
    problem : FitProblem
    windows : Array (n, 2)
        Least and greatest move of each seat [m]; they become those of the problem.
    """
    keep = [
        [k for k, c in enumerate(own) if low - _EDGE <= c.setting <= high + _EDGE]
        for own, (low, high) in zip(problem.choices, windows, strict=True)
    ]
    return replace(
        problem,
        choices=tuple(
            tuple(own[k] for k in kept) for own, kept in zip(problem.choices, keep, strict=True)
        ),
        counts=tuple(u[kept] for u, kept in zip(problem.counts, keep, strict=True)),
        windows=windows,
    )


def same_selection(source: FitProblem, target: FitProblem, selection: Array) -> Array:
    """Return the selection of the same choices where they have other numbers.

    Parameters
    ----------
    source : FitProblem
        The problem whose choices the selection numbers.
    target : FitProblem
        Another with the same seats that offers all choices of the selection.
    selection : Array (n,)

    Returns
    -------
    Array (n,)
    """
    return np.array(
        [
            theirs.index(own[k])
            for own, theirs, k in zip(source.choices, target.choices, selection, strict=True)
        ]
    )
