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


def at_survey(job: Job, survey: Survey, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check from the reference to its survey's temperature."""
    warmer = {
        name: epoch.temperature - job.reference_temperature
        for name, epoch in survey.epoch_of.items()
    }
    return np.array([thermal_change(job, c, warmer) for c in checks])


def per_kelvin(job: Job, checks: tuple[Check, ...]) -> Array:
    """Return the change (m,) of every check when all steel warms by one kelvin [1/K]."""
    one = dict.fromkeys(job.segments, 1.0)
    return np.array([thermal_change(job, c, one) for c in checks])
