"""Where a group may rest between two stages: parts of its whole move, in whole plates."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Seat, SeatPlan
from fitup.problem.packs import Choice, Pushed, pack_choices, pushed_past, stay

#: a pack on the way may miss the part it stands for by this before plates are spent on it [m]
NEAR = 0.0005
#: packs this near to the part are looked at [m]
_WINDOW = 0.004


@dataclass(frozen=True, eq=False)
class Level:
    """A rest of one group: settings (k,) [m] and packs, seat by seat of those that move."""

    settings: Array
    packs: tuple[tuple[str, ...], ...]


def parts(most: int) -> tuple[Fraction, ...]:
    """Return all parts of a whole between nothing and everything, by up to ``most`` steps.

    Examples
    --------
    >>> [str(p) for p in parts(3)]
    ['1/3', '1/2', '2/3']
    """
    return tuple(sorted({Fraction(k, m) for m in range(2, most + 1) for k in range(1, m)}))


def even(steps: int) -> tuple[Fraction, ...]:
    """Return the parts of a whole move in equal steps."""
    return tuple(Fraction(k, steps) for k in range(1, steps))


def levels(job: Job, seats: Sequence[SeatPlan], shares: Sequence[Fraction]) -> tuple[Level, ...]:
    """Return the levels of one group: as surveyed, the parts that plates can make, as planned.

    Parameters
    ----------
    seats : sequence of SeatPlan
        Those of the group that move.
    shares : sequence of Fraction
        Parts of the whole move between nothing and everything, ascending.
    """
    first = Level(np.zeros(len(seats)), tuple(job.seats[s.seat].pack for s in seats))
    last = Level(np.array([s.setting for s in seats]), tuple(s.build_up for s in seats))
    between: list[Level] = []
    for share in shares:
        level = _part(job, seats, float(share))
        if level is not None and all(
            np.abs(level.settings - other.settings).max() > NEAR
            for other in (first, last, *between)
        ):
            between.append(level)
    return (first, *between, last)


def _part(job: Job, seats: Sequence[SeatPlan], share: float) -> Level | None:
    """Choose a pack for every seat, one seat after the other, from what is then in the store."""
    loose = Counter({m: p.count for m, p in job.plates.items()})
    settings, packs = [], []
    for plan in seats:
        seat = job.seats[plan.seat]
        choice = _nearest(job, seat, plan, share * plan.setting, loose)
        if choice is None:
            return None
        settings.append(choice.setting)
        packs.append(choice.marks)
        loose.update(seat.pack)
        loose.subtract(choice.marks)
    return Level(np.array(settings), tuple(packs))


def _nearest(
    job: Job, seat: Seat, plan: SeatPlan, target: float, loose: Counter[str]
) -> Choice | None:
    """Return the choice nearest to a setting; among near ones that with least handling."""
    if not plan.disturbed:
        return stay(seat)
    if seat.held_by == "nut":
        step = max(j.resolution for j in job.jacks_at(seat.id))
        return Choice(round(math.floor(target / step + 0.5) * step, 9), (), True, 0)
    own = Counter(seat.pack)
    available = {m: loose[m] + own[m] for m in job.plates}
    window = (target - _WINDOW, target + _WINDOW)
    near = pack_choices(seat, job.plates, available, window, _pushed(job, seat, plan))

    def rank(choice: Choice) -> tuple[float, int, float]:
        off = abs(choice.setting - target)
        new, final = Counter(choice.marks), Counter(plan.build_up)
        handled = (new - own).total() + (final - new).total()
        return (math.floor(off / NEAR), handled, round(off, 9))

    within = [c for c in near if _between(c.setting, plan.setting)]
    return min(within, key=rank, default=None)


def _pushed(job: Job, seat: Seat, plan: SeatPlan) -> Pushed | None:
    """Return how a seat that stays where it is pushed gets as much room as in the end."""
    if not job.stays_pushed(seat):
        return None
    room = job.staging.slide + job.staging.spring_back
    taller = job.pack_height(plan.build_up) - job.pack_height(seat.pack)
    return pushed_past(job, seat, max(room, plan.setting - taller))


def _between(setting: float, final: float) -> bool:
    """Keep a pack on the way between the present and the final setting."""
    low, high = min(0.0, final), max(0.0, final)
    return low - 1e-9 <= setting <= high + 1e-9
