"""A second opinion: agreement, a plan not yet the best, contradictions, and what it refuses."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from unittest import mock

import numpy as np
import pytest

from fitup.errors import CertificateRefused, FitupError, InputError
from fitup.model import ObjectiveResult, Objectives, Plan, Plate
from fitup.plan import make_plan
from fitup.plan import second_opinion as opinion
from fitup.plan.plan import selection_of
from fitup.plan.second_opinion import SecondOpinion, chosen_solver, said_of, second_opinion
from fitup.problem import build_problem
from fitup.solve import known
from fitup.solve.general_solvers import Opinion, solvers

Small = Callable[..., Any]
#: so few kinds of plates that a general solver comes to its end in a moment
FEW = {m: Plate(m, t / 1e3, t / 1e3, n, 0.3, 0.3) for m, t, n in (("P20", 20, 4), ("P5", 5, 6))}


@pytest.fixture(scope="module")
def case(small: Small) -> tuple[Any, Plan]:
    """A small job whose worst ratio cannot come down to its goal, and its plan."""
    made = small(plates=FEW, objectives=Objectives(worst_ratio_goal=0.2))
    return made, make_plan(made.job, made.state, made.influence)


def ask(case: tuple[Any, Plan], limit: float) -> tuple[SecondOpinion, ...]:
    made, plan = case
    return second_opinion(made.job, made.state, made.influence, plan, limit)


def test_it_comes_to_the_same(case: tuple[Any, Plan]):
    plan = case[1]
    said = ask(case, 60.0)
    assert [s.name for s in said] == ["worst ratio", "least squares"]
    for one, objective in zip(said, plan.objectives, strict=False):
        assert (one.solver, one.proven) == ("HiGHS", True)
        assert one.found == pytest.approx(objective.lower, rel=1e-9)
        assert one.lower <= objective.upper
    assert said[0].text == (
        f"HiGHS comes to the same, {plan.objectives[0].upper:.4g}: "
        "by its own word no plan is better"
    )


def test_without_time_it_says_what_it_knows(case: tuple[Any, Plan]):
    for one in ask(case, 2e-3):
        assert not one.proven
        assert one.text.startswith("HiGHS found no")
        assert "in the time allowed" in one.text
        assert "by its own word none is below " in one.text


def words(found: float, lower: float, ours: tuple[float, float], *, ended: bool = True) -> str:
    """What is said of a solver's plan and bound beside our own two."""
    objective = ObjectiveResult("least squares", *ours, ours[0] == ours[1], "")
    selection = np.zeros(1, dtype=np.int64) if np.isfinite(found) else None
    return said_of(objective, Opinion(selection, found, lower, ended), "scip", Objectives()).text


def test_what_is_said():
    assert (
        words(2.0, 2.0, (2.0, 2.0))
        == "SCIP comes to the same, 2: by its own word no plan is better"
    )
    assert words(1.5, 1.0, (2.0, 0.5)) == (
        "SCIP found a better one, 1.5: a greater search_effort lets fitup look on"
    )
    assert words(3.0, 0.5, (2.0, 2.0), ended=False) == (
        "SCIP found nothing better in the time allowed, at best 3; by its own word none is below "
        "0.5"
    )
    assert words(np.inf, -np.inf, (2.0, 2.0), ended=False) == (
        "SCIP found no plan in the time allowed; by its own word none is below 0"
    )


def test_a_plan_that_spends_its_slack_is_not_called_worse():
    objective = ObjectiveResult("least squares", 2.05, 2.0, True, "")
    stated = Opinion(np.zeros(1, dtype=np.int64), 2.0, 2.0, True)
    said = said_of(objective, stated, "highs", Objectives()).text
    assert said == "HiGHS comes to 2; the plan's 2.05 is within the slack of it"
    tight = Objectives(squares_slack=0.0, squares_slack_floor=0.0)
    assert "found a better one, 2:" in said_of(objective, stated, "highs", tight).text


def test_a_plan_below_the_bound_refuses_ours():
    with pytest.raises(CertificateRefused) as refused:
        words(1.5, 1.0, (2.0, 2.0))
    assert str(refused.value) == (
        "SCIP found a plan with a least squares of 1.5, where none should be below 2: one of the "
        "two is wrong; do not use this plan, and report it"
    )


def test_a_bound_above_the_plan_refutes_the_solver():
    objective = ObjectiveResult("least squares", 3.0, 0.5, False, "")
    said = said_of(objective, Opinion(None, np.inf, 5.5, True), "highs", Objectives())
    assert said.text == (
        "HiGHS claims that no plan is below 5.5, which this plan of 3 refutes: nothing it says of "
        "this job is believed"
    )
    assert (said.proven, said.lower) == (False, 0.0)


def test_the_known_problem_has_the_published_answer():
    problem, least = known.known_problem()
    selections = [np.array(p) for p in itertools.product(range(6), repeat=4)]
    squares = [problem.squares(problem.settings(p)) for p in selections if problem.feasible(p)]
    assert min(squares) == pytest.approx(least, abs=1e-9)
    assert least == pytest.approx(3.0, abs=1e-9)


@pytest.mark.parametrize("solver", solvers())
def test_solvers_as_installed_answer_the_known_problem(solver: Any):
    assert known.answers_right(solver)


@pytest.mark.parametrize(
    "stated",
    [
        Opinion(np.zeros(4, dtype=np.int64), 5.5, 5.5, True),  # HiGHS of scipy 1.13 to 1.16
        Opinion(np.zeros(4, dtype=np.int64), 3.0, 3.1, True),
        Opinion(None, np.inf, -np.inf, False),
    ],
)
def test_a_solver_that_fails_the_known_problem_is_not_believed(stated: Opinion):
    with mock.patch.object(known, "least_squares_by", return_value=stated):
        assert not known.answers_right("highs")
        here, there = mock.Mock(), mock.Mock()
        with mock.patch.object(opinion, "os"):
            opinion._solve(there, (here, "worst ratio", 1.0, "highs", 1.0))
    there.send.assert_called_once_with("HiGHS as installed gives a wrong answer to a known problem")


def test_a_continuous_optimum_that_the_statement_refutes_is_refused(case: tuple[Any, Plan]):
    made, _ = case
    problem = build_problem(made.job, made.state, made.influence)
    opinion.hold_to_statement(problem, 50.0)
    fast = opinion.least_squares(problem, 50.0)
    assert fast is not None
    wrong = mock.patch.object(
        opinion, "least_squares", return_value=replace(fast, value=1.01 * fast.value)
    )
    with wrong, pytest.raises(CertificateRefused, match="by the statement of the problem"):
        opinion.hold_to_statement(problem, 50.0)


def test_a_job_with_a_risk_is_refused(case: tuple[Any, Plan]):
    made, plan = case
    risky = replace(made.job, objectives=replace(made.job.objectives, risk=0.05))
    with pytest.raises(InputError) as refused:
        second_opinion(risky, made.state, made.influence, plan, 1.0)
    assert str(refused.value) == (
        "job.toml, objectives.risk: found risk = 0.05; allowed: no risk, for a second opinion; ask "
        "for it on a copy of the job without the risk, or leave --second-opinion out"
    )


def test_a_solver_that_is_not_there_is_refused():
    with pytest.raises(InputError) as refused:
        chosen_solver("abacus")
    assert str(refused.value) == (
        "command line, --by: found 'abacus'; allowed: a general solver that is installed: "
        f"{', '.join(solvers())}; install it with: pip install 'fitup[bench]'"
    )


def test_a_solver_that_fails_is_told_in_a_line(case: tuple[Any, Plan]):
    made, plan = case
    problem = build_problem(made.job, made.state, made.influence)
    torn = replace(problem, choices=problem.choices[:-1])
    stated: list[str] = []
    given = made.job, made.state, made.influence, plan, 5.0, "highs", stated.append
    torn_instead = mock.patch.object(opinion, "build_problem", return_value=torn)
    with torn_instead, pytest.raises(FitupError) as failed:
        second_opinion(*given)
    assert stated[-1] == "second opinion by HiGHS on the worst ratio"
    first, last = str(failed.value).split(": ", 1)
    assert first == stated[-1]
    assert last.endswith("; ask another solver (--by), or do without")
    assert "\n" not in last


def test_the_selection_of_a_plan_is_found_again(case: tuple[Any, Plan]):
    made, plan = case
    problem = build_problem(made.job, made.state, made.influence, restock=plan.reuse)
    selection = selection_of(problem, plan)
    assert problem.settings(selection) == pytest.approx(plan.settings(), abs=1e-9)
    assert problem.work(selection)[0] == sum(s.disturbed for s in plan.seats)
