"""A second path for what a lock-off says: nobody locks on a number that was computed once."""

from __future__ import annotations

from typing import Final

import numpy as np

from fitup.certify.recompute import bending_of, expansion_of
from fitup.errors import CertificateRefused
from fitup.jobfolder.series import SteelSeries
from fitup.model import CheckState, Job
from fitup.survey.steel import Steel
from fitup.trust.conformity import aim_of, allowed_of
from fitup.trust.joint import JointTrust
from fitup.trust.lockoff import LockOff
from fitup.trust.montecarlo import Draws

#: the two paths may differ by this much in a value [m or rad]: second order of bending
_VALUE: Final = 2e-6
#: and by this much in a probability, beside four standard deviations of its draws
_PROBABILITY: Final = 0.01


def confirm_lockoff(
    job: Job,
    state: CheckState,
    steel: dict[str, Steel],
    decided: tuple[LockOff, ...],
    draws: Draws,
    series: SteelSeries | None,
) -> int:
    """Hold values, probabilities and windows against a second path; return how many there were.

    Values are measured between design points moved by expansion and true arcs, probabilities are
    shares of draws, and at both ends and in the middle of every window each check is measured
    again.

    Raises
    ------
    CertificateRefused
        With everything that does not agree.
    """
    number = {c.id: i for i, c in enumerate(state.checks)}
    wrong: list[str] = []
    count = 0
    for own in decided:
        for told in own.trust.checks:
            count += 2
            exact = _at(job, state, number[told.check.id], steel)
            if abs(told.value - exact) > _VALUE:
                wrong.append(f"{told.check.id} is {told.value:.6g}, recomputed it is {exact:.6g}")
        wrong += _probabilities(own.trust, draws, number)
        if series is not None and own.course is not None:
            found, checked = _windows(job, state, own, series, number)
            wrong += found
            count += checked
    if wrong:
        raise CertificateRefused(wrong)
    return count


def _at(job: Job, state: CheckState, row: int, steel: dict[str, Steel]) -> float:
    """Return a check at the steel of a time; a point's is judged at the reference."""
    check = state.checks[row]
    if check.point is not None:
        return float(state.values[row])
    warmer = {n: s.mean - job.reference_temperature for n, s in steel.items()}
    bent = {n: s.difference for n, s in steel.items()}
    grown = expansion_of(job, check, warmer) + bending_of(job, check, bent)
    return float(state.values[row]) + grown


def _probabilities(trust: JointTrust, draws: Draws, number: dict[str, int]) -> list[str]:
    rows = [number[c.check.id] for c in trust.checks]
    shares = draws.inside(rows).mean(axis=0)
    told = [
        (c.check.id, c.probability, float(s)) for c, s in zip(trust.checks, shares, strict=True)
    ]
    told.append((f"joint {trust.joint}", trust.probability, draws.probability(rows)))
    n = len(draws.values)
    return [
        f"{name} is inside with {one:.4f} by linear propagation, with {other:.4f} by draws: the "
        "doubts are too large to be carried linearly"
        for name, one, other in told
        if abs(one - other) > _PROBABILITY + 4.0 * np.sqrt(other * (1.0 - other) / n)
    ]


def _windows(
    job: Job, state: CheckState, own: LockOff, series: SteelSeries, number: dict[str, int]
) -> tuple[list[str], int]:
    wrong: list[str] = []
    count = 0
    assert own.course is not None
    for window in (*own.course.windows, *own.course.sure):
        for seconds in (window.start, 0.5 * (window.start + window.end), window.end):
            mean, difference = series.at(seconds)
            steel = {
                n: Steel(float(m), 0.0, float(d))
                for n, m, d in zip(job.segments, mean, difference, strict=True)
            }
            for check in own.course.checks:
                if check.point is not None:
                    continue
                count += 1
                value = _at(job, state, number[check.id], steel)
                allowed = allowed_of(check)
                assert allowed is not None
                if abs(value - aim_of(check)) > allowed + _VALUE:
                    wrong.append(f"{check.id} is outside at {series.clock(seconds)} of a window")
    return wrong, count
