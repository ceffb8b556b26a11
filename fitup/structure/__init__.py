"""Influence of every seat on checks and reactions: rigid segments, a frame, or a given table."""

from pathlib import Path

import numpy as np

from fitup.checks import checks_of
from fitup.frames import Array
from fitup.model import Check, Influence, Job
from fitup.structure.frame import lifting_moved, lifting_of, solve_job, solve_moved
from fitup.structure.frame.expansion import with_thermal_response
from fitup.structure.frame.release import preset_for_release, release_of
from fitup.structure.frame.sanity import require_sane
from fitup.structure.learned import corrected
from fitup.structure.present import require_bearable
from fitup.structure.rigid import rigid_influence, segment_statics
from fitup.structure.table import influence_from_table
from fitup.survey.points import Survey

__all__ = [
    "about_moves",
    "influence_from_table",
    "influence_of",
    "lifting_of",
    "preset_for_release",
    "release_of",
    "rigid_influence",
    "segment_statics",
    "solve_job",
    "with_thermal_response",
]


#: what a straight line may miss of a check [m], [rad], and as a share of a tension
NEAR, NEAR_TURN, NEAR_SHARE = 5e-5, 5e-6, 2.5e-3


def influence_of(job: Job, survey: Survey, folder: Path) -> Influence:
    """Return the influence a job asks for: rigid segments, its frame, or its table.

    Parameters
    ----------
    job, survey
    folder : Path
        Job folder, in which the influence table of a table job is looked for.

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


def about_moves(job: Job, influence: Influence, x: Array) -> Influence | None:
    """Return the influence of a frame with cables about moves where its slope has changed.

    Parameters
    ----------
    job : Job
    influence : Influence
        What is held against the frame solved again at ``x``.
    x : Array (n,)
        Moves of all seats from the surveyed state, in the order of the job [m].

    Returns
    -------
    Influence or None
        None where there are no cables, or where what the influence says of ``x`` is true enough:
        within half of what the certificate allows the two to be apart.

    Raises
    ------
    StructureError
        If the structure finds no rest there, or a cable slips.
    """
    if influence.origin != "frame" or job.frame is None or not job.frame.cables:
        return None
    first = solve_job(job)
    there = lifting_moved(job, first, solve_moved(job, first, x), x).about(x)
    stated, true = influence.change(x), there.change(x)
    care = np.array([_near(job, check) for check in checks_of(job)])
    return there if (np.abs(stated - true) > care).any() else None


def _near(job: Job, check: Check) -> float:
    """Return what a straight line may miss of a check."""
    if check.kind == "force":
        return NEAR_SHARE * job.tensions[check.subject].value
    return NEAR if check.kind == "length" else NEAR_TURN
