"""Where a check point is: as surveyed, or carried by the pose of its segment."""

from __future__ import annotations

from fitup.frames import Array
from fitup.model import Job
from fitup.survey.points import Survey


def position_of(job: Job, survey: Survey, name: str) -> Array:
    """Return where a check point is: as surveyed, or carried by its segment's pose.

    Parameters
    ----------
    job, survey
    name : str
        Id of the point.

    Returns
    -------
    Array (3,)
        Easting, northing and height in the grid [m].
    """
    if name in survey.points:
        return survey.points[name].position
    point = job.points[name]
    return survey.poses[point.segment].design2site.apply(point.design)
