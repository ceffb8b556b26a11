"""What may be chosen, and what is to be least: a problem as the exact searches take it."""

from __future__ import annotations

import numpy as np

from fitup.frames import Array
from fitup.problem.continuous import Relaxed
from fitup.problem.problem import FitProblem
from fitup.solve.clusters import cluster_tree
from fitup.solve.effort import Effort
from fitup.solve.exact import Goal, SearchResult, Space
from fitup.solve.rings import search_rings


def space_of(
    problem: FitProblem, ideal: Array, cap: float | None, work: tuple[int, int, int] | None = None
) -> Space:
    """Return what may be chosen, in the form that the searches take.

    Parameters
    ----------
    problem : FitProblem
    ideal : Array (n,)
        Settings near which to start [m].
    cap : float, optional
        Greatest ratio of deviation to tolerance; None sets no limit.
    work : tuple of three int, optional
        Most seats disturbed, plates changed and plates in new packs; they follow the stock in the
        capacities. None: work does not count.
    """
    L, b = problem.L, problem.b
    if cap is not None:
        L = np.vstack([L, problem.F, -problem.F])
        b = np.r_[b, cap + problem.g, cap - problem.g]
    size = np.abs(L).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    uses, capacity = list(problem.counts), problem.stock
    if work is not None:
        uses = [
            np.hstack([u, np.array([c.work for c in own], dtype=np.int64).reshape(-1, 3)])
            for u, own in zip(uses, problem.choices, strict=True)
        ]
        capacity = np.r_[capacity, np.array(work, dtype=np.int64)]
    values = [np.array([c.setting for c in own]) for own in problem.choices]
    return Space(values, uses, capacity, L / size[:, None], b / size, ideal)


def squares_goal(problem: FitProblem) -> Goal:
    """Return the weighted least squares of the ratios, a little added for the moves."""
    root = np.sqrt(problem.weights)
    still = np.sqrt(problem.move_price) * np.eye(len(problem.seats))
    M = np.vstack([problem.F * root[:, None], still])
    h = np.r_[problem.g * root, np.zeros(len(problem.seats))]
    return Goal("squares", M, h, M, h)


def tight_goal(problem: FitProblem, relaxed: Relaxed | None) -> Goal:
    """Return the same squares with a bound that knows which rows bind.

    By the multipliers of the continuous optimum, |M x - h|^2 + pull . x - give never exceeds the
    squares where the rows hold; its least value is the continuous optimum itself. Completing the
    square with M' s = -pull / 2 gives |M x - (h + s)|^2 - 2 s . h - s . s - give.

    Parameters
    ----------
    problem : FitProblem
    relaxed : Relaxed, optional
        The continuous least squares; None: the squares are their own bound.
    """
    goal = squares_goal(problem)
    if relaxed is None:
        return goal
    s = goal.M @ np.linalg.solve(goal.M.T @ goal.M, -0.5 * relaxed.pull)
    offset = float(-2.0 * (s @ goal.h) - s @ s - relaxed.give)
    return Goal("squares", goal.M, goal.h + s, goal.F, goal.g, offset)


def worst_goal(problem: FitProblem, relaxed: Relaxed) -> Goal:
    """Return the worst ratio, bounded by squares under multipliers of the continuous problem.

    A small equal share for every check keeps directions bounded that the multipliers do not see.

    Parameters
    ----------
    problem : FitProblem
    relaxed : Relaxed
        The continuous optimum of the worst ratio; its multipliers weigh the squares.
    """
    share = 0.9 * relaxed.multipliers + 0.1 / max(1, len(problem.g))
    root = np.sqrt(share)
    return Goal("worst", problem.F * root[:, None], problem.g * root, problem.F, problem.g)


def ring_search(
    problem: FitProblem, space: Space, goal: Goal, best: float, effort: Effort
) -> SearchResult:
    """Search a space in rings for a selection that scores less than ``best``.

    Parameters
    ----------
    problem : FitProblem
        Gives the clusters of seats.
    space, goal
        As for :func:`fitup.solve.exact.search`.
    best : float
        A finite score to beat.
    effort : Effort
        Work after which the search stops with a gap.
    """
    groups = [np.array(c, dtype=np.int64) for c in problem.clusters if c]
    tree = cluster_tree(goal, groups)
    return search_rings(space, goal, tree, best=best, effort=effort)
