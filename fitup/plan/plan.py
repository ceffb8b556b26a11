"""From a job, its checks and its influence to a plan: packs, stages, proof, and why not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fitup.errors import InputError, NoPlan, NoSafeOrder
from fitup.frames import Array
from fitup.model import (
    CheckState,
    Conflict,
    Influence,
    Job,
    ObjectiveResult,
    Obstacle,
    Plan,
    SeatPlan,
    Stage,
)
from fitup.model.identity import plan_hash
from fitup.plan.candidates import Candidates, chosen_instead
from fitup.plan.least_work import counts_again
from fitup.plan.no_safe_order import blocks_of, explain
from fitup.plan.order import order_stages, stages_of_order
from fitup.plan.priorities import CAUGHT, Chosen, choose, effort_of
from fitup.plan.whynot import find_obstacles, limits_in_the_way
from fitup.problem.contact import plan_with_contact
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem, build_problem
from fitup.problem.relaxations import Case
from fitup.procedure.course import OrderFound
from fitup.procedure.layout import Laid
from fitup.procedure.plan_stages import best_order, stages_result
from fitup.procedure.possible import impossible
from fitup.solve.effort import Stop, never

Report = Callable[[str], None]
#: what is said of a plan whose search somebody ended
STOPPED = "; stopped by hand"


def make_plan(
    job: Job,
    state: CheckState,
    influence: Influence,
    report: Report = lambda line: None,
    stop: Stop = never,
    *,
    explain: bool = True,
) -> Plan:
    """Return the plan of a job.

    Parameters
    ----------
    job : Job
    state : CheckState
        Checks as surveyed.
    influence : Influence
        From rigid segments or a table; nothing here can tell which.
    report : callable
        Called with one line: what is being done, for long work.
    stop : callable
        Asked now and then whether to end with the best plan so far; its method then says so.
    explain : bool
        Look for what stands in the way where a check stays outside.

    Returns
    -------
    Plan
        The same for the same job, byte for byte, as long as the search ends before its time
        limit; a limit that is reached leaves the best plan of what was searched to its end.

    Raises
    ------
    InputError
        If a seat that may be moved cannot be worked at, whatever is planned.
    NoPlan
        If no choice of whole plates keeps the hard limits.
    NoSafeOrder
        If no order of stages keeps every limit on the way.
    """
    problems = list(impossible(job, influence))
    if problems:
        raise InputError(problems)
    if influence.exact is None:
        plan = _make(job, state, influence, report, stop, explain=explain)
    else:
        plan = plan_with_contact(
            state,
            influence,
            lambda own, effect, last: _make(
                job, own, effect, report, stop, explain=explain and last
            ),
            report,
        )
    return replace(plan, id=plan_id(job, plan))


def _make(
    job: Job,
    state: CheckState,
    influence: Influence,
    report: Report,
    stop: Stop,
    *,
    explain: bool,
) -> Plan:
    """Plan on the straight line of an influence; ``explain`` looks for what stands in the way."""
    reuse = True
    chosen, seats = _choose(job, state, influence, reuse, report, stop)
    report("order of stages")
    laid, outcome = best_order(job, state, influence, seats, report)
    if outcome.stages is not None:
        stages = stages_of_order(job, influence, laid, outcome.stages)
        fewest = stages_result(job, laid, outcome)
    else:
        found = _with_order(job, state, influence, chosen, (laid, outcome), report, stop)
        chosen, seats, stages, fewest, reuse = found
    inside = chosen.worst <= 1.0 + 1e-9
    conflicts: tuple[Conflict, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    if explain and not inside and not stop():
        effort = effort_of(job.objectives, stop)
        conflicts, obstacles = find_obstacles(Case(job, state, influence), effort, report)
    return Plan(
        seats=seats,
        stages=stages,
        objectives=(*chosen.objectives, fewest),
        method=chosen.method + ("" if reuse else _NO_REUSE) + (STOPPED if stop() else ""),
        ideal=tuple(float(v) for v in chosen.ideal),
        inside=inside,
        obstacles=obstacles,
        conflicts=conflicts,
        reuse=reuse,
    )


def _with_order(
    job: Job,
    state: CheckState,
    influence: Influence,
    chosen: Chosen,
    stuck: tuple[Laid, OrderFound],
    report: Report,
    stop: Stop,
) -> tuple[Chosen, tuple[SeatPlan, ...], tuple[Stage, ...], ObjectiveResult, bool]:
    """Return another choice, which has a safe order, and whether it uses again what comes out.

    Raises
    ------
    NoSafeOrder
        Where none is found; says of how many candidates that is known.
    """
    problem = build_problem(job, state, influence)
    effort = effort_of(job.objectives, stop)
    candidates = Candidates(
        job,
        state,
        influence,
        problem,
        lambda selection: _seat_plans(job, problem, selection),
        effort.part(effort.steps * _TRIES),
        report,
    )
    candidates.failed(chosen.selection)
    cap = max(job.objectives.worst_ratio_goal, chosen.worst) * (1.0 + 1e-9)
    least = next(w.lower for w in chosen.objectives if w.name == "least squares")
    found = candidates.find(cap, least)
    while (
        found is None and candidates.complete and job.objectives.worst_ratio_goal < cap < _FARTHEST
    ):
        # a check is outside whatever is done: then farther, if only there is an order
        cap *= _FARTHER
        found = candidates.find(cap, least)
    nearest = found is not None
    if found is None and not candidates.complete:
        blocks = blocks_of(job, state, influence, *stuck)
        groups = list(dict.fromkeys(b.group for b in blocks))
        found = candidates.find_near(chosen.selection, groups, cap)
    if found is not None:
        passed = candidates.tried + candidates.cut - 1
        other = chosen_instead(problem, chosen, found, passed, nearest=nearest)
        if effort.caught:
            other = replace(other, method=other.method + CAUGHT)
        return other, found.seats, found.stages, found.fewest, True
    seats = _seat_plans(job, problem, chosen.selection)
    if not candidates.complete:
        # plates that only later stages set free may be what forbids every order
        chosen, own = _choose(job, state, influence, False, report, stop)
        laid, outcome = best_order(job, state, influence, own, report)
        if outcome.stages is not None:
            stages = stages_of_order(job, influence, laid, outcome.stages)
            return chosen, own, stages, stages_result(job, laid, outcome), False
    lines = [explain(job, state, influence, seats, *stuck), candidates.scope()]
    first = next(w for w in chosen.objectives if w.name == "worst ratio")
    if first.lower > job.objectives.worst_ratio_goal * (1.0 + 1e-9):
        lines.append(f"whatever the order, the worst ratio is at least {first.lower:.2f}")
    raise NoSafeOrder("\n".join(lines))


#: share of the effort that looks for another choice with an order
_TRIES = 0.25
#: how the worst ratio grows where it is beyond its goal and no choice so near has an order
_FARTHER, _FARTHEST = 1.25, 1e3
#: said of plans that do not use again what comes out of packs
_NO_REUSE = (
    "; plates that come out of a pack are left for no other, for no order of the work was safe then"
)


def plan_of_selection(
    job: Job, state: CheckState, influence: Influence, selection: Array, instead_of: Plan
) -> Plan:
    """Return the plan of a selection made elsewhere, with the bounds of the plan it stands in for.

    Parameters
    ----------
    job, state, influence
        As given to :func:`make_plan`.
    selection : Array (n,) of whole numbers
        Choices of :func:`build_problem`, all plates that come out counted as stock.
    instead_of : Plan
        Its bounds on ratio and squares hold for all, those on work for selections that do no more
        of what counts before; its obstacles and ideal are kept.

    Raises
    ------
    NoSafeOrder
        If no order of stages keeps every limit on the way.
    """
    problem = build_problem(job, state, influence)
    x = problem.settings(selection)
    seats = _seat_plans(job, problem, selection)
    worst = problem.worst_ratio(x)
    known = [w for w in instead_of.objectives if w.name != "stages"]
    nearness = [
        replace(w, upper=value, proven=bool(value <= w.lower), text="see the method")
        for w, value in zip(known, (worst, problem.squares(x)), strict=False)
    ]
    counts = counts_again(known[len(nearness) :], problem.work(selection))
    inside = worst <= 1.0 + 1e-9
    stages, fewest = order_stages(job, state, influence, seats)
    objectives = (*nearness, *counts, fewest)
    plan = replace(instead_of, seats=seats, stages=stages, objectives=objectives, inside=inside)
    plan = replace(plan, reuse=True)
    return replace(plan, id=plan_id(job, plan))


def _choose(
    job: Job,
    state: CheckState,
    influence: Influence,
    restock: bool,
    report: Report,
    stop: Stop,
) -> tuple[Chosen, tuple[SeatPlan, ...]]:
    problem = build_problem(job, state, influence, restock=restock)
    try:
        chosen = choose(problem, job.objectives, report, stop)
    except NoPlan as none:
        conflict = limits_in_the_way(Case(job, state, influence))
        if not conflict:
            raise
        raise NoPlan(
            f"{none}; no plates at all keep these together: {'; '.join(conflict)}"
        ) from none
    return chosen, _seat_plans(job, problem, chosen.selection)


def _seat_plans(job: Job, problem: FitProblem, selection: Array) -> tuple[SeatPlan, ...]:
    return tuple(
        _seat_plan(job, name, own[int(k)])
        for name, own, k in zip(problem.seats, problem.choices, selection, strict=True)
    )


def _seat_plan(job: Job, name: str, choice: Choice) -> SeatPlan:
    now = job.seats[name].pack
    new = choice.marks if choice.disturbed else now
    out, put_in = Counter(now) - Counter(new), Counter(new) - Counter(now)
    return SeatPlan(
        seat=name,
        out=_in_order(now, out),
        put_in=_in_order(new, put_in),
        build_up=new,
        setting=float(np.round(choice.setting, 9)) + 0.0,
        disturbed=choice.disturbed,
    )


def selection_of(problem: FitProblem, plan: Plan) -> Array:
    """Return the numbers (n,) of a plan's choices.

    Parameters
    ----------
    problem, plan
    """
    own = {s.seat: s for s in plan.seats}
    return np.array(
        [
            min(
                (k for k, c in enumerate(choices) if c.disturbed == own[name].disturbed),
                key=lambda k: (
                    sorted(choices[k].marks) != sorted(own[name].build_up),
                    abs(choices[k].setting - own[name].setting),
                ),
            )
            for name, choices in zip(problem.seats, problem.choices, strict=True)
        ]
    )


def _in_order(pack: tuple[str, ...], wanted: Counter[str]) -> tuple[str, ...]:
    """Return the wanted plates in the order in which they stand in a pack."""
    left = Counter(wanted)
    result = []
    for mark in pack:
        if left[mark] > 0:
            left[mark] -= 1
            result.append(mark)
    return tuple(result)


def plan_id(job: Job, plan: Plan) -> str:
    """Return a hash over what a plan says and everything it was computed from.

    Parameters
    ----------
    job, plan
    """
    return plan_hash(job.digest, plan)
