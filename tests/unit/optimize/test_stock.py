"""Lines whose segments share the stock, against every choice there is."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitup.optimize.deckline import deck_line
from fitup.optimize.packs import Choice
from fitup.optimize.problem import FitProblem
from fitup.optimize.stock import solve_deck_line

CASES = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def random_problem(seed: int) -> FitProblem:
    """Three or four segments of one or two seats in a row, two marks of plates, a scarce stock."""
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 3, rng.integers(2, 5))
    start = np.r_[0, np.cumsum(sizes)]
    n = int(start[-1])
    rows, limits = [], []
    for k, size in enumerate(sizes):
        row = np.zeros(n)
        row[start[k] : start[k] + size] = rng.normal(size=size)
        rows.append(0.3 * row)
    for k in range(len(sizes) - 1):
        for _ in range(2):
            row = np.zeros(n)
            row[start[k] : start[k + 2]] = rng.normal(size=start[k + 2] - start[k])
            rows.append(row)
        row = np.zeros(n)
        row[start[k] : start[k + 2]] = rng.normal(size=start[k + 2] - start[k])
        limits.append(row)
    order = rng.permutation(len(sizes))
    clusters = []
    for k in order:
        clusters += [tuple(range(start[k], start[k + 1])), ()]
    choices, counts = [], []
    for _ in range(n):
        own = np.sort(rng.uniform(-2.0, 2.0, rng.integers(1, 5)))
        choices.append(tuple(Choice(float(x), (), bool(x), 0) for x in own))
        counts.append(rng.integers(0, 3, (len(own), 2)))
    F = np.array(rows)
    return FitProblem(
        seats=tuple(f"S{i}" for i in range(n)),
        rows=tuple(f"r{i}" for i in range(len(F))),
        F=F,
        g=rng.normal(size=len(F)),
        weights=rng.uniform(0.5, 2.0, len(F)),
        L=np.array(limits),
        b=rng.uniform(0.5, 3.0, len(limits)),
        limits=(),
        choices=tuple(choices),
        marks=("a", "b"),
        counts=tuple(counts),
        stock=rng.integers(n // 2, n + 2, 2),
        windows=np.tile([-2.0, 2.0], (n, 1)),
        clusters=tuple(clusters),
        move_price=0.05,
    )


def brute(problem: FitProblem, cap: float | None) -> float:
    best = np.inf
    for pick in itertools.product(*(range(len(c)) for c in problem.choices)):
        x = problem.settings(np.array(pick))
        if cap is not None and problem.worst_ratio(x) > cap:
            continue
        if problem.feasible(np.array(pick)):
            best = min(best, problem.squares(x))
    return best


@CASES
@given(st.integers(0, 10**6), st.sampled_from([None, 2.5]))
def test_shared_stock_against_every_choice(seed: int, cap: float | None):
    problem = random_problem(seed)
    truth = brute(problem, cap)
    found = solve_deck_line(problem, cap, lambda pick: None)
    assert found is not None
    if np.isinf(truth):
        assert found.pick is None
        return
    assert found.lower <= truth + 1e-9
    if found.pick is not None:
        assert problem.feasible(found.pick)
        assert found.score >= truth - 1e-9
    if found.proven:
        assert found.score == pytest.approx(truth, rel=1e-9, abs=1e-9)
    # a plan that keeps the stock is needed before the lines that beat it can be listed
    else:
        assert found.pick is None or found.score > truth - 1e-9


@CASES
@given(st.integers(0, 10**6))
def test_a_known_plan_closes_the_gap(seed: int):
    problem = random_problem(seed)
    picks = itertools.product(*(range(len(c)) for c in problem.choices))
    kept = [np.array(p) for p in picks if problem.feasible(np.array(p))]
    if not kept:
        return
    worst = max(kept, key=lambda p: problem.squares(problem.settings(p)))
    found = solve_deck_line(problem, None, lambda pick: worst)
    assert found is not None
    assert found.proven
    assert found.score == pytest.approx(brute(problem, None), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", [7, 9, 13, 39])
def test_a_held_segment_listed_away_from_its_neighbours_still_binds_them(seed: int):
    problem = random_problem(seed)
    segments = [c for c in problem.clusters if c]
    for held in segments:
        still = replace(
            problem,
            choices=tuple(
                (Choice(0.0, (), False, 0),) if i in held else c
                for i, c in enumerate(problem.choices)
            ),
            counts=tuple(
                np.zeros((1, 2), dtype=np.int64) if i in held else u
                for i, u in enumerate(problem.counts)
            ),
            # the held one is listed last
            clusters=tuple(
                c for own in sorted(segments, key=lambda s: s == held) for c in (own, ())
            ),
        )
        truth = brute(still, None)
        picks = map(np.array, itertools.product(*(range(len(c)) for c in still.choices)))
        known = next((p for p in picks if still.feasible(p)), None)
        found = solve_deck_line(still, None, lambda pick, known=known: known)
        assert found is not None
        assert (found.pick is None) == np.isinf(truth)
        if found.pick is not None:
            assert found.proven
            assert still.feasible(found.pick)
            assert found.score == pytest.approx(truth, rel=1e-9, abs=1e-9)


def test_segments_out_of_order_are_laid_out_along_the_deck():
    problems = map(random_problem, range(100))
    deck = deck_line(next(p for p in problems if all(len(c) > 1 for c in p.choices)), None)
    assert deck is not None
    ends = [int(block[0]) for block in deck.blocks]
    assert ends in (sorted(ends), sorted(ends, reverse=True))
