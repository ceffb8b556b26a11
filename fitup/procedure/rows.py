"""Limit rows of the work on the way: what holds on packs, what while seats move, and for whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, Seat
from fitup.problem.jacks import seat_capacity, softer
from fitup.problem.problem import LimitRow, limit_rows

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
    """

    L: Array
    at_rest: Array
    on_way: Array
    labels: tuple[LimitRow, ...]
    seat: tuple[str | None, ...]
    shaken: Array
    R: Array
    now: Array

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
        own, worst = self.L[:, list(columns)], np.zeros(len(self.labels))
        slope = self.R[np.ix_(list(columns), list(columns))]
        lifts = np.array([label.kind in _LIFTS for label in self.labels], dtype=bool)
        for wrong in (-1.0, 1.0):
            more = np.array([softer(job, s, wrong) for s in seats])
            moved = np.linalg.inv(np.eye(len(off)) - more[:, None] * slope) * off
            worst = np.maximum(worst, np.abs(own @ moved).sum(axis=1))
        worst = np.where(lifts, np.abs(own) @ off, worst)
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
    return WayRows(
        np.array(rows).reshape(len(rows), len(influence.seats)),
        _with_care(rest),
        _with_care(way),
        tuple(kept),
        tuple(seats),
        np.array(shaken, dtype=bool),
        influence.R,
        influence.r0,
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
