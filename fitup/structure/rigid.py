"""Each segment a rigid body on elastic seats that push in any direction.

With w_i = [d_i, (p_i - c) x d_i] the wrench of seat i about the centre of gravity, W its rows,
K the stiffnesses and q the small motion of the segment, equilibrium for moves x is
(W' K W) q = W' K x, and the reactions change by K (x - W q). Motions that friction or guides
hold are left out of q.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.checks import checks_of, parts_of
from fitup.checks.place import position_of
from fitup.errors import StructureError
from fitup.frames import Array, displacement_rows, heading, left_of
from fitup.model import Influence, Job, Seat, Segment
from fitup.survey.points import Survey

#: measured reactions may miss the weight by this share: calculated weights are poor
WEIGHT_FIT = 0.10
_NAMES = ("along", "across", "up", "roll", "pitch", "turn")


@dataclass(frozen=True, eq=False)
class SegmentStatics:
    """How one segment answers to its seats.

    Parameters
    ----------
    motion : Array (6, n)
        Shift and turn about the centre of gravity for a unit move of each seat.
    reaction : Array (n, n)
        Change of each reaction for a unit move of each seat [N/m].
    weight_share : Array (n,)
        Reactions under the segment's weight [N].
    """

    motion: Array
    reaction: Array
    weight_share: Array


def _motion_basis(segment: Segment) -> Array:
    """Rows (6, 6): along, across, up, roll, pitch, turn as shift and turn in the grid."""
    ahead, left = heading(segment.azimuth), left_of(segment.azimuth)
    up = np.array([0.0, 0.0, 1.0])
    rows = np.zeros((6, 6))
    rows[0, :3], rows[1, :3], rows[2, :3] = ahead, left, up
    rows[3, 3:], rows[4, 3:], rows[5, 3:] = ahead, left, up
    return rows


def segment_statics(segment: Segment, seats: tuple[Seat, ...]) -> SegmentStatics:
    """Return motions and reactions of one rigid segment on its seats.

    Parameters
    ----------
    segment : Segment
    seats : tuple of Seat
        All that bear on the segment; rows and columns of the result follow their order.

    Raises
    ------
    StructureError
        If there are no seats, or a motion is neither resisted by a seat nor held, or both.
    """
    if not seats:
        raise StructureError(f"segment {segment.id} has no seats; add rows to seats.csv")
    wrench = np.array(
        [np.r_[s.direction, np.cross(s.position - segment.centre, s.direction)] for s in seats]
    )
    stiffness = np.array([s.stiffness for s in seats])
    basis = _motion_basis(segment)
    free = [name for name in _NAMES if name not in segment.held]
    resisted = wrench @ basis.T
    _held_twice(segment, seats, resisted)
    Q = basis[[_NAMES.index(name) for name in free]].T
    # metres and radians are brought to one scale so that the rank is judged fairly
    lever = max(1.0, float(np.abs(wrench[:, 3:]).max()))
    Q = Q / np.where(np.abs(Q[3:]).sum(axis=0) > 0.0, lever, 1.0)
    flexible = wrench @ Q
    matrix = flexible.T @ (stiffness[:, None] * flexible)
    values, vectors = np.linalg.eigh(matrix)
    if values[0] < 1e-9 * values[-1]:
        loose = free[int(np.argmax(np.abs(vectors[:, 0])))]
        raise StructureError(
            f"segment {segment.id}: nothing holds its motion '{loose}'; add a seat that resists it "
            f"in seats.csv, or say in segments.csv, column held, that friction or guides do"
        )
    motion = Q @ np.linalg.solve(matrix, flexible.T * stiffness)
    reaction = stiffness[:, None] * (np.eye(len(seats)) - wrench @ motion)
    load = np.array([0.0, 0.0, -segment.weight, 0.0, 0.0, 0.0])
    sink = Q @ np.linalg.solve(matrix, Q.T @ load)
    return SegmentStatics(motion, reaction, -stiffness * (wrench @ sink))


def _held_twice(segment: Segment, seats: tuple[Seat, ...], resisted: Array) -> None:
    for name in sorted(segment.held):
        column = np.abs(resisted[:, _NAMES.index(name)])
        if name != "turn" and column.max() > 0.05:
            seat = seats[int(column.argmax())]
            raise StructureError(
                f"segment {segment.id}: held says '{name}' does not move, but seat {seat.id} works "
                f"on it; take '{name}' out of held in segments.csv, or the seat out of seats.csv"
            )


def present_reactions(segment: Segment, seats: tuple[Seat, ...], statics: SegmentStatics) -> Array:
    """Return the reactions in the surveyed state: as measured, else from the weight.

    Parameters
    ----------
    segment : Segment
    seats : tuple of Seat
        All that bear on the segment.
    statics : SegmentStatics
        Of the same seats in the same order.

    Returns
    -------
    Array (n,)
        In the order of ``seats`` [N].

    Raises
    ------
    StructureError
        If the reactions do not carry the segment's weight within 10 %.
    """
    reactions = np.array(
        [
            share if seat.reaction_now is None else seat.reaction_now
            for seat, share in zip(seats, statics.weight_share, strict=True)
        ]
    )
    carried = float(sum(r * s.direction[2] for r, s in zip(reactions, seats, strict=True)))
    if abs(carried - segment.weight) > WEIGHT_FIT * segment.weight:
        raise StructureError(
            f"segment {segment.id}: its seats carry {carried / 1e3:.0f} kN, its weight is "
            f"{segment.weight / 1e3:.0f} kN; correct reaction_now in seats.csv for all its seats "
            f"or the weight in segments.csv (they may differ by {WEIGHT_FIT:.0%})"
        )
    return reactions


def rigid_influence(job: Job, survey: Survey) -> Influence:
    """Return the influence of all seats for rigid segments on elastic seats.

    Parameters
    ----------
    job : Job
    survey : Survey
        Says where the check points are.

    Raises
    ------
    StructureError
        If a segment has no seats, can move freely, or its reactions do not carry its weight.
    """
    checks = checks_of(job)
    names = tuple(job.seats)
    column = {name: i for i, name in enumerate(names)}
    A = np.zeros((len(checks), len(names)))
    R = np.zeros((len(names), len(names)))
    r0 = np.zeros(len(names))
    motion_of: dict[str, tuple[list[int], Array]] = {}
    for segment in job.segments.values():
        seats = job.seats_of(segment.id)
        statics = segment_statics(segment, seats)
        own = [column[s.id] for s in seats]
        R[np.ix_(own, own)] = statics.reaction
        r0[own] = present_reactions(segment, seats, statics)
        motion_of[segment.id] = (own, statics.motion)
    for i, check in enumerate(checks):
        part = parts_of(job, check)
        for name, row in part.points.items():
            segment = job.segments[job.points[name].segment]
            own, motion = motion_of[segment.id]
            where = position_of(job, survey, name)[None, :]
            A[i, own] += row @ displacement_rows(where, segment.centre) @ motion
        for name, row in part.turns.items():
            own, motion = motion_of[name]
            A[i, own] += row @ motion[3:]
    return Influence(tuple(c.id for c in checks), names, A, R, r0, "rigid")
