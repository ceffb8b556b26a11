"""How far a segment leans from its design: the plane through the levels of its points.

Bearings that are fixed to a segment lean with it; their level is judged so. The slopes of the
plane are linear in the heights of the segment's points, as far as these were surveyed or carried.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from fitup.checks.part import Part
from fitup.frames import heading, left_of
from fitup.model import Check, Job, Quantity

TILTS: Final[tuple[Quantity, ...]] = ("tilt_along", "tilt_across")


def tilt_part(job: Job, check: Check) -> Part:
    """Return the slope of a segment against its design as rows on its points.

    Parameters
    ----------
    job : Job
    check : Check
        Of quantity tilt_along or tilt_across; its subject is the segment.
    """
    segment = job.segments[check.subject]
    names = [p.id for p in job.points.values() if p.segment == segment.id]
    design = np.array([job.points[n].design for n in names])
    way = np.vstack([heading(segment.azimuth), left_of(segment.azimuth)])
    places = (design - design.mean(axis=0)) @ way.T
    plane = np.linalg.pinv(np.column_stack([np.ones(len(names)), places]))
    shares = plane[1 if check.quantity == "tilt_along" else 2]
    rows = {n: np.array([0.0, 0.0, w]) for n, w in zip(names, shares, strict=True)}
    return Part(rows, {}, -float(shares @ design[:, 2]))
