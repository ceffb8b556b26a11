"""The order of objectives: every check inside, then least squares, then least work - each proven.

1. The worst ratio of deviation to tolerance comes down to the job's goal, or to the least there is.
2. Within that, the weighted sum of squared ratios is the least there is; moves add a little to
   it, so that seats stay still that no check asks to move.
3. Within a stated slack of that, the fewest seats are disturbed, then the fewest plates handled,
   then the fewest plates stand in new packs; the least squares decide among equals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fitup.errors import NoPlan
from fitup.frames import Array
from fitup.model import ObjectiveResult, Objectives
from fitup.plan.least_work import allowed_squares, least_work
from fitup.plan.search_space import ring_search, space_of, squares_goal, tight_goal, worst_goal
from fitup.problem.continuous import Relaxed, least_squares, least_worst
from fitup.problem.problem import FitProblem
from fitup.solve.banded import solve_banded
from fitup.solve.branches import solve_branched
from fitup.solve.deckline import deck_line
from fitup.solve.effort import SECOND, Effort, Stop, never
from fitup.solve.exact import Goal, SearchResult, search
from fitup.solve.general_solvers import least_worst_by
from fitup.solve.local_search import improve
from fitup.solve.stock import solve_deck_line

Report = Callable[[str], None]

#: how far a value may pass a bound found by floating-point means
_CARE = 1e-9
#: how far a bound of the continuous problem may be off
_BOUND = 1e-6
_STARTS = 8
#: from so many segments on a job is searched along the deck
_LINE = 3
#: ... and a segment on so many seats in bands
_LONG = 12
#: most seats of a block of several segments whose settings can be listed
_BLOCK = 6
#: where the continuous optimum is so far inside, whole plates seldom come near the worst ratio
_FAR_INSIDE = 0.7
#: part of the time limit for each objective where not even plates of any thickness meet the first
_PART = 1.0 / 6.0
#: up to so many seats a general solver is asked
_JOINT = 24
#: nodes that a general solver may open for the first objective; its safety catch [s]
_NODES, _CATCH = 500, 120.0
_HALVINGS = 10
_NEAR_ENOUGH = 0.02


@dataclass(frozen=True, eq=False)
class Chosen:
    """A selection (n,) of choices, how each objective came out, and the ideal settings (n,) [m]."""

    selection: Array
    objectives: tuple[ObjectiveResult, ...]
    ideal: Array
    method: str
    worst: float


#: said of plans whose search was ended by the clock
CAUGHT = "; the time limit caught the search: another run of this job may come further"


def effort_of(objectives: Objectives, stop: Stop = never) -> Effort:
    """Return how much a search may do, and when its safety catch falls.

    Parameters
    ----------
    objectives : Objectives
    stop : callable
        Asked now and then whether to end.
    """
    return Effort(objectives.search_effort * SECOND, objectives.time_limit, stop)


def choose(
    problem: FitProblem,
    objectives: Objectives,
    report: Report = lambda line: None,
    stop: Stop = never,
) -> Chosen:
    """Choose packs in the order of objectives.

    Parameters
    ----------
    problem : FitProblem
    objectives : Objectives
    report : callable
        Called with one line: what is being done.
    stop : callable
        Asked now and then whether to end with the best plan so far.

    Returns
    -------
    Chosen

    Raises
    ------
    NoPlan
        If no choice keeps the hard limits and the stock.
    """
    effort = effort_of(objectives, stop)
    still = _still(problem, objectives.worst_ratio_goal)
    if still is not None:
        return still
    report("continuous optimum")
    loosest = least_worst(problem)
    goal = objectives.worst_ratio_goal
    along = None
    beyond = loosest.value > goal * (1.0 + _CARE)
    if beyond:
        report(f"even plates of any thickness leave a worst ratio of {loosest.value:.2f}")
    if loosest.value <= goal:
        along = _along(problem, goal * (1.0 + _CARE), effort, report)
    if along is not None and along.selection is not None:
        selection, first = along.selection, _met(problem, along.selection, goal, loosest)
    else:
        # what is asked is answered already: how near one can come is worth a part of the time
        enough = effort.part(effort.steps * _PART) if beyond else effort
        selection, first = _worst(problem, loosest, goal, enough, report)
    cap = max(goal, problem.worst_ratio(problem.settings(selection))) * (1.0 + _CARE)
    if along is None or along.selection is None:
        along = _along(problem, cap, effort, report)
    enough = effort.part(effort.steps * _PART) if beyond else effort
    selection, second, ideal = _squares(problem, selection, cap, along, enough, report)
    selection, third = least_work(
        problem, objectives, selection, cap, ideal, second, effort, report
    )
    first, second = of_the_plan(problem, selection, objectives, first, second)
    method = _method(problem, cap, along) + (CAUGHT if effort.caught else "")
    return Chosen(selection, (first, second, *third), ideal, method, first.upper)


def of_the_plan(
    problem: FitProblem,
    selection: Array,
    objectives: Objectives,
    first: ObjectiveResult,
    second: ObjectiveResult,
) -> tuple[ObjectiveResult, ObjectiveResult]:
    """Return how accuracy came out for the plan itself, less work having taken its slack.

    The bounds hold for every choice and stay; the values are those of the selection.

    Parameters
    ----------
    problem : FitProblem
    selection : Array (n,)
        The plan itself.
    objectives : Objectives
    first, second : ObjectiveResult
        Worst ratio and least squares as found before less work was looked for.
    """
    x = problem.settings(selection)
    worst, squares = problem.worst_ratio(x), problem.squares(x)
    text = second.text
    if squares > second.upper + _CARE * max(1.0, second.upper):
        text = (
            f"{'the least is' if second.proven else 'the least found is'} {second.upper:.4g}; for "
            f"less work at most {allowed_squares(objectives, second.upper):.4g} is spent"
        )
    return (
        replace(first, upper=worst, lower=min(first.lower, worst)),
        replace(second, upper=squares, lower=min(second.lower, squares), text=text),
    )


def _still(problem: FitProblem, goal: float) -> Chosen | None:
    """Return the plan that moves nothing where every check is inside the goal as surveyed."""
    stays = [next((k for k, c in enumerate(own) if not c.disturbed), -1) for own in problem.choices]
    selection = np.array(stays)
    if min(stays) < 0 or not problem.feasible(selection):
        return None
    x = problem.settings(selection)
    worst, squares = problem.worst_ratio(x), problem.squares(x)
    if worst > goal:
        return None
    text = (
        f"every check is within {goal:.2f} of its tolerance as surveyed: nothing needs to move "
        "(a lower worst_ratio_goal asks for more)"
    )
    results = [
        ObjectiveResult("worst ratio", worst, 0.0, True, text),
        ObjectiveResult("least squares", squares, 0.0, False, "as surveyed"),
    ]
    results += [
        ObjectiveResult(name, 0, 0, True, "nothing moves")
        for name in ("seats disturbed", "plates handled", "plates in new packs")
    ]
    return Chosen(selection, tuple(results), x, "no search: nothing needs to move", worst)


def attainable(problem: FitProblem, goal: float, starts: int = 4) -> Array | None:
    """Return a selection whose every ratio is within the goal, if one is easily found.

    Parameters
    ----------
    problem : FitProblem
    goal : float
        Greatest ratio of deviation to tolerance.
    starts : int
        How many starts the local search makes.

    Returns
    -------
    Array (n,) or None
        None proves nothing: there may be a selection that is harder to find.
    """
    start = least_squares(problem, goal)
    if start is None:
        return None
    space = space_of(problem, start.x, goal)
    return improve(space, squares_goal(problem), starts)[0]


def _met(problem: FitProblem, selection: Array, goal: float, relaxed: Relaxed) -> ObjectiveResult:
    value = problem.worst_ratio(problem.settings(selection))
    text = f"every check within {goal:.2f} of its tolerance"
    return ObjectiveResult("worst ratio", value, min(value, relaxed.value), True, text)


def _along(problem: FitProblem, cap: float, effort: Effort, report: Report) -> SearchResult | None:
    """Search a line of three segments or more along the deck; None where it is no such line."""
    halves = zip(problem.clusters[::2], problem.clusters[1::2], strict=True)
    if sum(bool(a or b) for a, b in halves) < _LINE or deck_line(problem, cap) is None:
        return None
    if _branches(problem, cap):
        return None
    report("least squares along the deck, within tolerance")
    goal = squares_goal(problem)

    def repair(selection: Array) -> Array | None:
        """Bring a selection that overdraws the stock back within it, two seats at a time."""
        space = space_of(problem, problem.settings(selection), cap)
        return improve(space, goal, 1, begin=selection)[0]

    free = least_squares(problem, None)
    if free is not None and problem.worst_ratio(free.x) < _FAR_INSIDE * cap:
        # rows that bind nowhere cost time: a plan found without them that keeps them is the best
        found = solve_deck_line(problem, None, repair, effort)
        if found is None or found.selection is None:
            return found
        if problem.worst_ratio(problem.settings(found.selection)) <= cap:
            return found
    return solve_deck_line(problem, cap, repair, effort)


def _in_bands(
    problem: FitProblem, selection: Array, cap: float, effort: Effort
) -> SearchResult | None:
    """Search a continuous deck in bands, decks side by side as lines; None where it is neither."""
    if max(len(c) for c in problem.clusters) >= _LONG:
        return solve_banded(problem, cap, selection, effort)
    return solve_branched(problem, cap, selection, effort) if _branches(problem, cap) else None


def _branches(problem: FitProblem, cap: float | None) -> bool:
    """Say whether segments stand side by side, with more seats than can be listed together."""
    deck = deck_line(problem, cap)
    halves = zip(problem.clusters[::2], problem.clusters[1::2], strict=True)
    segments = sum(bool(a or b) for a, b in halves)
    if deck is None or segments <= len(deck.blocks):
        return False
    return max(len(block) for block in deck.blocks) > _BLOCK


def _method(problem: FitProblem, cap: float, along: SearchResult | None) -> str:
    packs = sum(len(c) for c in problem.choices)
    over = f"over {len(problem.seats)} seats with {packs} possible packs and settings"
    if along is not None and along.selection is not None:
        return (
            f"recursion along the deck {over}: segments are tied to their neighbours only; plates "
            f"in short supply shared by prices"
        )
    if max(len(c) for c in problem.clusters) >= _LONG:
        return (
            f"recursion in bands along a continuous deck {over}: what lies outside a band is paid "
            f"for in the bound, and plans that could be better are summed up in full"
        )
    if _branches(problem, cap):
        return (
            f"recursion along decks side by side {over}: ties across are bounded from below, and "
            f"plans that could be better are summed up in full"
        )
    return (
        f"exact search in rings {over}, clusters of seats matched through a k-d tree; start from "
        f"the continuous optimum improved two seats at a time"
    )


def _worst(
    problem: FitProblem, relaxed: Relaxed, goal: float, effort: Effort, report: Report
) -> tuple[Array, ObjectiveResult]:
    report("first objective: every check inside")
    if relaxed.value <= goal:
        selection = attainable(problem, goal, _STARTS)
        if selection is not None:
            return selection, _met(problem, selection, goal, relaxed)
    aim = worst_goal(problem, relaxed)
    start = _closer(problem, _any_selection(problem, relaxed, aim, effort), relaxed.value, goal)
    score = problem.worst_ratio(problem.settings(start))
    if score <= relaxed.value * (1.0 + _BOUND):
        # no plates are better: nothing is left to search
        found = SearchResult(None, score, score, True)
    else:
        space = space_of(problem, relaxed.x, None)
        found = ring_search(problem, space, aim, score, effort)
    selection = start if found.selection is None else found.selection
    if not found.proven and problem.worst_ratio(problem.settings(selection)) > goal:
        selection = _asked(problem, selection, effort, report)
    value = problem.worst_ratio(problem.settings(selection))
    lower = max(found.lower, relaxed.value) if not found.proven else value
    met = value <= goal
    if met:
        text = f"every check within {goal:.2f} of its tolerance"
    else:
        text = f"a worst ratio of {goal:.2f} cannot be reached"
        if lower <= goal:
            text = f"a worst ratio of {goal:.2f} was not reached, nor shown to be out of reach"
    return selection, ObjectiveResult(
        "worst ratio", value, min(lower, value), met or found.proven, text
    )


def _asked(problem: FitProblem, selection: Array, effort: Effort, report: Report) -> Array:
    """Return a selection of less worst ratio that a general solver finds, or the same.

    Where the store is short a descent finds little and rings list too much. Only its selection is
    taken, and weighed; what it claims of others is not. It is stopped by nodes, not by time.
    """
    if len(problem.seats) > _JOINT or effort.stop() or effort.caught:
        return selection
    report("first objective: a general solver looks where the search came to no end")
    catch = Effort(np.inf, _CATCH)
    stated = least_worst_by(problem, "highs", _CATCH, _NODES)
    effort.caught = effort.caught or catch.over()
    if stated.selection is None or stated.value >= problem.worst_ratio(problem.settings(selection)):
        return selection
    return stated.selection


def _closer(problem: FitProblem, selection: Array, least: float, goal: float) -> Array:
    """Bring the worst ratio of a selection down by halving the way to what can be hoped for."""
    hope = max(least, goal)
    for _ in range(_HALVINGS):
        worst = problem.worst_ratio(problem.settings(selection))
        if worst - hope < _NEAR_ENOUGH * worst:
            break
        cap = 0.5 * (hope + worst)
        better = attainable(problem, cap)
        if better is None:
            hope = cap
        else:
            selection = better
    return selection


def _any_selection(problem: FitProblem, relaxed: Relaxed, aim: Goal, effort: Effort) -> Array:
    """Return some selection that keeps limits and stock, as good as is easily found."""
    space = space_of(problem, relaxed.x, None)
    selections = [improve(space, goal, _STARTS)[0] for goal in (aim, squares_goal(problem))]
    ready = [p for p in selections if p is not None]
    if ready:
        return min(ready, key=lambda p: problem.worst_ratio(problem.settings(p)))
    found = search(space, squares_goal(problem), first_only=True, effort=effort)
    if found.selection is not None:
        return found.selection
    if found.proven:
        raise NoPlan("no choice of whole plates keeps all hard limits and the stock")
    raise NoPlan("no choice of whole plates that keeps all limits was found with the effort given")


@dataclass(frozen=True, eq=False)
class Least:
    """Least squares found: a selection (n,) or None; bounds; settings (n,) of any thickness [m].

    ``lower`` holds for every selection; without a selection, ``proven`` says that there is none.
    """

    selection: Array | None
    upper: float
    lower: float
    proven: bool
    relaxed: Relaxed | None


def best_squares(
    problem: FitProblem,
    cap: float,
    effort: Effort,
    *,
    begin: Array | None = None,
    along: SearchResult | None = None,
    report: Report = lambda line: None,
) -> Least:
    """Find the selection of least squares with every ratio within ``cap``.

    Parameters
    ----------
    problem : FitProblem
    cap : float
    effort : Effort
        Work after which a gap is left.
    begin : Array (n,) of whole numbers, optional
        A selection known to keep limits, stock and ``cap``.
    along : SearchResult, optional
        What the search along the deck found, where it was made before.
    report : callable
    """
    relaxed = least_squares(problem, cap)
    if relaxed is not None:
        ideal = relaxed.x
    elif begin is not None:
        ideal = problem.settings(begin)
    else:
        return Least(None, np.inf, np.inf, True, None)
    along = _along(problem, cap, effort, report) if along is None else along
    bound = 0.0 if relaxed is None else max(0.0, relaxed.lower * (1.0 - _CARE))
    if along is not None and (along.selection is not None or (along.proven and begin is None)):
        bound = max(along.lower, bound)
        lower = along.score if along.proven else min(along.score, bound)
        return Least(along.selection, along.score, lower, along.proven, relaxed)
    space, goal = space_of(problem, ideal, cap), squares_goal(problem)
    start, value = improve(space, goal, _STARTS)
    if begin is not None and problem.squares(problem.settings(begin)) < value:
        start, value = begin, problem.squares(problem.settings(begin))
    found = None if start is None else _in_bands(problem, start, cap, effort)
    if found is not None and found.selection is not None:
        start, value, bound = found.selection, found.score, max(bound, found.lower)
    if found is None or not found.proven:
        best = value if start is not None else most_squares(problem, cap)
        found = ring_search(problem, space, tight_goal(problem, relaxed), best, effort)
    if found.selection is not None:
        start, value = found.selection, problem.squares(problem.settings(found.selection))
    bound = max(found.lower, bound)
    return Least(start, value, value if found.proven else min(value, bound), found.proven, relaxed)


def most_squares(problem: FitProblem, cap: float) -> float:
    """Return a sum of squares above that of every selection with every ratio within ``cap``.

    Parameters
    ----------
    problem : FitProblem
    cap : float
        Greatest ratio of deviation to tolerance.
    """
    farthest = np.abs(problem.windows).max(axis=1, initial=0.0)
    return float(cap**2 * problem.weights.sum() + problem.move_price * farthest @ farthest) + 1.0


def _squares(
    problem: FitProblem,
    selection: Array,
    cap: float,
    along: SearchResult | None,
    effort: Effort,
    report: Report,
) -> tuple[Array, ObjectiveResult, Array]:
    report("second objective: least squares")
    found = best_squares(problem, cap, effort, begin=selection, along=along)
    ideal = problem.settings(selection) if found.relaxed is None else found.relaxed.x
    selection = selection if found.selection is None else found.selection
    text = f"least sum of squared ratios with every ratio within {cap:.2f}"
    objective = ObjectiveResult("least squares", found.upper, found.lower, found.proven, text)
    return selection, objective, ideal
