"""Other places to work: against every choice of small problems, and through the small job."""

from __future__ import annotations

import itertools
from dataclasses import replace
from unittest import mock

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitup.errors import NoPlan
from fitup.model import ObjectiveResult, Objectives
from fitup.plan import least_work, make_plan
from fitup.plan.alternatives import disturbed_by, other_places, without
from fitup.plan.priorities import choose
from fitup.problem import build_problem
from fitup.problem.continuous import least_squares
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem
from fitup.solve.effort import Effort

CASES = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
WIDE = 50.0


def made_problem(seed: int) -> FitProblem:
    """Four seats with a few packs each, one of them the present one; a limit and a stock."""
    rng = np.random.default_rng(seed)
    n, m = 4, 5
    choices, counts = [], []
    for _ in range(n):
        settings_mm = np.sort(np.r_[0.0, rng.uniform(-6.0, 6.0, int(rng.integers(2, 4)))])
        own = [
            Choice(s * 1e-3, ("P",) if s else (), s != 0.0, int(s != 0.0))
            for s in settings_mm.tolist()
        ]
        choices.append(tuple(own))
        counts.append(np.array([[int(c.disturbed)] for c in own], dtype=np.int64))
    limit = rng.normal(size=(1, n))
    return FitProblem(
        seats=tuple("abcd"),
        rows=tuple(str(i) for i in range(m)),
        F=rng.normal(size=(m, n)) * 500.0,
        g=rng.normal(size=m) * 2.0,
        weights=rng.uniform(0.5, 2.0, m),
        L=limit,
        b=np.array([4e-3]),
        limits=(),
        choices=tuple(choices),
        marks=("P",),
        counts=tuple(counts),
        stock=np.array([int(rng.integers(2, 5))]),
        windows=np.array([[c[0].setting, c[-1].setting] for c in choices]),
        clusters=((0, 1), (), (2, 3), ()),
    )


def with_plates(problem: FitProblem, seed: int) -> FitProblem:
    """Return the problem with as many plates handled and in packs as a seed says."""
    rng = np.random.default_rng([seed, 1])
    more = [
        tuple(
            replace(
                c, marks=("P",) * int(rng.integers(1, 4)), plates_changed=int(rng.integers(1, 5))
            )
            if c.disturbed
            else c
            for c in own
        )
        for own in problem.choices
    ]
    return replace(problem, choices=tuple(more))


def by_hand(problem: FitProblem, cap: float, worked: list[frozenset[int]]) -> float:
    """Least squares of the selections that leave a seat alone of each plan, all being tried."""
    best = np.inf
    for selection in itertools.product(*(range(len(c)) for c in problem.choices)):
        whole = np.array(selection)
        x = problem.settings(whole)
        own = disturbed_by(problem, whole)
        differs = not any(seats <= own for seats in worked)
        if differs and problem.feasible(whole) and problem.worst_ratio(x) <= cap:
            best = min(best, problem.squares(x))
    return float(best)


@CASES
@given(st.integers(0, 10**6), st.sampled_from([4.0, WIDE]))
def test_each_is_the_best_that_differs_from_all_before(seed: int, cap: float) -> None:
    problem = made_problem(seed)
    first = frozenset(range(4))
    worked = [first]
    effort = Effort(60e6)
    found = []
    for one in other_places(
        problem, cap, first, lambda e: disturbed_by(problem, e.selection), effort
    ):
        assert problem.feasible(one.selection)
        assert problem.worst_ratio(problem.settings(one.selection)) <= cap * (1.0 + 1e-9)
        truth = by_hand(problem, cap, worked)
        assert one.proven
        assert one.squares == pytest.approx(truth, rel=1e-6, abs=1e-9)
        own = disturbed_by(problem, one.selection)
        assert not any(seats <= own for seats in worked)
        names = {problem.seats[i] for i in own}
        assert set(one.disturbed) == names
        assert not names & set(one.left_alone)
        for seats in worked:
            assert {problem.seats[i] for i in seats} & set(one.left_alone)
        worked.append(own)
        found.append(one)
    assert by_hand(problem, cap, worked) == np.inf


@CASES
@given(st.integers(0, 10**6))
def test_a_plan_that_cannot_be_carried_out_leaves_its_mark_on_the_bounds(seed: int) -> None:
    problem = made_problem(seed)
    first = frozenset(range(4))
    refused: list[float] = []

    def settle(one):
        if not refused:
            refused.append(one.squares)
            return None
        return disturbed_by(problem, one.selection)

    for one in other_places(problem, WIDE, first, settle, Effort(60e6)):
        assert one.lower <= refused[0] * (1.0 + 1e-9)


def test_with_no_time_nothing_is_looked_for(small) -> None:
    case = small(1)
    problem = build_problem(case.job, case.state, case.influence)
    over = Effort(60e6, stop=lambda: True)
    first = frozenset(range(len(problem.seats)))
    assert list(other_places(problem, 1.0, first, lambda e: first, over)) == []


def test_a_seat_that_must_move_cannot_be_left_alone(small) -> None:
    case = small(1)
    problem = build_problem(case.job, case.state, case.influence)
    moving = tuple(tuple(c for c in own if c.disturbed) for own in problem.choices)
    assert without(replace(problem, choices=moving), frozenset({0})) is None


def test_seats_left_alone_keep_their_packs(small) -> None:
    case = small(1)
    plan = make_plan(case.job, case.state, case.influence)
    moved = next(s.seat for s in plan.seats if s.disturbed)
    objectives = replace(case.job.objectives, leave_alone=(moved,))
    other = make_plan(replace(case.job, objectives=objectives), case.state, case.influence)
    left = next(s for s in other.seats if s.seat == moved)
    assert not left.disturbed
    assert left.setting == 0.0
    assert left.build_up == case.job.seats[moved].pack


def test_a_search_that_is_asked_to_stop_says_so_and_bounds_truly(small) -> None:
    case = small(2)
    whole = make_plan(case.job, case.state, case.influence)
    stopped = make_plan(case.job, case.state, case.influence, stop=lambda: True)
    assert stopped.method.endswith("; stopped by hand")
    assert "stopped" not in whole.method
    for objective, least in zip(stopped.objectives, whole.objectives, strict=True):
        if objective.name in ("worst ratio", "least squares"):
            assert objective.lower <= least.upper * (1.0 + 1e-9)


@CASES
@given(st.integers(0, 10**6), st.sampled_from(["all", "no descent", "proof alone"]))
def test_least_work_is_the_least_of_every_choice(seed: int, way: str) -> None:
    """With the quick descent and neighbourhoods before the exact search, and without them."""
    problem = with_plates(made_problem(seed), seed)
    objectives = Objectives(worst_ratio_goal=1.5, squares_slack=3.0, squares_slack_floor=0.5)
    lighter = least_work._lighter if way == "all" else lambda *given: given[-1]
    nearby = least_work._Less.in_neighbourhoods
    nearby = (lambda less, selection, least: selection) if way == "proof alone" else nearby
    try:
        with (
            mock.patch.object(least_work, "_lighter", lighter),
            mock.patch.object(least_work._Less, "in_neighbourhoods", nearby),
        ):
            chosen = choose(problem, objectives)
    except NoPlan:
        return
    worst, squares, *counts = chosen.objectives
    if chosen.method.startswith("no search"):
        return
    assert squares.proven
    cap = max(1.5, worst.upper) * (1.0 + 1e-9)
    allowed = least_work.allowed_squares(objectives, squares.lower)
    fewest = min(
        problem.work(np.array(selection))
        for selection in itertools.product(*(range(len(c)) for c in problem.choices))
        if problem.feasible(np.array(selection))
        and problem.worst_ratio(problem.settings(np.array(selection))) <= cap
        and problem.squares(problem.settings(np.array(selection))) <= allowed * (1.0 - 1e-9)
    )
    assert [(c.upper, c.lower, c.proven) for c in counts] == [(n, n, True) for n in fewest]


@pytest.mark.parametrize("seed", range(12))
def test_fewer_seats_at_the_same_squares_are_not_proven_away(seed: int) -> None:
    """No slack, and packs that change without a move: the least squares come many times."""
    problem = made_problem(seed)
    choices, counts = [], []
    for own, used in zip(problem.choices, problem.counts, strict=True):
        at = next(k for k, c in enumerate(own) if not c.disturbed)
        choices.append((*own[:at], Choice(0.0, ("P",), True, 2), *own[at:]))
        counts.append(np.insert(used, at, 1, axis=0))
    problem = replace(problem, choices=tuple(choices), counts=tuple(counts), stock=np.array([9]))
    kept = [
        np.array(selection)
        for selection in itertools.product(*(range(len(c)) for c in problem.choices))
        if problem.feasible(np.array(selection))
    ]
    squares = np.array([problem.squares(problem.settings(selection)) for selection in kept])
    seats = np.array([len(disturbed_by(problem, selection)) for selection in kept])
    allowed = float(squares.min())
    same = seats[squares <= allowed * (1.0 + 1e-12)]
    for few in range(int(same.min()) - 1, int(same.max())):
        relaxed = least_squares(problem, WIDE)
        assert relaxed is not None
        less = least_work._Less(problem, relaxed, WIDE, allowed, Effort(60e6))
        found = less._all((few,), Effort(60e6))
        assert found is not False
        assert (found is True) == (few < same.min())


def test_a_bound_on_plates_says_that_it_holds_for_so_few_seats() -> None:
    """More seats may do with fewer plates: two of one plate each against one of four."""
    rows = np.array([[1.0, 1.0]]) * 500.0
    stay = Choice(0.0, (), False, 0)
    choices = tuple(
        (stay, Choice(1e-3, ("P",), True, 1), Choice(2e-3, ("P",) * 2, True, 4)) for _ in "ab"
    )
    problem = replace(
        made_problem(0),
        seats=("a", "b"),
        rows=("r",),
        F=rows,
        g=np.array([1.0]),
        weights=np.ones(1),
        L=np.zeros((0, 2)),
        b=np.zeros(0),
        choices=choices,
        counts=tuple(np.array([[0], [1], [1]]) for _ in "ab"),
        stock=np.array([9]),
        windows=np.array([[0.0, 2e-3]] * 2),
        clusters=((0,), (), (1,), ()),
    )
    objectives = Objectives(worst_ratio_goal=0.1, squares_slack=0.0, squares_slack_floor=1.0)
    seats, plates, _ = choose(problem, objectives).objectives[2:5]
    assert (seats.upper, seats.proven, plates.upper, plates.lower) == (1, True, 4, 4)
    # both seats by one plate each come to two plates: the bound of four is not of every plan
    assert plates.text.endswith("and at most 1 seats disturbed")


@pytest.mark.parametrize(
    ("values", "known"),
    [
        ((3, 8, 20), [(3, True), (8, True), (12, False)]),
        ((3, 9, 20), [(3, True), (8, False), (0, False)]),
        # one seat more: fewer plates than the bound for three seats prove nothing
        ((4, 6, 20), [(3, False), (0, False), (0, False)]),
        # fewer seats than the least: more squares than least work may spend
        ((2, 8, 20), [(0, False), (0, False), (0, False)]),
    ],
)
def test_bounds_on_work_are_kept_where_they_hold(
    values: tuple[int, int, int], known: list[tuple[int, bool]]
) -> None:
    of_least = [
        ObjectiveResult(name, upper, lower, proven, "")
        for name, upper, lower, proven in zip(
            least_work.NAMES, (3, 8, 20), (3, 8, 12), (True, True, False), strict=True
        )
    ]
    again = least_work.counts_again(of_least, values)
    assert [(r.lower, r.proven) for r in again] == known
    assert [r.upper for r in again] == list(values)
