"""What binds and what a step more buys: prices against finite differences, gains against jobs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.plan import make_plan
from fitup.plan.infeasibility import fence
from fitup.plan.sensitivity import binding, same_measure, used_up, what_more_buys
from fitup.problem import build_problem
from fitup.problem.continuous import least_squares
from fitup.problem.relaxations import Case, loosened, what
from fitup.solve.effort import Effort


def bound_case(small, seed: int = 4) -> Case:
    """The small job with little travel at two seats, warp and a tolerance that bind a little."""
    made = small(seed=seed, size=0.008)
    plan = make_plan(made.job, made.state, made.influence)
    most = {s.seat: abs(s.setting) for s in plan.seats}
    tight = sorted(most, key=lambda n: -most[n])[:2]
    seats = {
        n: replace(
            s,
            raise_most=0.8 * most[n] if n in tight else None,
            lower_most=0.8 * most[n] if n in tight else None,
        )
        for n, s in made.job.seats.items()
    }
    return Case(replace(made.job, seats=seats), made.state, made.influence)


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_the_squares_are_those_of_the_relaxed_problem(small, seed: int) -> None:
    case = bound_case(small, seed)
    problem = build_problem(case.job, case.state, case.influence)
    squares, _ = binding(problem, fence(case, share=1.0))
    relaxed = least_squares(problem, 1.0)
    if relaxed is not None:
        assert squares == pytest.approx(relaxed.value, rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_prices_are_what_a_little_more_really_buys(small, seed: int) -> None:
    case = bound_case(small, seed)
    problem = build_problem(case.job, case.state, case.influence)
    squares, prices = binding(problem, fence(case))
    assert prices
    for key, price in prices.items():
        if price < 1.0 or key[0] == "tolerance":
            continue
        little = min(1e-5, 1e-3 / price)
        other = loosened(case, key, little)
        then, _ = binding(problem, fence(other))
        assert (squares - then) / little == pytest.approx(price, rel=0.02), what(case, key)


def test_gains_of_a_step_more(small) -> None:
    case = bound_case(small)
    plan = make_plan(case.job, case.state, case.influence)
    assert plan.inside
    more = what_more_buys(case, plan, Effort(60e6))
    assert more.complete
    assert more.any_thickness <= more.lower * (1.0 + 1e-6) <= more.whole * (1.0 + 2e-6)
    assert any(g.what.startswith("seat ") for g in more.gains)
    for gain in more.gains:
        assert gain.any_thickness <= more.any_thickness * (1.0 + 1e-6)
        assert gain.whole <= more.whole
        assert gain.lower <= gain.whole
        assert gain.any_thickness <= gain.whole


def test_a_looser_tolerance_is_measured_by_the_tolerances_as_they_are(small) -> None:
    case = small(1)
    case = Case(case.job, case.state, case.influence)
    problem = build_problem(case.job, case.state, case.influence)
    key = next(k for k in fence(case).every() if k[0] == "tolerance")
    other = loosened(case, key, 0.003)
    looser = build_problem(other.job, other.state, other.influence)
    measured = same_measure(case, problem, looser, key, other)
    for x in np.random.default_rng(1).uniform(-0.01, 0.01, (5, 8)):
        assert measured.squares(x) == pytest.approx(problem.squares(x), rel=1e-12)
        assert measured.worst_ratio(x) <= problem.worst_ratio(x)
    assert looser.squares(np.zeros(8)) < problem.squares(np.zeros(8))


def test_plates_of_which_none_is_left(small) -> None:
    case = small(2)
    plan = make_plan(case.job, case.state, case.influence)
    gone = used_up(Case(case.job, case.state, case.influence), plan)
    for mark in gone:
        count = sum(s.build_up.count(mark) for s in plan.seats)
        owned = sum(case.job.seats[s.seat].pack.count(mark) for s in plan.seats)
        assert count == case.job.plates[mark].count + owned


def test_with_no_time_it_says_that_there_may_be_more(small) -> None:
    case = bound_case(small)
    plan = make_plan(case.job, case.state, case.influence)
    more = what_more_buys(case, plan, Effort(60e6, stop=lambda: True))
    assert more.gains == ()
    assert not more.complete
