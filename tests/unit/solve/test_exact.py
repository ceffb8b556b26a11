"""The exact searches against brute force over every whole-number choice."""

from __future__ import annotations

import itertools
from dataclasses import replace
from unittest import mock

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitup.solve import rings
from fitup.solve.clusters import cluster_tree
from fitup.solve.effort import Effort
from fitup.solve.exact import Goal, Space, collect, echelon, search
from fitup.solve.local_search import PricedSearch, improve
from fitup.solve.rings import search_rings

CASES = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def random_case(seed: int) -> tuple[Space, Goal, Goal]:
    """A small problem with everything on: limits, stock, flat directions, uneven choices."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 7))
    values = [np.sort(rng.uniform(-0.01, 0.01, rng.integers(1, 6))) for _ in range(n)]
    kinds = int(rng.integers(1, 4))
    uses = [rng.integers(0, 3, (len(v), kinds)) for v in values]
    capacity = rng.integers(n, 2 * n + 1, kinds)
    rank = int(rng.integers(1, n + 2))
    rows = int(rng.integers(rank, rank + 4))
    M = 300.0 * rng.normal(size=(rows, rank)) @ rng.normal(size=(rank, n)) / np.sqrt(rank)
    h = rng.normal(size=rows)
    p = int(rng.integers(0, 4))
    L, b = rng.normal(size=(p, n)), rng.uniform(0.0, 0.02, p)
    share = rng.dirichlet(np.ones(rows))
    root = np.sqrt(share)
    space = Space(values, uses, capacity, L, b, np.array([v.mean() for v in values]))
    squares = Goal("squares", M, h, M, h)
    worst = Goal("worst", M * root[:, None], h * root, M, h)
    return space, squares, worst


def brute(space: Space, goal: Goal) -> float:
    """Least score of every selection there is, worked out side by side."""
    selections = np.array(list(itertools.product(*(range(len(v)) for v in space.values))))
    x = np.stack([v[selections[:, k]] for k, v in enumerate(space.values)], axis=1)
    used = sum(u[selections[:, k]] for k, u in enumerate(space.uses))
    keeps = (x @ space.L.T <= space.b + 1e-10).all(axis=1) & (used <= space.capacity).all(axis=1)
    ratios = x @ goal.F.T - goal.g
    worst = goal.kind == "worst"
    scores = np.abs(ratios).max(axis=1) if worst else (ratios**2).sum(axis=1)
    return float(scores[keeps].min(initial=np.inf))


def score(space: Space, goal: Goal, selection: np.ndarray) -> float:
    x = np.array([v[k] for v, k in zip(space.values, selection, strict=True)])
    used = sum(u[k] for u, k in zip(space.uses, selection, strict=True))
    assert np.all(space.L @ x <= space.b + 1e-9)
    assert np.all(used <= space.capacity)
    ratio = goal.F @ x - goal.g
    return float(np.abs(ratio).max() if goal.kind == "worst" else ratio @ ratio)


@CASES
@given(st.integers(0, 10**6))
@pytest.mark.parametrize("kind", ["squares", "worst"])
def test_walk_finds_the_brute_force_optimum(kind: str, seed: int) -> None:
    space, squares, worst = random_case(seed)
    goal = worst if kind == "worst" else squares
    truth = brute(space, goal)
    found = search(space, goal)
    assert found.proven
    if np.isinf(truth):
        assert found.selection is None
        return
    assert found.selection is not None
    assert found.score == pytest.approx(truth, rel=1e-7, abs=1e-9)
    assert score(space, goal, found.selection) == pytest.approx(truth, rel=1e-7, abs=1e-9)


@CASES
@given(st.integers(0, 10**6), st.sampled_from(["squares", "worst"]), st.booleans())
def test_rings_find_the_brute_force_optimum(seed: int, kind: str, one_by_one: bool) -> None:
    space, squares, worst = random_case(seed)
    goal = worst if kind == "worst" else squares
    truth = brute(space, goal)
    n = len(space.values)
    half = max(1, n // 2)
    groups = [np.arange(half), np.arange(half, n)]
    tree = cluster_tree(goal, groups)
    with mock.patch.object(rings, "_MOST_PAIRS", 0.5 if one_by_one else rings._MOST_PAIRS):
        found = search_rings(space, goal, tree, best=1e6)
    assert found.proven
    if np.isinf(truth):
        assert found.selection is None
        return
    assert found.selection is not None
    assert score(space, goal, found.selection) == pytest.approx(truth, rel=1e-7, abs=1e-9)
    assert found.lower <= truth * (1.0 + 1e-7) + 1e-9


def folded(space: Space, goal: Goal, seed: int) -> Goal:
    """The same squares, bounded by a form that some multipliers of the limits are folded into."""
    n = len(space.values)
    M, h = np.vstack([goal.M, 20.0 * np.eye(n)]), np.r_[goal.h, np.zeros(n)]
    prices = np.random.default_rng(seed).uniform(0.0, 2e3, len(space.b))
    shift = M @ np.linalg.solve(M.T @ M, -0.5 * (space.L.T @ prices))
    offset = float(-2.0 * (shift @ h) - shift @ shift - prices @ space.b)
    return Goal("squares", M, h + shift, M, h, offset)


@CASES
@given(
    st.integers(0, 10**6), st.sampled_from(["folded", "worst"]), st.floats(1e-3, 0.5), st.booleans()
)
def test_rings_about_a_plan_to_beat(seed: int, kind: str, above: float, walked: bool) -> None:
    """The squares only bound the score: the best selection may be outside the first ring of any."""
    space, squares, worst = random_case(seed)
    goal = worst if kind == "worst" else folded(space, squares, seed)
    truth = brute(space, goal)
    if np.isinf(truth):
        return
    tree = cluster_tree(goal, [np.arange(len(space.values))])
    best = truth * (1.0 + above) + 1e-6
    found = search(space, goal, best=best) if walked else search_rings(space, goal, tree, best=best)
    assert found.proven
    assert found.selection is not None
    assert score(space, goal, found.selection) == pytest.approx(truth, rel=1e-7, abs=1e-8)


@pytest.mark.parametrize("seen", [[0, 1, 2], [3, 4, 5]])
def test_a_cluster_that_the_squares_do_not_see_is_matched(seen: list[int]) -> None:
    rng = np.random.default_rng(3)
    values = [np.sort(rng.uniform(-0.01, 0.01, 4)) for _ in range(6)]
    uses = [rng.integers(0, 2, (4, 1)) for _ in range(6)]
    L, b = rng.normal(size=(2, 6)), np.array([0.001, 0.002])
    space = Space(values, uses, np.array([3]), L, b, np.zeros(6))
    M, h = np.zeros((4, 6)), rng.normal(size=4)
    M[:, seen] = 300.0 * rng.normal(size=(4, 3))
    goal = Goal("squares", M, h, M, h)
    tree = cluster_tree(goal, [np.arange(3), np.arange(3, 6)])
    found = search_rings(space, goal, tree, best=1e6)
    assert found.proven
    assert found.score == pytest.approx(brute(space, goal), rel=1e-7, abs=1e-9)


@CASES
@given(st.integers(0, 10**6))
def test_a_bound_below_the_optimum_finds_nothing_and_proves_it(seed: int) -> None:
    space, goal, _ = random_case(seed)
    truth = brute(space, goal)
    if np.isinf(truth):
        return
    below = truth * (1.0 - 1e-4)
    tree = cluster_tree(goal, [np.arange(len(space.values))])
    for found in (search(space, goal, best=below), search_rings(space, goal, tree, best=below)):
        assert found.selection is None
        assert found.proven


@CASES
@given(st.integers(0, 10**6), st.floats(0.1, 30.0))
def test_collect_lists_every_selection_within_the_radius(seed: int, radius: float) -> None:
    space, goal, _ = random_case(seed)
    listed = collect(space, goal, radius, 100_000)
    assert listed is not None
    expected = set()
    for selection in itertools.product(*(range(len(v)) for v in space.values)):
        x = np.array([v[k] for v, k in zip(space.values, selection, strict=True)])
        used = sum(u[k] for u, k in zip(space.uses, selection, strict=True))
        inside = np.all(space.L @ x <= space.b) and np.all(used <= space.capacity)
        if inside and ((goal.M @ x - goal.h) ** 2).sum() <= radius * (1.0 - 1e-9):
            expected.add(selection)
    found = {tuple(int(k) for k in row) for row in listed[0]}
    assert expected <= found
    for row, squares in zip(*listed, strict=True):
        x = np.array([v[k] for v, k in zip(space.values, row, strict=True)])
        assert squares == pytest.approx(((goal.M @ x - goal.h) ** 2).sum(), rel=1e-9, abs=1e-9)


@CASES
@given(st.integers(0, 10**6))
def test_improve_keeps_limits_and_never_beats_the_optimum(seed: int) -> None:
    space, goal, _ = random_case(seed)
    truth = brute(space, goal)
    selection, value = improve(space, goal, 3)
    if selection is None:
        return
    assert score(space, goal, selection) == pytest.approx(value, rel=1e-6, abs=1e-9)
    assert value >= truth * (1.0 - 1e-9) - 1e-12


@CASES
@given(st.integers(0, 10**6))
def test_no_change_of_two_seats_betters_what_improve_returns(seed: int) -> None:
    space, goal, _ = random_case(seed)
    selection, value = improve(space, goal, 1)
    if selection is None:
        return
    for i, j in itertools.combinations_with_replacement(range(len(selection)), 2):
        for a, b in itertools.product(range(len(space.values[i])), range(len(space.values[j]))):
            other = selection.copy()
            other[i], other[j] = a, b
            x = np.array([v[k] for v, k in zip(space.values, other, strict=True)])
            used = sum(u[k] for u, k in zip(space.uses, other, strict=True))
            if np.all(space.L @ x <= space.b) and np.all(used <= space.capacity):
                assert score(space, goal, other) >= value * (1.0 - 1e-9) - 1e-12


@CASES
@given(st.integers(0, 10**6))
def test_improve_for_work_keeps_the_squares_allowed(seed: int) -> None:
    space, goal, _ = random_case(seed)
    truth = brute(space, goal)
    if np.isinf(truth):
        return
    allowed = truth * 1.5 + 0.1
    prices = [np.arange(len(v), dtype=float)[::-1] for v in space.values]
    best = search(space, goal)
    assert best.selection is not None
    selection, price = improve(
        space, goal, 2, work=PricedSearch(prices, allowed), begin=best.selection
    )
    assert selection is not None
    assert score(space, goal, selection) <= allowed * (1.0 + 1e-9)
    begun = sum(p[k] for p, k in zip(prices, best.selection, strict=True))
    assert sum(p[k] for p, k in zip(prices, selection, strict=True)) <= begun
    assert price >= 0.0


@CASES
@given(st.integers(0, 10**6))
def test_echelon_keeps_the_squares(seed: int) -> None:
    space, goal, _ = random_case(seed)
    R, z, row_of, base = echelon(goal.M, goal.h)
    for x in np.random.default_rng(seed).uniform(-0.01, 0.01, (3, len(space.values))):
        whole = ((goal.M @ x - goal.h) ** 2).sum()
        assert base + ((R @ x - z) ** 2).sum() == pytest.approx(whole, rel=1e-9, abs=1e-9)
    for column, row in enumerate(row_of):
        if row >= 0:
            assert R[row, column] != 0.0
            assert np.all(R[row, :column] == 0.0)


def test_time_over_leaves_a_true_lower_bound() -> None:
    space, goal, _ = random_case(7)
    found = search(space, goal, best=1e6, effort=Effort(0.0))
    assert found.lower <= brute(space, goal)


@pytest.mark.parametrize("bound", [0.0, -1.0])
def test_a_limit_that_no_seat_changes_is_kept_by_all_selections_or_by_none(bound: float):
    space, squares, _ = random_case(1)
    n = len(space.values)
    fixed = replace(space, L=np.vstack([space.L, np.zeros(n)]), b=np.r_[space.b, bound])
    free = search(space, squares)
    found = search(fixed, squares)
    assert free.selection is not None
    assert found.proven
    assert (found.selection is None) == (bound < 0.0)
    listed = collect(fixed, squares, np.inf, 10_000)
    assert listed is not None
    assert (len(listed[0]) == 0) == (bound < 0.0)
