"""What steel away from the reference temperature does to a check, by free expansion.

Everything is planned at the reference temperature; a tape at the joint reads what is there.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitup.frames import Array
from fitup.joints.checks import parts_of
from fitup.model import Check, Job
from fitup.survey.points import Survey
from fitup.survey.steel import bend_per_kelvin
from fitup.survey.temperature import growth


def thermal_change(job: Job, check: Check, warmer: Mapping[str, float]) -> float:
    """Return how far a check goes from its value at the reference temperature [m or m/m].

    Parameters
    ----------
    job : Job
    check : Check
    warmer : mapping of segment to float
        How much warmer than the reference each segment's steel is [K].
    """
    total = 0.0
    for name, row in parts_of(job, check).points.items():
        point = job.points[name]
        segment = job.segments[point.segment]
        total += float(row @ growth(point.design, segment, warmer[segment.id]))
    return total


def face_of(job: Job, joint: str, segment: str) -> Array:
    """Return the middle (1, 3) of a segment's points at a joint [m]."""
    ends = [name for p in job.pairs_of(joint) for name in (p.back_point, p.ahead_point)]
    own = [job.points[n].design for n in ends if job.points[n].segment == segment]
    middle: Array = np.mean(own, axis=0)
    return middle[None, :]


def segment_rates(job: Job, checks: tuple[Check, ...]) -> tuple[Array, Array]:
    """Return what one kelvin more does to every check (m, s), segment by segment [1/K].

    Returns
    -------
    mean : Array (m, s)
        For the mean temperature of each segment.
    difference : Array (m, s)
        For its top less its bottom temperature.
    """
    number = {name: k for k, name in enumerate(job.segments)}
    mean = np.zeros((len(checks), len(number)))
    bent = np.zeros_like(mean)
    known: dict[str, tuple[int, Array, Array]] = {}
    for i, check in enumerate(checks):
        part = parts_of(job, check)
        for name, row in part.points.items():
            if name not in known:
                known[name] = _of_point(job, number, name)
            k, grown, moved = known[name]
            mean[i, k] += float(row @ grown)
            bent[i, k] += float(row @ moved)
        for name, row in part.turns.items():
            # kinks follow the end faces, in the middle of the joint's points
            _, turned = bend_per_kelvin(job, job.segments[name], face_of(job, check.joint, name))
            bent[i, number[name]] += float(row @ turned[0])
    return mean, bent


def _of_point(job: Job, number: Mapping[str, int], name: str) -> tuple[int, Array, Array]:
    """Return the segment of a point by number, and where one kelvin of either kind takes it."""
    point = job.points[name]
    segment = job.segments[point.segment]
    moved, _ = bend_per_kelvin(job, segment, point.design[None, :])
    return number[segment.id], growth(point.design, segment, 1.0), moved[0]


def at_survey(job: Job, survey: Survey, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check from the reference to the steel of its survey."""
    mean, bent = segment_rates(job, checks)
    steel = [survey.steel[name] for name in job.segments]
    warmer = np.array([s.mean - job.reference_temperature for s in steel])
    return mean @ warmer + bent @ np.array([s.difference for s in steel])


def per_kelvin(job: Job, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check when all steel warms by one kelvin [1/K]."""
    return segment_rates(job, checks)[0].sum(axis=1)
