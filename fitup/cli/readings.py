"""Loads as measured at the lift-off, put into a job: ``fitup sheets JOB --readings FILE``."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from fitup.cli.loading import Loaded
from fitup.cli.text import progress
from fitup.errors import InputError, Problem
from fitup.jobfolder.done import read_done
from fitup.model import Influence, Plan


@dataclass(frozen=True, eq=False)
class Measured:
    """A loaded job with its loads as measured, and what each reading says, a line each."""

    loaded: Loaded
    influence: Influence
    told: tuple[str, ...]


def measured(loaded: Loaded, influence: Influence, file: Path) -> Measured:
    """Put the loads read at the lift-off into a job.

    Raises
    ------
    InputError
        If the readings cannot be used, or hold no lift-off.
    """
    from fitup.plan.restage import rebase_job

    done = read_done(file, str(file), loaded.job)
    if not any(row.moment == "lift-off" and row.load is not None for row in done):
        raise InputError(
            [
                Problem(
                    str(file),
                    "no load or pressure of the moment lift-off",
                    "a row for each jack, as in lift-off.csv beside the sheets",
                    "write the readings down",
                    column="moment",
                )
            ]
        )
    if influence.origin == "frame":
        raise InputError(
            [
                Problem(
                    str(file),
                    "a lift-off of a job with a frame",
                    "a job of rigid segments or with an influence table",
                    "put the measured loads into the frame, and plan again",
                )
            ]
        )
    now = rebase_job(loaded.job, influence, done, file.read_bytes())
    told = now.told()
    survey = replace(loaded.survey, understood=(*loaded.survey.understood, *told))
    return Measured(replace(loaded, job=now.job, survey=survey), now.influence, told)


def staged_again(found: Measured, plan: Plan) -> Plan:
    """Return a plan of the same packs, its stages made for the measured loads."""
    from fitup.plan.restage import restage

    loaded = found.loaded
    return restage(loaded.job, loaded.state, found.influence, plan, progress)
