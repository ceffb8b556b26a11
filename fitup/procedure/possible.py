"""What no procedure can do, whatever is planned: named before any search, with what to write."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fitup.errors import Problem
from fitup.model import Influence, Job, Seat, circuits_of
from fitup.procedure.heights import opening
from fitup.units import DISPLAY

_ROUND_N = 1.0


def impossible(job: Job, influence: Influence) -> Iterator[Problem]:
    """Yield why seats that a plan may move cannot be worked at.

    Seats that are held, left alone or given their present pack are not asked.

    Parameters
    ----------
    job : Job
    influence : Influence
        Its reactions as surveyed.
    """
    now = dict(zip(influence.seats, influence.r0.tolist(), strict=True))
    for seat in job.seats.values():
        if _may_change(job, seat):
            yield from _bare(job, seat) if seat.comes_back else _pulled(job, seat, now[seat.id])
    for group in dict.fromkeys(s.group for s in job.seats.values()):
        own = [s for s in job.seats.values() if s.group == group and not s.hold]
        if any(_may_change(job, s) for s in own):
            yield from _apart(job, group, [s for s in own if _on_packs(s)], now)


def _on_packs(seat: Seat) -> bool:
    return seat.comes_back and seat.held_by == "packs"


def _may_change(job: Job, seat: Seat) -> bool:
    """Say whether a plan may choose another pack for a seat."""
    given = job.given.get(seat.id)
    kept = seat.hold or seat.id in job.objectives.leave_alone
    kept = kept or (isinstance(given, tuple) and sorted(given) == sorted(seat.pack))
    return seat.held_by == "packs" and not kept


def _no_nut(job: Job, seat: Seat) -> str:
    """Return the jacks of a seat without lock nuts, in words; empty where all have one."""
    return " and ".join(j.id for j in job.jacks_at(seat.id) if not j.lock_nut)


def _bare(job: Job, seat: Seat) -> Iterator[Problem]:
    jacks = _no_nut(job, seat)
    if jacks and not seat.temporary_seat:
        yield Problem(
            "jacks.csv",
            f"no lock nut at jack {jacks} and no temporary seat at seat {seat.id}: while its pack "
            "is changed the load would stand on oil alone",
            "a seat that is re-packed stands on steel meanwhile",
            f"write lock_nut = yes at jack {jacks}, or in seats.csv temporary_seat = yes, or in "
            f"job.toml name {seat.id} in leave_alone",
            column="lock_nut",
        )


def _pulled(job: Job, seat: Seat, load: float) -> Iterator[Problem]:
    jacks, force = _no_nut(job, seat), DISPLAY[job.units].force
    if jacks and load > seat.breakaway + _ROUND_N:
        yield Problem(
            "jacks.csv",
            f"no lock nut at jack {jacks}: seat {seat.id} is let off to slide its pack in, is "
            f"pulled back with {force.text(load)}, and friction ("
            f"breakaway) holds {force.text(seat.breakaway)}",
            "a pushed deck is held by a lock nut or by friction",
            f"write lock_nut = yes at jack {jacks}, or in job.toml name {seat.id} in leave_alone",
            column="lock_nut",
        )


def _apart(job: Job, group: str, seats: Sequence[Seat], now: dict[str, float]) -> Iterator[Problem]:
    """Yield seats whose packs spring back so unlike that one is left far open at lift-off."""
    if not seats or circuits_of(job, [s.id for s in seats]):
        # linked jacks find their own level
        return
    loads = np.maximum(np.array([now[s.id] for s in seats]), 0.0)
    sprung = loads / np.array([s.stiffness for s in seats])
    high, low = int(sprung.argmax()), int(sprung.argmin())
    first = opening(job, seats, loads, np.zeros(len(seats)))
    room = float(sprung[high] - sprung[low]) + first
    marks = max((j.resolution for s in seats for j in job.jacks_at(s.id)), default=0.0)
    move, most = DISPLAY[job.units].move, job.working.follow_up
    if room > most + move.half_step + marks / 2.0:
        yield Problem(
            "job.toml",
            f"{move.text(most)}: at lift-off of group {group} seat {seats[low].id} is "
            f"{move.text(room)} over its pack when {seats[high].id}, which carries more, comes off",
            "a load on oil never further over steel than follow_up",
            f"put {seats[low].id} and {seats[high].id} in groups of their own (group in "
            "seats.csv), or write a greater follow_up",
            column="working.follow_up",
        )
