"""Checks of what crosses a joint and of whole segments, measured afresh between moved points."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from fitup.certify.passage import measure_bolts, measure_bore
from fitup.certify.ride import Place, measure_path
from fitup.model import Check, Job


def measure_tilt(job: Job, check: Check, place: Place) -> float:
    """Fit a plane through how much higher than designed the points of a segment stand.

    Parameters
    ----------
    job : Job
    check : Check
        Of quantity ``tilt_along`` (rise ahead) or ``tilt_across`` (rise to the left).
    place : callable
        Where a point is by its name (3,) [m].

    Returns
    -------
    float
        Rise for each metre.
    """
    segment = job.segments[check.subject]
    points = [p for p in job.points.values() if p.segment == segment.id]
    rise = np.array([place(p.id)[2] - p.design[2] for p in points])
    east, north = np.sin(segment.azimuth), np.cos(segment.azimuth)
    away = np.array([p.design - points[0].design for p in points])
    along = away[:, 0] * east + away[:, 1] * north
    across = away[:, 1] * east - away[:, 0] * north
    plane = np.linalg.lstsq(np.c_[np.ones_like(along), along, across], rise, rcond=None)[0]
    return float(plane[1] if check.quantity == "tilt_along" else plane[2])


#: quantity -> how it is measured
MEASURES: Final[dict[str, Callable[[Job, Check, Place], float]]] = {
    "straightedge": measure_path,
    "slope_change": measure_path,
    "tilt_along": measure_tilt,
    "tilt_across": measure_tilt,
    "bore_step": measure_bore,
    "bore_offset": measure_bore,
    "bolt_along": measure_bolts,
    "bolt_across": measure_bolts,
    "bolt_up": measure_bolts,
}
