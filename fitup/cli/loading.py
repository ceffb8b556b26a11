"""Load a job from its folder, as every command does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from fitup.checks import joint_state
from fitup.jobfolder import read_job
from fitup.model import CheckState, Influence, Job
from fitup.structure import influence_of, preset_for_release, with_warmth
from fitup.survey import Survey, read_survey


@dataclass(frozen=True, eq=False)
class Loaded:
    """A job read and surveyed, ready to be planned."""

    folder: Path
    job: Job
    survey: Survey
    state: CheckState

    def influence_of_changed(self, job: Job) -> Influence:
        """Return the influence of a changed job with the same survey."""
        return influence(replace(self, job=job))


def load(folder: Path) -> Loaded:
    """Read a job folder and its survey, and return the joints as surveyed."""
    job = with_warmth(read_job(folder))
    survey = read_survey(folder, job)
    return Loaded(folder, job, survey, preset_for_release(job, joint_state(job, survey)))


def influence(loaded: Loaded) -> Influence:
    """Return the influence of a loaded job."""
    return influence_of(loaded.job, loaded.survey, loaded.folder)
