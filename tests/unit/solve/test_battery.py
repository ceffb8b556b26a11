"""Every way of solving against every selection there is, on small jobs with everything on at once.

The battery is ``benchmarks/battery.py``, which runs it by the thousand; a few hundred jobs here.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[3] / "benchmarks"))

import battery
from battery import SQUARES, WORST, Answer, case, continuous, examine, faults
from jobs import every_pack, made_job, weigh_all

from fitup.problem import build_problem

#: the ways that take a hundredth of a second; the others have a say in every eighth job
QUICK = ("descent", "walk", "walk, multipliers", "rings", "rings, multipliers")
GENERAL = ("highs", "scip")


@pytest.mark.parametrize("first", range(0, 120, 40))
def test_all_ways_agree_with_every_selection(first: int):
    for seed in range(first, first + 40):
        general = GENERAL if seed % 3 == 0 else ()
        wrong, _ = examine(seed, () if seed % 10 == 7 else (*QUICK, *general, "continuous optimum"))
        assert not wrong


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(st.integers(10_000, 10**9))
def test_quick_ways_agree_with_every_selection(seed: int):
    wrong, _ = examine(seed, QUICK)
    assert not wrong


@pytest.mark.parametrize("first", range(0, 200, 100))
def test_the_problem_is_the_job(first: int):
    """Packs, what a selection keeps and scores: the same from the arrays and from the job."""
    for seed in range(first, first + 100):
        made = made_job(seed)
        problem = build_problem(made.job, made.state, made.influence)
        packs = every_pack(made.job, made.influence)
        for seat, choices in zip(problem.seats, problem.choices, strict=True):
            ours = Counter((round(c.setting, 9), *sorted(c.marks), c.disturbed) for c in choices)
            assert ours == Counter(
                (round(p.setting, 9), *sorted(p.plates), p.disturbed) for p in packs[seat]
            )
        every = weigh_all(made, problem.move_price)
        selection = np.stack(
            [g.ravel() for g in np.meshgrid(*[np.arange(len(c)) for c in problem.choices])], axis=1
        )
        columns = enumerate(problem.choices)
        x = np.stack(
            [np.array([c.setting for c in own])[selection[:, i]] for i, own in columns], axis=1
        )
        used = sum(count[selection[:, i]] for i, count in enumerate(problem.counts))
        room = problem.b + 1e-9 * np.maximum(1.0, np.abs(problem.b))
        kept = np.all(x @ problem.L.T <= room, axis=1) & np.all(used <= problem.stock, axis=1)
        ratio = x @ problem.F.T - problem.g
        squares = ratio**2 @ problem.weights + problem.move_price * (x**2).sum(axis=1)
        worst = np.abs(ratio).max(axis=1, initial=0.0)
        ours = np.c_[np.round(x, 9), kept, squares, worst]
        plain = np.c_[np.round(every.x, 9), every.kept, every.squares, every.worst]
        np.testing.assert_allclose(in_order(ours), in_order(plain), rtol=1e-8, atol=1e-9)


def in_order(rows: np.ndarray) -> np.ndarray:
    return rows[np.lexsort(rows[:, :-2].T)]


def test_jobs_have_everything_on():
    jobs = [made_job(seed).job for seed in range(60)]
    seats = [s for job in jobs for s in job.seats.values()]
    assert {s.pushes for s in seats} == {"up", "ahead", "main_span", "shorten"}
    assert {s.held_by for s in seats} == {"packs", "nut"}
    assert any(s.hold for s in seats)
    assert any(k.kind == "warp" for job in jobs for k in job.limits.values())
    assert any(j.locked_within is not None for job in jobs for j in job.joints.values())
    kinds = Counter()
    short = 0
    for seed in range(60):
        made = made_job(seed)
        problem = build_problem(made.job, made.state, made.influence)
        kinds.update(row.kind for row in problem.limits)
        dear = [c.max(axis=0) for c in problem.counts]
        short += bool(np.any(np.sum(dear, axis=0) > problem.stock))
    wanted = "reaction_least reaction_most jack moment difference warp leave locked opening stroke"
    assert set(wanted.split()) <= set(kinds)
    assert short > 20


def known() -> tuple[battery.Case, Answer, float]:
    """A job with a plan that is not the only one, and what the walk says of it."""
    for seed in range(100):
        made = case(seed)
        answer = SQUARES["walk"](made)
        assert answer is not None
        if made.cap is None and answer.selection is not None and made.every.kept.sum() > 5:
            return made, answer, made.every.least_squares(None)
    raise AssertionError("no such job")


def test_the_battery_finds_what_is_wrong():
    """A bound too high, a plan not the best, a value not its own, a limit broken."""
    made, answer, truth = known()
    stated = {"worst": False, "may_be_open": False}
    assert faults(made, answer, truth, **stated) == ""
    assert "bound" in faults(made, replace(answer, lower=truth + 0.1), truth, **stated)
    assert "came to no end" in faults(made, replace(answer, proven=False), truth, **stated)
    assert "said to be" in faults(made, replace(answer, value=truth + 0.1), truth, **stated)
    assert answer.selection is not None
    none = Answer(None, np.inf, truth, True)
    assert faults(made, none, truth, **stated) == "found none"
    worse = battery._another(made, answer.selection)
    value = made.problem.squares(made.problem.settings(worse))
    assert "proven" in faults(made, Answer(worse, value, truth, True), truth, **stated)
    rng = np.random.default_rng(1)
    while True:
        wild = np.array([rng.integers(len(c)) for c in made.problem.choices])
        if not made.problem.feasible(wild):
            break
    value = made.problem.squares(made.problem.settings(wild))
    broken = faults(made, Answer(wild, value, -np.inf, False), truth, worst=False, may_be_open=True)
    assert broken == "breaks a limit or the stock"


def test_a_point_beside_the_continuous_optimum_leaves_a_slope():
    made, _, _ = known()
    assert continuous(made) == ""
    assert made.nearest is not None
    x = made.nearest.x + 5e-4 * np.sign(made.problem.windows.mean(axis=1) - made.nearest.x)
    assert battery.conditions(made.problem, x, None, worst=False) > 1e-3


def test_each_way_has_a_say():
    made = case(7)
    assert {n for n, way in WORST.items() if way(made) is not None} == set(WORST)
