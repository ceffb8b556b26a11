"""Corrections learned from earlier rounds, put into an influence.

Stiffness, bedding and expansion were put into the values of the job as it was read, and whatever
is computed from those holds them already. What is left: a jack whose scale is off moves its seat
by the factor times what it says; and a table of the engineer's, computed with the stiffnesses of
``seats.csv``, answers through softer or stiffer seats. With D the flexibility that the seats have
beyond those, moves x press the seats by D r and act as (I + D R)^-1 x.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitup.frames import Array
from fitup.model import Influence, Job


def corrected(job: Job, influence: Influence) -> Influence:
    """Return the influence with the learned corrections that are not in the job's values.

    Parameters
    ----------
    job : Job
    influence : Influence
        As computed from the job, or as read from a table.
    """
    if not job.learned:
        return influence
    acts = np.diag(movement_factors(job, influence.seats))
    if influence.origin == "table":
        acts = pressed(influence.R, added_flexibility(job, influence.seats)) @ acts
    return replace(
        influence,
        A=influence.A @ acts,
        R=influence.R @ acts,
        forces=tuple(replace(force, row=force.row @ acts) for force in influence.forces),
        uncorrected=influence,
    )


def pressed(R: Array, flexibility: Array) -> Array:
    """Return (I + D R)^-1 (n, n): how moves act through seats with added flexibility (n,) [m/N]."""
    return np.linalg.inv(np.eye(len(R)) + flexibility[:, None] * R)


def movement_factors(job: Job, seats: tuple[str, ...]) -> Array:
    """Return how far each seat goes (n,) for a unit on its jack's scale; 1 for packs."""
    factor = {one.at: one.value for one in job.learned if one.what == "movement"}
    return np.array([factor.get(name, 1.0) for name in seats])


def added_flexibility(job: Job, seats: tuple[str, ...]) -> Array:
    """Return the flexibility (n,) [m/N] that learned stiffnesses add to those of seats.csv."""
    factor = {one.at: one.value for one in job.learned if one.what == "stiffness"}
    return np.array([(1.0 - factor.get(name, 1.0)) / job.seats[name].stiffness for name in seats])
