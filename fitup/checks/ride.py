"""The profile over a joint in each wheel path: what can be optimised, and what a wheel feels.

Along is x = a.(p - o) and height z = u.(p - o), o being midway between the faces, so that the
grade and the crossfall of the joint do not count. Straightedge and change of slope are linear in
the points and are checks; the gap under a straightedge on its own feet and the quarter car are
not, and are reported before and after.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fitup.checks.part import Part
from fitup.checks.place import position_of
from fitup.checks.quartercar import joint_roughness, straightedge_gap
from fitup.frames import Array
from fitup.model import Check, Job, RidePath
from fitup.survey.points import Survey

#: where the straightedge of a check is read
FACES = ("back", "ahead")


@dataclass(frozen=True, slots=True)
class RideReading:
    """What a straightedge and a wheel find over one joint in one path.

    ``gap`` is the greatest gap under the straightedge laid anywhere across the joint [m],
    ``roughness`` the index of ASTM E1926 over 100 m with the joint in it [m/m].
    """

    path: str
    gap: float
    roughness: float


def sides(job: Job, path: RidePath) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the points of a path on the back and on the ahead segment.

    Parameters
    ----------
    job, path

    Returns
    -------
    back, ahead : tuple of str
        Ids of points, both from back to ahead: the faces are at ``back[-1]`` and ``ahead[0]``.
    """
    back = tuple(n for n in path.points if job.points[n].segment == job.joints[path.joint].back)
    return back, path.points[len(back) :]


def profile_of(job: Job, path: RidePath, where: Mapping[str, Array]) -> tuple[Array, Array]:
    """Return places along (n,) and heights (n,) [m] of the points of a path.

    Parameters
    ----------
    where : mapping of point to Array (3,)
        Where the points are in the grid [m].
    """
    axes = job.joints[path.joint].axes_in_grid
    back, ahead = sides(job, path)
    middle = 0.5 * (where[back[-1]] + where[ahead[0]])
    local = np.array([axes @ (where[n] - middle) for n in path.points])
    return local[:, 0], local[:, 2]


def ride_reading(job: Job, path: RidePath, where: Mapping[str, Array]) -> RideReading:
    """Return what a straightedge and a wheel find.

    Parameters
    ----------
    job, path
    where : mapping of str to Array (3,)
        Positions of the path's points in the grid [m].
    """
    x, z = profile_of(job, path, where)
    return RideReading(path.id, straightedge_gap(x, z, job.straightedge), joint_roughness(x, z))


def ride_as_surveyed(job: Job, survey: Survey) -> tuple[RideReading, ...]:
    """Return what a straightedge and a wheel find in every wheel path as surveyed.

    Parameters
    ----------
    job, survey
    """
    return tuple(
        ride_reading(job, path, {n: position_of(job, survey, n) for n in path.points})
        for path in job.ride_paths.values()
    )


def ride_part(job: Job, check: Check) -> Part:
    """Return how a straightedge or change of slope depends on the points of its path.

    Parameters
    ----------
    job : Job
    check : Check
        Of quantity straightedge or slope_change; its item is the path, its spot the face where the
        straightedge is read.
    """
    path = job.ride_paths[check.item or ""]
    up = job.joints[path.joint].axes_in_grid[2]
    design = {n: job.points[n].design for n in path.points}
    x = dict(zip(path.points, profile_of(job, path, design)[0], strict=True))
    if check.quantity == "straightedge":
        # the sum of the shares is nought, so no constant is needed
        shares = _straightedge(job, path, x, check.spot)
        return Part({n: w * up for n, w in shares.items()}, {}, 0.0)
    rows = {n: w * up for n, w in _slope_change(job, path, x).items()}
    return Part(rows, {}, -sum(float(row @ design[n]) for n, row in rows.items()))


def _straightedge(job: Job, path: RidePath, x: Mapping[str, float], face: str) -> dict[str, float]:
    """Return the share of each point in the height of a face over a straightedge on its ends."""
    back, ahead = sides(job, path)
    half = 0.5 * job.straightedge
    at = back[-1] if face == "back" else ahead[0]
    share = (x[at] + half) / (2.0 * half)
    total = {at: 1.0}
    for names, place, part in ((back, -half, 1.0 - share), (ahead, half, share)):
        for name, weight in _between(names, x, place).items():
            total[name] = total.get(name, 0.0) - part * weight
    return total


def _between(names: tuple[str, ...], x: Mapping[str, float], place: float) -> dict[str, float]:
    """Return the shares of the two points of one side that a place lies between, or next to."""
    i = min(max(sum(x[n] < place for n in names), 1), len(names) - 1)
    a, b = names[i - 1], names[i]
    share = (place - x[a]) / (x[b] - x[a])
    return {a: 1.0 - share, b: share}


def _slope_change(job: Job, path: RidePath, x: Mapping[str, float]) -> dict[str, float]:
    """Return the share of each point in the slope of the fitted line ahead less that behind."""
    back, ahead = sides(job, path)
    total: dict[str, float] = {}
    for names, sign in ((back, -1.0), (ahead, 1.0)):
        places = np.array([x[n] for n in names])
        lever = places - places.mean()
        shares = sign * lever / float(lever @ lever)
        total.update(zip(names, (float(w) for w in shares), strict=True))
    return total
