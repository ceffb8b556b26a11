"""What may be said of each check and each joint, and where the uncertainty comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import STANDARD_RISK, Check, Job
from fitup.trust.box import BoxProbability, box_probability, sure_box
from fitup.trust.budget import Budget
from fitup.trust.conformity import Conformity, aim_of, allowed_of, conformity, probability_inside
from fitup.trust.source import Source


@dataclass(frozen=True, slots=True)
class CheckTrust:
    """One judged check: value [m or m/m], standard uncertainty, probability, what may be said."""

    check: Check
    value: float
    u: float
    allowed: float
    probability: float
    conformity: Conformity


@dataclass(frozen=True, slots=True)
class Share:
    """The part of the uncertainty at a joint that one source brings."""

    source: Source
    share: float


@dataclass(frozen=True, slots=True)
class JointTrust:
    """A joint, or the watched points away from joints under an empty name.

    ``probability`` is that of all its judged checks being inside at once, and ``error`` how far the
    integration may be off; ``shares`` are parts of the sum of variances over squared tolerances,
    greatest first.
    """

    joint: str
    checks: tuple[CheckTrust, ...]
    probability: float
    shares: tuple[Share, ...]
    error: float = 0.0


def risk_of(job: Job) -> float:
    """Return the risk accepted for a check called inside."""
    return STANDARD_RISK if job.objectives.risk is None else job.objectives.risk


def trust_of(job: Job, budget: Budget) -> tuple[JointTrust, ...]:
    """Return what may be said of every joint with judged checks, in the order of the job.

    Parameters
    ----------
    job
    budget : Budget
        At the temperature at which the joints are judged.

    Returns
    -------
    tuple of JointTrust
        Points away from joints, where any is judged, come last under an empty name.
    """
    names = [*job.joints, *([""] if budget.judged("") else [])]
    return tuple(_joint(job, budget, name) for name in names if budget.judged(name))


def _joint(job: Job, budget: Budget, name: str) -> JointTrust:
    rows = budget.judged(name)
    u = budget.u
    checks = tuple(_check(job, budget, i, float(u[i])) for i in rows)
    whole = sure_box(*_box(budget, rows)) if rows else BoxProbability(1.0, 0.0)
    return JointTrust(name, checks, whole.value, shares(budget, rows), whole.error)


def _check(job: Job, budget: Budget, i: int, u: float) -> CheckTrust:
    check, value = budget.checks[i], float(budget.values[i])
    allowed = allowed_of(check)
    assert allowed is not None
    deviation = value - aim_of(check)
    return CheckTrust(
        check,
        value,
        u,
        allowed,
        probability_inside(deviation, u, allowed),
        conformity(deviation, u, allowed, risk_of(job)),
    )


def limits_of(checks: Sequence[Check]) -> tuple[Array, Array]:
    """Return aims and allowed deviations of judged checks."""
    return np.array([aim_of(c) for c in checks]), np.array([allowed_of(c) for c in checks], float)


def joint_probability(budget: Budget, rows: Sequence[int], points: int = 2003) -> float:
    """Return the probability that all the checks numbered are inside at once.

    Parameters
    ----------
    budget
    rows : sequence of int
        Numbers of judged checks in the budget; of none the probability is one.
    points : int
        Lattice points, as for :func:`fitup.trust.box.box_probability`.
    """
    if not rows:
        return 1.0
    return box_probability(*_box(budget, rows), points)


def _box(budget: Budget, rows: Sequence[int]) -> tuple[Array, Array, Array]:
    """Deviations, their covariance and what is allowed."""
    aims, allowed = limits_of([budget.checks[i] for i in rows])
    columns = budget.columns[list(rows)]
    return budget.values[list(rows)] - aims, columns @ columns.T, allowed


def shares(budget: Budget, rows: Sequence[int]) -> tuple[Share, ...]:
    """Return what each source brings to the uncertainty of the checks numbered, greatest first.

    Parameters
    ----------
    budget
    rows : sequence of int
        Numbers of judged checks in the budget.

    Returns
    -------
    tuple of Share
        Parts of the sum of variances over squared tolerances; empty where nothing is uncertain.
    """
    _, allowed = limits_of([budget.checks[i] for i in rows])
    parts = (budget.of_source()[list(rows)] / allowed[:, None] ** 2).sum(axis=0)
    total = float(parts.sum())
    if total == 0.0:
        return ()
    ranked = np.argsort(-parts, kind="stable")
    return tuple(Share(budget.sources[k], float(parts[k]) / total) for k in ranked if parts[k] > 0)
