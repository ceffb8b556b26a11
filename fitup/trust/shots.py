"""The next most useful shot: which one measurement makes the joint surest.

A target measured once more is averaged with what is known of it; a direct reading is combined
with the coordinates. What the measurement will say is not known, so expected values stay and
uncertainties shrink: the shot is judged by the joint's probability and by its worst uncertainty.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitup.checks.readings import reading_gain
from fitup.model import Job
from fitup.survey.points import Survey
from fitup.trust.budget import Budget
from fitup.trust.joint import joint_probability, limits_of

#: uncertainties that a measurement in the same survey can shrink
_MEASURED = ("target", "reading")
#: nothing needs to be measured beyond this
_SURE = 0.999
#: a shot must raise the probability by this much to be chosen for it
_WORTH = 0.005
#: lattice points for the probabilities that are only ranked
_POINTS = 251


@dataclass(frozen=True, slots=True)
class PlannedShot:
    """One measurement and what it would do for a joint.

    ``kind`` is ``target`` (measure it once more), ``reading`` (read ``quantity`` at the pair
    ``name``) or ``steel`` (read the steel temperature again); ``u`` is its standard uncertainty
    [m or K]. ``worst`` is the greatest uncertainty over tolerance, ``uncertainty`` the sum of
    variances over squared tolerances.
    """

    kind: str
    name: str
    quantity: str
    u: float
    probability: float
    worst: float
    uncertainty: float
    probability_now: float
    worst_now: float

    @property
    def text(self) -> str:
        """Return the shot as an order."""
        if self.kind == "target":
            return f"measure target {self.name} once more"
        if self.kind == "steel":
            return f"read the steel temperature of {self.name} once more, by other thermometers"
        return f"read the {self.quantity} at {self.name} directly"


def best_shot(job: Job, survey: Survey, budget: Budget, joint: str) -> PlannedShot | None:
    """Return the one measurement that helps a joint most, or None where none is needed.

    The greatest rise of the joint's probability decides; where no shot raises it by 0.5 %, the
    one that lowers the worst uncertainty most, or else all uncertainties together.

    Parameters
    ----------
    job, survey
    budget : Budget
        From which the shot is judged, after a plan or as surveyed.
    joint : str
        Its id; empty for watched points away from joints.
    """
    rows = budget.judged(joint)
    if joint_probability(budget, rows, _POINTS) > _SURE:
        return None
    shots = list(_shots(job, survey, budget, rows))
    if not shots:
        return None
    surest = max(shots, key=lambda s: (round(s.probability, 4), -s.worst))
    if surest.probability >= surest.probability_now + _WORTH:
        return surest
    return min(shots, key=lambda s: (round(s.worst, 6), s.uncertainty))


def _shots(job: Job, survey: Survey, budget: Budget, rows: Sequence[int]) -> Iterator[PlannedShot]:
    now = joint_probability(budget, rows, _POINTS), _worst(budget, rows)
    for k, source in enumerate(budget.sources):
        if source.kind == "target":
            old = float(np.sqrt((survey.points[source.name].uncertainty ** 2).mean()))
            u = old if job.uncertainties.shot is None else job.uncertainties.shot
            better = budget.scaled(k, u / np.hypot(u, old))
            yield _shot(budget, rows, better, ("target", source.name, "", u), now)
        elif source.kind == "steel then":
            own = (s for n, s in survey.steel.items() if source.name in (n, s.shared))
            stated = ("steel", source.name, "", next(own).u_mean)
            yield _shot(budget, rows, budget.scaled(k, np.sqrt(0.5)), stated, now)
    if job.uncertainties.reading is None:
        return
    for i in rows:
        check = budget.checks[i]
        if check.pair is not None:
            better = _read(budget, i, job.uncertainties.reading)
            stated = ("reading", check.pair, check.quantity, job.uncertainties.reading)
            yield _shot(budget, rows, better, stated, now)


def _shot(
    budget: Budget,
    rows: Sequence[int],
    better: Budget,
    stated: tuple[str, str, str, float],
    now: tuple[float, float],
) -> PlannedShot:
    _, allowed = limits_of([budget.checks[i] for i in rows])
    uncertainty = float(((better.u[list(rows)] / allowed) ** 2).sum())
    probability = joint_probability(better, rows, _POINTS)
    return PlannedShot(*stated, probability, _worst(better, rows), uncertainty, *now)


def _worst(budget: Budget, rows: Sequence[int]) -> float:
    _, allowed = limits_of([budget.checks[i] for i in rows])
    return float((budget.u[list(rows)] / allowed).max(initial=0.0))


def _read(budget: Budget, row: int, u: float) -> Budget:
    """Return the budget with one more direct reading combined in, before the moves."""
    measured = np.array([budget.sources[k].kind in _MEASURED for k in budget.owner])
    own = budget.columns[:, measured]
    gain, keep = reading_gain(own @ own.T, [row], np.array([u]))
    columns = budget.columns.copy()
    columns[:, measured] = keep @ own
    # the reading's own uncertainty goes to a column of its own beside the first source
    return replace(
        budget, columns=np.c_[columns, gain * u], owner=np.r_[budget.owner, budget.owner[:1]]
    )
