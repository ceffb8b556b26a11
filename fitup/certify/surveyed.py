"""The checks as surveyed once more, from coordinates and design, with readings at the joint.

Checks are measured between the surveyed points themselves. Direct readings are combined in
information form: with P the covariance that is left, the values move by P H' V^-1 (z - H y), which
must be where the gain K = C H' (H C H' + V)^-1 of the first path has brought them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from fitup.certify.items import MEASURES
from fitup.certify.recompute import measure
from fitup.frames import Array, rotation_vector
from fitup.model import Check, Job
from fitup.survey.points import Pose, Survey

#: what two ways to one value as surveyed may differ by [m], [m/m or rad] and [N]
_APART: Final = {"length": 1e-6, "slope": 1e-7, "force": 1.0}
#: and in what crosses a joint, which the first path takes as linear in the points [m], [m/m]
_LINEAR: Final = {"length": 1e-4, "slope": 1e-6}
#: how far the fit of a segment may be from its best [m or rad]
_SETTLED: Final = 1e-7
_UNIT: Final = {"length": ("mm", 1e3), "slope": ("mm/m", 1e3), "force": ("kN", 1e-3)}


def surveyed_again(
    job: Job, survey: Survey, checks: Sequence[Check], covariance: Array, warm: Array
) -> Array:
    """Return every check as surveyed, at the reference temperature.

    Parameters
    ----------
    job : Job
    survey : Survey
        Points and poses at the reference temperature.
    checks : sequence of Check
        The m checks.
    covariance : Array (m, m)
        Of the checks with the readings combined in [m2, m, 1 or N2].
    warm : Array (m,)
        What the steel of the survey adds to each: a tape reads the joint as it is then.

    Returns
    -------
    values : Array (m,)
        [m, m/m or N]
    """

    def place(name: str) -> Array:
        if name in survey.points:
            return survey.points[name].position
        point = job.points[name]
        return survey.poses[point.segment].design2site.apply(point.design)

    def turn(segment: str) -> Array:
        return rotation_vector(survey.poses[segment].design2site.turn)

    values = np.array([measure(job, check, place, turn) for check in checks])
    row_of = {check.id: i for i, check in enumerate(checks)}
    pulled = np.zeros(len(checks))
    for reading in job.readings:
        if reading.id in job.excluded:
            continue
        k = row_of[f"{job.pairs[reading.pair].joint}/{reading.pair}/{reading.quantity}"]
        off = reading.value - (values[k] + warm[k])
        pulled += covariance[:, k] * off / reading.uncertainty**2
    return values + pulled


def surveyed_otherwise(
    job: Job, survey: Survey, checks: Sequence[Check], values: Array, again: Array, near: float
) -> list[str]:
    """Return where a value or the fit of a segment is not what the coordinates give, in words.

    Parameters
    ----------
    job : Job
    survey : Survey
    checks : sequence of Check
    values, again : Array (m,)
        As the plan was made from, and recomputed.
    near : float
        How far two ways to what temperature does may be apart [m or rad]; it counts where the joint
        was read.
    """
    wrong = []
    near = near if any(r.id not in job.excluded for r in job.readings) else 0.0
    for check, value, found in zip(checks, values, again, strict=True):
        apart = (_LINEAR if check.quantity in MEASURES else _APART)[check.kind]
        if not abs(value - found) <= apart + near:
            unit, by = _UNIT[check.kind]
            wrong.append(
                f"{check.id}: as surveyed it is said to be {value * by:.3f}, the coordinates give "
                f"{found * by:.3f} ({unit})"
            )
    for pose in survey.poses.values():
        size = _unsettled(job, survey, pose)
        if not size <= _SETTLED:
            wrong.append(
                f"segment {pose.segment}: its fit to the surveyed points could be better, by a "
                f"step of {size * 1e3:.4f} mm or mm/m"
            )
    return wrong


def _unsettled(job: Job, survey: Survey, pose: Pose) -> float:
    """Return how far a fit is from weighted least squares: the step that one more round takes."""
    columns = {name: 3 * i for i, name in enumerate(survey.points)}
    here = np.concatenate([columns[name] + np.arange(3) for name in pose.points])
    spread = survey.covariance[np.ix_(here, here)]
    if pose.segment in survey.scatter:
        # the drawing is known within the scatter only, which shifts weight between the points
        spread = spread + survey.scatter[pose.segment].value ** 2 * np.eye(len(spread))
    motion = pose.design2site
    rows, off = [], []
    for name in pose.points:
        carried = motion.apply(job.points[name].design)
        off.append(survey.points[name].position - carried)
        arm = carried - motion.centre - motion.shift
        # a turn w moves the arm a by w x a
        rows.append(np.column_stack([np.eye(3), *(np.cross(e, arm) for e in np.eye(3))]))
    jacobian, left = np.vstack(rows), np.concatenate(off)
    weighted = np.linalg.solve(spread, np.column_stack([jacobian, left]))
    step = np.linalg.solve(jacobian.T @ weighted[:, :6], jacobian.T @ weighted[:, 6])
    return float(np.abs(step).max())
