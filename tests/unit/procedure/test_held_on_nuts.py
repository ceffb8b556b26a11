"""Seats that stay on their nuts, alone and beside packs: there, and the way back, certified."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fitup.certify import Certificate, certify
from fitup.model import Objectives, Plan
from fitup.plan import make_plan

Small = Callable[..., Any]


def case_of(small: Small, seed: int, held: str, *, nuts: bool = True) -> Any:
    """Return a case in which the seats with these numbers stay on their nuts."""
    job = small().job
    seats = {
        n: replace(s, held_by="nut", pack=(), raise_most=0.03, lower_most=0.03)
        if n[1] in held
        else replace(s, temporary_seat=True)
        for n, s in job.seats.items()
    }
    wide = {n: replace(s, reaction_least=-3e6, reaction_most=6e6) for n, s in seats.items()}
    return small(
        seed=seed,
        size=0.008,
        seats=wide,
        jacks={
            n: replace(j, capacity=9e6, lock_nut=nuts or j.seat[1] in held)
            for n, j in job.jacks.items()
        },
        plates={m: replace(p, count=p.count + 12) for m, p in job.plates.items()},
        limits={n: replace(w, most=0.008, most_moving=0.04) for n, w in job.limits.items()},
        objectives=Objectives(search_effort=2.0),
    )


def certified(case: Any) -> tuple[Plan, Certificate]:
    plan = make_plan(case.job, case.state, case.influence, explain=False)
    return plan, certify(case.job, case.survey, case.state, case.influence, plan)


@pytest.mark.parametrize(("held", "seed"), [("1234", 1), ("1234", 3), ("13", 1), ("13", 2)])
def test_the_way_back_leaves_every_seat_as_it_was(small: Small, held: str, seed: int):
    """On its nut within half a mark of 0.5 mm, on its pack exactly."""
    case = case_of(small, seed, held)
    plan, certificate = certified(case)
    assert plan.stages and len(certificate.ways_back) == len(plan.stages)
    for there, back in zip(certificate.procedures, certificate.ways_back, strict=True):
        first = {s.seat: s for s in there.events[0].after}
        for state in back.events[-1].after:
            on_nut = state.seat[1] in held
            assert state.on == ("nut" if on_nut else "pack")
            assert state.deck == pytest.approx(first[state.seat].deck, abs=4e-4)
            assert state.pack == first[state.seat].pack


def test_a_nut_that_stays_is_not_let_down_with_the_others(small: Small):
    """B2 and B4 go onto plates or nuts for their packs; B1 and B3 stay where they are set."""
    _, certificate = certified(case_of(small, 1, "13"))
    for procedure in certificate.procedures:
        home = next(e for e in procedure.events if e.verb == "NUT HOME")
        assert {j[2] for j in home.objects} >= {"1", "3"}
        freed = next(e for e in procedure.events if e.verb == "FREE")
        assert {j[2] for j in freed.objects} == {"2", "4"}


def test_a_nut_is_set_to_half_a_mark_of_where_the_deck_shall_settle(small: Small):
    for seed in (1, 2, 3):
        plan, certificate = certified(case_of(small, seed, "1234"))
        assert [s.setting for s in plan.seats if s.disturbed]
        assert certificate.procedures
