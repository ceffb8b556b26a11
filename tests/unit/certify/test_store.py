"""Plates counted from stage to stage, by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from fitup.certify.store import count_store, must_follow, one_by_one
from fitup.model import Job, Stage

Packs = tuple[tuple[str, ...], ...]


@pytest.fixture(scope="module")
def job(small: Callable[..., Any]) -> Job:
    """Plates of exactly their nominal thickness; no jack has a lock nut."""
    own = small().job
    return replace(
        own,
        jacks={n: replace(j, lock_nut=False) for n, j in own.jacks.items()},
        plates={m: replace(p, measured=p.nominal) for m, p in own.plates.items()},
    )


def with_count(job: Job, **counts: int) -> Job:
    plates = {m: replace(p, count=counts.get(m, 9)) for m, p in job.plates.items()}
    return replace(job, plates=plates)


def with_nuts(job: Job) -> Job:
    return replace(job, jacks={n: replace(j, lock_nut=True) for n, j in job.jacks.items()})


def stage(
    before: Packs, after: Packs,
    number: int = 1, seats: tuple[str, ...] = ("B1", "B2"),
) -> Stage:  # fmt: skip
    still = ((0.0,) * len(before),)
    own = seats[: len(before)]
    return Stage(number, "B-lift", own, still, still, still[0], before, after)


def counted(job: Job, *stages: Stage) -> tuple[dict[str, tuple[int, int, int, int]], list[str]]:
    work: Any = SimpleNamespace(job=job, plan=SimpleNamespace(stages=stages), wrong=[])
    facts = count_store(work)
    return {f.mark: (f.before, f.taken, f.returned, f.after) for f in facts}, work.wrong


def test_plates_follow_where_no_nut_holds(job: Job) -> None:
    seat = job.seats["B1"]
    assert must_follow(job, seat)
    assert not must_follow(with_nuts(job), seat)
    assert not must_follow(job, replace(seat, held_by="nut"))
    # one jack of two without a nut is enough
    two = {**with_nuts(job).jacks, "JB1b": replace(job.jacks["JB1"], id="JB1b")}
    assert must_follow(replace(job, jacks=two), seat)
    one = stage((("P5",),), (("P2",),))
    assert one_by_one(job, one)
    assert not one_by_one(with_nuts(job), one)
    # one seat of two that must follow is enough
    half = {**with_nuts(job).jacks, "JB1": job.jacks["JB1"]}
    assert one_by_one(replace(job, jacks=half), stage((("P5",), ("P5",)), (("P2",), ("P2",))))


def test_stock_through_two_stages(job: Job) -> None:
    """P5 comes out of B1 in the first stage and goes into B2 in the second."""
    nuts = with_nuts(with_count(job, P5=0, P2=3))
    first = stage((("P20", "P5"),), (("P20", "P2", "P2"),))
    second = stage((("P20",),), (("P20", "P5"),), number=2, seats=("B2",))
    facts, wrong = counted(nuts, first, second)
    assert wrong == []
    assert facts["P5"] == (0, 1, 1, 0)
    assert facts["P2"] == (3, 2, 0, 1)
    assert facts["P20"] == (9, 0, 0, 9)


def test_what_comes_out_in_a_stage_is_not_there_for_another_crew_of_it(job: Job) -> None:
    nuts = with_nuts(with_count(job, P5=0))
    first = stage((("P20", "P5"),), (("P20",),))
    second = stage((("P20",),), (("P20", "P5"),), seats=("B2",))
    assert counted(nuts, first, second)[1] == ["stage 1: 1 plate P5 too few in store"]
    assert counted(nuts, first, replace(second, number=2))[1] == []


def test_two_crews_need_their_plates_together(job: Job) -> None:
    nuts = with_nuts(with_count(job, P2=3))
    first = stage((("P20",),), (("P20", "P2", "P2"),))
    second = stage((("P20",),), (("P20", "P2", "P2"),), seats=("B2",))
    assert counted(nuts, first, second)[1] == ["stage 1: 1 plate P2 too few in store"]
    assert counted(with_nuts(with_count(job, P2=4)), first, second)[1] == []


def test_with_nuts_packs_of_a_group_are_swapped_at_once(job: Job) -> None:
    """B1 gives its P5 to B2 within the stage: only the difference comes out of the store."""
    nuts = with_nuts(with_count(job, P5=0, P2=1))
    swap = stage((("P5",), ("P2",)), (("P2",), ("P5",)))
    assert counted(nuts, swap)[1] == []
