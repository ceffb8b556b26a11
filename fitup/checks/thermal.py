"""What steel away from the reference temperature does to a check.

Segments expand and bend freely, or as their frame lets them. Everything is planned at the
reference temperature; a tape at the joint reads what is there.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitup.checks.definitions import parts_of
from fitup.checks.part import Part
from fitup.frames import Array
from fitup.model import Check, Job, ThermalResponse
from fitup.survey.points import Survey
from fitup.survey.steel import bend_per_kelvin, learned_expansion
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
    mean, _ = segment_rates(job, (check,))
    return float(mean[0] @ np.array([warmer[name] for name in job.segments]))


def face_of(job: Job, joint: str, segment: str) -> Array:
    """Return the middle (1, 3) of a segment's points at a joint [m].

    Parameters
    ----------
    job : Job
    joint, segment : str
        Ids; the segment is one of the two that meet there.

    Returns
    -------
    Array (1, 3)
        By design, in the grid [m].
    """
    ends = [name for p in job.pairs_of(joint) for name in (p.back_point, p.ahead_point)]
    own = [job.points[n].design for n in ends if job.points[n].segment == segment]
    middle: Array = np.mean(own, axis=0)
    return middle[None, :]


def segment_rates(job: Job, checks: tuple[Check, ...]) -> tuple[Array, Array]:
    """Return what one kelvin more does to every check (m, s), segment by segment [m/K or 1/K].

    Parameters
    ----------
    job : Job
    checks : tuple of Check

    Returns
    -------
    mean : Array (m, s)
        For the mean temperature of each segment.
    difference : Array (m, s)
        For its top less its bottom temperature.
    """
    rows = [_of_check(job, check) for check in checks]
    both = np.array(rows).reshape(len(checks), 2 * len(job.segments))
    return both[:, : len(job.segments)], both[:, len(job.segments) :]


def apart_rates(job: Job, checks: tuple[Check, ...]) -> Array:
    """Return what one kelvin does to every check (m,) in what stands apart of segments.

    Cables first of all, warmer than the deck; zero where segments expand freely.

    Parameters
    ----------
    job : Job
    checks : tuple of Check

    Returns
    -------
    Array (m,)
        [m/K or 1/K]
    """
    if job.thermal is None or job.thermal.apart is None:
        return np.zeros(len(checks))
    return np.array([_by(parts_of(job, c), c.joint, job.thermal.apart)[0] for c in checks])


def _of_check(job: Job, check: Check) -> Array:
    """Change of a check (2 s,) for one kelvin of each segment: means, then differences."""
    part = parts_of(job, check)
    if job.thermal is not None:
        return _by(part, check.joint, job.thermal) * np.tile(learned_expansion(job), 2)
    number = {name: k for k, name in enumerate(job.segments)}
    count = len(number)
    rates = np.zeros(2 * count)
    for name, row in part.points.items():
        point = job.points[name]
        segment = job.segments[point.segment]
        moved, _ = bend_per_kelvin(job, segment, point.design[None, :])
        rates[number[segment.id]] += float(row @ growth(point.design, segment, 1.0))
        rates[count + number[segment.id]] += float(row @ moved[0])
    for name, row in part.turns.items():
        # kinks follow the end faces, in the middle of the joint's points
        _, turned = bend_per_kelvin(job, job.segments[name], face_of(job, check.joint, name))
        rates[count + number[name]] += float(row @ turned[0])
    return rates


def _by(part: Part, joint: str, thermal: ThermalResponse) -> Array:
    """Change of a check (k,) as a frame answers to temperature."""
    points = [row @ thermal.points[name] for name, row in part.points.items()]
    turns = [row @ thermal.faces[joint, name] for name, row in part.turns.items()]
    total: Array = np.sum([*points, *turns, np.zeros(thermal.reactions.shape[1])], axis=0)
    return total


def at_survey(job: Job, survey: Survey, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check from the reference to the steel of its survey.

    Parameters
    ----------
    job, survey
    checks : tuple of Check

    Returns
    -------
    Array (m,)
        To be added to values at the reference temperature [m or m/m].
    """
    mean, bent = segment_rates(job, checks)
    steel = [survey.steel[name] for name in job.segments]
    warmer = np.array([s.mean - job.reference_temperature for s in steel])
    return mean @ warmer + bent @ np.array([s.difference for s in steel])


def per_kelvin(job: Job, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check when all steel warms by one kelvin.

    Parameters
    ----------
    job : Job
    checks : tuple of Check

    Returns
    -------
    Array (m,)
        [m/K or 1/K]
    """
    return segment_rates(job, checks)[0].sum(axis=1)
