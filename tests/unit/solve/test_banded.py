"""Continuous decks cut to bands: the same optimum as a search over all seats, and true bounds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from unittest import mock

import numpy as np
import pytest

from fitup.plan.search_space import space_of, squares_goal
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem
from fitup.solve import banded as module
from fitup.solve.banded import seats_along, solve_banded
from fitup.solve.exact import search


def deck(seats: int, seed: int) -> FitProblem:
    """Checks at every seat and between, each moved less by seats farther off."""
    rng = np.random.default_rng(seed)
    at = np.arange(seats, dtype=float)
    places = np.arange(0.0, seats - 0.9, 0.5)
    apart = np.abs(places[:, None] - at[None, :])
    F = 300.0 * np.exp(-1.6 * apart) * np.where(apart < 1.0, 1.0, -0.4)
    settings = 1e-3 * np.arange(-9.0, 10.0) + 0.2e-3 * rng.normal(size=19)
    choices = tuple(Choice(float(x), (), True, 0) for x in np.sort(settings))
    difference = np.diff(np.eye(seats), axis=0)
    return FitProblem(
        seats=tuple(f"S{i}" for i in range(seats)),
        rows=tuple(str(i) for i in range(len(F))),
        F=F,
        g=F @ rng.normal(0.0, 3e-3, seats),
        weights=np.ones(len(F)),
        L=np.vstack([difference, -difference]),
        b=np.full(2 * seats - 2, 6e-3),
        limits=(),
        choices=(choices,) * seats,
        marks=("P",),
        counts=(np.zeros((19, 1), dtype=np.int64),) * seats,
        stock=np.zeros(1, dtype=np.int64),
        windows=np.tile([-9e-3, 9e-3], (seats, 1)),
        clusters=(tuple(range(seats)), ()),
    )


def a_selection(problem: FitProblem) -> np.ndarray:
    return np.full(len(problem.seats), 9)


def beside(selection: np.ndarray) -> Iterator[np.ndarray]:
    """Picks that differ at one seat by one choice."""
    for i in range(len(selection)):
        for change in (-1, 1):
            other = selection.copy()
            other[i] = np.clip(other[i] + change, 0, 18)
            if other[i] != selection[i]:
                yield other


@pytest.mark.parametrize("seed", range(4))
def test_bands_find_what_a_search_over_all_seats_finds(seed: int):
    problem = deck(9, seed)
    truth = search(space_of(problem, np.zeros(9), None), squares_goal(problem), best=1e9)
    assert truth.proven and truth.selection is not None
    start = next(p for p in beside(truth.selection) if problem.feasible(p))
    with mock.patch.multiple(module, _SEATS=(2, 3), _WORTH=10.0):
        found = solve_banded(problem, None, start)
    assert found is not None
    assert found.proven
    assert found.score == pytest.approx(truth.score, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_a_bound_without_proof_is_true(seed: int):
    problem = deck(9, seed)
    truth = search(space_of(problem, np.zeros(9), None), squares_goal(problem), best=1e9)
    with (
        mock.patch.multiple(module, _SEATS=(2,), _WORTH=10.0),
        mock.patch.object(module, "list_lines", lambda *a, **k: ([], False)),
    ):
        found = solve_banded(problem, None, a_selection(problem))
    assert found is not None
    assert not found.proven
    assert found.lower <= truth.score * (1.0 + 1e-9)


def test_seats_named_out_of_order_are_found_along_the_deck():
    problem = deck(12, 1)
    mixed = np.random.default_rng(5).permutation(12)
    order = seats_along(replace(problem, F=problem.F[:, mixed]))
    along = mixed[order]
    assert list(along) in (list(range(12)), list(range(12))[::-1])


def test_rows_that_do_not_fade_are_left_to_the_other_search():
    problem = deck(30, 1)
    level = replace(problem, F=np.ones((3, 30)) * 100.0, g=np.zeros(3), weights=np.ones(3))
    assert solve_banded(level, None, a_selection(problem) + 1) is None
