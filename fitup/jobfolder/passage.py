"""Bores and bolt groups of a job folder: read from their rows, and held against the points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.table import Row, record_of
from fitup.model import RINGS, Bore, Job

#: design points of a ring lie on a circle, and design centres in a line, within this [m]
DESIGN_FIT = 0.001


def bore(row: Row) -> Bore:
    """Return the bore of a row."""
    return record_of(Bore, row, rings=tuple(row[name] for name in RINGS))


def check_bores(job: Job, rows: Sequence[Row], problems: list[Problem]) -> None:
    """Find what is wrong with bores: points, sides, rings that are none, a bent design.

    Parameters
    ----------
    job : Job
    rows : sequence of Row
        Of ``bores.csv``.
    problems : list of Problem
        What is wrong is added to it.
    """
    for row in rows:
        joint, own = job.joints.get(row["joint"]), job.bores.get(row["id"])
        if joint is None or own is None:
            continue
        if own.member >= own.bore:
            problems.append(
                row.problem(
                    "member",
                    f"{own.member:g} m in a bore of {own.bore:g} m",
                    "a member thinner than its bore",
                    "correct one of them",
                )
            )
        sides = (joint.back, joint.back, joint.ahead, joint.ahead)
        good = [
            _points(job, row, name, ring, side, 3, problems)
            for name, ring, side in zip(RINGS, own.rings, sides, strict=True)
        ]
        if all(good):
            _straight(job, row, own, problems)


def _points(
    job: Job,
    row: Row,
    column: str,
    names: Sequence[str],
    segment: str,
    least: int,
    problems: list[Problem],
) -> bool:
    """Say whether points exist, are enough, each once, and on the right segment."""

    def refuse(found: str, allowed: str, do: str) -> bool:
        problems.append(row.problem(column, found, allowed, do))
        return False

    for name in names:
        if name not in job.points:
            return refuse(f"'{name}'", "ids of points.csv", "correct it or add it there")
        if job.points[name].segment != segment:
            found = f"'{name}' of segment {job.points[name].segment}"
            return refuse(found, f"points of {segment}", "correct it")
    if len(set(names)) < max(least, len(names)):
        return refuse(f"{len(set(names))} points", f"{least} or more, each once", "add points")
    return True


def _straight(job: Job, row: Row, own: Bore, problems: list[Problem]) -> None:
    """Hold the design rings to circles whose centres go ahead in a line."""
    axes = job.joints[own.joint].axes_in_grid
    centres = []
    for name, ring in zip(RINGS, own.rings, strict=True):
        points = np.array([job.points[n].design for n in ring])
        centre, off = _ring(points)
        if off > DESIGN_FIT:
            problems.append(
                row.problem(
                    name,
                    f"points {off * 1e3:.1f} mm off a circle by design, or in a line",
                    f"points of one ring, within {DESIGN_FIT * 1e3:g} mm",
                    "check the points",
                )
            )
            return
        centres.append(axes @ centre)
    seen = np.array(centres)
    if np.any(np.diff(seen[:, 0]) < 0.05):
        found, do = "rings that do not go ahead", "order back_far, back_near, ahead_near, ahead_far"
        problems.append(row.problem(RINGS[0], found, "50 mm or more from ring to ring", do))
        return
    share = (seen[:, 0] - seen[0, 0]) / (seen[-1, 0] - seen[0, 0])
    line = seen[0, 1:] + share[:, None] * (seen[-1, 1:] - seen[0, 1:])
    bent = float(np.abs(seen[:, 1:] - line).max())
    if bent > DESIGN_FIT:
        problems.append(
            row.problem(
                RINGS[1],
                f"design centres {bent * 1e3:.1f} mm out of line",
                f"in a line within {DESIGN_FIT * 1e3:g} mm",
                "check the points of the rings",
            )
        )


def _ring(points: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the centre (3,) of a ring of points (k, 3) and how far the worst is off it [m]."""
    middle = points.mean(axis=0)
    away = points - middle
    axes = np.linalg.svd(away)[2]
    flat = away @ axes[:2].T
    rows = np.column_stack([2.0 * flat, np.ones(len(flat))])
    if np.linalg.matrix_rank(rows, tol=1e-6) < 3:
        return middle, np.inf
    square = (flat**2).sum(axis=1)
    x, y, rest = np.linalg.lstsq(rows, square, rcond=None)[0]
    radius = np.sqrt(rest + x * x + y * y)
    off = np.hypot(np.hypot(*(flat - [x, y]).T) - radius, away @ axes[2])
    return middle + x * axes[0] + y * axes[1], float(off.max())


def check_bolts(job: Job, rows: Sequence[Row], problems: list[Problem]) -> None:
    """Find what is wrong with bolt groups: points, sides, holes without a partner.

    Parameters
    ----------
    job : Job
    rows : sequence of Row
        Of ``bolts.csv``.
    problems : list of Problem
        What is wrong is added to it.
    """
    for row in rows:
        joint, own = job.joints.get(row["joint"]), job.bolts.get(row["id"])
        if joint is None or own is None:
            continue
        good = _points(job, row, "back", own.back, joint.back, 2, problems)
        good &= _points(job, row, "ahead", own.ahead, joint.ahead, 2, problems)
        if good and len(own.back) != len(own.ahead):
            problems.append(
                row.problem(
                    "ahead",
                    f"{len(own.ahead)} holes for {len(own.back)} on the back side",
                    "as many, in the same order",
                    "list them in pairs",
                )
            )
