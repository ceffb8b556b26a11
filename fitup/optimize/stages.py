"""A safe order: groups of seats move one after the other, no state on the way breaks a limit.

The seats of a group rise together to their new setting plus a common clearance, the packs are
changed, and all come down together by that clearance onto the new packs. Every jack travels in
proportion; every reading on the way is held against every limit here, and once more, as printed,
by ``certify``.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from fitup.errors import NoSafeOrder
from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, SeatPlan, Stage
from fitup.optimize.contact import based
from fitup.optimize.problem import LimitRow, clearance, limit_rows

#: beyond this many groups orders are not all tried, only the file's and its rotations
_ALL_ORDERS = 6
_CARE = 1e-9


def order_stages(
    job: Job, state: CheckState, influence: Influence, seats: Sequence[SeatPlan]
) -> tuple[Stage, ...]:
    """Return the stages of a plan in the first order of the file that is safe throughout.

    Raises
    ------
    NoSafeOrder
        If every order breaks a limit; names the limit that the best order breaks.
    """
    groups: dict[str, list[int]] = {}
    for i, seat in enumerate(seats):
        groups.setdefault(job.seats[seat.seat].group, []).append(i)
    moved = {g: own for g, own in groups.items() if any(seats[i].disturbed for i in own)}
    wide = np.tile([-10.0, 10.0], (len(seats), 1))
    limits = _limits(job, state, influence, wide)
    furthest: tuple[int, str] = (-1, "")
    for order in _orders(list(moved)):
        stages = _stages(job, seats, [(g, moved[g]) for g in order])
        reached, reason = _first_fault(job, limits, seats, stages)
        if not reason:
            return stages
        furthest = max(furthest, (reached, reason), key=lambda item: item[0])
    raise NoSafeOrder(
        f"no order of stages keeps every limit on the way: {furthest[1]}; "
        f"name smaller groups in seats.csv, or free that limit"
    )


Limits = Callable[[Array], tuple[Array, Array, tuple[LimitRow, ...]]]


def _limits(job: Job, state: CheckState, influence: Influence, wide: Array) -> Limits:
    """Return the limits that hold about a state: one set, or that of the seats that carry there."""
    exact = influence.exact
    if exact is None:
        fixed = limit_rows(job, state, influence, wide)
        return lambda x: fixed
    surveyed = replace(
        state, values=state.values - (0.0 if influence.shift is None else influence.shift)
    )
    known: dict[bytes, tuple[Array, Array, tuple[LimitRow, ...]]] = {}

    def about(x: Array) -> tuple[Array, Array, tuple[LimitRow, ...]]:
        if x.tobytes() not in known:
            here = exact.about(x)
            known[x.tobytes()] = limit_rows(job, based(surveyed, here), here, wide)
        return known[x.tobytes()]

    return about


def _orders(groups: list[str]) -> Iterator[tuple[str, ...]]:
    if len(groups) <= _ALL_ORDERS:
        yield from itertools.permutations(groups)
        return
    for k in range(len(groups)):
        yield tuple(groups[k:] + groups[:k])


def _stages(
    job: Job, seats: Sequence[SeatPlan], order: Sequence[tuple[str, list[int]]]
) -> tuple[Stage, ...]:
    result = []
    for number, (group, own) in enumerate(order, 1):
        moving = [i for i in own if not job.seats[seats[i].seat].hold]
        settings = np.array([seats[i].setting for i in moving])
        room = np.array([clearance(job, job.seats[seats[i].seat]) for i in moving])
        # clear of the new packs, and of the old ones where a seat goes down
        clear = float(room.max()) + max(0.0, float(-settings.min())) if room.any() else 0.0
        raised = settings + np.where(room > 0.0, clear, 0.0)
        step = job.working.lift_step
        rises = max(1, math.ceil(float(np.abs(raised).max()) / step - _CARE))
        falls = math.ceil(clear / step - _CARE)
        result.append(
            Stage(
                number,
                group,
                tuple(seats[i].seat for i in moving),
                tuple(_row(raised * k / rises) for k in range(1, rises + 1)),
                tuple(_row(raised + (settings - raised) * k / falls) for k in range(1, falls + 1)),
            )
        )
    return tuple(result)


def _row(readings: Array) -> tuple[float, ...]:
    """Round readings to a nanometre, so that the same reading is the same number everywhere."""
    return tuple((np.round(readings, 9) + 0.0).tolist())


def _first_fault(
    job: Job,
    limits: Limits,
    seats: Sequence[SeatPlan],
    stages: Sequence[Stage],
) -> tuple[int, str]:
    """Return how many stages are safe and what is wrong in the next, empty when nothing is."""
    column = {s.seat: i for i, s in enumerate(seats)}
    plan = {s.seat: s for s in seats}
    x = np.zeros(len(seats))
    loose = Counter({m: p.count for m, p in job.plates.items()})
    for done, stage in enumerate(stages):
        own = [column[s] for s in stage.seats]
        for readings in (tuple(x[own]), *stage.up, *stage.down):
            x[own] = readings
            fault = _fault(limits(x), x, set(stage.seats))
            if fault:
                return done, f"stage {stage.number} ({stage.group}): {fault}"
        loose.update(Counter(m for s in stage.seats for m in plan[s].out))
        loose.subtract(Counter(m for s in stage.seats for m in plan[s].put_in))
        short = [m for m, k in loose.items() if k < 0]
        if short:
            return done, f"stage {stage.number} ({stage.group}): no plate {short[0]} is free then"
    return len(stages), ""


def _fault(limits: tuple[Array, Array, tuple[LimitRow, ...]], x: Array, moving: set[str]) -> str:
    L, b, labels = limits
    over = L @ x - b - _CARE * np.maximum(1.0, np.abs(b))
    for i in np.flatnonzero(over > 0.0):
        label = labels[i]
        if label.kind in ("leave", "stroke"):
            continue
        if label.kind == "jack" and label.subject not in moving:
            continue
        return label.text
    return ""
