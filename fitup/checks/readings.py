"""Steps, gaps and offsets read directly at the joint, combined with the coordinates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import Check, CheckState, Job, Reading
from fitup.units import DISPLAY

#: a reading further off than this many standard uncertainties contradicts the coordinates
#: (two-sided 0.1 %, the alpha0 of Baarda's B-method, 3.29)
CONTRADICTION: Final = 3.2905
#: what moves one side of a joint as a whole, by the quantity that shows it
_COMMON: Final = {
    "step": "too high or too low; check benchmark and target heights",
    "gap": "too far along; check prism constants, steel temperature and scale",
    "offset": "too far across; check control and orientation",
}


def combine_readings(job: Job, state: CheckState) -> CheckState:
    """Return the state updated by the direct readings, each with its own uncertainty.

    The update is the best linear unbiased combination: y + K (z - H y), K = P H' (H P H' + V)^-1.

    Parameters
    ----------
    job : Job
    state : CheckState
        From the coordinates alone.

    Raises
    ------
    SurveyRefused
        If readings contradict the coordinates; all of them are named.
    """
    used = used_readings(job)
    if not used:
        return state
    rows = read_rows(job, state.checks, used)
    covariance = state.covariance
    # a tape reads the joint at the steel temperature of the survey
    there = state.values if state.at_survey is None else state.values + state.at_survey
    innovation = np.array([r.value for r in used]) - there[rows]
    total = covariance[np.ix_(rows, rows)] + np.diag([r.uncertainty**2 for r in used])
    spread = np.sqrt(np.diag(total))
    findings = _contradictions(job, used, innovation, spread)
    if findings:
        raise SurveyRefused(findings)
    gain, _ = reading_gain(covariance, rows, np.array([r.uncertainty for r in used]))
    updated = read_covariance(job, state.checks, covariance)
    return replace(state, values=state.values + gain @ innovation, covariance=updated)


def _contradictions(job: Job, used: Sequence[Reading], off: Array, spread: Array) -> list[str]:
    """Name the readings that contradict the coordinates; those that agree with each other once."""
    move = DISPLAY[job.units].move
    far = np.abs(off) > CONTRADICTION * spread
    groups: dict[tuple[str, str], list[int]] = {}
    for i, r in enumerate(used):
        groups.setdefault((job.pairs[r.pair].joint, r.quantity), []).append(i)
    lines = []
    for (joint, quantity), rows in groups.items():
        alike = float(np.ptp(off[rows])) <= CONTRADICTION * float(spread[rows].max())
        if len(rows) > 1 and far[rows].all() and alike:
            names = ", ".join(used[i].id for i in rows)
            least, most = (move.text(float(f(np.abs(off[rows])))) for f in (np.min, np.max))
            lines.append(
                f"readings {names} agree with each other that every {quantity} read at joint "
                f"{joint} is {least} to {most} off the coordinates, all the same way: the survey "
                f"has one side of the joint {_COMMON[quantity]} of each side; only where the "
                "readings are wrong exclude them in job.toml [exclude] with the reason"
            )
            continue
        for i in rows:
            r = used[i]
            if far[i]:
                lines.append(
                    f"reading {r.id} ({r.quantity} at {r.pair} by {r.how}) is "
                    f"{move.text(abs(float(off[i])))} off the coordinates, "
                    f"{abs(off[i]) / spread[i]:.1f} standard uncertainties (at most "
                    f"{CONTRADICTION:.2f}); read it again, or exclude {r.id} in job.toml "
                    "[exclude] with the reason"
                )
    return lines


def read_covariance(job: Job, checks: Sequence[Check], covariance: Array) -> Array:
    """Return the covariance of the checks (m, m) once direct readings are combined in.

    Parameters
    ----------
    covariance : Array (m, m)
        Of the checks from the coordinates.
    """
    used = used_readings(job)
    if not used:
        return covariance
    u = np.array([r.uncertainty for r in used])
    gain, keep = reading_gain(covariance, read_rows(job, checks, used), u)
    # Joseph's form stays symmetric and positive
    noise = gain * u
    updated: Array = keep @ covariance @ keep.T + noise @ noise.T
    return updated


def used_readings(job: Job) -> tuple[Reading, ...]:
    """Return the readings that are not excluded, in the order of the file."""
    return tuple(r for r in job.readings if r.id not in job.excluded)


def read_rows(job: Job, checks: Sequence[Check], readings: Sequence[Reading]) -> list[int]:
    """Return which check each reading reads.

    Parameters
    ----------
    job : Job
    checks : sequence of Check
    readings : sequence of Reading
        Each of a pair and quantity that ``checks`` hold.

    Returns
    -------
    list of int
        Places in ``checks``, one for each reading.
    """
    index = {check.id: i for i, check in enumerate(checks)}
    return [index[f"{job.pairs[r.pair].joint}/{r.pair}/{r.quantity}"] for r in readings]


def reading_gain(covariance: Array, rows: Sequence[int], u: Array) -> tuple[Array, Array]:
    """Return how checks answer to readings (m, r), and what of the coordinates they keep (m, m).

    Parameters
    ----------
    covariance : Array (m, m)
        Of the checks from the coordinates.
    rows : sequence of int
        The check each of the r readings reads.
    u : Array (r,)
        Standard uncertainties of the readings.
    """
    total = covariance[np.ix_(rows, rows)] + np.diag(u**2)
    gain: Array = np.linalg.solve(total, covariance[rows]).T
    seen = np.zeros((len(rows), len(covariance)))
    # two readings of one place are two rows
    seen[np.arange(len(rows)), rows] = 1.0
    return gain, np.eye(len(covariance)) - gain @ seen
