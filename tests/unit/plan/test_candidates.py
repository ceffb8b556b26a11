"""Order within the choice, held against the order of every choice there is."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.errors import NoSafeOrder
from fitup.model import Objectives, Plate
from fitup.plan import candidates as module
from fitup.plan import make_plan
from fitup.plan.least_work import allowed_squares
from fitup.plan.plan import _seat_plans, selection_of
from fitup.problem import build_problem
from fitup.procedure.plan_stages import best_order

Small = Callable[..., Any]
PLATES = {m: Plate(m, t / 1e3, t / 1e3, n, 0.3, 0.3) for m, t, n in (("P20", 20, 4), ("P5", 5, 6),
          ("P2", 2, 6), ("P1", 1, 3))}  # fmt: skip
MOVING, SEEDS = (0.0003, 0.0012), (7, 10)
WISHES = Objectives(worst_ratio_goal=1.2)


def tight(small: Small, seed: int, moving: float, *, apart: bool = False) -> Any:
    """One segment moves by up to 3 mm; while it moves, less warp is allowed than at rest."""
    case = small(seed=seed, size=0.004, plates=PLATES, objectives=WISHES)
    seats = {
        n: replace(
            s,
            hold=s.segment == "B",
            raise_most=0.0031,
            lower_most=0.0031,
            most_plates=3,
            group=n if apart else s.group,
        )
        for n, s in case.job.seats.items()
    }
    limits = {n: replace(m, most_moving=moving) for n, m in case.job.limits.items()}
    return replace(case, job=replace(case.job, seats=seats, limits=limits))


def with_an_order(case: Any, cap: float = np.inf) -> list[tuple[float, np.ndarray]]:
    """Squares and selection of every choice that keeps everything, its order included."""
    problem = build_problem(case.job, case.state, case.influence)
    found = []
    for selection in itertools.product(*(range(len(c)) for c in problem.choices)):
        whole = np.array(selection)
        x = problem.settings(whole)
        if not problem.feasible(whole) or problem.worst_ratio(x) > cap:
            continue
        seats = _seat_plans(case.job, problem, whole)
        if best_order(case.job, case.state, case.influence, seats)[1].stages is not None:
            found.append((problem.squares(x), whole))
    return sorted(found, key=lambda f: f[0])


@pytest.mark.parametrize("moving", MOVING)
@pytest.mark.parametrize("seed", SEEDS)
def test_the_plan_is_the_best_choice_that_has_an_order(
    small: Small, seed: int, moving: float
) -> None:
    case = tight(small, seed, moving)
    goal = case.job.objectives.worst_ratio_goal * (1.0 + 1e-9)
    near = with_an_order(case, goal)
    every = near or with_an_order(case)
    problem = build_problem(case.job, case.state, case.influence)
    try:
        plan = make_plan(case.job, case.state, case.influence)
    except NoSafeOrder as none:
        assert "none has a safe order" in str(none)
        assert not near
        return
    ordered = {tuple(p.tolist()): squares for squares, p in every}
    squares = ordered[tuple(selection_of(problem, plan).tolist())]
    stated = next(w for w in plan.objectives if w.name == "least squares")
    assert stated.upper == pytest.approx(squares)
    if near:
        least = near[0][0]
        assert least <= squares <= allowed_squares(case.job.objectives, least) * (1.0 + 1e-9)
        assert stated.lower <= least * (1.0 + 1e-9)
    else:
        assert not plan.inside or plan.objectives[0].upper > goal


def test_a_choice_without_an_order_is_passed_over_and_said(small: Small) -> None:
    """Where the first choice has none, another one is planned, and the report says so."""
    said = []
    for seed, moving in ((7, 0.0003), (10, 0.0012)):
        case = tight(small, seed, moving)
        try:
            plan = make_plan(case.job, case.state, case.influence)
        except NoSafeOrder:
            continue
        said += [w.text for w in plan.objectives if "were passed over" in w.text]
    assert said


def test_cutting_with_its_like_loses_no_choice(small: Small, monkeypatch: Any) -> None:
    """Without the cut every candidate's order is searched; both find the same."""
    case = tight(small, 7, 0.0003)
    plan = make_plan(case.job, case.state, case.influence)
    monkeypatch.setattr(module.Candidates, "_no_way", lambda self, group, own: False)
    assert make_plan(case.job, case.state, case.influence).seats == plan.seats
