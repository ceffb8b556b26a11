"""What binds a plan that is inside every tolerance, and what a little more of it would buy.

The multipliers of the continuous least squares say which rows bind, and how fast the squares fall
as each gives way. How far they really fall with one step more is solved anew: for plates of any
thickness, and for whole plates.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.errors import NoPlan
from fitup.model import Plan
from fitup.plan.infeasibility import Fence, fence
from fitup.plan.priorities import Least, best_squares
from fitup.plan.search_space import squares_goal
from fitup.problem.problem import FitProblem, build_problem
from fitup.problem.relaxations import GIVES, Case, Key, loosened, of_tolerance, what
from fitup.solve.effort import SECOND, Effort

Report = Callable[[str], None]
_MM: Final = 1e-3
_CARE: Final = 1e-9
#: gains that are less than this share of the squares, or than this, are not worth saying
_SHARE: Final = 0.002
_LEAST: Final = 1e-3
#: most things that are solved anew, and the longest search for one [s]
_MOST: Final = 10
_LONGEST: Final = 5.0
#: units of the last printed digit that one step more is
_STEP: Final = 10


@dataclass(frozen=True, slots=True)
class Gain:
    """One thing that binds, a step more of it, and the squares then.

    ``any_thickness`` is the least sum of squares of plates of any thickness with the change;
    ``whole`` that of the best whole plates found, with its worst ratio, and ``lower`` a bound that
    no whole plates beat with the change.
    """

    what: str
    change: str
    any_thickness: float
    whole: float
    lower: float
    worst: float


@dataclass(frozen=True, slots=True)
class More:
    """Squares of plates of any thickness and of the plan, its worst ratio, and what more buys."""

    any_thickness: float
    whole: float
    lower: float
    worst: float
    gains: tuple[Gain, ...]
    complete: bool
    """False where the time was over before all that binds was solved anew."""


def what_more_buys(
    case: Case, plan: Plan, effort: Effort, report: Report = lambda line: None
) -> More:
    """Return what binds a plan and what one step more of each would buy.

    Parameters
    ----------
    case : Case
        With the influence about the plan where seats may lift off.
    plan : Plan
        Inside every tolerance.
    effort : Effort
        Nothing further is solved after it.
    report : callable
    """
    problem = build_problem(case.job, case.state, case.influence)
    goal = case.job.objectives.worst_ratio_goal
    x = plan.settings()
    cap = max(goal, problem.worst_ratio(x)) * (1.0 + _CARE)
    bounds = fence(case, share=cap)
    squares, prices = binding(problem, bounds)
    report("least squares of whole plates")
    now = best_squares(problem, cap, effort)
    steps = [(prices[k] * _step(case, k), k) for k in bounds.every() if prices.get(k, 0.0) > 0.0]
    worth = max(_LEAST, _SHARE * now.upper)
    keys = [k for gain, k in sorted(steps, key=lambda s: -s[0]) if gain > worth]
    keys = [*keys[:_MOST], *(("stock", m) for m in used_up(case, plan))]
    gains, complete = [], True
    for key in keys:
        if effort.over():
            complete = False
            break
        report(f"a step more: {what(case, key)}")
        gain = _gain(case, problem, key, cap, squares, now, effort)
        if gain is not None and max(squares - gain.any_thickness, now.upper - gain.whole) > worth:
            gains.append(gain)
    worst = (
        now.upper if now.selection is None else problem.worst_ratio(problem.settings(now.selection))
    )
    return More(squares, now.upper, now.lower, worst, tuple(gains), complete)


def binding(problem: FitProblem, bounds: Fence) -> tuple[float, dict[Key, float]]:
    """Return the least squares of plates of any thickness, and what binds it.

    Parameters
    ----------
    problem : FitProblem
    bounds : Fence
        All rows count, except those that wait for another key to give way.

    Returns
    -------
    squares : float
    prices : dict of Key to float
        By how much the squares fall for a unit [SI] that a key gives way, at first.

    Raises
    ------
    NoPlan
        If the continuous problem cannot be solved.
    """
    import clarabel
    from scipy import sparse

    goal = squares_goal(problem)
    H, c = goal.M.T @ goal.M, goal.M.T @ goal.h
    every = bounds.every()
    on = bounds.active(every)
    G = bounds.G[on]
    options = clarabel.DefaultSettings()
    options.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.triu(sparse.csc_matrix(2.0 * H * _MM**2)).tocsc(),
        -2.0 * c * _MM,
        sparse.csc_matrix(G),
        bounds.d[on],
        [clarabel.NonnegativeConeT(len(G))],
        options,
    )
    solution = solver.solve()
    if str(solution.status) not in ("Solved", "AlmostSolved"):
        raise NoPlan("the continuous problem of what binds could not be solved")
    x = np.array(solution.x) * _MM
    prices: dict[Key, float] = {}
    own = [k for k, use in zip(bounds.keys, on, strict=True) if use]
    for key, price, slope in zip(own, np.array(solution.z), bounds.slopes[on], strict=True):
        if key is not None and price > 0.0:
            prices[key] = prices.get(key, 0.0) + float(price * slope)
    return problem.squares(x), prices


def _step(case: Case, key: Key) -> float:
    """Return one step more of a key [SI]; a metre where it is given way or not."""
    give = GIVES[key[0]]
    if give.shown is None:
        return 1.0
    return 2.0 * give.shown(case, key[1]).half_step * _STEP


def used_up(case: Case, plan: Plan) -> tuple[str, ...]:
    """Return the marks of which a plan leaves no plate in the store.

    Parameters
    ----------
    case, plan
    """
    job = case.job
    used = Counter(m for s in plan.seats for m in s.build_up)
    owned = Counter(m for s in plan.seats for m in job.seats[s.seat].pack)
    return tuple(m for m, p in job.plates.items() if used[m] > 0 and used[m] >= p.count + owned[m])


def _gain(
    case: Case,
    problem: FitProblem,
    key: Key,
    cap: float,
    squares: float,
    now: Least,
    effort: Effort,
) -> Gain | None:
    """Return what one step more of a key buys; None where no plan was found with it."""
    kind, subject = key
    amount = 1.0 if kind == "stock" else _step(case, key)
    other = loosened(case, key, amount)
    with_it = build_problem(other.job, other.state, other.influence)
    if kind == "tolerance":
        with_it = same_measure(case, problem, with_it, key, other)
    if kind != "stock":
        squares = binding(with_it, fence(other, share=cap))[0]
    found = best_squares(with_it, cap, effort.part(_LONGEST * SECOND))
    if found.selection is None:
        return None
    # the present plan is still one: a search that ended early may not have come so far
    whole = min(found.upper, now.upper)
    worst = with_it.worst_ratio(with_it.settings(found.selection))
    change = GIVES[kind].more(case, subject, amount)
    return Gain(what(case, key), change, squares, whole, min(found.lower, whole), worst)


def same_measure(
    case: Case, problem: FitProblem, with_it: FitProblem, key: Key, other: Case
) -> FitProblem:
    """Return a problem that measures by the tolerances as they are; the looser one allows more.

    Parameters
    ----------
    case, problem
        As they are.
    with_it, key, other
        Problem and case with one tolerance looser.
    """
    now = {c.id: c.tolerance for c in case.state.checks if of_tolerance(c) == key}
    then = {c.id: c.tolerance for c in other.state.checks}
    factor = np.array(
        [(then[r] or 1.0) / (now[r] or 1.0) if r in now else 1.0 for r in problem.rows]
    )
    return replace(with_it, weights=problem.weights * factor**2)
