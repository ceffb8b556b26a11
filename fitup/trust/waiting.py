"""Waiting as a move: what the steel does by itself, beside what jacks do, each with its price."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.certify import certify
from fitup.errors import FitupError
from fitup.jobfolder.series import SteelSeries
from fitup.model import CheckState, Influence, Job, Plan
from fitup.plan import make_plan
from fitup.plan.priorities import attainable
from fitup.problem.about import plan_about
from fitup.problem.problem import build_problem
from fitup.survey.points import Survey
from fitup.trust.budget import Budget, make_budget, moving_rates
from fitup.trust.conformity import aim_of, allowed_of
from fitup.trust.moved import Effect, moves_of
from fitup.trust.windows import TemperatureCourse, course_of, lifted_off

Report = Callable[[str], None]
#: parts of the way to the temperature at which gaps close by themselves
_SHARES: Final = (1.0, 0.9, 0.8, 0.65, 0.5)


@dataclass(frozen=True, slots=True)
class PlanCost:
    """What a plan costs: seats that move, plates that go in or out, stages."""

    seats: int
    plates: int
    stages: int


@dataclass(frozen=True, eq=False)
class Option:
    """One way to close the joints, and when every joint may then be locked.

    ``name`` is ``jack``, ``wait`` or ``jack and wait``; the last was planned for the even steel
    temperature [K]. ``lifted`` says when the steel would lift a frame off which seats.
    """

    name: str
    work: PlanCost
    budget: Budget
    courses: tuple[TemperatureCourse, ...]
    temperature: float | None = None
    lifted: tuple[tuple[float, str], ...] = ()


def work_of(plan: Plan | None) -> PlanCost:
    """Return what a plan costs; no plan costs nothing."""
    if plan is None:
        return PlanCost(0, 0, 0)
    moved = [s for s in plan.seats if s.disturbed]
    plates = sum(len(s.out) + len(s.put_in) for s in moved)
    return PlanCost(len(moved), plates, len(plan.stages))


def option_of(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    series: SteelSeries,
    plan: Plan | None,
    effect: Effect | None = None,
) -> Option:
    """Return a plan, or leaving everything as surveyed, with its windows joint by joint.

    Parameters
    ----------
    job, survey, state, influence
    series : SteelSeries
        Temperatures through which every joint goes.
    plan : Plan, optional
        None: everything is left as surveyed.
    effect : callable, optional
        As for :func:`fitup.trust.budget.make_budget`.
    """
    budget = make_budget(job, survey, state, influence, plan, effect=effect)
    joints = [name for name in job.joints if budget.judged(name)]
    courses = tuple(course_of(job, survey, budget, series, name) for name in joints)
    x = np.zeros(len(influence.seats)) if plan is None else moves_of(influence, plan)
    may_lift = frozenset[str]() if influence.exact is None else influence.exact.may_lift
    lifted = lifted_off(job, survey, series, may_lift, influence.state(x)[1])
    name = "wait" if plan is None else "jack"
    return Option(name, work_of(plan), budget, courses, lifted=lifted)


def gap_temperature(job: Job, budget: Budget, joints: Sequence[str]) -> float | None:
    """Return the even steel temperature [K] at which gaps are nearest their aims.

    By least squares over the judged gaps of the joints; None where no gap moves.

    Parameters
    ----------
    job
    budget : Budget
        At the reference temperature.
    joints : sequence of str
        Their ids.
    """
    rows = [i for name in joints for i in budget.judged(name) if budget.checks[i].quantity == "gap"]
    checks = tuple(budget.checks[i] for i in rows)
    if not checks:
        return None
    rate = moving_rates(job, checks)[0].sum(axis=1)
    allowed = np.array([allowed_of(c) for c in checks], dtype=float)
    off = budget.values[rows] - np.array([aim_of(c) for c in checks])
    if not np.any(rate):
        return None
    weight = rate / allowed**2
    return job.reference_temperature - float(weight @ off) / float(weight @ rate)


def jack_and_wait(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    series: SteelSeries,
    temperature: float,
    *,
    effect: Effect | None = None,
    report: Report = lambda line: None,
) -> Option | None:
    """Return the plan that leaves to the steel what it does by itself on the way to a temperature.

    Jacks that push cannot pull, so the last part of the way may have to be left: the temperature
    is drawn back towards the reference until a plan inside tolerance is easily found. Targets at
    the reference are what becomes right at the temperature, so the same optimiser and the same
    certificate serve. None where no such plan is found, or the
    certificate does not confirm it.

    Parameters
    ----------
    job, survey, state, influence
    series : SteelSeries
        For the windows of the plan.
    temperature : float
        Even steel temperature at which the joints are to come right [K].
    effect : callable, optional
        As for :func:`fitup.trust.budget.make_budget`.
    report : callable
        Told of progress, a line at a time.
    """
    away = temperature - job.reference_temperature
    for share in _SHARES:
        temperature = job.reference_temperature + share * away
        shifted = at_temperature(job, state, temperature)
        if (
            attainable(build_problem(job, shifted, influence), job.objectives.worst_ratio_goal)
            is not None
        ):
            break
    else:
        return None
    try:
        plan, influence = plan_about(
            lambda about: make_plan(job, shifted, about, report), job, influence, report
        )
        certify(job, survey, shifted, influence, plan)
    except FitupError:
        return None
    done = option_of(job, survey, state, influence, series, plan, effect)
    return replace(done, name="jack and wait", temperature=temperature)


def at_temperature(job: Job, state: CheckState, temperature: float) -> CheckState:
    """Return the state with targets at the reference that come right at an even temperature.

    Parameters
    ----------
    job, state
    temperature : float
        Of all segments, top and bottom [K].
    """
    mean, _ = moving_rates(job, state.checks)
    shift = mean.sum(axis=1) * (temperature - job.reference_temperature)
    checks = tuple(
        replace(c, target=c.target - float(s)) for c, s in zip(state.checks, shift, strict=True)
    )
    return replace(state, checks=checks)
