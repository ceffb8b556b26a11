"""An adjusted network as a coordinate list whose points are not independent."""

from __future__ import annotations

import numpy as np

from fitup.model import Job
from fitup.network.solve import Solved
from fitup.network.words import network_lines
from fitup.survey.points import CoordinateList, SurveyedPoint


def adjusted_list(job: Job, solved: Solved, epoch: int) -> CoordinateList:
    """Return the points of the deck that a network determines, with their whole covariance.

    Parameters
    ----------
    job : Job
    solved : Solved
    epoch : int
        Place of its epoch in ``job.epochs``.
    """
    rows: dict[str, int] = {}
    for sight in solved.sights:
        rows.setdefault(sight.target, sight.row)
    names = tuple(
        n for n in solved.network.nodes if n in job.points and np.isfinite(solved.position(n)).all()
    )
    covariance = solved.covariance(names)
    spread = np.sqrt(np.clip(np.diag(covariance), 0.0, None)).reshape(-1, 3)
    points = tuple(
        SurveyedPoint(name, solved.position(name), spread[i], epoch, rows.get(name, 1))
        for i, name in enumerate(names)
    )
    return CoordinateList(
        solved.epoch.file, points, (), network_lines(solved, job.units), covariance
    )
