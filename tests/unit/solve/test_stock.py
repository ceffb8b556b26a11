"""Lines whose segments share the stock, against every choice there is."""

from __future__ import annotations

import importlib
import itertools
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitup.plan.search_space import space_of, squares_goal
from fitup.problem import continuous as relax
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem
from fitup.solve.balance import balance
from fitup.solve.deckline import deck_line
from fitup.solve.exact import collect
from fitup.solve.line import Kept, Link, ReducedLink, best_line
from fitup.solve.minplus import sums_within
from fitup.solve.stock import list_lines, plates_used, solve_deck_line
from fitup.solve.sweep import costed

BENCHMARKS = Path(__file__).parents[3] / "benchmarks"

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
    """Least squares of every selection there is, worked out side by side."""
    sizes = [len(c) for c in problem.choices]
    selections = np.array(list(itertools.product(*(range(k) for k in sizes))))
    values = [np.array([c.setting for c in own]) for own in problem.choices]
    x = np.stack([v[selections[:, k]] for k, v in enumerate(values)], axis=1)
    used = sum(u[selections[:, k]] for k, u in enumerate(problem.counts))
    ratios = x @ problem.F.T - problem.g
    over = x @ problem.L.T - problem.b
    keeps = (over <= 1e-9 * np.maximum(1.0, np.abs(problem.b))).all(axis=1)
    keeps &= (used <= problem.stock).all(axis=1)
    if cap is not None:
        keeps &= np.abs(ratios).max(axis=1) <= cap
    squares = ratios**2 @ problem.weights + problem.move_price * (x**2).sum(axis=1)
    return float(squares[keeps].min(initial=np.inf))


@CASES
@given(st.integers(0, 10**6), st.sampled_from([None, 2.5]))
def test_shared_stock_against_every_choice(seed: int, cap: float | None):
    problem = random_problem(seed)
    truth = brute(problem, cap)
    found = solve_deck_line(problem, cap, lambda selection: None)
    assert found is not None
    if np.isinf(truth):
        assert found.selection is None
        return
    assert found.lower <= truth + 1e-9
    if found.selection is not None:
        assert problem.feasible(found.selection)
        assert found.score >= truth - 1e-9
    if found.proven:
        assert found.score == pytest.approx(truth, rel=1e-9, abs=1e-9)
    # a plan that keeps the stock is needed before the lines that beat it can be listed
    else:
        assert found.selection is None or found.score > truth - 1e-9


@CASES
@given(st.integers(0, 10**6))
def test_a_known_plan_closes_the_gap(seed: int):
    problem = random_problem(seed)
    selections = itertools.product(*(range(len(c)) for c in problem.choices))
    kept = [np.array(p) for p in selections if problem.feasible(np.array(p))]
    if not kept:
        return
    worst = max(kept, key=lambda p: problem.squares(problem.settings(p)))
    found = solve_deck_line(problem, None, lambda selection: worst)
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
        selections = map(np.array, itertools.product(*(range(len(c)) for c in still.choices)))
        known = next((p for p in selections if still.feasible(p)), None)
        found = solve_deck_line(still, None, lambda selection, known=known: known)
        assert found is not None
        assert (found.selection is None) == np.isinf(truth)
        if found.selection is not None:
            assert found.proven
            assert still.feasible(found.selection)
            assert found.score == pytest.approx(truth, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("still", [0.05, 0.0])
@pytest.mark.parametrize("seed", range(12))
def test_a_priced_line_costs_squares_and_prices(seed: int, still: float):
    problem = replace(random_problem(seed), move_price=still)
    deck = deck_line(problem, None)
    if deck is None:
        return
    rng = np.random.default_rng(seed)
    n, prices = len(problem.seats), rng.uniform(0.0, 3.0, 2)
    line = deck.priced(problem, prices, rng.uniform(-3.0, 3.0, n))
    assert line.prices is not None
    assert deck.priced(problem, np.zeros(2), np.zeros(n)) is deck.line
    assert all((rest >= 0.0).all() for own in line.prices for rest in own)
    balanced = balance(line)
    for _ in range(5):
        selection = np.array([rng.integers(len(c)) for c in problem.choices])
        kept = [costed(balanced.line, s, selection[None, b]) for s, b in enumerate(deck.blocks)]
        free = [replace(link, r=link.r + 1e9) for link in balanced.line.links]
        score, _, _ = best_line([ReducedLink.of(link) for link in free], kept)
        used = sum(c[k] for c, k in zip(problem.counts, selection, strict=True))
        truth = problem.squares(problem.settings(selection)) + float(used @ prices)
        assert score + balanced.moved == pytest.approx(truth, rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_ways_within_a_limit_are_all_found(seed: int):
    rng = np.random.default_rng(seed)
    a, v, b, w = rng.normal(size=(90, 3)), rng.random(90), rng.normal(size=(70, 3)), rng.random(70)
    near, far, r = rng.normal(size=(90, 2)), rng.normal(size=(70, 2)), np.array([0.3, 1.0])
    one, two, total, complete = sums_within(a, v, b, w, near, far, r, 2.5, 10_000)
    table = v[:, None] + ((a[:, None, :] - b[None]) ** 2).sum(axis=2)
    fits = (table + w[None, :] <= 2.5) & np.all(near[:, None] + far[None] <= r, axis=2)
    assert complete
    assert fits.any()
    assert set(zip(one.tolist(), two.tolist(), strict=True)) == set(
        map(tuple, np.argwhere(fits).tolist())
    )
    assert total == pytest.approx(table[one, two])


def test_too_many_ways_are_said_to_be_so():
    a = np.zeros((3000, 1))
    one, _, _, complete = sums_within(
        a, a[:, 0], a, a[:, 0], np.zeros((3000, 0)), np.zeros((3000, 0)), np.zeros(0), 1.0, 2000
    )
    assert not complete
    assert 2000 <= len(one) < 3000 * 3000


@pytest.mark.parametrize("most", [1, 3])
def test_a_few_lines_only_are_no_proof(most: int):
    problem = random_problem(0)
    problem = replace(problem, stock=np.array([9, 9]))
    deck = deck_line(problem, None)
    assert deck is not None
    ties = [ReducedLink.of(link) for link in deck.line.links]
    grids = [np.indices([len(problem.choices[i]) for i in b]) for b in deck.blocks]
    kept = [costed(deck.line, s, g.reshape(len(g), -1).T) for s, g in enumerate(grids)]
    uses = plates_used(deck.line.spaces, kept)
    every, complete = list_lines(ties, kept, uses, problem.stock, 1e6, alike=False)
    some, whole = list_lines(ties, kept, uses, problem.stock, 1e6, alike=False, most=most)
    assert complete
    assert not whole
    assert len(some) < len(every)
    assert all(problem.feasible(deck.selection(p, len(problem.seats))) for p in some)
    best = min(
        problem.squares(problem.settings(deck.selection(p, len(problem.seats)))) for p in every
    )
    assert best == pytest.approx(brute(problem, None))


@pytest.mark.parametrize("share", [0.98, 1.0])
def test_a_deck_with_too_little_steel_goes_lower_as_a_whole(
    share: float, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    line_problem = importlib.import_module("instances").line_problem
    problem = line_problem(4, 2, share=share)
    found = solve_deck_line(problem, None, lambda selection: None)
    assert found is not None
    assert found.selection is not None
    assert problem.feasible(found.selection)
    assert found.proven
    plenty = solve_deck_line(line_problem(4, 2), None, lambda selection: None)
    assert plenty is not None
    assert plenty.score < found.score


def test_segments_out_of_order_are_laid_out_along_the_deck():
    problems = map(random_problem, range(100))
    deck = deck_line(next(p for p in problems if all(len(c) > 1 for c in p.choices)), None)
    assert deck is not None
    ends = [int(block[0]) for block in deck.blocks]
    assert ends in (sorted(ends), sorted(ends, reverse=True))


@pytest.mark.parametrize("most", [0, 256])
@pytest.mark.parametrize("seed", range(4))
def test_no_plan_of_so_few_squares_lies_beyond_reach(seed: int, most: int):
    problem = random_problem(seed)
    # every move is written in metres of a window of two: far from what solvers take for rounding
    with mock.patch.object(relax, "_MANY", most):
        near = relax.reach(problem, 1e3, 3.0)
    inside = 0
    for selection in itertools.product(*(range(len(c)) for c in problem.choices)):
        x = problem.settings(np.array(selection))
        if problem.squares(x) <= 3.0 and problem.feasible(np.array(selection)):
            assert np.all((x >= near[:, 0] - 1e-9) & (x <= near[:, 1] + 1e-9))
            inside += 1
    assert np.all(near >= -2.0)
    assert np.all(near <= 2.0)
    assert inside or np.any(near > -2.0)


def test_what_is_listed_does_not_keep_the_table_it_was_found_in():
    problem = random_problem(0)
    space = space_of(problem, np.zeros(len(problem.seats)), None)
    listed = collect(space, squares_goal(problem), np.inf, 1 << 16)
    assert listed is not None
    assert all(part.base is None for part in listed)


def test_plates_of_one_thickness_under_two_marks_end_the_listing() -> None:
    """So many lines at the very same cost that no lower limit leaves fewer of them."""
    count, segments = 40, 3
    selection = np.arange(count, dtype=np.int32)[:, None]
    kept = [Kept(selection, np.zeros((count, 1)), np.ones(count)) for _ in range(segments)]
    link = Link(np.eye(1), -np.eye(1), np.zeros(1), *np.zeros((2, 0, 1)), np.zeros(0))
    uses = [np.c_[selection, count - selection] for _ in range(segments)]
    ties, stock = [ReducedLink.of(link)] * (segments - 1), np.array([60, 60])
    assert not list_lines(ties, kept, uses, stock, 4.0, most=50)[1]
    lines, complete = list_lines(ties, kept, uses, stock, 4.0)
    assert lines
    assert complete
