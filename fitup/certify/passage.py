"""Bores and bolt holes once more, from moved points, with nothing shared with joints.

A ring's centre is where the planes that halve its chords meet; the straightest way through the
rings and the best fit of a group of holes are linear programmes over directions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import combinations

import numpy as np

from fitup.certify.facts import BoltFact, BoreFact
from fitup.frames import Array
from fitup.model import PLANES, BoltGroup, Bore, Check, Job

Place = Callable[[str], Array]
#: two ways to the same room or mismatch may differ by this [m]
_ALIKE = 5e-5
#: directions in which a distance is held
_DIRECTIONS = 180


def centre_of(points: Array) -> Array:
    """Return the centre (3,) of a ring of points (k, 3).

    Every chord is halved by a plane through the centre, and the centre lies in the ring's plane.
    """
    about = points.mean(axis=0)
    away = points - about
    normal = np.linalg.eigh(away.T @ away)[1][:, 0]
    chords, right = [], []
    for i, j in combinations(range(len(points)), 2):
        chord = away[j] - away[i]
        chords.append(chord)
        right.append(float(chord @ (away[i] + away[j])) / 2.0)
    reach = float(np.abs(chords).max())
    rows = np.vstack([*chords, normal * reach])
    return about + np.linalg.lstsq(rows, np.array([*right, 0.0]), rcond=None)[0]


def measure_bore(job: Job, check: Check, place: Place) -> float:
    """Measure how far an ahead ring stands beside the axis of the back side.

    Parameters
    ----------
    job : Job
    check : Check
        Of quantity ``bore_step`` (upwards) or ``bore_offset`` (to the left); its spot says which of
        the two ahead rings, near or far.
    place : callable
        Where a point is by its name (3,) [m].

    Returns
    -------
    float
        Distance across the joint's ahead direction [m].
    """
    bore = job.bores[str(check.item)]
    far, near = (centre_of(np.array([place(n) for n in r])) for r in bore.rings[:2])
    ring = bore.rings[2 if check.spot == "near" else 3]
    beside = centre_of(np.array([place(n) for n in ring])) - near
    ahead, left, up = job.joints[bore.joint].axes_in_grid
    line = near - far
    beside = beside - line * float(ahead @ beside) / float(ahead @ line)
    return float((up if check.quantity == "bore_step" else left) @ beside)


def measure_bolts(job: Job, check: Check, place: Place) -> float:
    """Measure the mean shift of the ahead holes of a group against the back ones.

    Parameters
    ----------
    job : Job
    check : Check
        Of quantity ``bolt_along``, ``bolt_across`` (to the left) or ``bolt_up``.
    place : callable
        Where a point is by its name (3,) [m].

    Returns
    -------
    float
        How much further the ahead holes have gone from their design than the back ones [m].
    """
    group = job.bolts[str(check.item)]
    axis = {"bolt_along": 0, "bolt_across": 1, "bolt_up": 2}[check.quantity]
    row = job.joints[group.joint].axes_in_grid[axis]
    moved = [
        (place(a) - job.points[a].design) - (place(b) - job.points[b].design)
        for b, a in zip(group.back, group.ahead, strict=True)
    ]
    return float(np.mean(moved, axis=0) @ row)


def passage_facts(
    job: Job, before: Place, after: Place
) -> tuple[tuple[BoreFact, ...], tuple[BoltFact, ...]]:
    """Return room of every bore and match of every group before and after the moves.

    Parameters
    ----------
    job : Job
    before, after : callable
        Where a point is by its name (3,) [m].
    """
    bores = tuple(
        BoreFact(b.id, b.joint, b.place, _room(job, b, before), _room(job, b, after))
        for b in job.bores.values()
    )
    bolts = tuple(
        BoltFact(
            *(g.id, g.joint, g.place, len(g.back)), *_match(job, g, before), *_match(job, g, after)
        )
        for g in job.bolts.values()
    )
    return bores, bolts


def unlike(
    bores: Sequence[BoreFact], rooms: Mapping[str, float],
    bolts: Sequence[BoltFact], matches: Mapping[str, tuple[float, float]],
) -> list[str]:  # fmt: skip
    """Return where room or mismatch as surveyed differ from those of the other way.

    Parameters
    ----------
    bores : sequence of BoreFact
    rooms : mapping of str to float
        Room of each bore as surveyed, found the other way [m].
    bolts : sequence of BoltFact
    matches : mapping of str to (float, float)
        Greatest mismatch of each group as surveyed, and what the best fit leaves of it, found the
        other way [m].

    Returns
    -------
    list of str
        A line each; a bore or group for which nothing was found is among them.
    """
    wrong = [
        f"bore {f.bore}: its room by two ways differs"
        for f in bores
        if _apart(rooms[f.bore] - f.room_before) or np.isnan(f.room_after)
    ]
    return wrong + [
        f"bolt group {f.group}: its mismatch by two ways differs"
        for f in bolts
        if _apart(*np.subtract(matches[f.group], (f.worst_before, f.fitted_before)))
        or np.isnan(f.fitted_after)
    ]


def _apart(*differences: float) -> bool:
    """Say whether one is too large, or not a number: then the other way found nothing."""
    return not all(abs(d) <= _ALIKE for d in differences)


def _room(job: Job, bore: Bore, place: Place) -> float:
    """Room all round a straight member: the radius left by the line that misses least."""
    axes = job.joints[bore.joint].axes_in_grid
    centres = [centre_of(np.array([place(n) for n in ring])) for ring in bore.rings]
    seen = np.array([axes @ (c - centres[0]) for c in centres])
    line = [[[1.0, s, 0.0, 0.0], [0.0, 0.0, 1.0, s]] for s in seen[:, 0]]
    return (bore.bore - bore.member) / 2.0 - _least_greatest(line, seen[:, 1:])


def _least_greatest(rows: Sequence[Sequence[Sequence[float]]], seen: Array) -> float:
    """Return how small the greatest of |seen - rows p| can be made [m], seen (k, 2)."""
    from scipy.optimize import linprog

    turns = np.arange(_DIRECTIONS) * 2.0 * np.pi / _DIRECTIONS
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    sides = [np.column_stack([-ways @ np.array(r), -np.ones(len(ways))]) for r in rows]
    # metres are small here: the solver is given millimetres
    most = np.concatenate([-1e3 * ways @ place for place in seen])
    free = sides[0].shape[1] - 1
    bounds = [(None, None)] * free + [(0.0, None)]
    least = [0.0] * free + [1.0]
    found = linprog(least, A_ub=np.vstack(sides), b_ub=most, bounds=bounds, method="highs")
    return float(found.fun) / 1e3 if found.success else float("nan")


def _match(job: Job, group: BoltGroup, place: Place) -> tuple[int, float, float]:
    """Holes that pass, greatest mismatch, and greatest after the best fit [m]."""
    axes = job.joints[group.joint].axes_in_grid[list(PLANES[group.plane])]
    back = np.array([job.points[n].design - place(n) for n in group.back]) @ axes.T
    ahead = np.array([place(n) - job.points[n].design for n in group.ahead]) @ axes.T
    off = ahead + back
    sizes = np.hypot(off[:, 0], off[:, 1])
    meant = np.array([job.points[n].design for n in group.ahead]) @ axes.T
    meant = meant - meant.mean(axis=0)
    shifted = [[[1.0, 0.0, -v], [0.0, 1.0, u]] for u, v in meant]
    passing = int(np.count_nonzero(sizes <= group.clearance))
    return passing, float(sizes.max()), _least_greatest(shifted, off)
