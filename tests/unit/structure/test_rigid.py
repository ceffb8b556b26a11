"""Rigid segments: refusals, whole, and reactions as measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import StructureError
from fitup.model import Job
from fitup.structure import rigid_influence, segment_statics
from fitup.survey import Survey


def refusal(job: Job, segment: str = "A") -> str:
    with pytest.raises(StructureError) as caught:
        segment_statics(job.segments[segment], job.seats_of(segment))
    return str(caught.value)


def test_segment_without_seats(small_case: tuple[Job, Survey]) -> None:
    job = small_case[0]
    assert refusal(replace(job, seats={})) == "segment A has no seats; add rows to seats.csv"


@pytest.mark.parametrize(
    ("held", "loose"),
    [("across turn", "along"), ("along turn", "across"), ("along across", "turn")],
)
def test_plan_motion_that_nothing_holds(
    small_case: tuple[Job, Survey], held: str, loose: str
) -> None:
    job = small_case[0]
    free = replace(job.segments["A"], held=frozenset(held.split()))
    assert refusal(replace(job, segments={"A": free})) == (
        f"segment A: nothing holds its motion '{loose}'; add a seat that resists it in seats.csv, "
        "or say in segments.csv, column held, that friction or guides do"
    )


def test_seats_in_a_line_let_it_roll(small_case: tuple[Job, Survey]) -> None:
    job = small_case[0]
    line = {n: replace(s, position=s.position * [1.0, 0.0, 1.0]) for n, s in job.seats.items()}
    assert "nothing holds its motion 'roll'" in refusal(replace(job, seats=line))


def test_seats_nearly_in_a_line_let_it_roll(small_case: tuple[Job, Survey]) -> None:
    # 0.1 mm off the line: a roll stiffness of 1e-10 of the others holds nothing
    job = small_case[0]
    line = {n: replace(s, position=s.position * [1.0, 3e-5, 1.0]) for n, s in job.seats.items()}
    assert "nothing holds its motion 'roll'" in refusal(replace(job, seats=line))


@pytest.mark.parametrize(
    ("direction", "motion"), [([1.0, 0.0, 0.0], "along"), ([0.0, -1.0, 0.0], "across")]
)
def test_held_and_pushed(
    small_case: tuple[Job, Survey], direction: list[float], motion: str
) -> None:
    job = small_case[0]
    push = replace(job.seats["A-S1"], id="A-P", direction=np.array(direction))
    assert refusal(replace(job, seats={**job.seats, "A-P": push})) == (
        f"segment A: held says '{motion}' does not move, but seat A-P works on it; take "
        f"'{motion}' out of held in segments.csv, or the seat out of seats.csv"
    )


def test_measured_reactions_stand(small_case: tuple[Job, Survey]) -> None:
    job, survey = small_case
    measured = {"A-S1": 5.0e5, "A-S2": 4.0e5, "A-S3": 9.2e5}
    seats = {n: replace(s, reaction_now=measured.get(n)) for n, s in job.seats.items()}
    effect = rigid_influence(replace(job, seats=seats), survey)
    assert effect.r0[:3].tolist() == list(measured.values())
    assert effect.r0[3:].sum() == pytest.approx(1.8e6, rel=1e-12)


@pytest.mark.parametrize(("share", "refused"), [(1.09, False), (0.91, False), (1.11, True)])
def test_measured_reactions_must_carry_the_weight(
    small_case: tuple[Job, Survey], share: float, refused: bool
) -> None:
    job, survey = small_case
    seats = {
        n: replace(s, reaction_now=share * 6e5 if s.segment == "A" else None)
        for n, s in job.seats.items()
    }
    if not refused:
        assert rigid_influence(replace(job, seats=seats), survey).r0[0] == share * 6e5
        return
    with pytest.raises(StructureError) as caught:
        rigid_influence(replace(job, seats=seats), survey)
    assert str(caught.value) == (
        "segment A: its seats carry 1998 kN, its weight is 1800 kN; correct reaction_now in "
        "seats.csv for all its seats or the weight in segments.csv (they may differ by 10%)"
    )
