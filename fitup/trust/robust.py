"""Plans that stay inside whatever the uncertainties do, at a chosen risk, and what that costs.

First the plan with every tolerance narrowed by its guard band: each check may then be called
inside. Where no such plan is easily found, the plan of greatest joint probability near the
nominal one, by exchange of whole packs. Moves below the uncertainty they rest on are not ordered
where the joint is as sure without them.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import log_ndtr, ndtr

from fitup.frames import Array
from fitup.model import Check, CheckState, Influence, Job, Plan
from fitup.plan import make_plan
from fitup.plan.plan import plan_of_selection, selection_of
from fitup.plan.priorities import attainable
from fitup.problem import FitProblem, build_problem
from fitup.problem.problem import MOVE_PRICE
from fitup.solve.effort import Stop, never
from fitup.survey.points import Survey
from fitup.trust.box import box_probability
from fitup.trust.budget import Budget, make_budget
from fitup.trust.conformity import accepted
from fitup.trust.joint import joint_probability, limits_of
from fitup.trust.moved import Effect
from fitup.trust.waiting import work_of

Report = Callable[[str], None]
#: choices of a seat on either side of the present one that are tried
_NEAR: Final = 5
#: exchanges that look best one by one, whose joint probability is then found
_TRIED: Final = 16
#: a joint probability must rise by this much, and may fall by so much for a move less
_RISE: Final = 0.002
_FALL: Final = 0.002
_POINTS: Final = 251
#: where not even the middle of a tolerance can be called inside, aim within this share of it
_MIDDLE: Final = 0.5


@dataclass(frozen=True, slots=True)
class Confidence:
    """What is weighed: joint probability of all judged checks, worst ratio, seats that move."""

    probability: float
    worst_ratio: float
    seats: int


def robust_plan(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    risk: float,
    effect: Effect | None = None,
    report: Report = lambda line: None,
    stop: Stop = never,
) -> Plan:
    """Return a plan whose every check is inside at a risk, or the surest near the nominal plan.

    Its method says what that costs against the nominal plan.

    Parameters
    ----------
    job, survey, state, influence
    risk : float
        Accepted for each check.
    effect : callable, optional
        As for :func:`fitup.trust.budget.make_budget`.
    report : callable
    stop : callable
        As for :func:`fitup.plan.make_plan`.

    Raises
    ------
    NoPlan, NoSafeOrder
        As for the nominal plan.
    """
    nominal = make_plan(job, state, influence, report, stop)
    budget = make_budget(job, survey, state, influence, nominal, effect=effect)
    problem = build_problem(job, state, influence)
    report("guard bands")
    narrowed = narrowed_state(state, budget.u, risk)
    plan, limits = nominal, state
    how = "greatest joint probability by exchange of packs"
    narrow = build_problem(job, narrowed, influence)
    if attainable(narrow, job.objectives.worst_ratio_goal) is not None:
        plan = make_plan(job, narrowed, influence, report, stop)
        plan = _said_narrowed(plan, nominal, state, influence)
        limits = narrowed
        how = f"tolerances narrowed by guard bands for a risk of {100.0 * risk:g} %"
    if influence.exact is None:
        # which seats carry does not change: one straight line holds for every exchange
        report("greatest joint probability")
        search = _Exchange(problem, budget, state, influence, limits)
        start = selection_of(problem, plan)
        selection = search.less(search.improve(start))
        if not np.array_equal(selection, start):
            plan = plan_of_selection(job, state, influence, selection, nominal)
    before = _confidence(job, survey, state, influence, nominal, effect)
    after = _confidence(job, survey, state, influence, plan, effect)
    return replace(plan, method=f"{plan.method}; {how}: {_cost(before, after)}")


def _said_narrowed(plan: Plan, nominal: Plan, state: CheckState, influence: Influence) -> Plan:
    """Return the plan with its accuracy stated for the tolerances as given.

    The bounds of the nominal plan hold for every plan; those found for narrowed tolerances say
    nothing of the given ones.
    """
    x = plan.settings()
    after = state.values + influence.change(x)
    worked = [
        (abs(float(y) - c.target) / c.tolerance, c.weight)
        for y, c in zip(after, state.checks, strict=True)
        if c.tolerance is not None and c.weight > 0.0
    ]
    value = {
        "worst ratio": max((r for r, _ in worked), default=0.0),
        "least squares": sum(w * r**2 for r, w in worked) + MOVE_PRICE * float(x @ x),
    }
    least = {w.name: w.lower for w in nominal.objectives}
    objectives = []
    for w in plan.objectives:
        said = replace(w, text=w.text.replace("its tolerance", "its narrowed tolerance"))
        if w.name in value:
            upper = value[w.name]
            lower = min(least[w.name], upper)
            proven = w.proven and (w.name == "worst ratio" or upper == lower)
            said = replace(said, upper=upper, lower=lower, proven=proven)
        objectives.append(said)
    return replace(plan, objectives=tuple(objectives))


def narrowed_state(state: CheckState, u: Array, risk: float) -> CheckState:
    """Return the state with tolerances less their guard bands.

    A check whose middle could not be called inside keeps half of its tolerance.

    Parameters
    ----------
    state
    u : Array (m,)
        Standard uncertainty of every check after the plan.
    risk : float
        Accepted for each check called inside.
    """
    return replace(
        state,
        checks=tuple(_narrowed(c, float(s), risk) for c, s in zip(state.checks, u, strict=True)),
    )


def _narrowed(check: Check, u: float, risk: float) -> Check:
    if check.tolerance is None:
        return check
    kept = accepted(u, check.tolerance, risk)
    most = _MIDDLE * check.tolerance if kept is None else max(kept, 1e-6 * check.tolerance)
    return replace(check, tolerance=most)


def _confidence(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    plan: Plan,
    effect: Effect | None,
) -> Confidence:
    budget = make_budget(job, survey, state, influence, plan, effect=effect)
    rows = budget.judged()
    aims, allowed = limits_of([budget.checks[i] for i in rows])
    worst = float((np.abs(budget.values[rows] - aims) / allowed).max(initial=0.0))
    return Confidence(joint_probability(budget, rows), worst, work_of(plan).seats)


def _cost(before: Confidence, after: Confidence) -> str:
    return (
        f"all checks inside at once with {100.0 * after.probability:.1f} % instead of "
        f"{100.0 * before.probability:.1f} %, at a worst ratio of {after.worst_ratio:.2f} instead "
        f"of {before.worst_ratio:.2f}, {after.seats} seats instead of {before.seats}"
    )


class _Exchange:
    """Change one or two packs at a time while it makes the joints surer."""

    def __init__(
        self,
        problem: FitProblem,
        budget: Budget,
        state: CheckState,
        influence: Influence,
        limits: CheckState,
    ) -> None:
        self.problem = problem
        rows = budget.judged()
        self.aims, self.allowed = limits_of([budget.checks[i] for i in rows])
        self.kept = limits_of([limits.checks[i] for i in rows])[1]
        self.A = influence.A[rows]
        self.start = state.values[rows]
        columns = budget.columns[rows]
        self.covariance = columns @ columns.T
        # a check without doubt would make every logarithm infinite
        self.u = np.maximum(np.sqrt(np.diag(self.covariance)), 1e-3 * self.allowed)
        self.based_on = state.uncertainties[rows]

    def deviation(self, selection: Array) -> Array:
        """Return the deviations (m,) after a selection."""
        moved: Array = self.start + self.A @ self.problem.settings(selection) - self.aims
        return moved

    def probability(self, selection: Array) -> float:
        """Return the probability of all checks inside at once."""
        return box_probability(self.deviation(selection), self.covariance, self.allowed, _POINTS)

    def _may_be(self, selection: Array) -> bool:
        """Say whether a selection keeps limits and stock, and every check within its own limit."""
        if not self.problem.feasible(selection):
            return False
        return bool(np.all(np.abs(self.deviation(selection)) <= self.kept * (1.0 + 1e-9)))

    def _separate(self, deviation: Array) -> Array:
        """Sum of logarithms of each check's probability, for deviations (..., m)."""
        far = np.abs(deviation)
        over = log_ndtr((self.allowed - far) / self.u)
        # the other limit counts only where the tolerance is narrow
        under = ndtr((-self.allowed - far) / self.u)
        kept: Array = (over + np.log1p(-np.minimum(under, 0.999))).sum(axis=-1)
        return kept

    def improve(self, selection: Array) -> Array:
        """Return the surest selection that exchanges lead to."""
        best = self.probability(selection)
        while True:
            found = [p for p in self._promising(selection) if self._may_be(p)]
            scored = [(self.probability(p), k) for k, p in enumerate(found)]
            if not scored or max(scored)[0] < best + _RISE:
                return selection
            best, k = max(scored)
            selection = found[k]

    def _promising(self, selection: Array) -> list[Array]:
        """Return the exchanges of one or two packs that look best, each check on its own."""
        settings = [np.array([c.setting for c in own]) for own in self.problem.choices]
        near = [
            np.arange(max(0, k - _NEAR), min(len(s), k + _NEAR + 1))
            for k, s in zip(selection, settings, strict=True)
        ]
        here = self.deviation(selection)
        shift = [
            np.outer(s[n] - s[k], self.A[:, i])
            for i, (s, n, k) in enumerate(zip(settings, near, selection, strict=True))
        ]
        scored: list[tuple[float, int, int, int, int]] = []
        for i, j in itertools.combinations(range(len(selection)), 2):
            value = self._separate(here + shift[i][:, None, :] + shift[j][None, :, :])
            flat = np.argsort(-value, axis=None, kind="stable")[:3]
            for at in flat:
                a, b = np.unravel_index(at, value.shape)
                scored.append((-float(value[a, b]), i, j, int(near[i][a]), int(near[j][b])))
        result: list[Array] = []
        for _, i, j, a, b in sorted(scored)[: 4 * _TRIED]:
            changed = selection.copy()
            changed[i], changed[j] = a, b
            if not np.array_equal(changed, selection) and not any(
                np.array_equal(changed, p) for p in result
            ):
                result.append(changed)
        return result[:_TRIED]

    def less(self, selection: Array) -> Array:
        """Leave seats whose move is smaller than its uncertainty, where the joints stay as sure."""
        best = self.probability(selection)
        for i, own in enumerate(self.problem.choices):
            stay = next((k for k, c in enumerate(own) if not c.disturbed), None)
            chosen = own[int(selection[i])]
            if stay is None or not chosen.disturbed:
                continue
            if not smaller_than_uncertainty(self.A[:, i] * chosen.setting, self.based_on):
                continue
            changed = selection.copy()
            changed[i] = stay
            if self._may_be(changed) and self.probability(changed) >= best - _FALL:
                selection = changed
        return selection


def smaller_than_uncertainty(change: Array, u: Array) -> bool:
    """Say whether a move changes every check by less than the check's own uncertainty.

    Parameters
    ----------
    change : Array (m,)
        What the move does to every check.
    u : Array (m,)
        Standard uncertainty of every check, in the same units.
    """
    return bool(np.all(np.abs(change) < u))


def small_moves(state: CheckState, influence: Influence, plan: Plan) -> tuple[str, ...]:
    """Return the seats a plan moves by less than the uncertainty of the survey it is based on.

    Every judged check changes by less than its own standard uncertainty as surveyed.

    Parameters
    ----------
    state : CheckState
        As surveyed, with its uncertainties.
    influence
    plan : Plan
        Only seats that it disturbs are looked at.
    """
    rows = [i for i, c in enumerate(state.checks) if c.tolerance is not None]
    u = state.uncertainties[rows]
    column = {name: influence.A[rows, i] for i, name in enumerate(influence.seats)}
    return tuple(
        s.seat
        for s in plan.seats
        if s.disturbed and smaller_than_uncertainty(column[s.seat] * s.setting, u)
    )
