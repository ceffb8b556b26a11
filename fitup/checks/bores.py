"""Bores on both sides of a joint: is there one straight way through, and how much room is left.

Each ring of points gives a centre. The axis of the back side runs through its two centres; how
far the centres of the ahead side stand beside it, LEFT or RIGHT, high or low, is what moves must
put right: step and kink of the joint use up the same room. Room is what the straightest way
through all four rings leaves free all round a member.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.checks.circle import Circle, centre_covariance, centre_rows, fit_circle
from fitup.checks.least_worst import least_worst
from fitup.checks.part import Part
from fitup.checks.place import position_of
from fitup.frames import Array
from fitup.model import Bore, Check, Job, Quantity
from fitup.survey.points import Survey

#: quantity -> row of the joint axes
BORE_AXIS: Final[dict[Quantity, int]] = {"bore_step": 2, "bore_offset": 1}
#: where on the ahead side -> number of its ring
SPOTS: Final = {"near": 2, "far": 3}


@dataclass(frozen=True, eq=False)
class BoreReading:
    """A bore as it stands.

    ``room`` is what is free all round the member [m]; ``circles`` are those of its rings;
    ``centre_u`` the greatest standard uncertainty of each centre across the joint [m], None where
    a point of the ring was not surveyed but carried.
    """

    bore: str
    room: float
    circles: tuple[Circle, ...]
    centre_u: tuple[float | None, ...] = ()


def circles_of(bore: Bore, where: Mapping[str, Array]) -> tuple[Circle, ...]:
    """Return the circles of the four rings.

    Parameters
    ----------
    bore : Bore
    where : mapping of str to Array (3,)
        Positions of the points of its rings in the grid [m].

    Returns
    -------
    tuple of Circle
        In the order of ``RINGS``.

    Raises
    ------
    ValueError
        If a ring has fewer than three points, or all of them in a line.
    """
    return tuple(fit_circle(np.array([where[n] for n in ring])) for ring in bore.rings)


def bore_part(job: Job, check: Check) -> Part:
    """Return how far an ahead ring stands beside the back axis, as rows on the rings' points.

    Parameters
    ----------
    job : Job
    check : Check
        Its quantity chooses the joint axis, its item the bore, its spot the near or far ahead ring.
    """
    bore = job.bores[check.item or ""]
    design = {n: job.points[n].design for ring in bore.rings for n in ring}
    circles = circles_of(bore, design)
    axes = job.joints[bore.joint].axes_in_grid
    row = axes[BORE_AXIS[check.quantity]]
    along = [float(axes[0] @ c.centre) for c in circles]
    number = SPOTS[check.spot]
    share = (along[number] - along[1]) / (along[1] - along[0])
    rows: dict[str, Array] = {}
    constant = 0.0
    for i, weight in ((0, share), (1, -1.0 - share), (number, 1.0)):
        ring, circle = bore.rings[i], circles[i]
        points = np.array([design[n] for n in ring])
        constant += weight * float(row @ circle.centre)
        for name, gain in zip(ring, centre_rows(points, circle.centre, circle.normal), strict=True):
            rows[name] = weight * (row @ gain)
    return Part(rows, {}, constant - sum(float(r @ design[n]) for n, r in rows.items()))


def bore_reading(job: Job, bore: Bore, where: Mapping[str, Array]) -> BoreReading:
    """Return the room that the straightest way through all rings leaves round the member.

    Parameters
    ----------
    job : Job
    bore : Bore
    where : mapping of str to Array (3,)
        Positions of the points of its rings in the grid [m].

    Returns
    -------
    BoreReading
        Room below zero where the member does not pass; without ``centre_u``.
    """
    circles = circles_of(bore, where)
    axes = job.joints[bore.joint].axes_in_grid
    seen = np.array([axes @ (c.centre - circles[0].centre) for c in circles])
    return BoreReading(bore.id, 0.5 * (bore.bore - bore.member) - straightest(seen), circles)


def straightest(seen: Array) -> float:
    """Return by how much the straightest line misses the worst of some centres (k, 3) [m].

    Rows are ahead, left, up; the line may lie and slope as it likes.
    """
    s = seen[:, 0] - seen[:, 0].mean()
    line = np.column_stack([np.ones(len(s)), s / max(float(np.abs(s).max()), 1e-12)])
    return least_worst(np.kron(line, np.eye(2)).reshape(len(s), 2, 4), seen[:, 1:])


def bores_as_surveyed(job: Job, survey: Survey) -> tuple[BoreReading, ...]:
    """Return every bore of a job as surveyed.

    Parameters
    ----------
    job, survey

    Returns
    -------
    tuple of BoreReading
        In the order of the job, with the uncertainty of each centre.
    """
    found = []
    for bore in job.bores.values():
        where = {n: position_of(job, survey, n) for ring in bore.rings for n in ring}
        reading = bore_reading(job, bore, where)
        across = job.joints[bore.joint].axes_in_grid[1:]
        spread = [
            _centre_u(survey, ring, circle, across)
            for ring, circle in zip(bore.rings, reading.circles, strict=True)
        ]
        found.append(replace(reading, centre_u=tuple(spread)))
    return tuple(found)


def _centre_u(survey: Survey, ring: tuple[str, ...], circle: Circle, across: Array) -> float | None:
    if not all(n in survey.points for n in ring):
        return None
    points = np.array([survey.points[n].position for n in ring])
    u = np.array([survey.points[n].uncertainty for n in ring])
    seen = across @ centre_covariance(points, circle, u) @ across.T
    return float(np.sqrt(np.linalg.eigvalsh(seen)[-1]))
