"""Influence of every seat on every check and reaction: rigid segments, or the engineer's table."""

from pathlib import Path

from fitup.model import Influence, Job
from fitup.structure.present import require_bearable
from fitup.structure.rigid import rigid_influence, segment_statics
from fitup.structure.table import influence_from_table
from fitup.survey.points import Survey

__all__ = ["influence_from_table", "influence_of", "rigid_influence", "segment_statics"]


def influence_of(job: Job, survey: Survey, folder: Path) -> Influence:
    """Return the influence a job asks for: its table if it names one, else rigid segments.

    Raises
    ------
    StructureError
        If a segment can move freely, or a seat's computed present load breaks its limits.
    InputError
        If the table does not fit the job.
    """
    if job.influence_table is None:
        influence = rigid_influence(job, survey)
        require_bearable(job, influence)
        return influence
    return influence_from_table(folder / job.influence_table, job.influence_table, job)
