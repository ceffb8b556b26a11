"""What a crew reads where its jacks do not push up, and where lock nuts hold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fitup.model import Job
from fitup.sheets.verbs import note_called

SET = "plumb on its base, nut run back, valves of all other jacks shut"
TOUCH = "ram marked TOUCH, dial on the deck to zero"


def with_seats(job: Job, *, lock_nut: bool = True, **changes: Any) -> tuple[Job, list[str]]:
    """The job with two seats and their jacks changed, and the names of both seats."""
    names = list(job.seats)[:2]
    seats = {n: replace(job.seats[n], **changes) for n in names}
    jacks = {
        k: replace(j, lock_nut=lock_nut) if j.seat in names else j for k, j in job.jacks.items()
    }
    return replace(job, seats={**job.seats, **seats}, jacks=jacks), names


def test_a_nut_that_holds_is_not_run_back_before_the_jack_has_the_load(made):
    job, names = with_seats(made.job, held_by="nut", pack=())
    assert note_called(job, names, SET) == (
        "plumb on its base, the lock nut that holds stays home, valves of all other jacks shut"
    )
    # packs hold the others: their nuts are out of the way
    mixed = replace(job, seats={**job.seats, names[1]: made.job.seats[names[1]]})
    said = note_called(mixed, names, SET)
    assert "nut run back, but a lock nut that holds stays home" in said


def test_a_jack_without_a_nut_has_none_to_run_back(made):
    job, names = with_seats(made.job, lock_nut=False)
    assert note_called(job, names, SET) == "plumb on its base, valves of all other jacks shut"
    job, names = with_seats(made.job)
    assert note_called(job, names, SET) == SET


@pytest.mark.parametrize(
    ("pushes", "where"),
    [
        ("up", "dial on the deck"),
        ("ahead", "dial on the deck"),
        ("shorten", "dial at the end of the cable"),
        ("main_span", "dial on the saddle"),
    ],
)
def test_the_dial_stands_on_what_moves(made, pushes, where):
    job, names = with_seats(made.job, pushes=pushes)
    assert note_called(job, names, TOUCH) == f"ram marked TOUCH, {where} to zero"
    assert ("plumb" in note_called(job, names, SET)) == (pushes == "up")
