"""Influence of every seat on checks and reactions: rigid segments, a frame, or a given table."""

from pathlib import Path

import numpy as np

from fitup.model import Influence, Job
from fitup.structure.frame import lifting_of, solve_job
from fitup.structure.frame.sanity import require_sane
from fitup.structure.learned import corrected
from fitup.structure.present import require_bearable
from fitup.structure.rigid import rigid_influence, segment_statics
from fitup.structure.table import influence_from_table
from fitup.survey.points import Survey

__all__ = [
    "influence_from_table",
    "influence_of",
    "lifting_of",
    "rigid_influence",
    "segment_statics",
    "solve_job",
]


def influence_of(job: Job, survey: Survey, folder: Path) -> Influence:
    """Return the influence a job asks for: rigid segments, its frame, or its table.

    Raises
    ------
    StructureError
        If a segment or the frame can move freely, the frame is not sane, or a seat's computed
        present load breaks its limits.
    InputError
        If the table does not fit the job.
    """
    if job.influence_by == "table":
        assert job.influence_table is not None
        table = influence_from_table(folder / job.influence_table, job.influence_table, job)
        return corrected(job, table)
    if job.influence_by == "frame":
        influence = frame_influence(job)
    else:
        influence = rigid_influence(job, survey)
    require_bearable(job, influence)
    return corrected(job, influence)


def frame_influence(job: Job) -> Influence:
    """Return the influence of the seats about the surveyed state of a sane frame."""
    solved = solve_job(job)
    require_sane(job, solved)
    return lifting_of(job, solved).about(np.zeros(len(job.seats)))
