"""How one group goes from one rest to another: raised, packs changed, and down."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import Jack, Job, Seat
from fitup.problem.problem import clearance
from fitup.procedure.levels import Level

_CARE = 1e-9


@dataclass(frozen=True, eq=False)
class Carry:
    """One move as it is carried out.

    Parameters
    ----------
    raised : Array (k,)
        Settings at the top [m].
    rises, falls : int
        Increments up and down.
    use : Counter
        Plates of each mark that its new packs hold beyond its old ones: no way needs fewer.
    """

    raised: Array
    rises: int
    falls: int
    use: Counter[str]


def carry(job: Job, seats: Sequence[Seat], start: Level, end: Level, most: float) -> Carry | None:
    """Return how a group goes from one level to another, or None where it cannot in one go.

    Parameters
    ----------
    seats : sequence of Seat
        Those of the group that move.
    most : float
        Greatest travel of any jack in one go [m].
    """
    room = np.array([clearance(job, s) for s in seats])
    down = max(0.0, float((start.settings - end.settings).max()))
    # clear of the new packs, and of the old ones where a seat goes down
    clear = float(room.max()) + down if room.any() else 0.0
    raised = end.settings + np.where(room > 0.0, clear, 0.0)
    travel = raised - start.settings
    if max(float(np.abs(travel).max()), clear) > most + _CARE:
        return None
    if unsupported(job, seats, start, end):
        return None
    if not all(_has_stroke(job, s, *v) for s, *v in _spans(seats, start, raised, end)):
        return None
    step = job.working.lift_step
    rises = max(1, math.ceil(float(np.abs(travel).max()) / step - _CARE))
    falls = math.ceil(clear / step - _CARE)
    use = Counter(m for pack in end.packs for m in pack)
    use.subtract(m for pack in start.packs for m in pack)
    return Carry(raised, rises, falls, use)


def unsupported(job: Job, seats: Sequence[Seat], start: Level, end: Level) -> list[Seat]:
    """Return the seats whose load would stand on oil alone while their pack is changed.

    Parameters
    ----------
    job : Job
    seats : sequence of Seat
        Those of the group that move.
    start, end : Level
        Their packs before and after.
    """
    return [
        seat
        for seat, old, new in zip(seats, start.packs, end.packs, strict=True)
        if sorted(old) != sorted(new)
        and seat.held_by == "packs"
        and seat.comes_back
        and not seat.temporary_seat
        and not all(j.lock_nut for j in job.jacks_at(seat.id))
    ]


def _spans(
    seats: Sequence[Seat], start: Level, raised: Array, end: Level
) -> list[tuple[Seat, float, float]]:
    """Return each seat with its least and greatest setting during the move."""
    values = np.array([start.settings, raised, end.settings])
    low, high = values.min(axis=0), values.max(axis=0)
    return [(s, float(a), float(b)) for s, a, b in zip(seats, low, high, strict=True)]


def _has_stroke(job: Job, seat: Seat, low: float, high: float) -> bool:
    return all(
        any(_reaches(jack, base, low, high) for base in packings(job, jack))
        for jack in job.jacks_at(seat.id)
    )


def _reaches(jack: Jack, base: float, low: float, high: float) -> bool:
    out = jack.stroke_used + jack.base - base
    return out + low >= -_CARE and out + high <= jack.stroke + _CARE


def packings(job: Job, jack: Jack) -> list[float]:
    """Return the heights of packing that may stand under a jack [m].

    Parameters
    ----------
    job, jack

    Returns
    -------
    list of float
        Lowest first, in whole steps from what stands there now.
    """
    step = job.staging.base_step
    most = math.floor((jack.base_most - jack.base) / step + _CARE)
    least = -math.floor(jack.base / step + _CARE)
    return [jack.base + k * step for k in range(least, most + 1)]
