"""Stored instances: the seed still makes them, and they still have the optimum they had."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[3] / "benchmarks"))

from closure import ours
from stored import INSTANCES, SAME, SMALL, checksum, content, optima, problem_of, stored

from fitup.plan.search_space import space_of, squares_goal
from fitup.problem.problem import FitProblem
from fitup.solve.exact import search
from fitup.solve.local_search import improve
from fitup.solve.stock import solve_deck_line


@pytest.mark.parametrize("name", INSTANCES)
def test_the_seed_makes_what_it_made(name: str):
    assert checksum(INSTANCES[name].make()) == optima()[name]["checksum"]


@pytest.mark.parametrize("name", SMALL)
def test_what_is_stored_is_what_the_seed_makes(name: str):
    made, kept = INSTANCES[name].make(), stored(name)
    for one, two in (
        (made.F, kept.F),
        (made.g, kept.g),
        (made.L, kept.L),
        (made.b, kept.b),
        (made.windows, kept.windows),
    ):
        np.testing.assert_allclose(one, two, rtol=1e-9, atol=1e-12)
    for one, two in zip(made.choices, kept.choices, strict=True):
        assert [c.marks for c in one] == [c.marks for c in two]
        settings = [c.setting for c in one], [c.setting for c in two]
        np.testing.assert_allclose(*settings, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("name", SMALL)
def test_what_is_stored_has_the_optimum_it_had(name: str):
    best, proven = solved(stored(name))
    assert proven
    assert best == pytest.approx(optima()[name]["optimum"], rel=SAME)


def solved(problem: FitProblem) -> tuple[float, bool]:
    if len(problem.clusters) == 4:  # two segments, each with seats that lift and that push
        return ours(problem)[1:]
    goal = squares_goal(problem)

    def repair(selection: np.ndarray) -> np.ndarray | None:
        space = space_of(problem, problem.settings(selection), None)
        return improve(space, goal, 1, begin=selection)[0]

    found = solve_deck_line(problem, None, repair)
    if found is None:
        found = search(space_of(problem, np.zeros(len(problem.seats)), None), goal, best=1e6)
    return found.score, found.proven


def test_a_change_shows():
    problem = stored("deck-8")
    before = checksum(problem)
    changed = content(problem)
    changed["g"][3] += 1e-5
    assert checksum(problem_of(changed)) != before
    changed = content(problem)
    changed["tables"][0][1][-1][0] += 1
    assert checksum(problem_of(changed)) != before
    assert checksum(problem_of(content(problem))) == before
