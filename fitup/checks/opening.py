"""What an opening must be set to when the steel is not at the reference temperature."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitup.checks.definitions import checks_of
from fitup.checks.thermal import thermal_change
from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.model import Check, Job


def gaps_of(job: Job, joint: str) -> tuple[Check, ...]:
    """Return the gap checks of a joint, pair by pair.

    Parameters
    ----------
    job : Job
    joint : str
        Id of the joint.
    """
    return tuple(c for c in checks_of(job) if c.joint == joint and c.quantity == "gap")


def openings_at(job: Job, joint: str, temperatures: Sequence[float]) -> Array:
    """Return what each pair should open at given steel temperatures.

    The nominal opening, a preset added, and what even free expansion of both segments from their
    fixed points takes away.

    Parameters
    ----------
    job : Job
    joint : str
        Id of the joint.
    temperatures : sequence of float
        Of the steel of all segments alike [K].

    Returns
    -------
    Array (n, pairs)
        A row for each temperature, pairs in the order of :func:`gaps_of` [m].

    Raises
    ------
    InputError
        If a segment of the joint has no expansion.
    """
    own = job.joints[joint]
    still = [n for n in (own.back, own.ahead) if job.segments[n].expansion is None]
    if still:
        raise InputError(
            Problem(
                "segments.csv",
                f"segment {name} of joint {joint} without expansion",
                "expansion and its fixed point",
                "fill in expansion, fixed_E, fixed_N, fixed_H",
                column="expansion",
            )
            for name in still
        )
    rows = []
    for temperature in temperatures:
        warmer = dict.fromkeys(job.segments, temperature - job.reference_temperature)
        rows.append(
            [
                job.pairs[str(gap.pair)].opening + gap.target + thermal_change(job, gap, warmer)
                for gap in gaps_of(job, joint)
            ]
        )
    return np.array(rows)
