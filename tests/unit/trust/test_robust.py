"""Robust plans: narrowed tolerances, exchanges by brute force, moves within their uncertainty."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from fitup.certify import certify
from fitup.model import Tolerance, Uncertainties
from fitup.plan import make_plan
from fitup.plan.plan import selection_of
from fitup.problem import build_problem
from fitup.structure import rigid_influence
from fitup.trust import make_budget
from fitup.trust.conformity import accepted, conformity
from fitup.trust.joint import joint_probability
from fitup.trust.robust import (
    _Exchange,
    narrowed_state,
    robust_plan,
    small_moves,
    smaller_than_uncertainty,
)

TOLERANCES = {"step": Tolerance(0.002, "by hand"), "kink_grade": Tolerance(0.0008, "by hand")}


@pytest.fixture(scope="module")
def case(small):
    return small(
        seed=4, size=0.006, tolerances=TOLERANCES, uncertainties=Uncertainties(bedding=1e-4)
    )


def parts(case):
    return case.job, case.survey, case.state, case.influence


def test_tolerances_are_narrowed_by_their_guard_band(case):
    u = case.state.uncertainties
    narrowed = narrowed_state(case.state, u, 0.05)
    for check, was, own in zip(narrowed.checks, case.state.checks, u, strict=True):
        if was.tolerance is None:
            assert check.tolerance is None
        else:
            assert check.tolerance == accepted(own, was.tolerance, 0.05)
    # not even the middle can be called inside: half remains
    hopeless = narrowed_state(case.state, np.full(len(u), 1.0), 0.05)
    judged = [
        (n, c) for n, c in zip(hopeless.checks, case.state.checks, strict=True) if c.tolerance
    ]
    assert all(n.tolerance == 0.5 * c.tolerance for n, c in judged)


def test_every_check_may_be_called_inside(case):
    job, survey, state, influence = parts(case)
    plan = robust_plan(job, survey, state, influence, 0.05)
    assert "narrowed by guard bands for a risk of 5 %" in plan.method
    assert certify(job, survey, state, influence, plan).inside
    budget = make_budget(job, survey, state, influence, plan)
    u = budget.u
    for i in budget.judged():
        check = budget.checks[i]
        said = conformity(budget.values[i] - check.target, u[i], check.tolerance, 0.05)
        assert said == "inside", check.id


def test_it_is_at_least_as_sure_as_the_nominal_plan(case):
    job, survey, state, influence = parts(case)
    nominal = make_plan(job, state, influence)
    # at 0.6 % hardly any deviation may be called inside: no plan keeps such tolerances
    plan = robust_plan(job, survey, state, influence, 0.006)
    assert "greatest joint probability by exchange of packs: all checks inside at" in plan.method
    budgets = [make_budget(job, survey, state, influence, p) for p in (nominal, plan)]
    before, after = (joint_probability(b, b.judged()) for b in budgets)
    assert after >= before - 0.003


def test_exchange_of_two_packs_finds_the_best_of_all_near(case):
    """All seats but two held: every pair of choices near the start is listed."""
    job, survey, state, influence = parts(case)
    free = ("A1", "A2")
    seats = {n: replace(s, hold=n not in free) for n, s in job.seats.items()}
    job = replace(job, seats=seats)
    influence = rigid_influence(job, survey)
    problem = build_problem(job, state, influence)
    nominal = make_plan(job, state, influence)
    budget = make_budget(job, survey, state, influence, nominal)
    loose = replace(
        state, checks=tuple(replace(c, tolerance=c.tolerance and 1.0) for c in state.checks)
    )
    search = _Exchange(problem, budget, state, influence, loose)
    start = selection_of(problem, nominal)
    assert problem.settings(start) == pytest.approx(nominal.settings(), abs=1e-9)
    found = search.improve(start)
    i, j = (problem.seats.index(s) for s in free)
    best = 0.0
    for a, b in itertools.product(
        range(max(0, start[i] - 5), min(len(problem.choices[i]), start[i] + 6)),
        range(max(0, start[j] - 5), min(len(problem.choices[j]), start[j] + 6)),
    ):
        selection = start.copy()
        selection[i], selection[j] = a, b
        if problem.feasible(selection):
            best = max(best, search.probability(selection))
    assert search.probability(found) >= best - 0.002


def test_a_move_within_its_doubt_is_named_and_left_out(case):
    job, survey, state, influence = parts(case)
    assert smaller_than_uncertainty(np.array([0.1, -0.2]), np.array([0.11, 0.21]))
    assert not smaller_than_uncertainty(np.array([0.1, -0.3]), np.array([0.11, 0.21]))
    plan = make_plan(job, state, influence)
    seats = list(plan.seats)
    k = next(i for i, s in enumerate(seats) if s.disturbed)
    seats[k] = replace(seats[k], setting=1e-5)
    assert small_moves(state, influence, replace(plan, seats=tuple(seats))) == (seats[k].seat,)
    problem = build_problem(job, state, influence)
    budget = make_budget(job, survey, state, influence, plan)
    search = _Exchange(problem, budget, state, influence, state)
    search.based_on = np.full(len(search.based_on), 1.0)
    less = search.less(selection_of(problem, plan))
    disturbed = [problem.choices[i][k].disturbed for i, k in enumerate(less)]
    # whatever was left out, limits, stock and tolerances are kept and the joint is as sure
    assert sum(disturbed) <= sum(s.disturbed for s in plan.seats)
    assert search._may_be(less)
