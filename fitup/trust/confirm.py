"""A second path for what a lock-off says: nobody locks on a number that was computed once."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fitup.certify.temperature import ThermalPath, second_thermal_path, steel_apart
from fitup.errors import CertificateRefused
from fitup.frames import Array
from fitup.jobfolder.series import SteelSeries
from fitup.model import Check, CheckState, Job
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.budget import Budget
from fitup.trust.conformity import aim_of, allowed_of
from fitup.trust.joint import JointTrust
from fitup.trust.lockoff import LockOffDecision
from fitup.trust.montecarlo import Draws
from fitup.trust.trust_report import both_ways
from fitup.trust.windows import TemperatureCourse


def confirm_lockoff(
    job: Job,
    survey: Survey,
    state: CheckState,
    steel: dict[str, Steel],
    decided: tuple[LockOffDecision, ...],
    draws: Draws,
    series: SteelSeries | None,
) -> int:
    """Hold values, probabilities and windows against a second path; return how many there were.

    Values are measured between points moved by expansion and true arcs, or by the frame solved
    again; probabilities are shares of draws, and at both ends and in the middle of every window
    each check is measured again.

    Parameters
    ----------
    job, survey
    state : CheckState
        As surveyed, at the reference temperature.
    steel : dict of segment to Steel
        At the time of locking.
    decided : tuple of LockOffDecision
        What is held against the second path.
    draws : Draws
        As surveyed, at the steel of the time of locking.
    series : SteelSeries, optional
        That of the courses; None: no windows are confirmed.

    Raises
    ------
    CertificateRefused
        With everything that does not agree.
    """
    heat = second_thermal_path(job, survey)
    number = {c.id: i for i, c in enumerate(state.checks)}
    exact = _at(job, heat, state.checks, state.values, steel)
    wrong: list[str] = []
    count = 0
    for own in decided:
        for stated in own.trust.checks:
            count += 2
            again = float(exact[number[stated.check.id]])
            if abs(stated.value - again) > heat.near:
                both = f"is {stated.value:.6g}, recomputed it is {again:.6g}"
                wrong.append(f"{stated.check.id} {both}{heat.look}")
        wrong += _probabilities(own.trust, draws, number)
        if series is not None and own.course is not None:
            found, checked = _windows(job, heat, state.checks, state.values, own.course, series)
            wrong += found
            count += checked
    if wrong:
        raise CertificateRefused(wrong)
    return count


def confirm_windows(
    job: Job,
    survey: Survey,
    stated: Iterable[tuple[Budget, tuple[TemperatureCourse, ...]]],
    series: SteelSeries,
) -> int:
    """Measure each check again at both ends and in the middle of every window; return how many.

    Parameters
    ----------
    job, survey
    stated : iterable of (budget, courses)
        For every option its budget at the reference temperature, and one course a joint.
    series : SteelSeries
        The one the courses go through.

    Raises
    ------
    CertificateRefused
        With every check that is outside in one.
    """
    heat = second_thermal_path(job, survey)
    wrong: list[str] = []
    count = 0
    for budget, courses in stated:
        for course in courses:
            found, checked = _windows(job, heat, budget.checks, budget.values, course, series)
            wrong += found
            count += checked
    if wrong:
        raise CertificateRefused(wrong)
    return count


def _at(
    job: Job, heat: ThermalPath, checks: tuple[Check, ...], values: Array, steel: dict[str, Steel]
) -> Array:
    """Return checks (m,) at the steel of a time; a point's is judged at the reference."""
    across = np.array([c.point is None for c in checks])
    return values + np.where(across, heat.change(checks, *steel_apart(job, steel)), 0.0)


def _probabilities(trust: JointTrust, draws: Draws, number: dict[str, int]) -> list[str]:
    rows = [number[c.check.id] for c in trust.checks]
    shares = draws.inside(rows).mean(axis=0)
    stated = [
        (c.check.id, c.probability, float(s)) for c, s in zip(trust.checks, shares, strict=True)
    ]
    stated.append((f"joint {trust.joint}", trust.probability, draws.probability(rows)))
    n = len(draws.values)
    return [
        f"{name} is inside with {one:.4f} by linear propagation, with {other:.4f} by draws: the "
        "uncertainties are too large to be carried linearly"
        for name, one, other in stated
        if not both_ways(one, other, n)
    ]


def _windows(
    job: Job,
    heat: ThermalPath,
    checks: tuple[Check, ...],
    values: Array,
    course: TemperatureCourse,
    series: SteelSeries,
) -> tuple[list[str], int]:
    number = {c.id: i for i, c in enumerate(checks)}
    judged = [c for c in course.checks if c.point is None]
    wrong: list[str] = []
    count = 0
    for window in (*course.windows, *course.surely):
        for seconds in (window.start, 0.5 * (window.start + window.end), window.end):
            mean, difference = series.at(seconds)
            steel = {
                n: Steel(float(m), 0.0, float(d))
                for n, m, d in zip(job.segments, mean, difference, strict=True)
            }
            exact = _at(job, heat, checks, values, steel)
            for check in judged:
                count += 1
                allowed = allowed_of(check)
                assert allowed is not None
                if abs(float(exact[number[check.id]]) - aim_of(check)) > allowed + heat.near:
                    when = f"is outside at {series.clock(seconds)} of a window"
                    wrong.append(f"{check.id} {when}{heat.look}")
    return wrong, count
