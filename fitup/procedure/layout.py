"""A job's moves laid out as a course: groups, rests, moves with all they add to every limit."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Seat, SeatPlan, circuits_of
from fitup.problem.problem import clearance
from fitup.procedure.course import Course, Move
from fitup.procedure.heights import lifted
from fitup.procedure.levels import Level, levels
from fitup.procedure.lifts import Carry, carry
from fitup.procedure.rows import WayRows, out_of_step
from fitup.units import DISPLAY

#: most even parts of one group's way
MOST_PARTS = 60
#: limits of lengths, which are held to half of the last printed digit
_LIFTS = ("difference", "warp", "opening", "locked")
#: most sets of pumps that are tried for one group
_MOST_SETS = 64


@dataclass(frozen=True, eq=False)
class Group:
    """A group of seats that moves: its seats, and their plans, in the order of the plan."""

    name: str
    seats: tuple[Seat, ...]
    plans: tuple[SeatPlan, ...]
    columns: tuple[int, ...]
    travel: float
    """Greatest travel in one go [m]."""

    @property
    def lifts(self) -> bool:
        """True where the group works against gravity."""
        return all(s.lifts for s in self.seats)


@dataclass(frozen=True, eq=False)
class Laid:
    """A course with what it was laid from, so that moves can be carried out and explained."""

    course: Course
    groups: tuple[Group, ...]
    levels: tuple[tuple[Level, ...], ...]
    carries: tuple[dict[tuple[int, int], Carry], ...]
    rows: WayRows
    marks: tuple[str, ...]
    off: tuple[Array, ...]
    """How far the jacks of each group may be off their readings, seat by seat [m]."""
    risen: tuple[Array, ...]
    """What is added to the settings of each group while it is on its jacks [m]."""
    need: tuple[int, ...]
    """Goes that each group needs by its greatest travel alone, whatever plates there are."""


def moving_groups(job: Job, seats: Sequence[SeatPlan]) -> tuple[Group, ...]:
    """Return the groups in which a seat is disturbed; all their seats that are not held move.

    Parameters
    ----------
    job : Job
    seats : sequence of SeatPlan
        Of all seats, in the order of the influence.
    """
    found: dict[str, list[int]] = {}
    for i, plan in enumerate(seats):
        found.setdefault(job.seats[plan.seat].group, []).append(i)
    result = []
    for name, own in found.items():
        if not any(seats[i].disturbed for i in own):
            continue
        moving = [i for i in own if not job.seats[seats[i].seat].hold]
        rule = job.groups.get(name)
        own_lift = None if rule is None else rule.stage_lift
        result.append(
            Group(
                name,
                tuple(job.seats[seats[i].seat] for i in moving),
                tuple(seats[i] for i in moving),
                tuple(moving),
                job.staging.stage_lift if own_lift is None else own_lift,
            )
        )
    return tuple(result)


def least_moves(job: Job, group: Group) -> int:
    """Return how many goes a group needs at least, whatever plates there are.

    Parameters
    ----------
    job, group

    Returns
    -------
    int
        At least 1, and no more than ``MOST_PARTS``.
    """
    need = 1
    for seat, plan in zip(group.seats, group.plans, strict=True):
        reach = group.travel - clearance(job, seat)
        if math.isfinite(reach) and reach > 0.0:
            need = max(need, math.ceil(abs(plan.setting) / reach - 1e-9))
    return min(need, MOST_PARTS)


def lay(
    job: Job,
    groups: Sequence[Group],
    rows: WayRows,
    shares: Sequence[Sequence[Fraction]],
) -> Laid:
    """Lay the course of some groups.

    Parameters
    ----------
    shares : sequence of sequences of Fraction
        Parts of its way at which each group may rest, ascending.
    """
    marks = tuple(job.plates)
    rests = tuple(levels(job, g.plans, s) for g, s in zip(groups, shares, strict=True))
    carries = tuple(_carries(job, g, own) for g, own in zip(groups, rests, strict=True))
    owner_of = {s.id: i for i, g in enumerate(groups) for s in g.seats}
    course = Course(
        groups=tuple(g.name for g in groups),
        rows=tuple(
            np.array([rows.L[:, g.columns] @ level.settings for level in own])
            for g, own in zip(groups, rests, strict=True)
        ),
        plates=tuple(np.array([_held(own[0], level, marks) for level in own]) for own in rests),
        moves=tuple(
            tuple(_move(job, rows, g, i, own, ends, c, marks) for ends, c in of_group.items())
            for i, (g, own, of_group) in enumerate(zip(groups, rests, carries, strict=True))
        ),
        at_rest=rows.at_rest,
        on_way=rows.on_way,
        # a jack of a seat that never moves in any group asks nothing
        owner=np.array([-1 if s is None else owner_of.get(s, len(groups)) for s in rows.seat]),
        loose=np.array([job.plates[m].count for m in marks]),
        crews=job.staging.crews,
        pumps=tuple(_pump_sets(job, g) for g in groups),
        windows=tuple(_rule_window(job, g) for g in groups),
        apart=_apart(groups) | _beside_linked(job, groups),
        after=_after(job, groups),
        ranks=_ranks(job, groups),
    )
    off = tuple(np.array([out_of_step(job, s.id) for s in g.seats]) for g in groups)
    risen = tuple(lifted(job, g.seats, rows.now[list(g.columns)]) for g in groups)
    need = tuple(least_moves(job, g) for g in groups)
    return Laid(course, tuple(groups), rests, carries, rows, marks, off, risen, need)


def _carries(job: Job, group: Group, rests: Sequence[Level]) -> dict[tuple[int, int], Carry]:
    found = {}
    for a in range(len(rests)):
        for b in range(a + 1, len(rests)):
            way = carry(job, group.seats, rests[a], rests[b], group.travel)
            if way is not None:
                found[a, b] = way
    return found


def _held(first: Level, level: Level, marks: Sequence[str]) -> Array:
    """Return the plates (t,) a level holds beyond those of the first."""
    now = Counter(m for pack in level.packs for m in pack)
    now.subtract(m for pack in first.packs for m in pack)
    return np.array([now[m] for m in marks])


def _move(
    job: Job,
    rows: WayRows,
    group: Group,
    index: int,
    rests: Sequence[Level],
    ends: tuple[int, int],
    way: Carry,
    marks: Sequence[str],
) -> Move:
    start, end = rests[ends[0]].settings, rests[ends[1]].settings
    own, raised = rows.L[:, group.columns], rows.of(group.name)
    off = np.array([out_of_step(job, s.id) for s in group.seats])
    on_jacks = lifted(job, group.seats, rows.now[list(group.columns)])
    exact = np.maximum(own @ (way.raised + on_jacks - start), own @ (end - start))
    # loads are held at the readings as they will be printed; lifts have their half digit of room
    printed = (own @ (_as_printed(job, start, way, end) + on_jacks).T).max(axis=1, initial=0.0)
    loads = np.array([label.kind not in _LIFTS for label in rows.labels], dtype=bool)
    top = np.maximum(0.0, np.where(loads, np.maximum(exact, printed), exact))
    shaken = rows.added(job, group.seats, group.columns, off)
    if raised.any():
        # on its circuits a group keeps its own limits; all others see where it rests
        others = np.array([r is None for r in rows.raised], dtype=bool)
        top = np.where(others, np.maximum(0.0, own @ (end - start)), top)
        shaken = np.where(others, 0.0, shaken)
    peak = np.array([way.use[m] for m in marks])
    return Move(index, ends[0], ends[1], top + shaken, peak)


def _as_printed(job: Job, start: Array, way: Carry, end: Array) -> Array:
    """Return the readings (s, k) of a move from its START marks as they will stand on paper [m]."""
    shown = DISPLAY[job.units].move
    up = [(way.raised - start) * k / way.rises for k in range(1, way.rises + 1)]
    down = [
        way.raised - start + (end - way.raised) * k / way.falls for k in range(1, way.falls + 1)
    ]
    return np.array([[shown.back(shown.number(float(v))) for v in row] for row in (*up, *down)])


def _pump_sets(job: Job, group: Group) -> tuple[int, ...]:
    """Return the least sets of pumps that can drive a group together, as bits."""
    if not job.pumps:
        return (0,)
    bit = {name: 1 << i for i, name in enumerate(job.pumps)}
    sets = {0}
    for seat in group.seats:
        for jack in job.jacks_at(seat.id):
            of_jack = [bit[p.id] for p in job.pumps.values() if jack.id in p.jacks]
            grown = {s | p for s in sets for p in of_jack}
            sets = {s for s in grown if not any(o != s and o & s == o for o in grown)}
            sets = set(sorted(sets, key=lambda s: (s.bit_count(), s))[:_MOST_SETS])
    return tuple(sorted(sets, key=lambda s: (s.bit_count(), s)))


def _rule_window(job: Job, group: Group) -> str:
    rule = job.groups.get(group.name)
    return "" if rule is None else rule.window


def _apart(groups: Sequence[Group]) -> frozenset[tuple[int, int]]:
    """A segment is not pushed in plan while it is lifted, nor pushed two ways at once."""
    return frozenset(
        (i, k)
        for i, a in enumerate(groups)
        for k, b in enumerate(groups)
        if i < k
        and not (a.lifts and b.lifts)
        and {s.segment for s in a.seats} & {s.segment for s in b.seats}
    )


def _beside_linked(job: Job, groups: Sequence[Group]) -> frozenset[tuple[int, int]]:
    """While a segment is raised on linked jacks nothing else moves it."""
    linked = [bool(circuits_of(job, [s.id for s in g.seats])) for g in groups]
    return frozenset(
        (i, k)
        for i, a in enumerate(groups)
        for k, b in enumerate(groups)
        if i < k
        and (linked[i] or linked[k])
        and {s.segment for s in a.seats} & {s.segment for s in b.seats}
    )


def _after(job: Job, groups: Sequence[Group]) -> tuple[tuple[int, ...], ...]:
    """Return what each group waits for, through groups that have nothing to do."""
    number = {g.name: i for i, g in enumerate(groups)}
    result = []
    for group in groups:
        found: set[str] = set()
        open_ = [group.name]
        while open_:
            rule = job.groups.get(open_.pop())
            fresh = [] if rule is None else [n for n in rule.after if n not in found]
            found.update(fresh)
            open_.extend(fresh)
        result.append(tuple(sorted(number[n] for n in found if n in number)))
    return tuple(result)


def _ranks(job: Job, groups: Sequence[Group]) -> tuple[float, ...]:
    """Return the objective for the order: by rank, then outwards, then as in the files."""
    origin = _origin(job)

    def key(i: int) -> tuple[float, float, int]:
        rule = job.groups.get(groups[i].name)
        rank = math.inf if rule is None or rule.rank is None else float(rule.rank)
        if origin is not None:
            away = [np.linalg.norm(s.position[:2] - origin[:2]) for s in groups[i].seats]
            return (rank, round(float(np.mean(away)), 3), 0)
        return (rank, 0.0, i if math.isinf(rank) else 0)

    keys = sorted({key(i) for i in range(len(groups))})
    return tuple(float(keys.index(key(i))) for i in range(len(groups)))


def _origin(job: Job) -> Array | None:
    name = job.staging.outwards_from
    if name in job.segments:
        return job.segments[name].centre
    if name in job.seats:
        return job.seats[name].position
    return job.points[name].design if name in job.points else None
