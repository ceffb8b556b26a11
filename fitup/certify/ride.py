"""What a wheel finds over a joint once more, from moved points: nothing here is shared with joints.

Heights are taken over the plane of the joint by solving for them; a straightedge is tried on every
pair of points it could rest on; the quarter car is driven by a general solver of linear systems.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from fitup.certify.facts import RideFact
from fitup.frames import Array
from fitup.model import Check, Job, RidePath

Place = Callable[[str], Array]
#: what two ways to the same roughness may differ by, as a share, and to the same gap [m]
_ALIKE, _ALIKE_GAP = 0.01, 2e-5


def measure_path(job: Job, check: Check, place: Place) -> float:
    """Measure a straightedge or change of slope check between points that were moved.

    Parameters
    ----------
    job : Job
    check : Check
        Of quantity ``straightedge`` or ``slope_change``, with its path and face.
    place : callable
        Where a point is by its name (3,) [m].

    Returns
    -------
    float
        How high the face stands over the straightedge [m]; or by how much the deck ahead rises more
        steeply than the deck behind, less what it does by design.
    """
    path = job.ride_paths[str(check.item)]
    x, z = _profile(job, path, place)
    n = _behind(job, path)
    if check.quantity == "slope_change":
        designed = _profile(job, path, lambda name: job.points[name].design)
        return _break(x, z, n) - _break(*designed, n)
    half = job.straightedge / 2.0
    feet = []
    for own, at in ((slice(0, n), -half), (slice(n, None), half)):
        xs, zs = x[own], z[own]
        k = int(np.clip(np.searchsorted(xs, at), 1, len(xs) - 1))
        feet.append(zs[k - 1] + (zs[k] - zs[k - 1]) * (at - xs[k - 1]) / (xs[k] - xs[k - 1]))
    face = n - 1 if check.spot == "back" else n
    under = feet[0] + (feet[1] - feet[0]) * (x[face] + half) / job.straightedge
    return float(z[face] - under)


def _behind(job: Job, path: RidePath) -> int:
    back = job.joints[path.joint].back
    return sum(job.points[name].segment == back for name in path.points)


def _break(x: Array, z: Array, n: int) -> float:
    behind, ahead = (np.polynomial.Polynomial.fit(x[s], z[s], 1) for s in (np.s_[:n], np.s_[n:]))
    return float(ahead.deriv()(0.0) - behind.deriv()(0.0))


def _profile(job: Job, path: RidePath, place: Place) -> tuple[Array, Array]:
    """Places along and heights of the points [m] in the frame of the joint."""
    points = np.array([place(name) for name in path.points])
    n = _behind(job, path)
    points = points - (points[n - 1] + points[n]) / 2.0
    local = np.linalg.solve(job.joints[path.joint].axes_in_grid.T, points.T)
    return local[0], local[2]


def ride_facts(job: Job, before: Place, after: Place) -> tuple[RideFact, ...]:
    """Return what is found in each wheel path before and after the moves.

    Parameters
    ----------
    job : Job
    before, after : callable
        Where a point is by its name (3,) [m].
    """
    facts = []
    for path in job.ride_paths.values():
        profiles = [_profile(job, path, place) for place in (before, after)]
        (gap0, rough0), (gap1, rough1) = (_found(*p, job.straightedge) for p in profiles)
        drawn = [tuple((float(a), float(b)) for a, b in zip(*p, strict=True)) for p in profiles]
        name = (path.id, path.joint, path.place)
        facts.append(RideFact(*name, gap0, gap1, rough0, rough1, drawn[0], drawn[1]))
    return tuple(facts)


def unlike(facts: Sequence[RideFact], other: Mapping[str, tuple[float, float]]) -> list[str]:
    """Return where gap or roughness as surveyed differ from those of the other way.

    Parameters
    ----------
    facts : sequence of RideFact
    other : mapping of str to (float, float)
        Gap [m] and roughness [m/m] of each path as surveyed, found the other way.

    Returns
    -------
    list of str
        A line each.
    """
    wrong = []
    for fact in facts:
        gap, rough = other[fact.path]
        if abs(gap - fact.gap_before) > _ALIKE_GAP:
            wrong.append(f"path {fact.path}: the straightedge by two ways differs")
        if abs(rough - fact.roughness_before) > _ALIKE * max(rough, 1e-5):
            wrong.append(f"path {fact.path}: the quarter car by two ways differs")
    return wrong


def _found(x: Array, z: Array, length: float) -> tuple[float, float]:
    return _worst_gap(x, z, length), max(_driven(x, z), _driven(-x[::-1], z[::-1]))


def _lie(x: Array, z: Array) -> Callable[[Array], Array]:
    """Return the profile as a function, its end slopes gone on with far beyond its ends."""
    far = 1e3
    xs = np.concatenate([[x[0] - far], x, [x[-1] + far]])
    first, last = (z[1] - z[0]) / (x[1] - x[0]), (z[-1] - z[-2]) / (x[-1] - x[-2])
    zs = np.concatenate([[z[0] - far * first], z, [z[-1] + far * last]])
    return lambda at: np.interp(at, xs, zs)


def _worst_gap(x: Array, z: Array, length: float) -> float:
    deck, worst = _lie(x, z), 0.0
    first, last = max(-length, float(x[0])), min(0.0, float(x[-1]) - length)
    # at least once: points just far enough apart by design may be found a little nearer
    over = max(first - last, 0.0)
    first, last = first - over / 2.0, last + over / 2.0
    for k in range(int(np.floor((last - first) / 0.05 + 1e-6)) + 1):
        start = first + 0.05 * k
        xs = np.array([start, *(v for v in x if start < v < start + length), start + length])
        zs = deck(xs)
        for i in range(len(xs)):
            for j in range(i + 1, len(xs)):
                line = zs[i] + (zs[j] - zs[i]) * (xs - xs[i]) / (xs[j] - xs[i])
                rests = xs[i] - 1e-6 <= start + length / 2.0 <= xs[j] + 1e-6
                if rests and np.all(line >= zs - 1e-12):
                    worst = max(worst, float(np.max(line - zs)))
    return worst


def _driven(x: Array, z: Array) -> float:
    """Drive the golden car of ASTM E1926 at 80 km/h over 100 m [m/m]."""
    speed, step, tyre = 80.0 / 3.6, 0.05, 0.25
    deck = _lie(x, z)
    at = np.arange(-25.0 + step / 2.0, 75.0, step)
    slope = (deck(at + tyre / 2.0) - deck(at - tyre / 2.0)) / tyre
    body, axle = [-63.3, -6.0, 63.3, 6.0], [63.3 / 0.15, 6.0 / 0.15, -716.3 / 0.15, -6.0 / 0.15]
    a = np.array([[0.0, 1.0, 0.0, 0.0], body, [0.0, 0.0, 0.0, 1.0], axle])
    push = np.array([0.0, 0.0, 0.0, 653.0 / 0.15])
    # the four natural modes move apart from one another, each over a held slope in closed form
    rate, shape = np.linalg.eig(a)
    decay = np.exp(rate * step / speed)
    gain = (decay - 1.0) / rate * np.linalg.solve(shape, push)
    mode = np.linalg.solve(shape, np.array([slope[0], 0.0, slope[0], 0.0]))
    stroke, total = shape[2] - shape[0], 0.0
    for held in slope:
        mode = decay * mode + gain * held
        total += abs(float((stroke @ mode).real))
    return total / len(slope)
