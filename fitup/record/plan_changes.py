"""What changed from one plan to another: moves, packs and the order of work."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from fitup.errors import FitupError
from fitup.jobfolder import read_job
from fitup.model import MOVE_WORDS, Job, Plan, SeatPlan
from fitup.record.contents import Files, write_files
from fitup.record.plans import read_plan
from fitup.units import DISPLAY


def plan_changes(old: bytes, new: bytes, before: Files, after: Files) -> Iterator[str]:
    """Yield what changed between two plans, seat by seat.

    Parameters
    ----------
    old, new : bytes
        Each a ``plan.json``.
    before, after : mapping of str to bytes
        Input files of the job of each plan, for its units and which way seats push.

    Yields
    ------
    str
        One line only, that the plan was changed, where a plan or job cannot be read.
    """
    try:
        one, other = read_plan(old), read_plan(new)
        job, earlier = _job(after), _job(before)
    except (FitupError, ValueError):
        yield "the plan was changed"
        return
    was = {s.seat: s for s in one.seats}
    for seat in other.seats:
        if seat.seat not in was:
            yield f"seat {seat.seat}: is new in the plan"
        else:
            yield from _seat(_said(earlier, was[seat.seat]), _said(job, seat), seat.seat)
    yield from (
        f"seat {s}: no longer in the plan" for s in was if s not in {p.seat for p in other.seats}
    )
    if _order(one) != _order(other):
        yield f"order of work was {_order(one)}; is {_order(other)}"
    elif one.stages != other.stages:
        yield "readings on the way of the jacks were changed"


def _seat(old: tuple[str, str], new: tuple[str, str], name: str) -> Iterator[str]:
    if old[0] != new[0]:
        yield f"seat {name}: move was {old[0]}, is {new[0]}"
    if old[1] != new[1]:
        yield f"seat {name}: finished pack was {old[1]}, is {new[1]}"


def _said(job: Job, seat: SeatPlan) -> tuple[str, str]:
    """Return move and finished pack of a seat in words."""
    shown = DISPLAY[job.units].move
    size = shown.number(seat.setting)
    ways = MOVE_WORDS.get(job.seats[seat.seat].pushes, ("PUSH OUT", "LET IN"))
    move = f"{ways[0 if size > 0.0 else 1]} {shown.text(abs(seat.setting))}" if size else "none"
    return move, "+".join(seat.build_up) or "no plates"


def _order(plan: Plan) -> str:
    return (
        ", then ".join(f"{s.group} ({' '.join(s.seats)})" for s in plan.stages) or "nothing moves"
    )


def _job(files: Files) -> Job:
    with tempfile.TemporaryDirectory() as folder:
        write_files(files, Path(folder))
        return read_job(folder)
