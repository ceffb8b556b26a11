"""Approximate coordinates found by the program: nobody types a start value.

Every set-up that read direction, zenith angle and distance is a small cluster of points in its
own level frame; the control is another. Clusters that share two points or more are joined by a
turn in plan and a shift, those that share most first, so that resection, traverse and polar
points are all the same step. Fits are robust: the pair of shared points that most others agree
with decides. What was seen by direction only is added by resection and intersection, what hangs on
one known point and a backsight, or on distances alone, by :mod:`fitup.network.extend`, and heights
by levelling.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import ControlPoint
from fitup.network.extend import extend
from fitup.network.observations import LevelledDifference, Setup, Sight, station

#: shared points closer together in plan do not orient a cluster [m]
APART: Final = 0.5
#: pairs tried in one robust fit, the longest first
MOST_PAIRS: Final = 120

Cluster = dict[str, Array]


@dataclass(frozen=True, eq=False)
class Fit:
    """A turn in plan and a shift that carry one cluster onto another, and how well."""

    cosine: float
    sine: float
    shift: Array
    misfit: float
    """Median distance of shared points in plan [m]."""
    scale: float
    """Median ratio of distances between shared points, this over the other."""

    def carry(self, point: Array) -> Array:
        """Return a point (3,) of this cluster in the frame of the other."""
        e, n, h = point
        turned = np.array([self.cosine * e + self.sine * n, -self.sine * e + self.cosine * n, h])
        return turned + self.shift


@dataclass(frozen=True, eq=False)
class Join:
    """A cluster, named after its first set-up, fitted onto another; the control has no name."""

    base: str
    cluster: str
    fit: Fit


@dataclass(frozen=True, eq=False)
class Start:
    """Where everything is, roughly: nodes -> (3,) [m], nan where unknown; set-ups -> [rad]."""

    positions: Mapping[str, Array]
    turns: Mapping[str, float]
    joins: tuple[Join, ...]


def find_start(
    setups: Mapping[str, Setup],
    sights: Sequence[Sight],
    levels: Sequence[LevelledDifference],
    control: Mapping[str, ControlPoint],
) -> Start:
    """Find approximate coordinates of all nodes and orientations of all set-ups.

    Parameters
    ----------
    setups : mapping of str to Setup
        By id, all of them.
    sights : sequence of Sight
        Corrected readings.
    levels : sequence of LevelledDifference
    control : mapping of str to ControlPoint
        By id; with fewer than two placed in plan, the frame is that of a set-up.

    Raises
    ------
    SurveyRefused
        If the network falls into parts, or a set-up sees too little; all such findings at once.
    """
    by_setup: dict[str, list[Sight]] = {name: [] for name in setups}
    for sight in sights:
        by_setup[sight.setup].append(sight)
    met = {s.target for s in sights} | {s.over for s in setups.values()}
    known = _control_cluster({n: c for n, c in control.items() if n in met})
    clusters = {name: local_points(setups[name], seen) for name, seen in by_setup.items() if seen}
    joined, left, joins = _join(known, clusters)
    _by_directions(joined, setups, by_setup)
    findings = _apart(joined, left, setups, by_setup, bool(known))
    if findings:
        raise SurveyRefused(findings)
    for name, seen in by_setup.items():
        for sight in seen:
            joined.setdefault(sight.target, np.full(3, np.nan))
        joined.setdefault(station(setups[name]), np.full(3, np.nan))
    _by_levels(joined, [*levels, *_sighted_heights(joined, setups, sights)], control)
    turns = {name: _turn(joined, setups[name], seen) for name, seen in by_setup.items() if seen}
    found = {name: turn for name, turn in turns.items() if turn is not None}
    return Start(joined, found, tuple(joins))


def local_points(setup: Setup, seen: Sequence[Sight]) -> Cluster:
    """Return what a set-up sees by direction, zenith angle and distance, in its own level frame.

    The instrument's axis is the origin; the node of the set-up is its instrument height below.

    Parameters
    ----------
    setup : Setup
    seen : sequence of Sight
        Of this set-up; several sets to one target give the median place.

    Returns
    -------
    dict of str to Array (3,)
        East, north and up [m], north being the zero of the circle.
    """
    found: dict[str, list[Array]] = {}
    for s in seen:
        if s.hz is None or s.v is None or s.sd is None:
            continue
        flat = s.sd * np.sin(s.v)
        up = s.sd * np.cos(s.v) - s.target_height
        found.setdefault(s.target, []).append(
            np.array([flat * np.sin(s.hz), flat * np.cos(s.hz), up])
        )
    cluster = {name: np.median(places, axis=0) for name, places in found.items()}
    cluster[station(setup)] = np.array([0.0, 0.0, -setup.height])
    return cluster


def _control_cluster(control: Mapping[str, ControlPoint]) -> Cluster:
    return {c.id: c.position.copy() for c in control.values() if c.given.any()}


def _shared(one: Cluster, other: Cluster) -> list[str]:
    return [n for n in one if n in other and np.isfinite(one[n][:2] + other[n][:2]).all()]


def _join(
    known: Cluster, clusters: Mapping[str, Cluster]
) -> tuple[Cluster, dict[str, Cluster], list[Join]]:
    """Join clusters that share most until none is left or none can be joined.

    Control takes part like a set-up, so that a chain of set-ups may end on it with one point.
    """
    parts: dict[str, Cluster] = {name: dict(c) for name, c in clusters.items()}
    placed = [n for n, p in known.items() if np.isfinite(p[:2]).all()]
    if len(placed) >= 2 or not parts:
        parts = {"": {n: known[n] for n in placed}, **parts}
    joins: list[Join] = []
    while len(parts) > 1:
        best = _best_pair(parts)
        if best is None:
            break
        base, other, fit = best
        joins.append(Join(base, other, fit))
        for name, point in parts.pop(other).items():
            parts[base].setdefault(name, fit.carry(point))
            _fill_height(parts[base], name, fit.carry(point))
    first = "" if "" in parts else max(parts, key=lambda n: len(parts[n]), default="")
    joined = parts.pop(first, {})
    for name, point in known.items():
        joined.setdefault(name, point)
        if first != "" or np.isnan(joined[name][2]):
            _fill_height(joined, name, point)
    return joined, parts, joins


def _fill_height(cluster: Cluster, name: str, point: Array) -> None:
    if np.isnan(cluster[name][2]) and np.isfinite(point[2]):
        cluster[name] = np.array([*cluster[name][:2], point[2]])


def _best_pair(parts: Mapping[str, Cluster]) -> tuple[str, str, Fit] | None:
    """Return the two clusters that share most points and can be fitted, the base first."""
    names = list(parts)
    owners: dict[str, list[str]] = {}
    for name in names:
        for point in parts[name]:
            owners.setdefault(point, []).append(name)
    count: dict[tuple[str, str], int] = {}
    for held in owners.values():
        for pair in combinations(held, 2):
            count[pair] = count.get(pair, 0) + 1
    for (one, two), shared in sorted(count.items(), key=lambda item: -item[1]):
        if shared < 2:
            return None
        base, other = (one, two) if len(parts[one]) >= len(parts[two]) or one == "" else (two, one)
        fit = fit_clusters(parts[other], parts[base])
        if fit is not None:
            return base, other, fit
    return None


def fit_clusters(cluster: Cluster, onto: Cluster) -> Fit | None:
    """Fit a cluster onto another by the pair of shared points that most others agree with.

    Parameters
    ----------
    cluster : dict of str to Array (3,)
        What is carried [m].
    onto : dict of str to Array (3,)
        What stays [m].

    Returns
    -------
    Fit or None
        None where they share fewer than two points that are apart in plan.
    """
    names = _shared(cluster, onto)
    if len(names) < 2:
        return None
    own = np.array([cluster[n] for n in names])
    there = np.array([onto[n] for n in names])
    first, second = np.triu_indices(len(names), 1)
    a, b = own[second] - own[first], there[second] - there[first]
    mine, theirs = np.hypot(a[:, 0], a[:, 1]), np.hypot(b[:, 0], b[:, 1])
    long = np.argsort(-theirs, kind="stable")[:MOST_PAIRS]
    long = long[(theirs[long] >= APART) & (mine[long] >= APART)]
    if not len(long):
        return None
    # every pair turns its line onto the other's and shifts by the median of all points
    turns = np.arctan2(b[long, 0], b[long, 1]) - np.arctan2(a[long, 0], a[long, 1])
    c, s = np.cos(turns), np.sin(turns)
    east = np.outer(c, own[:, 0]) + np.outer(s, own[:, 1])
    north = np.outer(c, own[:, 1]) - np.outer(s, own[:, 0])
    off = np.stack([there[:, 0] - east, there[:, 1] - north])
    flat = np.median(off, axis=2)
    misfit = np.median(np.hypot(*(off - flat[:, :, None])), axis=1)
    k = int(misfit.argmin())
    heights = there[:, 2] - own[:, 2]
    finite = heights[np.isfinite(heights)]
    up = float(np.median(finite)) if len(finite) else np.nan
    shift = np.array([*flat[:, k], up])
    scale = float(np.median(mine[long] / theirs[long]))
    return Fit(float(c[k]), float(s[k]), shift, float(misfit[k]), scale)


def _turn(positions: Cluster, setup: Setup, seen: Sequence[Sight]) -> float | None:
    """Return the orientation of a set-up: the direction in the middle of all it says."""
    at = positions[station(setup)]
    found = []
    for s in seen:
        there = positions.get(s.target)
        if s.hz is None or there is None or not np.isfinite(there[:2] - at[:2]).all():
            continue
        found.append(np.arctan2(*(there - at)[:2]) - s.hz)
    if not found:
        return None
    angles = np.array(found)
    # the middle of directions: the one nearest to all others
    apart = np.abs(np.remainder(angles[:, None] - angles + np.pi, 2 * np.pi) - np.pi)
    return float(angles[int(np.argmin(apart.sum(axis=0)))])


def _by_directions(
    positions: Cluster, setups: Mapping[str, Setup], by_setup: Mapping[str, Sequence[Sight]]
) -> None:
    """Add free set-ups by resection, then targets by intersection, as long as any is found."""
    found = True
    while found:
        found = False
        for name, seen in by_setup.items():
            node = station(setups[name])
            if node in positions and np.isfinite(positions[node][:2]).all():
                continue
            place = resection(positions, seen)
            if place is not None:
                positions[node] = place
                found = True
        found = _intersections(positions, setups, by_setup) or found
        # what has a whole cluster of its own goes by that; here what is left over
        found = extend(positions, setups, by_setup, _turn) or found


def resection(positions: Cluster, seen: Sequence[Sight]) -> Array | None:
    """Return the place (3,) from which three or more known points lie in the read directions.

    Written in the sine and cosine of the orientation the condition of each direction is linear
    and homogeneous; the answer is the singular vector of the smallest singular value.

    Parameters
    ----------
    positions : dict of str to Array (3,)
        Places known so far [m].
    seen : sequence of Sight
        Of the set-up that is sought.

    Returns
    -------
    Array (3,) or None
        Height nan without zenith angles; None with fewer than three known points, or where set-up
        and points are near one circle.
    """
    used = [
        s
        for s in seen
        if s.hz is not None and s.target in positions and np.isfinite(positions[s.target][:2]).all()
    ]
    if len({s.target for s in used}) < 3:
        return None
    points = np.array([positions[s.target] for s in used])
    middle = points[:, :2].mean(axis=0)
    e, n = (points[:, :2] - middle).T
    size = float(np.hypot(e, n).max())
    hz = np.array([s.hz for s in used], dtype=float)
    sine, cosine = np.sin(hz), np.cos(hz)
    rows = np.column_stack(
        [(sine * n - cosine * e) / size, (cosine * n + sine * e) / size, sine, cosine]
    )
    _, values, vectors = np.linalg.svd(rows)
    # the danger circle: two answers fit as well as one
    if values[2] < 1e-4 * values[0]:
        return None
    a, b, p, q = vectors[3]
    square = a * a + b * b
    if square < 1e-12:
        return None
    # p = -(a N + b E) / size, q = (a E - b N) / size
    flat = size * np.array([a * q - b * p, -(a * p + b * q)]) / square
    height = _height(points, used, flat + middle)
    return np.array([*(flat + middle), height])


def _height(points: Array, used: Sequence[Sight], flat: Array) -> float:
    """Height of a set-up from zenith angles to known points, in the middle of what they say."""
    heights = [
        p[2] + s.target_height - np.hypot(*(p[:2] - flat)) / np.tan(s.v)
        for p, s in zip(points, used, strict=True)
        if s.v is not None and np.isfinite(p[2])
    ]
    return float(np.median(heights)) if heights else float("nan")


def _intersections(
    positions: Cluster, setups: Mapping[str, Setup], by_setup: Mapping[str, Sequence[Sight]]
) -> bool:
    """Add targets that two or more placed set-ups see by direction."""
    rays: dict[str, list[tuple[Array, float, Sight, Setup]]] = {}
    for name, seen in by_setup.items():
        at = positions.get(station(setups[name]))
        if at is None or not np.isfinite(at[:2]).all():
            continue
        turn = _turn(positions, setups[name], seen)
        if turn is None:
            continue
        for s in seen:
            known = positions.get(s.target)
            if s.hz is not None and (known is None or np.isnan(known[0])):
                rays.setdefault(s.target, []).append((at, turn + s.hz, s, setups[name]))
    for target, own in rays.items():
        place = _cross(own)
        if place is not None:
            positions[target] = place
    return any(np.isfinite(positions[t][0]) for t in rays if t in positions)


def _cross(rays: Sequence[tuple[Array, float, Sight, Setup]]) -> Array | None:
    at = np.array([r[0] for r in rays])
    azimuth = np.array([r[1] for r in rays])
    across = np.column_stack([np.cos(azimuth), -np.sin(azimuth)])
    if len(rays) < 2 or np.linalg.svd(across, compute_uv=False)[1] < 0.02:
        return None
    flat = np.linalg.lstsq(across, (across * at[:, :2]).sum(axis=1), rcond=None)[0]
    heights = [
        a[2] + setup.height + np.hypot(*(flat - a[:2])) / np.tan(s.v) - s.target_height
        for a, _, s, setup in rays
        if s.v is not None and np.isfinite(a[2])
    ]
    return np.array([*flat, np.median(heights) if heights else np.nan])


def _by_levels(
    positions: Cluster,
    levels: Sequence[LevelledDifference],
    control: Mapping[str, ControlPoint],
) -> None:
    """Carry heights along levelled differences; a part without any height starts at zero."""
    for run in levels:
        for name in (run.start, run.end):
            if name not in positions:
                given = control.get(name)
                positions[name] = np.full(3, np.nan) if given is None else given.position.copy()
    waiting = list(levels)
    while waiting:
        left = [run for run in waiting if not _carried(positions, run)]
        if len(left) == len(waiting):
            place = positions[left[0].start]
            positions[left[0].start] = np.array([*place[:2], 0.0])
        waiting = left


def _sighted_heights(
    positions: Cluster, setups: Mapping[str, Setup], sights: Sequence[Sight]
) -> list[LevelledDifference]:
    """Differences of height from zenith angles, where a height is missing at either end."""
    runs = []
    for s in sights:
        at = station(setups[s.setup])
        step = positions[s.target] - positions[at]
        if s.v is None or np.isfinite(step[2]) or not np.isfinite(step[:2]).all():
            continue
        rise = np.hypot(step[0], step[1]) / np.tan(s.v) + setups[s.setup].height - s.target_height
        runs.append(LevelledDifference(at, s.target, float(rise), 1.0, 1, s.row))
    return runs


def _carried(positions: Cluster, run: LevelledDifference) -> bool:
    start, end = positions[run.start], positions[run.end]
    if np.isfinite(start[2]) and np.isnan(end[2]):
        positions[run.end] = np.array([*end[:2], start[2] + run.difference])
    elif np.isnan(start[2]) and np.isfinite(end[2]):
        positions[run.start] = np.array([*start[:2], end[2] - run.difference])
    return bool(np.isfinite(positions[run.start][2] + positions[run.end][2]))


def _apart(
    positions: Cluster,
    left: Mapping[str, Cluster],
    setups: Mapping[str, Setup],
    by_setup: Mapping[str, Sequence[Sight]],
    held: bool,
) -> list[str]:
    """Say which set-ups could not be joined to the rest, and what each would need."""
    findings = []
    for name, seen in by_setup.items():
        at = positions.get(station(setups[name]))
        if not seen or (at is not None and np.isfinite(at[:2]).all()):
            continue
        others = set(positions)
        for other, cluster in left.items():
            if other != name:
                others |= set(cluster)
        ties = sorted({s.target for s in seen} & set(positions))
        what = f"only {', '.join(ties)}" if ties else "nothing"
        rest = "the control" if held else "the other set-ups"
        findings.append(
            f"set-up {name}: of what is tied to {rest} it sees {what}, so the network is in two "
            "parts; a free set-up needs 2 such points with direction, zenith angle and distance, "
            "or 3 with directions or distances, one over a known point a direction to another; "
            "measure to more of them from it"
        )
    return findings
