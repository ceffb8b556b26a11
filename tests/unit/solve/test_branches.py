"""Decks side by side against every choice there is."""

from __future__ import annotations

import importlib
import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.model import Objectives
from fitup.plan.priorities import choose
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem
from fitup.solve.banded import look_along
from fitup.solve.branches import solve_branched, unbranched
from fitup.solve.deckline import deck_line
from fitup.solve.effort import Effort
from fitup.solve.exact import SearchResult

BENCHMARKS = Path(__file__).parents[3] / "benchmarks"


def side_by_side(
    seed: int, length: int, rungs: tuple[int, ...], seats: int = 1, packs: int = 3
) -> FitProblem:
    """Two lines of segments with ties across at some places, and a stock that may be short."""
    rng = np.random.default_rng(seed)
    n = 2 * length * seats
    own = [list(range(seats * k, seats * (k + 1))) for k in range(2 * length)]
    ties = [(d * length + k, d * length + k + 1) for d in (0, 1) for k in range(length - 1)]
    rows = []
    for pair in [*ties, *((k, length + k) for k in rungs)]:
        for _ in range(2):
            row = np.zeros(n)
            row[[i for s in pair for i in own[s]]] = rng.normal(size=2 * seats)
            rows.append(row)
    limits = np.zeros((2, n))
    for limit, s in zip(limits, (0, length), strict=True):
        limit[[*own[s], *own[s + 1]]] = rng.normal(size=2 * seats)
    limits = np.vstack([limits, rng.normal(size=(1, n))])
    still = np.eye(n) * 0.4
    choices, counts = [], []
    for _ in range(n):
        x = np.sort(np.r_[0.0, rng.uniform(-2.0, 2.0, packs - 1)])
        choices.append(tuple(Choice(float(v), (), bool(v), int(bool(v))) for v in x))
        counts.append(rng.integers(0, 3, (packs, 1)))
    F = np.vstack([rows, still])
    return FitProblem(
        seats=tuple(f"S{i}" for i in range(n)),
        rows=tuple(f"r{i}" for i in range(len(F))),
        F=F,
        g=np.r_[rng.normal(size=len(rows)), 0.2 * rng.normal(size=n)],
        weights=rng.uniform(0.5, 2.0, len(F)),
        L=limits,
        b=rng.uniform(1.0, 3.0, len(limits)),
        limits=(),
        choices=tuple(choices),
        marks=("a",),
        counts=tuple(counts),
        stock=np.array([n + 1]),
        windows=np.tile([-2.0, 2.0], (n, 1)),
        clusters=tuple(c for s in own for c in (tuple(s), ())),
        move_price=0.05,
    )


def every(problem: FitProblem, cap: float | None) -> list[tuple[float, tuple[int, ...]]]:
    """Every plan that keeps cap, limits and stock, by its squares."""
    sizes = [len(c) for c in problem.choices]
    selections = np.array(list(itertools.product(*(range(k) for k in sizes))))
    values = [np.array([c.setting for c in own]) for own in problem.choices]
    x = np.stack([v[selections[:, k]] for k, v in enumerate(values)], axis=1)
    worst = np.abs(x @ problem.F.T - problem.g).max(axis=1)
    near = selections if cap is None else selections[worst <= cap]
    plans = [
        (problem.squares(problem.settings(at)), tuple(int(k) for k in at))
        for at in near
        if problem.feasible(at)
    ]
    return sorted(plans)


@pytest.mark.parametrize("cap", [None, 2.0])
@pytest.mark.parametrize("rungs", [(1,), (0, 2), (0, 1, 2)])
@pytest.mark.parametrize("seed", range(6))
def test_decks_side_by_side_against_every_choice(
    seed: int, rungs: tuple[int, ...], cap: float | None
):
    problem = side_by_side(seed, 3, rungs)
    plans = every(problem, cap)
    if not plans:
        return
    found = solve_branched(problem, cap, np.array(plans[-1][1]))
    assert found is not None
    assert found.proven
    assert found.score == pytest.approx(plans[0][0], rel=1e-9)
    assert found.lower <= plans[0][0] * (1.0 + 1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_the_easier_line_is_never_above_a_plan(seed: int):
    problem = side_by_side(seed, 3, (0, 1, 2))
    plans = every(problem, None)
    easier = unbranched(problem, None)
    assert easier is not None
    result = SearchResult(np.array(plans[-1][1]), plans[-1][0], 0.0, False)
    assert look_along(problem, None, easier, result, Effort(np.inf))
    assert result.lower <= plans[0][0] * (1.0 + 1e-9)
    assert result.score >= plans[0][0] * (1.0 - 1e-9)


@pytest.mark.parametrize("beams", [(1,), (0, 2)])
def test_the_front_end_takes_decks_side_by_side_apart(
    beams: tuple[int, ...], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    problem = importlib.import_module("instances").twin_problem(3, 1, beams)
    chosen = choose(problem, Objectives(search_effort=8.0))
    squares = next(w for w in chosen.objectives if w.name == "least squares")
    assert "side by side" in chosen.method
    assert problem.feasible(chosen.selection)
    assert squares.upper == problem.squares(problem.settings(chosen.selection))
    assert squares.lower > 0.8 * squares.upper


def test_a_deck_that_is_a_line_has_nothing_to_lose():
    problem = side_by_side(1, 4, ())
    problem = replace(problem, L=problem.L[:2], b=problem.b[:2])
    easier = unbranched(problem, None)
    assert easier is not None
    plain = deck_line(problem, None)
    assert plain is not None
    kept = [easier.deck.line.own, plain.line.own]
    assert all(np.allclose(a[1], b[1]) for a, b in zip(*kept, strict=True))
