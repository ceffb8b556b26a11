"""A second opinion on a plan: a general solver looks for a better one, within a time allowed.

The general solver gets the problem that the plan was made from and nothing that was found on the
way. It may come to the same end, or know less when its time is over; where it finds a plan below
what ours is said to be the least, one of the two is wrong and the plan must not be used.
"""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import Any, Final

import numpy as np

from fitup.errors import CertificateRefused, FitupError, InputError, NoPlan, Problem
from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, ObjectiveResult, Objectives, Plan
from fitup.plan.least_work import allowed_squares
from fitup.problem.contact import based
from fitup.problem.continuous import least_squares
from fitup.problem.problem import FitProblem, build_problem
from fitup.problem.statement import Statement
from fitup.solve.general_solvers import (
    CARE,
    NAMES,
    Opinion,
    Solver,
    least_squares_by,
    least_worst_by,
    solvers,
)
from fitup.solve.known import answers_right

Report = Callable[[str], None]

#: between two lines of progress, and how much longer than allowed is waited for an answer [s]
_TELL: Final = 10.0
_PATIENCE: Final = 30.0
#: how far a plan may be off the straight line it was made on [m or m/m]
_STRAIGHT: Final = 1e-6
#: how near the two continuous optima must be, relative and absolute
_SAME: Final = 1e-4


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """What a general solver says of one objective.

    ``found`` is the value of the best plan it found, None where it found none; ``lower`` its own
    bound on every plan; ``proven`` that it came to its end.
    """

    name: str
    solver: str
    found: float | None
    lower: float
    proven: bool
    text: str


def chosen_solver(name: str) -> Solver:
    """Return a general solver by name.

    Raises
    ------
    InputError
        If it is not installed.
    """
    for solver in solvers():
        if solver == name:
            return solver
    do = "install it with: pip install 'fitup[bench]'"
    allowed = f"a general solver that is installed: {', '.join(solvers())}"
    raise InputError([Problem("command line", repr(name), allowed, do, None, "--by")])


def refuse_risk(job: Job) -> None:
    """Raise InputError for a job that accepts a risk: its plans weigh more than these."""
    if job.objectives.risk is not None:
        found, allowed = f"risk = {job.objectives.risk:g}", "no risk, for a second opinion"
        do = "ask for it on a copy of the job without the risk, or leave --second-opinion out"
        raise InputError([Problem("job.toml", found, allowed, do, None, "objectives.risk")])


def second_opinion(
    job: Job,
    state: CheckState,
    influence: Influence,
    plan: Plan,
    limit: float,
    solver: Solver = "highs",
    report: Report = lambda line: None,
) -> tuple[SecondOpinion, ...]:
    """Let a general solver look for a plan that fulfils the first or second objective better.

    It runs in a process of its own, so that Ctrl-C stops it at once.

    Parameters
    ----------
    job : Job
    state : CheckState
        Checks as surveyed.
    influence : Influence
        As the plan was made with.
    plan : Plan
    limit : float
        Time allowed in all [s].
    solver : {'highs', 'scip'}
    report : callable
        Called with one line: now and then how long it has been looking.

    Raises
    ------
    InputError
        If the job accepts a risk.
    CertificateRefused
        If it finds a plan below the bound of the plan.
    FitupError
        If it gives no answer, or a wrong one to a problem whose answer is known.
    """
    refuse_risk(job)
    state, influence = _straight(state, influence, plan.settings())
    problem = build_problem(job, state, influence, restock=plan.reuse)
    objectives = {w.name: w for w in plan.objectives}
    goal, worst = job.objectives.worst_ratio_goal, objectives["worst ratio"]
    asked = [objectives["least squares"]]
    if worst.upper > goal:
        asked.insert(0, worst)
    cap = max(goal, worst.upper) * (1.0 + 1e-9)
    report("second opinion: plates of any thickness, by the statement of the problem")
    hold_to_statement(problem, cap)
    says = []
    for objective in asked:
        given = (problem, objective.name, cap, solver, limit / len(asked))
        found = _aside(given, f"second opinion by {NAMES[solver]} on the {objective.name}", report)
        says.append(said_of(objective, found, solver, job.objectives))
    return tuple(says)


def hold_to_statement(problem: FitProblem, cap: float) -> None:
    """Hold the continuous optimum, from which all bounds come, to the readable statement.

    Parameters
    ----------
    problem : FitProblem
    cap : float
        Greatest ratio of deviation to tolerance.

    Raises
    ------
    CertificateRefused
        If the two come to different least squares.
    """
    fast, statement = least_squares(problem, cap), Statement.of(problem, cap)
    try:
        stated = statement.solve(statement.squares)[1]
    except NoPlan:
        stated = np.inf
    ours = np.inf if fast is None else fast.value
    if not np.isclose(ours, stated, rtol=_SAME, atol=_SAME):
        raise CertificateRefused(
            [
                f"with plates of any thickness the least squares are {ours:.6g}, by the statement "
                f"of the problem {stated:.6g}: one of the two is wrong; do not use this plan, and "
                "report it"
            ]
        )


def _straight(state: CheckState, influence: Influence, x: Array) -> tuple[CheckState, Influence]:
    """Return checks and the influence on whose straight line a plan lies."""
    if influence.exact is None:
        return based(state, influence), influence
    missed = np.abs(influence.state(x)[0] - influence.straight(x)[0]).max(initial=0.0)
    if missed > _STRAIGHT:
        influence = replace(influence.exact.about(x), stays=influence.exact.stays(x))
    return based(state, influence), influence


def said_of(
    objective: ObjectiveResult, found: Opinion, solver: Solver, objectives: Objectives
) -> SecondOpinion:
    """Put into words what a solver found, beside what the plan says of an objective.

    Parameters
    ----------
    objective : ObjectiveResult
        What the plan says of its worst ratio or its least squares.
    found : Opinion
    solver : Solver
    objectives : Objectives
        For the slack of the squares that less work may take.

    Raises
    ------
    CertificateRefused
        If it found a plan below our bound. A bound of its own above our plan, which is there and
        was weighed, refutes the solver and not the plan.
    """
    name, care = NAMES[solver], CARE * max(1.0, abs(objective.upper))
    best = float(found.value) if found.selection is not None else None
    if best is not None and best < objective.lower - care:
        raise CertificateRefused(
            [
                f"{name} found a plan with a {objective.name} of {best:.6g}, where none should "
                f"be below {objective.lower:.6g}: one of the two is wrong; do not use this "
                "plan, and report it"
            ]
        )
    if found.lower > objective.upper + care:
        text = (
            f"{name} claims that no plan is below {found.lower:.4g}, which this plan of "
            f"{objective.upper:.4g} refutes: nothing it says of this job is believed"
        )
        return SecondOpinion(objective.name, name, best, 0.0, False, text)
    spent = objective.name == "least squares" and objective.upper <= allowed_squares(
        objectives, found.value
    )
    if best is not None and best < objective.upper - care and spent and objective.proven:
        plan = f"the plan's {objective.upper:.4g}"
        text = f"{name} comes to {best:.4g}; {plan} is within the slack of it"
    elif best is not None and best < objective.upper - care:
        text = f"{name} found a better one, {best:.4g}: a greater search_effort lets fitup look on"
    elif best is not None and found.proven:
        text = f"{name} comes to the same, {best:.4g}: by its own word no plan is better"
    else:
        text = f"{name} found no plan in the time allowed"
        if best is not None:
            text = f"{name} found nothing better in the time allowed, at best {best:.4g}"
        text += f"; by its own word none is below {max(found.lower, 0.0):.4g}"
    return SecondOpinion(
        objective.name, name, best, max(float(found.lower), 0.0), bool(found.proven), text
    )


def _aside(given: tuple[Any, ...], what: str, report: Report) -> Opinion:
    """Solve in a process of its own, which Ctrl-C ends at once."""
    limit = given[-1]
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    worker = context.Process(target=_solve, args=(there, given), daemon=True)
    begin = time.monotonic()
    report(what)
    worker.start()
    there.close()
    try:
        while not here.poll(_TELL):
            passed = time.monotonic() - begin
            if passed > limit + _PATIENCE:
                return Opinion(None, np.inf, -np.inf, False)
            report(f"{what}: {min(passed, limit):.0f} s of {limit:.0f} s")
        answer: Opinion | str = here.recv()
    except EOFError:
        answer = "it ended without an answer, perhaps for want of memory"
    finally:
        worker.kill()
        worker.join()
    if isinstance(answer, str):
        raise FitupError(f"{what}: {answer}; ask another solver (--by), or do without")
    return answer


def _solve(there: Connection, given: tuple[Any, ...]) -> None:
    problem, objective, cap, solver, limit = given
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # foreign solvers print, also into a JSON
    try:
        if not answers_right(solver):
            there.send(f"{NAMES[solver]} as installed gives a wrong answer to a known problem")
        elif objective == "worst ratio":
            there.send(least_worst_by(problem, solver, limit))
        else:
            there.send(least_squares_by(problem, cap, solver, limit))
    except Exception as error:  # whatever a foreign solver raises is stated in one line
        there.send(f"{type(error).__name__}: {error}".splitlines()[0])
