"""Wheel paths over a joint: their points go ahead, and far enough for the straightedge."""

from __future__ import annotations

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.table import Row
from fitup.model import Job


def check_wheel_paths(
    job: Job, rows: list[Row], broken: frozenset[str], problems: list[Problem]
) -> None:
    """Note what is wrong with wheel paths.

    Parameters
    ----------
    job : Job
    rows : list of Row
        Of their table.
    broken : frozenset of str
        Tables with problems of their own: what they name is not asked for.
    problems : list of Problem
        Added to.
    """
    for row in rows:
        joint, names = job.joints.get(row["joint"]), row["points"]
        missing = [n for n in names if n not in job.points]
        for name in missing if "points.csv" not in broken else []:
            problems.append(
                row.problem(
                    "points", f"'{name}'", "ids of points.csv", "correct it or add it there"
                )
            )
        if joint is None or missing:
            continue
        of = [job.points[n].segment for n in names]
        back, ahead = of.count(joint.back), of.count(joint.ahead)
        if of != [joint.back] * back + [joint.ahead] * ahead or min(back, ahead) < 2:
            problems.append(
                row.problem(
                    "points",
                    f"{back} of {joint.back} and {ahead} of {joint.ahead}, or not in this order",
                    f"two or more of {joint.back}, then two or more of {joint.ahead}",
                    "list them from back to ahead",
                )
            )
            continue
        _along(job, row, joint.axes_in_grid, back, problems)


def _along(job: Job, row: Row, axes: np.ndarray, back: int, problems: list[Problem]) -> None:
    """Hold the points of a wheel path in a row, and long enough for the straightedge."""
    x = np.array([axes[0] @ job.points[n].design for n in row["points"]])
    if np.any(np.diff(x) < 0.0) or np.any(np.diff(np.delete(x, back)) < 0.05):
        problems.append(
            row.problem(
                "points",
                "points that do not go ahead one after the other",
                "from back to ahead, 50 mm or more between two of a segment",
                "sort them, or leave one out",
            )
        )
        return
    middle, half = 0.5 * (x[back - 1] + x[back]), 0.5 * job.straightedge
    reach = min(middle - x[0], x[-1] - middle)
    if reach < half:
        problems.append(
            row.problem(
                "points",
                f"a path that reaches {reach:.2f} m from the joint",
                f"{half:.2f} m or more either way, half the straightedge",
                "add a point further off, or name a shorter straightedge in job.toml [ride]",
            )
        )
