"""The vector of checks y0 with its covariance, from points and poses."""

from __future__ import annotations

import numpy as np

from fitup.checks.definitions import checks_of, parts_of
from fitup.checks.place import position_of
from fitup.checks.readings import combine_readings, read_covariance
from fitup.checks.thermal import at_survey, per_kelvin
from fitup.frames import Array, rotation_vector, skew
from fitup.model import Check, CheckState, Job
from fitup.survey.points import Survey


def joint_state(job: Job, survey: Survey) -> CheckState:
    """Return every check as surveyed, direct readings at the joint combined in.

    A check point that was surveyed counts where it was found; one that was not is carried by
    its segment's pose, with the covariance that this route really has.

    Parameters
    ----------
    job : Job
    survey : Survey
        Points and poses at the reference temperature.

    Returns
    -------
    CheckState
        Values [m or m/m] and covariance.

    Raises
    ------
    SurveyRefused
        If a direct reading contradicts the coordinates.
    """
    checks = checks_of(job)
    values, jacobian = surveyed_checks(job, survey, checks)
    state = CheckState(
        checks,
        values,
        jacobian @ survey.covariance @ jacobian.T + np.diag(_measured(job, checks)),
        at_survey(job, survey, checks),
        per_kelvin(job, checks),
    )
    return combine_readings(job, state)


def _measured(job: Job, checks: tuple[Check, ...]) -> Array:
    """Return the variance (m,) of what was not surveyed but measured: tensions."""
    return np.array([job.tensions[c.subject].u ** 2 if c.kind == "force" else 0.0 for c in checks])


def uncertainties_apart(job: Job, survey: Survey, checks: tuple[Check, ...]) -> Array | None:
    """Return standard uncertainties (m,) as if all points were independent.

    Points of one network share the errors of set-ups and control; what that changes shows beside
    the true uncertainty. None where nothing is shared.

    Parameters
    ----------
    job, survey
    checks : tuple of Check

    Returns
    -------
    Array (m,) or None
        Of each check after its direct readings [m, m/m or N].
    """
    if not survey.shared:
        return None
    _, jacobian = surveyed_checks(job, survey, checks)
    scaled = jacobian * survey.apart
    covariance = scaled @ scaled.T + np.diag(_measured(job, checks))
    covariance = read_covariance(job, checks, covariance)
    return np.sqrt(np.clip(np.diag(covariance), 0.0, None))


def surveyed_checks(job: Job, survey: Survey, checks: tuple[Check, ...]) -> tuple[Array, Array]:
    """Return checks from the coordinates alone, and how each answers to each coordinate.

    Parameters
    ----------
    job : Job
    survey : Survey
    checks : tuple of Check

    Returns
    -------
    values : Array (m,)
        [m or m/m]
    jacobian : Array (m, 3 k)
        By easting, northing and height of all surveyed points, then of the fabrication scatter of
        all ``survey.shaped``, both in the order of the survey.
    """
    columns = {name: 3 * i for i, name in enumerate(survey.points)}
    values = np.zeros(len(checks))
    jacobian = np.zeros((len(checks), len(survey.apart)))
    for i, check in enumerate(checks):
        part = parts_of(job, check)
        values[i] = part.constant
        for name, row in part.points.items():
            position, rows = _position(job, survey, columns, name)
            values[i] += float(row @ position)
            jacobian[i] += row @ rows
        for name, row in part.turns.items():
            pose = survey.poses[name]
            values[i] += float(row @ rotation_vector(pose.design2site.turn))
            jacobian[i] += row @ _spread(survey, columns, name)[3:]
    return values, jacobian


def _position(job: Job, survey: Survey, columns: dict[str, int], name: str) -> tuple[Array, Array]:
    """Position (3,) of a check point and its Jacobian by all surveyed coordinates and shapes."""
    position = position_of(job, survey, name)
    if name in survey.points:
        rows = np.zeros((3, len(survey.apart)))
        rows[:, columns[name] : columns[name] + 3] = np.eye(3)
        return position, rows
    segment = job.points[name].segment
    motion = survey.poses[segment].design2site
    shape = {n: 3 * (len(columns) + i) for i, n in enumerate(survey.shaped)}
    gain = _spread(survey, columns, segment)
    if name in survey.carried:
        # the steel that carries it is as far from its drawing as the point itself
        gain = gain + _spread(survey, shape, segment)
    lever = position - motion.centre - motion.shift
    rows = gain[:3] - skew(lever) @ gain[3:]
    if name in survey.carried:
        rows[:, shape[name] : shape[name] + 3] = np.eye(3)
    return position, rows


def _spread(survey: Survey, columns: dict[str, int], segment: str) -> Array:
    """Spread a pose's gain (6, 3 k) over the columns of its points."""
    pose = survey.poses[segment]
    full = np.zeros((6, len(survey.apart)))
    for i, name in enumerate(pose.points):
        full[:, columns[name] : columns[name] + 3] = pose.gain[:, 3 * i : 3 * i + 3]
    return full


def not_measured(job: Job, survey: Survey) -> dict[str, tuple[str, ...]]:
    """Return the check points nobody measured, by the check that rests on them.

    Parameters
    ----------
    job, survey

    Returns
    -------
    dict of str to tuple of str
        Id of a check to the ids of its points; checks with every point measured are left out.
    """
    result = {}
    for check in checks_of(job):
        points = tuple(n for n in parts_of(job, check).points if n not in survey.points)
        if points:
            result[check.id] = points
    return result
