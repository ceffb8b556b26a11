"""How one group goes from one rest to another: raised, packs changed, down; and what that takes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import Jack, Job, Seat
from fitup.problem.problem import clearance
from fitup.procedure import follow
from fitup.procedure.levels import Level

_CARE = 1e-9
#: a move that needs more than this times the least number of steps for its plates is not made
_FINER = 6

Plates = tuple[tuple[tuple[str, ...], ...], ...]


@dataclass(frozen=True, eq=False)
class Carry:
    """One move as it is carried out.

    Parameters
    ----------
    raised : Array (k,)
        Settings at the top [m].
    rises, falls : int
        Increments up and down.
    follow_up, follow_down : tuple
        Temporary plates after each increment up and before each increment down, seat by seat.
    peak : Counter
        Most plates of each mark it needs from the store at one time.
    """

    raised: Array
    rises: int
    falls: int
    follow_up: Plates
    follow_down: Plates
    peak: Counter[str]


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
    if not all(_has_stroke(job, s, *v) for s, *v in _spans(seats, start, raised, end)):
        return None
    step = job.working.lift_step
    rises = max(1, math.ceil(float(np.abs(travel).max()) / step - _CARE))
    falls = math.ceil(clear / step - _CARE)
    loose = Counter({m: p.count for m, p in job.plates.items()})
    # plates that come out are in hand as well
    for old in start.packs:
        loose.update(old)
    up = _followed(job, seats, travel, rises, loose, falling=False)
    back = _followed(job, seats, raised - end.settings, falls, loose, falling=True)
    if up is None or back is None:
        return None
    peak = _peak(start, end, up, back, any(follows(job, s) for s in seats))
    return Carry(raised, len(up) or rises, len(back), up, back, peak)


def _spans(
    seats: Sequence[Seat], start: Level, raised: Array, end: Level
) -> list[tuple[Seat, float, float]]:
    """Return each seat with its least and greatest setting during the move."""
    values = np.array([start.settings, raised, end.settings])
    low, high = values.min(axis=0), values.max(axis=0)
    return [(s, float(a), float(b)) for s, a, b in zip(seats, low, high, strict=True)]


def _has_stroke(job: Job, seat: Seat, low: float, high: float) -> bool:
    return all(bases(job, jack, low, high) for jack in job.jacks_at(seat.id))


def bases(job: Job, jack: Jack, low: float, high: float) -> list[float]:
    """Return the heights of packing under a jack with which it can go from low to high [m]."""
    step = job.staging.base_step
    most = math.floor((jack.base_most - jack.base) / step + _CARE)
    least = -math.floor(jack.base / step + _CARE)
    result = []
    for k in range(least, most + 1):
        out = jack.stroke_used - k * step
        if out + low >= -_CARE and out + high <= jack.stroke + _CARE:
            result.append(jack.base + k * step)
    return result


def follows(job: Job, seat: Seat) -> bool:
    """Say whether plates must follow the load of a seat: packs, and a jack without lock nut."""
    return seat.held_by == "packs" and not all(j.lock_nut for j in job.jacks_at(seat.id))


def _followed(
    job: Job,
    seats: Sequence[Seat],
    travel: Array,
    steps: int,
    loose: Mapping[str, int],
    *,
    falling: bool,
) -> Plates | None:
    """Return temporary plates (steps, k) in the fewest increments that whole plates can follow."""
    if steps == 0 or not any(follows(job, s) for s in seats):
        return ((),) * 0 if steps == 0 else ((((),) * len(seats)),) * steps
    for count in range(steps, _FINER * steps + 1):
        store = Counter(loose)
        columns: list[tuple[tuple[str, ...], ...]] = []
        for seat, way in zip(seats, travel, strict=True):
            own = _column(job, seat, float(way), count, store, falling=falling)
            if own is None:
                break
            columns.append(own)
            store.subtract(_most([Counter(marks) for marks in own]))
        else:
            return tuple(tuple(c[k] for c in columns) for k in range(count))
    return None


def _column(
    job: Job, seat: Seat, way: float, count: int, store: Counter[str], *, falling: bool
) -> tuple[tuple[str, ...], ...] | None:
    """Return the temporary plates of one seat for every increment."""
    if not follows(job, seat) or way <= 0.0:
        return ((),) * count
    distance, slide = job.working.follow_up, job.staging.slide
    if falling:
        gaps = [way * (1.0 - k / count) for k in range(count + 1)]
        bands = follow.falling(gaps, distance, slide)
    else:
        gaps = [way * k / count for k in range(1, count + 1)]
        if gaps[0] > distance + _CARE:
            return None
        bands = follow.rising(gaps, distance, slide)
        if not seat.comes_back:
            # at the last reading of a push the new pack itself goes in
            bands[-1] = (0.0, 0.0)
    thickness = {m: p.measured for m, p in job.plates.items()}
    return follow.choose(bands, follow.stacks(thickness, store))


def _most(counts: Sequence[Counter[str]]) -> Counter[str]:
    """Return the greatest number of each mark over several counts."""
    result: Counter[str] = Counter()
    for count in counts:
        result |= count
    return result


def _peak(start: Level, end: Level, up: Plates, back: Plates, one_by_one: bool) -> Counter[str]:
    """Return the most plates of each mark that are out of the store at one time.

    Where nuts hold the load all old plates come out before new ones go in. Where plates follow,
    seats are changed one after the other, the temporary plates standing at the others.
    """
    changes = [
        (Counter(new), Counter(old)) for new, old in zip(end.packs, start.packs, strict=True)
    ]
    use: Counter[str] = Counter()
    for new, old in changes:
        use.update(new)
        use.subtract(old)
    top = [Counter(marks) for marks in up[-1]] if up else []
    bottom = [Counter(marks) for marks in back[0]] if back else []
    moments = [_sum(map(Counter, row)) for row in up]
    if one_by_one:
        now = _sum(top)
        for k, (new, old) in enumerate(changes):
            now.subtract(top[k] if top else ())
            now.update(new)
            now.subtract(old)
            now.update(bottom[k] if bottom else ())
            moments.append(Counter(now))
    moments += [Counter(use)]
    for row in back:
        moment = _sum(map(Counter, row))
        moment.update(use)
        moments.append(moment)
    return _most(moments)


def _sum(counts: Sequence[Counter[str]] | map[Counter[str]]) -> Counter[str]:
    total: Counter[str] = Counter()
    for count in counts:
        total.update(count)
    return total
