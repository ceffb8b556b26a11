"""Limit rows of the work on the way: what holds on packs, what while seats move, and for whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, Seat
from fitup.problem.jacks import seat_capacity
from fitup.problem.problem import LimitRow, limit_rows
from fitup.procedure.linked import Raised, may_go, raised_groups

_CARE = 1e-9
#: limits of the finished plan alone; jacks are asked apart
_FINAL = ("leave", "stroke", "jack", "contact")
#: limits that no contact changes
_LIFTS = ("difference", "warp")


@dataclass(frozen=True, eq=False)
class WayRows:
    """Limits ``L x <= b`` of the states on the way.

    Parameters
    ----------
    L : Array (p, n)
    at_rest, on_way : Array (p,)
        Bounds on packs and while seats move.
    labels : tuple of LimitRow
    seat : tuple of (str or None)
        Seat whose own moving a row is about (its jack), else None.
    shaken : Array (p,) of bool
        Rows to which jacks out of step add.
    R : Array (n, n)
        Change of every reaction for a unit move of every seat [N/m].
    now : Array (n,)
        Reactions about which the rows hold [N].
    raised : tuple of (Raised or None)
        Group on its circuits while which alone a row holds; None: any time. Such a row is about
        what is set, and strokes follow.
    plain : Array (p, n)
        Rows as they act on where seats are.
    """

    L: Array
    at_rest: Array
    on_way: Array
    labels: tuple[LimitRow, ...]
    seat: tuple[str | None, ...]
    shaken: Array
    R: Array
    now: Array
    raised: tuple[Raised | None, ...]
    plain: Array

    def of(self, group: str) -> Array:
        """Return which rows (p,) hold while a group is on its circuits; none where it has none."""
        return np.array([r is not None and r.links.name == group for r in self.raised], dtype=bool)

    def added(self, job: Job, seats: Sequence[Seat], columns: Sequence[int], off: Array) -> Array:
        """Return what rams off their readings add to every row (p,).

        A ram moves the deck through the spring of its jack, which is not known well: the worse of
        the stiffest and the softest counts. Lifts are as the rams are.

        Parameters
        ----------
        job : Job
        seats : sequence of Seat
            Whose rams are off.
        columns : sequence of int
            Columns of ``L`` that belong to these seats.
        off : Array (k,)
            By how much each is off, in either direction [m].
        """
        own, worst = self.plain[:, list(columns)], np.zeros(len(self.labels))
        groups = [r for r in dict.fromkeys(self.raised) if r is not None]
        slope = self.R[np.ix_(list(columns), list(columns))]
        lifts = np.array([label.kind in _LIFTS for label in self.labels], dtype=bool)
        gone = may_go(job, columns, seats, slope, off, groups, None)
        for wrong in (-1.0, 1.0):
            moved = may_go(job, columns, seats, slope, off, groups, wrong)
            worst = np.maximum(worst, np.abs(own @ moved).sum(axis=1))
        worst = np.where(lifts, np.abs(own @ gone).sum(axis=1), worst)
        return np.where(self.shaken, worst, 0.0)


def way_rows(job: Job, state: CheckState, influence: Influence, *, whole: bool = False) -> WayRows:
    """Return the limits a job sets on the states between survey and plan.

    Where seats may lift off, only lifts follow a straight line; ``whole`` asks for all limits
    even so, as they hold about one state.

    Parameters
    ----------
    job, state, influence
    whole : bool
        Where seats may lift off, only lifts follow a straight line; true asks for all limits even
        so, as they hold about one state.
    """
    wide = np.tile([-10.0, 10.0], (len(influence.seats), 1))
    L, b, labels = limit_rows(job, state, influence, wide)
    bends = influence.exact is not None and not whole
    keep = [
        i
        for i, label in enumerate(labels)
        if _on_the_way(job, label) and (label.kind in _LIFTS or not bends)
    ]
    rows = [L[i] for i in keep]
    rest = [float(b[i]) for i in keep]
    way = [float(b[i]) + _more_moving(job, labels[i]) for i in keep]
    kept = [labels[i] for i in keep]
    seats: list[str | None] = [None] * len(keep)
    shaken = [True] * len(keep)
    for i, name in enumerate(influence.seats) if not bends else ():
        for label, bound, worst in _jack_bounds(job, name, float(influence.r0[i])):
            rows.append(influence.R[i])
            rest.append(np.inf)
            way.append(bound)
            kept.append(label)
            seats.append(name)
            shaken.append(worst)
    L = np.array(rows).reshape(len(rows), len(influence.seats))
    plain = WayRows(
        L,
        _with_care(rest),
        _with_care(way),
        tuple(kept),
        tuple(seats),
        np.array(shaken, dtype=bool),
        influence.R,
        influence.r0,
        (None,) * len(rows),
        L,
    )
    for group in () if bends else raised_groups(job, influence.seats, influence.R, influence.r0):
        plain = _with_raised(plain, group)
    return plain


def _with_raised(rows: WayRows, group: Raised) -> WayRows:
    """Return limits with those that hold while a group is on its circuits.

    What its jacks carry is asked of these alone.
    """
    own = {s.id for s in group.seats}
    first = group.seats[0].id
    keep = [
        i
        for i, (seat, raised) in enumerate(zip(rows.seat, rows.raised, strict=True))
        if raised is None and (seat is None or seat in own)
    ]
    mine = np.array([seat in own for seat in rows.seat], dtype=bool)
    L, b = rows.plain[keep], rows.on_way[keep]
    return WayRows(
        np.vstack([rows.L, group.rows(L)]),
        np.concatenate([rows.at_rest, np.full(len(keep), np.inf)]),
        np.concatenate([np.where(mine, np.inf, rows.on_way), group.bounds(L, b)]),
        (*rows.labels, *(rows.labels[i] for i in keep)),
        (*rows.seat, *[first] * len(keep)),
        np.concatenate([rows.shaken, rows.shaken[keep]]),
        rows.R,
        rows.now,
        (*rows.raised, *[group] * len(keep)),
        np.vstack([rows.plain, L]),
    )


def _with_care(bounds: list[float]) -> Array:
    """Loosen bounds by what arithmetic may lose."""
    b = np.array(bounds)
    return b + _CARE * np.maximum(1.0, np.where(np.isfinite(b), np.abs(b), 1.0))


def _on_the_way(job: Job, label: LimitRow) -> bool:
    if label.kind == "reaction_least" and job.seats[label.subject].may_unload:
        return False
    return label.kind not in _FINAL


def _more_moving(job: Job, label: LimitRow) -> float:
    if label.kind not in ("difference", "warp"):
        return 0.0
    limit = job.limits[label.subject]
    return limit.moving - limit.most


def _jack_bounds(job: Job, name: str, now: float) -> list[tuple[LimitRow, float, bool]]:
    """Return bounds on the change of a seat's reaction by its jacks: calculated, and at worst."""
    seat, staging = job.seats[name], job.staging
    capacity = seat_capacity(job, name)
    if seat.hold or capacity == 0.0:
        return []
    # a breakaway is a guess: it may be more by the plain band

    def bound(least: float, share: float, band: float) -> float:
        load = capacity * (1.0 / least - share) - seat.breakaway * (1.0 + band)
        return load / (1.0 + staging.friction) - now

    reserve = LimitRow("jack", name, f"jack capacity over its reserve at seat {name}")
    worst = LimitRow("jack_worst", name, f"jack capacity at the worst load of seat {name}")
    return [
        (reserve, bound(job.working.jack_reserve, 0.0, 0.0), False),
        (worst, bound(staging.worst_reserve, staging.pressure_error, job.working.load_band), True),
    ]


def out_of_step(job: Job, seat: str) -> float:
    """Return how far the jacks of a seat may be off their readings [m].

    By the worst of the pumps that can drive them; jacks worked one after the other are off by a
    whole step more. No ram is kept closer than a mark of its scale; zero: nothing is stated.

    Parameters
    ----------
    job : Job
    seat : str
    """
    off = job.staging.out_of_step
    pumps = [p for p in job.pumps.values() if any(j.id in p.jacks for j in job.jacks_at(seat))]
    of_pumps = [
        (off if p.out_of_step is None else p.out_of_step)
        + (0.0 if p.synchronised else job.working.lift_step)
        for p in pumps
    ]
    stated = max(of_pumps, default=off)
    marks = [j.resolution for j in job.jacks_at(seat)]
    return max(stated, *marks) if stated > 0.0 and marks else stated
