"""One battery that every way of solving passes, on small jobs made by seed with everything on.

Each way says what it found, a bound, and whether it is proven. All of it is held against every
selection there is, weighed from the job itself (``jobs.py``): the plan keeps every limit and has
the value it is said to have; no bound is above the best plan; what is proven is the best. The
continuous optimum is held to its optimality conditions.

    python benchmarks/battery.py --cases 3000
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from jobs import Made, Weighed, made_job, weigh, weigh_all

from fitup.errors import NoPlan
from fitup.frames import Array
from fitup.model import Objectives
from fitup.plan.priorities import choose
from fitup.plan.search_space import space_of, squares_goal, tight_goal, worst_goal
from fitup.problem import FitProblem, build_problem
from fitup.problem.continuous import Relaxed, least_squares, least_worst
from fitup.solve import SearchResult
from fitup.solve.banded import solve_banded
from fitup.solve.clusters import cluster_tree
from fitup.solve.exact import Goal, search
from fitup.solve.general_solvers import CARE, Opinion, least_squares_by, least_worst_by, solvers
from fitup.solve.local_search import improve
from fitup.solve.rings import search_rings
from fitup.solve.stock import solve_deck_line

#: a score that every plan of such a job beats
ANY = 1e9
#: the plan to beat is so many times as bad as the best
BEAT = (1.01, 1.1, 1.5, 4.0)
#: how far our own methods may be off, relative to the value or to one
OURS = 1e-6
#: settings in millimetres, and how near a row counts as reached
MM, REACHED = 1e-3, 1e-4
#: every other job has a cap on its ratios: so many times the least there is
CAPS = (None, 1.0, 1.3, 2.5)


@dataclass(frozen=True)
class Answer:
    """What one way found: a selection, its value, a bound, and whether it is proven."""

    selection: Array | None
    value: float
    lower: float
    proven: bool
    care: float = OURS


@dataclass(frozen=True, eq=False)
class Case:
    """A job as a problem, its continuous optima, and every selection there is."""

    made: Made
    problem: FitProblem
    every: Weighed
    loosest: Relaxed | None
    cap: float | None
    nearest: Relaxed | None


def case(seed: int) -> Case:
    """The job of a seed; where it has plans, one in two has a cap that some of them keep."""
    made = made_job(seed)
    problem = build_problem(made.job, made.state, made.influence)
    every = weigh_all(made, problem.move_price)
    try:
        loosest: Relaxed | None = least_worst(problem)
    except NoPlan:
        loosest = None
    times, least = CAPS[seed % len(CAPS)], every.least_worst()
    cap = None if times is None or np.isinf(least) else times * least * (1.0 + 1e-9)
    nearest = least_squares(problem, cap)
    return Case(made, problem, every, loosest, cap, nearest)


Way = Callable[[Case], Answer | None]


def _ours(found: SearchResult) -> Answer:
    return Answer(found.selection, found.score, found.lower, found.proven)


def _theirs(found: Opinion) -> Answer:
    return Answer(found.selection, found.value, found.lower, found.proven, 2.0 * CARE)


def _searched(case: Case, goal: Goal, cap: float | None, *, rings: bool) -> Answer:
    ideal = np.zeros(len(case.problem.seats)) if case.nearest is None else case.nearest.x
    space = space_of(case.problem, ideal, cap)
    truth = case.every.least_worst() if goal.kind == "worst" else case.every.least_squares(cap)
    times = BEAT[len(case.every.x) % len(BEAT)]
    # a plan to beat, as the front end has one: rings grow from small to where it is
    best = min(ANY, times * truth + 1e-3)
    stated = [-np.inf]

    def watch(nodes: int, score: float, lower: float) -> None:
        """Keep the bounds told on the way: each must hold."""
        stated.append(lower)

    if rings:
        groups = [np.array(c, dtype=np.int64) for c in case.problem.clusters if c]
        tree = cluster_tree(goal, groups)
        found = search_rings(space, goal, tree, best=best, watch=watch)
    else:
        found = search(space, goal, best=best, watch=watch)
    return replace(_ours(found), lower=max(found.lower, *stated))


def _worst_of(case: Case, *, rings: bool) -> Answer | None:
    if case.loosest is None:
        return None
    return _searched(case, worst_goal(case.problem, case.loosest), None, rings=rings)


def _squares_of(case: Case, *, rings: bool, tight: bool) -> Answer | None:
    if not tight:
        return _searched(case, squares_goal(case.problem), case.cap, rings=rings)
    if case.nearest is None:
        return None
    return _searched(case, tight_goal(case.problem, case.nearest), case.cap, rings=rings)


def _descent(case: Case) -> Answer | None:
    """A plan quickly, no more."""
    if case.nearest is None:
        return None
    space = space_of(case.problem, case.nearest.x, case.cap)
    selection, value = improve(space, squares_goal(case.problem), 3)
    return Answer(selection, value, -np.inf, False)


def _line(case: Case) -> Answer | None:
    """Along the deck, given any plan where the stock is overdrawn."""
    best = _searched(case, squares_goal(case.problem), case.cap, rings=False).selection
    worse = _another(case, best)
    found = solve_deck_line(case.problem, case.cap, lambda selection: worse)
    return None if found is None else _ours(found)


def _bands(case: Case) -> Answer | None:
    best = _searched(case, squares_goal(case.problem), case.cap, rings=False).selection
    worse = _another(case, best)
    found = None if worse is None else solve_banded(case.problem, case.cap, worse)
    return None if found is None else _ours(found)


def _another(case: Case, selection: Array | None) -> Array | None:
    """A plan that differs from the best at one seat, or the best where there is none."""
    if selection is None:
        return None
    for i, own in enumerate(case.problem.choices):
        for k in range(len(own)):
            other = np.array(selection)
            other[i] = k
            x = case.problem.settings(other)
            inside = case.cap is None or case.problem.worst_ratio(x) <= case.cap
            if k != selection[i] and inside and case.problem.feasible(other):
                return other
    return selection


#: least worst ratio, and least squares with every ratio within the cap
WORST: dict[str, Way] = {
    "walk": lambda case: _worst_of(case, rings=False),
    "rings": lambda case: _worst_of(case, rings=True),
}
SQUARES: dict[str, Way] = {
    "descent": _descent,
    "walk": lambda case: _squares_of(case, rings=False, tight=False),
    "walk, multipliers": lambda case: _squares_of(case, rings=False, tight=True),
    "rings": lambda case: _squares_of(case, rings=True, tight=False),
    "rings, multipliers": lambda case: _squares_of(case, rings=True, tight=True),
    "line": _line,
    "bands": _bands,
}
for name in solvers():
    WORST[name] = lambda case, by=name: _theirs(least_worst_by(case.problem, by))
    SQUARES[name] = lambda case, by=name: _theirs(least_squares_by(case.problem, case.cap, by))
#: ways that may end without a proof, and say so
OPEN = ("descent", "line", "bands")


def faults(case: Case, answer: Answer, truth: float, *, worst: bool, may_be_open: bool) -> str:
    """Say what is wrong with an answer; empty where nothing is."""
    care = answer.care * max(1.0, abs(truth) if np.isfinite(truth) else 1.0)
    if answer.lower > truth + care:
        return f"bound {answer.lower:.9g} above the best plan {truth:.9g}"
    if not answer.proven and not may_be_open:
        return "came to no end"
    if answer.selection is None:
        return "found none" if answer.proven and np.isfinite(truth) else ""
    own = _weighed(case, answer.selection)
    value = float((own.worst if worst else own.squares)[0])
    if not own.kept[0]:
        return "breaks a limit or the stock"
    if not worst and case.cap is not None and own.worst[0] > case.cap * (1.0 + 1e-9):
        return f"worst ratio {own.worst[0]:.9g} beyond {case.cap:.9g}"
    if abs(value - answer.value) > care:
        return f"said to be {answer.value:.9g}, is {value:.9g}"
    if answer.proven and value > truth + care:
        return f"proven {value:.9g}, the best is {truth:.9g}"
    return ""


def _weighed(case: Case, selection: Array) -> Weighed:
    """Weigh one selection from the job itself."""
    problem, seats = case.problem, case.made.job.seats
    marks = sorted(case.made.job.plates)
    packs = [
        () if seats[s].hold else own[k].marks
        for s, own, k in zip(problem.seats, problem.choices, selection, strict=True)
    ]
    used = np.array([[sum(p.count(m) for p in packs) for m in marks]])
    return weigh(case.made, problem.settings(selection)[None, :], used, problem.move_price)


def whole(case: Case) -> str:
    """Hold the front end against every selection: by both objectives; say what is wrong."""
    goal = (0.0, 0.5, 1.0)[len(case.problem.seats) % 3]
    least = case.every.least_worst()
    objectives = Objectives(worst_ratio_goal=goal, search_effort=1e3)
    try:
        chosen = choose(case.problem, objectives)
    except NoPlan:
        return "found no plan" if np.isfinite(least) else ""
    first, second = chosen.objectives[:2]
    own = _weighed(case, chosen.selection)
    care = OURS * max(1.0, least)
    if not own.kept[0]:
        return "breaks a limit or the stock"
    if first.lower > least + care or not first.proven:
        return f"worst ratio at least {first.lower:.9g}, the best is {least:.9g}"
    if first.upper > max(goal, least) + care:
        return f"worst ratio {first.upper:.9g}, the best is {least:.9g}"
    if second.text == "as surveyed":
        return ""
    truth = case.every.least_squares(max(goal, least) * (1.0 + 1e-9))
    care = OURS * max(1.0, truth)
    if abs(second.lower - truth) > care or not second.proven:
        return f"squares at least {second.lower:.9g}, the best is {truth:.9g}"
    # the plan itself may spend the slack, and no more, for less work
    most = truth + max(objectives.squares_slack * truth, objectives.squares_slack_floor)
    if abs(second.upper - own.squares[0]) > care or second.upper > most + care:
        return f"squares {second.upper:.9g}, weighed {own.squares[0]:.9g}, allowed {most:.9g}"
    return ""


def conditions(problem: FitProblem, x: Array, cap: float | None, *, worst: bool) -> float:
    """How far a continuous optimum is from its optimality conditions, relative to its slope.

    What pulls towards better must be held by rows that are reached: the least that is left of the
    slope when multipliers that are not negative may be chosen freely for those rows.
    """
    miss = problem.F @ x - problem.g
    held = _held(problem, x, miss, cap)
    if not worst:
        slope = 2.0 * (problem.F.T @ (problem.weights * miss) + problem.move_price * x) * MM
        return _left(held.T, -slope) / (1.0 + float(np.linalg.norm(slope)))
    # the ratios that are the worst take weights that add up to one
    top = np.r_[miss, -miss] >= np.abs(miss).max() - REACHED
    rows = np.vstack([np.vstack([problem.F, -problem.F])[top] * MM, held])
    shares = np.r_[np.ones(top.sum()), np.zeros(len(held))]
    heavy = 1e2
    return _left(np.vstack([rows.T, heavy * shares]), np.r_[np.zeros(len(x)), heavy])


def _held(problem: FitProblem, x: Array, miss: Array, cap: float | None) -> Array:
    """Rows of windows, limits and cap that are reached, in millimetres (k, n)."""
    n = len(x)
    size = np.abs(problem.L).max(axis=1, initial=0.0)
    rows = [np.eye(n), -np.eye(n), problem.L / size[:, None]]
    room = [
        problem.windows[:, 1] - x,
        x - problem.windows[:, 0],
        (problem.b - problem.L @ x) / size,
    ]
    room = [r / MM for r in room]
    if cap is not None:
        rows += [problem.F * MM, -problem.F * MM]
        room += [cap - miss, cap + miss]
    return np.vstack(rows)[np.concatenate(room) <= REACHED]


def _left(A: Array, b: Array) -> float:
    """What is left of b by the best multipliers that are not negative."""
    from scipy.optimize import nnls

    return float(nnls(A, b)[1]) if A.shape[1] else float(np.linalg.norm(b))


def continuous(case: Case) -> str:
    """Hold both continuous optima to their conditions and to every selection; say what is wrong."""
    if case.loosest is not None and len(case.problem.rows):
        left = conditions(case.problem, case.loosest.x, None, worst=True)
        if left > 1e-3:
            return f"the least worst ratio leaves {left:.2g} of its slope"
        if case.loosest.value > case.every.least_worst() + 1e-6:
            return "a plan is below the continuous worst ratio"
    if case.nearest is not None:
        left = conditions(case.problem, case.nearest.x, case.cap, worst=False)
        if left > 1e-3:
            return f"the least squares leave {left:.2g} of their slope"
        if case.nearest.value > case.every.least_squares(case.cap) * (1.0 + 1e-5) + 1e-6:
            return "a plan is below the continuous squares"
    elif np.isfinite(case.every.least_squares(case.cap)):
        return "no continuous optimum, though there are plans"
    return ""


def examine(seed: int, only: tuple[str, ...] = ()) -> tuple[list[str], dict[str, float]]:
    """Put one job through the battery: what is wrong, and seconds of each way that had a say."""
    made = case(seed)
    wrong, spent = [], {}
    for objective, ways in (("worst ratio", WORST), ("least squares", SQUARES)):
        worst = objective == "worst ratio"
        truth = made.every.least_worst() if worst else made.every.least_squares(made.cap)
        for name, way in ways.items():
            if only and name not in only:
                continue
            begin = time.perf_counter()
            answer = way(made)
            if answer is None:
                continue
            spent[f"{objective} | {name}"] = time.perf_counter() - begin
            fault = faults(made, answer, truth, worst=worst, may_be_open=name in OPEN)
            if fault:
                wrong.append(f"job {seed}, {objective}, {name}: {fault}")
    for name, check in (("front end", whole), ("continuous optimum", continuous)):
        if only and name not in only:
            continue
        begin = time.perf_counter()
        fault = check(made)
        spent[f"both | {name}"] = time.perf_counter() - begin
        if fault:
            wrong.append(f"job {seed}, {name}: {fault}")
    return wrong, spent


def main() -> None:
    """Print what is wrong, if anything, and a line a way."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=3000)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument(
        "--only", nargs="*", default=[], help="ways to try; all of them if left out"
    )
    options = parser.parse_args()
    times: dict[str, list[float]] = {}
    wrong = []
    for seed in range(options.first, options.first + options.cases):
        found, spent = examine(seed, tuple(options.only))
        wrong += found
        for line in found:
            print(line, flush=True)
        for name, seconds in spent.items():
            times.setdefault(name, []).append(seconds)
    print("| objective | way | jobs | ms each (median) |\n|---|---|---|---|")
    for name, all_of in times.items():
        print(f"| {name} | {len(all_of)} | {1e3 * float(np.median(all_of)):.1f} |")
    print(f"\n{options.cases} jobs from seed {options.first}: {len(wrong)} faults")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
