"""Bolt holes on both sides of a joint: shifted against each other, and what a best fit leaves.

The shift of a group is the mean over its holes of where the ahead hole stands against the back
one, less what the design has between them, in the plane of the plate. The two shifts are linear
in the points and are checks. How many bolts pass, and which hole is worst even after the best
shift and turn of the whole group, is reported.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.checks.least_worst import least_worst
from fitup.checks.part import Part
from fitup.checks.place import position_of
from fitup.frames import Array
from fitup.model import PLANES, BoltGroup, Check, Job, Quantity
from fitup.survey.points import Survey

#: row of the joint axes -> what a shift along it is called
BOLT_QUANTITY: Final[tuple[Quantity, ...]] = ("bolt_along", "bolt_across", "bolt_up")


@dataclass(frozen=True, slots=True)
class BoltReading:
    """A group as it stands.

    ``passing`` of its holes let a bolt through; ``worst`` is the greatest mismatch of a hole [m],
    ``fitted`` the least that it could be made by any shift and turn of the whole group: what
    exceeds the clearance there was drilled so.
    """

    group: str
    holes: int
    passing: int
    worst: float
    fitted: float


def bolt_part(job: Job, check: Check) -> Part:
    """Return one shift of a group as rows on its holes.

    Parameters
    ----------
    job : Job
    check : Check
        With a quantity of ``BOLT_QUANTITY``; its item is the group.
    """
    group = job.bolts[check.item or ""]
    row = job.joints[group.joint].axes_in_grid[BOLT_QUANTITY.index(check.quantity)]
    share = row / len(group.back)
    rows = {**dict.fromkeys(group.ahead, share), **dict.fromkeys(group.back, -share)}
    return Part(rows, {}, -sum(float(r @ job.points[n].design) for n, r in rows.items()))


def mismatch(job: Job, group: BoltGroup, where: Mapping[str, Array]) -> tuple[Array, Array]:
    """Return where the holes are in the plane (k, 2) by design, and each one's mismatch (k, 2).

    Parameters
    ----------
    job : Job
    group : BoltGroup
    where : mapping of str to Array (3,)
        Positions of the group's points in the grid [m].

    Returns
    -------
    places, off : Array (k, 2)
        Hole by hole in the order of the group [m]; columns follow the two joint axes of its plane.
    """
    axes = job.joints[group.joint].axes_in_grid[list(PLANES[group.plane])]
    apart = np.array([where[a] - where[b] for b, a in zip(group.back, group.ahead, strict=True)])
    design = np.array([job.points[n].design for n in group.ahead])
    meant = design - np.array([job.points[n].design for n in group.back])
    return design @ axes.T, (apart - meant) @ axes.T


def bolt_reading(job: Job, group: BoltGroup, where: Mapping[str, Array]) -> BoltReading:
    """Return what passes and what the best fit of a group leaves.

    Parameters
    ----------
    job : Job
    group : BoltGroup
    where : mapping of str to Array (3,)
        Positions of the group's points in the grid [m].
    """
    places, off = mismatch(job, group, where)
    size = np.linalg.norm(off, axis=1)
    return BoltReading(
        group.id,
        len(size),
        int(np.sum(size <= group.clearance)),
        float(size.max()),
        best_fit(places, off),
    )


def best_fit(places: Array, off: Array) -> float:
    """Return the greatest mismatch that the best shift and small turn of all holes leaves [m].

    Parameters
    ----------
    places, off : Array (k, 2)
        Where the holes are in the plane, and the mismatch of each [m].
    """
    lever = places - places.mean(axis=0)
    lever = lever / max(float(np.abs(lever).max()), 1e-12)
    rows = np.zeros((len(places), 2, 3))
    rows[:, 0, 0] = rows[:, 1, 1] = 1.0
    rows[:, 0, 2], rows[:, 1, 2] = -lever[:, 1], lever[:, 0]
    return least_worst(rows, off)


def bolts_as_surveyed(job: Job, survey: Survey) -> tuple[BoltReading, ...]:
    """Return every bolt group of a job as surveyed.

    Parameters
    ----------
    job, survey

    Returns
    -------
    tuple of BoltReading
        In the order of the job.
    """
    return tuple(
        bolt_reading(job, g, {n: position_of(job, survey, n) for n in (*g.back, *g.ahead)})
        for g in job.bolts.values()
    )
