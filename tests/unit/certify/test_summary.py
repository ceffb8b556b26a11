"""The summary of the printed plan: worked by hand, and held against what the plan states."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fitup.certify import certify
from fitup.certify.facts import CheckFact, SeatFact, SummaryFact
from fitup.certify.summary import stated_otherwise, summarise
from fitup.model import ObjectiveResult
from fitup.plan import make_plan


def check(name: str, after: float, tolerance: float | None, target: float = 0.0) -> CheckFact:
    return CheckFact(
        name, "step", "K", "", 9.0, after, 0.0, target, tolerance, None, None, "", True
    )


def seat(name: str, now: str, new: str, setting: float, held_by: str = "packs") -> SeatFact:
    old, built = tuple(now.split()), tuple(new.split())
    out = tuple(m for m in old if m not in built)
    put_in = tuple(m for m in built if m not in old)
    return SeatFact(
        *(name, "B", "up", held_by, old, out, put_in, built),
        *(0.0, 0.0, 0.0, 0.0, setting, 0.0, True, 0.0, 0.0, 0.0, 0.0),
    )


#: ratios 0.5, 1.5 (from a target), none, and one that is only judged
CHECKS = (
    check("a", -0.001, 0.002),
    check("b", 0.004, 0.002, target=0.001),
    check("c", 0.9, None),
    check("d", 0.05, 0.01),
)
WEIGHTS = (1.0, 2.0, 1.0, 0.0)
SEATS = (
    seat("B1", "P20 P5", "P20 P3 P2", 0.010),
    seat("B2", "P20 P5", "P5 P20", 0.0),
    seat("N1", "", "", -0.005, "nut"),
    seat("N2", "", "", 0.0, "nut"),
)


def work(*objectives: ObjectiveResult) -> Any:
    return SimpleNamespace(
        state=SimpleNamespace(checks=tuple(SimpleNamespace(weight=w) for w in WEIGHTS)),
        plan=SimpleNamespace(
            stages=tuple(SimpleNamespace(number=n) for n in (1, 1, 2)), objectives=objectives
        ),
    )


def test_summary_by_hand() -> None:
    """0.5^2 + 2 x 1.5^2 = 4.75; moves add 0.01 x (1^2 + 0.5^2) = 0.0125 (docs/model.md, 5)."""
    summary = summarise(work(), CHECKS, SEATS)
    assert summary.worst_ratio == pytest.approx(1.5)
    assert summary.least_squares == pytest.approx(4.7625)
    # B2 holds the same plates in another order; N2 stays
    assert summary.seats_disturbed == 2
    assert summary.plates_handled == 3
    assert summary.plates_in_new_packs == 3
    assert summary.stages == 2


STATED = {
    "worst ratio": 1.5,
    "least squares": 4.7625,
    "seats disturbed": 2,
    "plates handled": 3,
    "plates in new packs": 3,
    "stages": 2,
}


def stated(apart: float, **other: float) -> list[str]:
    """Say what is found where the plan states other values."""
    values = {**STATED, **{k.replace("_", " "): v for k, v in other.items()}}
    said = work(*(ObjectiveResult(n, v, 0.0, True, "") for n, v in values.items()))
    summary = summarise(said, CHECKS, SEATS)
    return stated_otherwise(said, summary, CHECKS, np.full(4, apart))


def test_what_the_plan_states_is_taken_where_its_packs_give_it() -> None:
    assert stated(0.0) == []


@pytest.mark.parametrize("name", sorted(STATED))
@pytest.mark.parametrize("sign", [-1, 1])
def test_another_value_is_refused(name: str, sign: int) -> None:
    by = 1 if isinstance(STATED[name], int) else 1e-3
    found = stated(0.0, **{name.replace(" ", "_"): STATED[name] + sign * by})
    assert len(found) == 1
    assert found[0].startswith(f"the plan states {name} ")


def test_a_value_that_is_none_is_refused() -> None:
    assert stated(0.0, worst_ratio=float("nan")) == [
        "the plan states worst ratio nan, its packs give 1.5"
    ]


def test_what_two_paths_differ_in_the_checks_may_stand_between_the_values() -> None:
    """0.02 mm is 0.01 of a tolerance; squares then move by 0.01 (1.01) + 2 x 0.01 (3.01)."""
    assert stated(2e-5, worst_ratio=1.5099, least_squares=4.7625 + 0.0702) == []
    assert len(stated(2e-5, worst_ratio=1.5102)) == 1
    assert len(stated(2e-5, least_squares=4.7625 + 0.0704)) == 1


def test_what_nothing_recomputes_is_refused() -> None:
    assert stated(0.0, beauty=3.0) == ["the plan states 'beauty', which nothing recomputes"]
    assert stated(0.0, of=3.0) == ["the plan states 'of', which nothing recomputes"]
    with pytest.raises(KeyError, match="beauty"):
        SummaryFact(0.0, 0.0, 0, 0, 0, 0).of("beauty")


def test_the_summary_of_a_plan_is_that_of_its_printed_packs(small: Any) -> None:
    case = small()
    plan = make_plan(case.job, case.state, case.influence)
    summary = certify(case.job, case.survey, case.state, case.influence, plan).summary
    x = plan.settings()
    checks = [c for c in case.state.checks if c.tolerance is not None]
    rows = [i for i, c in enumerate(case.state.checks) if c.tolerance is not None]
    y = case.state.values + case.influence.A @ x
    both = zip(rows, checks, strict=True)
    ratios = np.array([abs(y[i] - c.target) / c.tolerance for i, c in both])
    assert summary.worst_ratio == pytest.approx(ratios.max(), abs=0.01)
    squares = float(np.array([c.weight for c in checks]) @ ratios**2 + 100.0 * (x @ x))
    assert summary.least_squares == pytest.approx(squares, abs=0.02)
    assert summary.seats_disturbed == sum(s.disturbed for s in plan.seats)
    assert summary.plates_handled == sum(len(s.out) + len(s.put_in) for s in plan.seats)
    assert summary.stages == max(s.number for s in plan.stages)
