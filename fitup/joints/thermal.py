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


def bending_change(job: Job, check: Check, difference: Mapping[str, float]) -> float:
    """Return what bending from a difference through the depth does to a check [m or m/m].

    Kinks follow the turn of the end faces, in the middle of the joint's points.

    Parameters
    ----------
    job : Job
    check : Check
    difference : mapping of segment to float
        Top less bottom temperature of each segment [K].
    """
    part = parts_of(job, check)
    total = 0.0
    for name, row in part.points.items():
        point = job.points[name]
        moved, _ = bend_per_kelvin(job, job.segments[point.segment], point.design[None, :])
        total += float(row @ moved[0]) * difference[point.segment]
    for name, row in part.turns.items():
        _, turned = bend_per_kelvin(job, job.segments[name], face_of(job, check.joint, name))
        total += float(row @ turned[0]) * difference[name]
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
    still = dict.fromkeys(job.segments, 0.0)
    ones = [{**still, name: 1.0} for name in job.segments]
    mean = np.array([[thermal_change(job, c, one) for one in ones] for c in checks])
    bent = np.array([[bending_change(job, c, one) for one in ones] for c in checks])
    return mean.reshape(len(checks), -1), bent.reshape(len(checks), -1)


def at_survey(job: Job, survey: Survey, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check from the reference to the steel of its survey."""
    warmer = {n: s.mean - job.reference_temperature for n, s in survey.steel.items()}
    difference = {n: s.difference for n, s in survey.steel.items()}
    return np.array(
        [thermal_change(job, c, warmer) + bending_change(job, c, difference) for c in checks]
    )


def per_kelvin(job: Job, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check when all steel warms by one kelvin [1/K]."""
    one = dict.fromkeys(job.segments, 1.0)
    return np.array([thermal_change(job, c, one) for c in checks])
