"""Work is counted, not timed: the same job, the same answer however busy the machine."""

from __future__ import annotations

import importlib
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest import mock

import pytest

from fitup.model import Objectives
from fitup.plan import make_plan
from fitup.plan.priorities import CAUGHT, choose
from fitup.solve.effort import Effort

BENCHMARKS = Path(__file__).parents[3] / "benchmarks"


@pytest.mark.parametrize("effort", [0.0001, 0.1, 1.0])
def test_a_busy_machine_gives_the_same_plan_and_the_same_proof(
    effort: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The clock leaps by ten seconds each time that it is looked at."""
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    problem = importlib.import_module("instances").line_problem(4, 3, share=1.0)
    objectives = Objectives(search_effort=effort, time_limit=1e9)
    calm = choose(problem, objectives)
    leaps = iter(range(0, 10**9, 10))
    with mock.patch.object(time, "monotonic", lambda: float(next(leaps))):
        busy = choose(problem, objectives)
    assert busy.objectives == calm.objectives
    assert busy.selection.tolist() == calm.selection.tolist()
    assert busy.method == calm.method


def test_where_the_clock_ended_a_search_the_plan_says_so(small: Callable[..., Any]) -> None:
    case = small(2)
    objectives = replace(case.job.objectives, time_limit=1e-9)
    caught = make_plan(replace(case.job, objectives=objectives), case.state, case.influence)
    assert caught.method.endswith(CAUGHT)
    assert CAUGHT not in make_plan(case.job, case.state, case.influence).method


def test_what_a_part_spends_is_spent_of_the_whole() -> None:
    whole = Effort(10.0)
    part = whole.part(100.0)
    assert part.steps == 10.0
    part.part(2.0).spend(2.0)
    assert (part.left, whole.left, part.over()) == (8.0, 8.0, False)
    whole.spend(8.0)
    assert part.over()
    assert not whole.caught


def test_a_stop_ends_every_part() -> None:
    asked: list[str] = []
    part = Effort(10.0, stop=lambda: bool(asked)).part(5.0)
    assert not part.over()
    asked.append("now")
    assert part.over()
