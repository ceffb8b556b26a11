"""Every exact method against published integer least squares: ours and the general solvers.

Sources
-------
- P. de Jonge and C. Tiberius, The LAMBDA method for integer ambiguity estimation: implementation
  aspects, LGR-Series 12, Delft Geodetic Computing Centre, 1996, eq. 3.37: float solution
  (5.45, 3.10, 2.97) with its covariance; best (5, 3, 4), second best (6, 4, 4), squared norms
  0.2183310953369383 and 0.3072725757902666. The third best, the trap of rounding (5, 3, 3) with
  1.24513 and that of rounding one after the other are recomputed.
- W. Hock and K. Schittkowski, Test Examples for Nonlinear Programming Codes, Springer LNEMS 187,
  1981: problem 76 (matrices from memory), over integers 0 to 5 our own exhaustive search; problem
  118 (data and optimum from memory), five periods in a row, whose published optimum 664.82045 is
  whole and so that over the integers as well. The squares are about 142,000 larger than its
  objective, of which the methods keep nine digits, the general solvers six.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fitup.frames import Array
from fitup.problem.continuous import least_squares
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem, LimitRow
from fitup.solve.clusters import cluster_tree
from fitup.solve.exact import Goal, SearchResult, Space, collect, search
from fitup.solve.general_solvers import least_squares_by, solvers
from fitup.solve.rings import search_rings
from fitup.solve.stock import solve_deck_line

FLOAT = np.array([5.45, 3.10, 2.97])
Q = np.array([[6.290, 5.978, 0.544], [5.978, 6.292, 2.340], [0.544, 2.340, 6.288]])
BEST, SECOND, THIRD = (5, 3, 4), (6, 4, 4), (4, 2, 4)
SCORE, SECOND_SCORE, THIRD_SCORE = 0.2183310953369383, 0.3072725757902666, 0.5934096835


def lambda_goal() -> Goal:
    """|M x - h|^2 = (x - a)' Q^-1 (x - a), M'M = Q^-1."""
    M = np.linalg.cholesky(np.linalg.inv(Q)).T
    return Goal("squares", M, M @ FLOAT, M, M @ FLOAT)


def grid(values: list[Array], L: Array | None = None, b: Array | None = None) -> Space:
    n = len(values)
    return Space(
        values,
        [np.zeros((len(v), 1), dtype=np.int64) for v in values],
        np.array([1]),
        np.zeros((0, n)) if L is None else L,
        np.zeros(0) if b is None else b,
        np.array([v.mean() for v in values]),
    )


def around() -> Space:
    return grid([np.arange(np.floor(a) - 4.0, np.floor(a) + 6.0) for a in FLOAT])


def values_of(space: Space, result: SearchResult) -> tuple[int, ...]:
    assert result.selection is not None
    assert result.proven
    return tuple(int(v[k]) for v, k in zip(space.values, result.selection, strict=True))


def by_rings(space: Space, goal: Goal, groups: list[Array], best: float = 50.0) -> SearchResult:
    return search_rings(space, goal, cluster_tree(goal, groups), best=best)


#: one unit of a published problem is a millimetre here
MM = 1e-3


def problem_of(goal: Goal, space: Space, segments: list[list[int]]) -> FitProblem:
    """The same as a problem of seats that take whole millimetres, in segments along a deck."""
    n, rows = len(space.values), len(goal.g)
    choices = tuple(tuple(Choice(float(v) * MM, (), True, 0) for v in own) for own in space.values)
    return FitProblem(
        seats=tuple(f"S{i}" for i in range(n)),
        rows=tuple(f"C{i}" for i in range(rows)),
        F=goal.F / MM,
        g=goal.g,
        weights=np.ones(rows),
        L=space.L,
        b=space.b * MM,
        limits=tuple(LimitRow("leave", "", "a published row") for _ in space.b),
        choices=choices,
        marks=("P",),
        counts=tuple(np.zeros((len(own), 1), dtype=np.int64) for own in choices),
        stock=np.zeros(1, dtype=np.int64),
        windows=np.array([[own[0].setting, own[-1].setting] for own in choices]),
        clusters=tuple(c for own in segments for c in (tuple(own), ())),
        move_price=0.0,
    )


def whole_by(way: str, problem: FitProblem) -> tuple[tuple[int, ...], float]:
    """Solve a problem; return its proven optimum in whole units, and the squares."""
    if way == "line":
        found = solve_deck_line(problem, None, lambda selection: None)
        assert found is not None
        selection, score, proven = found.selection, found.score, found.proven
    else:
        stated = least_squares_by(problem, None, "scip" if way == "scip" else "highs")
        selection, score, proven = stated.selection, stated.value, stated.proven
    assert proven
    assert selection is not None
    return tuple(int(v) for v in np.round(problem.settings(selection) / MM)), score


WAYS = ["line", *solvers()]

GROUPS = [[[0, 1, 2]], [[0], [1, 2]], [[0, 2], [1]], [[0], [1], [2]]]


def test_lambda_by_the_walk() -> None:
    space = around()
    result = search(space, lambda_goal())
    assert values_of(space, result) == BEST
    assert result.score == pytest.approx(SCORE, abs=1e-12)
    assert result.lower == pytest.approx(SCORE, abs=1e-12)


@pytest.mark.parametrize("groups", GROUPS)
def test_lambda_by_rings(groups: list[list[int]]) -> None:
    space = around()
    result = by_rings(space, lambda_goal(), [np.array(g) for g in groups])
    assert values_of(space, result) == BEST
    assert result.score == pytest.approx(SCORE, abs=1e-12)


@pytest.mark.parametrize("way", WAYS)
def test_lambda_as_seats_of_a_deck(way: str) -> None:
    whole, score = whole_by(way, problem_of(lambda_goal(), around(), [[0], [1], [2]]))
    assert whole == BEST
    assert score == pytest.approx(SCORE, abs=1e-12)


@pytest.mark.parametrize("way", ["walk", "rings"])
def test_lambda_second_best_when_the_best_is_excluded(way: str) -> None:
    # x1 - x3 >= 1.5 cuts the best (5,3,4) and the third (4,2,4), not (6,4,4) nor the trap (5,3,3)
    space = around()
    L, b = np.array([[-1.0, 0.0, 1.0]]), np.array([-1.5])
    cut = grid(list(space.values), L, b)
    goal = lambda_goal()
    result = (
        search(cut, goal)
        if way == "walk"
        else by_rings(cut, goal, [np.array([0]), np.array([1, 2])])
    )
    assert values_of(cut, result) == SECOND
    assert result.score == pytest.approx(SECOND_SCORE, abs=1e-12)


def test_lambda_three_best_in_order() -> None:
    space = around()
    found = collect(space, lambda_goal(), 0.6, 1000)
    assert found is not None
    selection, squares = found
    order = np.argsort(squares)
    names = [
        tuple(int(v[k]) for v, k in zip(space.values, selection[i], strict=True)) for i in order[:3]
    ]
    assert names == [BEST, SECOND, THIRD]
    # the third was recomputed with ten digits
    assert squares[order][:3] == pytest.approx([SCORE, SECOND_SCORE, THIRD_SCORE], abs=1e-10)


def test_lambda_traps() -> None:
    goal = lambda_goal()
    rounded = np.round(FLOAT)
    assert rounded.tolist() == [5.0, 3.0, 3.0]
    wrong = float(np.sum((goal.M @ rounded - goal.h) ** 2))
    assert wrong == pytest.approx(1.24513, abs=5e-6)
    assert wrong > 5.0 * SCORE


def test_nothing_below_the_best_is_proven() -> None:
    space = around()
    for result in (
        search(space, lambda_goal(), best=SCORE - 1e-9),
        by_rings(space, lambda_goal(), [np.array([0]), np.array([1, 2])], SCORE - 1e-9),
    ):
        assert result.selection is None
        assert result.proven


H76 = np.array(
    [[2.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [-1.0, 0.0, 2.0, 1.0], [0.0, 0.0, 1.0, 1.0]]
)
C76 = np.array([-1.0, -3.0, 1.0, -1.0])
A76 = np.array([[1.0, 2.0, 1.0, 1.0], [3.0, 1.0, 2.0, -1.0], [0.0, -1.0, -4.0, 0.0]])
B76 = np.array([5.0, 4.0, -1.5])


@pytest.mark.parametrize("way", ["walk", "rings", *WAYS])
def test_hock_schittkowski_76_over_integers(way: str) -> None:
    M = np.linalg.cholesky(H76 / 2.0).T
    h = np.linalg.solve(M.T, -C76 / 2.0)
    goal = Goal("squares", M, h, M, h)
    space = grid([np.arange(6.0)] * 4, A76, B76)
    if way in WAYS:
        whole, score = whole_by(way, problem_of(goal, space, [[0], [1], [2], [3]]))
    else:
        groups = [np.array([0, 2]), np.array([1, 3])]
        result = search(space, goal) if way == "walk" else by_rings(space, goal, groups)
        whole, score = values_of(space, result), result.score
    assert whole == (0, 2, 0, 1)
    assert score - float(h @ h) == pytest.approx(-4.5, abs=1e-9)
    scores = sorted(
        float(x @ H76 @ x / 2.0 + C76 @ x)
        for x in map(np.array, itertools.product(range(6), repeat=4))
        if np.all(A76 @ x <= B76)
    )
    assert scores[:2] == [-4.5, -4.0]


#: five periods: linear and squared costs, bounds, greatest change from period to period, demand
LINEAR, SQUARED = np.tile([2.3, 1.7, 2.2], 5), np.tile([1e-4, 1e-4, 1.5e-4], 5)
LOW118, HIGH118 = [8, 43, 3] + [0] * 12, [21, 57, 16] + [90, 120, 60] * 4
CHANGE, DEMAND = (6.0, 7.0, 6.0), (60.0, 50.0, 70.0, 85.0, 100.0)
BEST118 = (8, 49, 3, 1, 56, 0, 1, 63, 6, 3, 70, 12, 5, 77, 18)


def hock_schittkowski_118() -> tuple[FitProblem, float]:
    """Problem 118 as a line of five segments with three seats each, and the constant in it."""
    rows, right = [], []
    unit = np.eye(15)
    for t in range(1, 5):
        for k, most in enumerate(CHANGE):
            rise = unit[3 * t + k] - unit[3 * t - 3 + k]
            rows += [rise, -rise]
            right += [most, 7.0]
    for t, demand in enumerate(DEMAND):
        rows.append(-unit[3 * t : 3 * t + 3].sum(axis=0))
        right.append(-demand)
    F, g = np.diag(np.sqrt(SQUARED)), -LINEAR / (2.0 * np.sqrt(SQUARED))
    values = [np.arange(a, b + 1.0) for a, b in zip(LOW118, HIGH118, strict=True)]
    space = grid(values, np.array(rows), np.array(right))
    goal = Goal("squares", F, g, F, g)
    return problem_of(goal, space, [[3 * t, 3 * t + 1, 3 * t + 2] for t in range(5)]), float(g @ g)


@pytest.mark.parametrize("way", WAYS)
def test_hock_schittkowski_118_over_integers(way: str) -> None:
    problem, constant = hock_schittkowski_118()
    whole, score = whole_by(way, problem)
    assert whole == BEST118
    assert score - constant == pytest.approx(664.8204500, abs=1e-6)


def test_hock_schittkowski_118_with_plates_of_any_thickness() -> None:
    problem, constant = hock_schittkowski_118()
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    # the solver keeps about nine digits of the squares
    assert relaxed.value - constant == pytest.approx(664.8204500, abs=1e-3)
    assert relaxed.x / MM == pytest.approx(np.array(BEST118, dtype=float), abs=1e-2)
