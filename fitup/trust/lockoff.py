"""Lock, wait or move again: the decision at each joint, with its reason in a sentence.

What stands in the way is looked for in the order in which it must be cleared: an old survey, a
check that is not inside, an open hold point.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from fitup.jobfolder.series import SteelSeries
from fitup.model import Job
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.budget import Budget
from fitup.trust.conformity import aim_of
from fitup.trust.joint import CheckTrust, JointTrust
from fitup.trust.shots import PlannedShot, best_shot
from fitup.trust.windows import EvenSteel, TemperatureCourse, Window, course_of, even_steel

Decision = Literal["LOCK", "WAIT", "MOVE AGAIN"]
#: what stands in the way
Cause = Literal[
    "none", "survey age", "window later", "other steel", "undecided", "outside", "hold points"
]
_DECISIONS: Final[dict[Cause, Decision]] = {
    "none": "LOCK",
    "survey age": "WAIT",
    "window later": "WAIT",
    "other steel": "WAIT",
    "undecided": "WAIT",
    "outside": "MOVE AGAIN",
    "hold points": "WAIT",
}


@dataclass(frozen=True, eq=False)
class LockOffDecision:
    """What is decided at one joint, and from what.

    Parameters
    ----------
    trust : JointTrust
        Every judged check at the steel of the time of locking.
    cause : Cause
        What stands in the way.
    worst : CheckTrust, optional
        The check least likely to be inside, where one is not inside.
    age : float
        Of the oldest survey of the joint [s].
    steel : dict of segment to Steel
        Of the two segments at the time of locking.
    window : Window, optional
        The sure window the time of locking lies in, or the next one.
    even : EvenSteel, optional
        Even steel at which the joint is within tolerance.
    shot : PlannedShot, optional
        The next most useful measurement.
    open_holds : tuple of str
    course : TemperatureCourse, optional
        Through the series, where there is one.
    """

    trust: JointTrust
    cause: Cause
    worst: CheckTrust | None
    age: float
    steel: dict[str, Steel]
    window: Window | None
    even: EvenSteel | None
    shot: PlannedShot | None
    open_holds: tuple[str, ...]
    course: TemperatureCourse | None

    @property
    def decision(self) -> Decision:
        """Return lock, wait or move again."""
        return _DECISIONS[self.cause]


def decide(
    job: Job,
    survey: Survey,
    reference: Budget,
    there: Budget,
    trust: JointTrust,
    steel: dict[str, Steel],
    when: dt.datetime,
    open_holds: Sequence[str],
    series: SteelSeries | None = None,
) -> LockOffDecision:
    """Return what is to be done at a joint at a time.

    Parameters
    ----------
    job, survey
    reference : Budget
        As surveyed, at the reference temperature.
    there : Budget
        As surveyed, at the steel of the time of locking.
    trust : JointTrust
        The joint by that budget.
    steel : dict of segment to Steel
        At the time of locking.
    when : datetime
        Of locking, local.
    open_holds : sequence of str
        Hold points that are not released, in words.
    series : SteelSeries, optional
        Temperatures to come.
    """
    joint = job.joints[trust.joint]
    sides = (joint.back, joint.ahead)
    age = max((when - taken(survey, name)).total_seconds() for name in sides)
    course = None if series is None else course_of(job, survey, reference, series, joint.id)
    even = even_steel(job, reference, joint.id)
    now = None if series is None else series.since_start(when)
    window = None if course is None or now is None else _next(course.surely, now)
    worst = min(trust.checks, key=lambda c: (round(c.probability, 6), -_share(c)))
    doubtful = any(c.conformity != "inside" for c in trust.checks)
    cause = _cause(job, trust, age, window, now, course, even, open_holds)
    measure = there if cause == "undecided" else reference
    return LockOffDecision(
        trust=trust,
        cause=cause,
        worst=worst if doubtful else None,
        age=age,
        steel={name: steel[name] for name in sides},
        window=window,
        even=even,
        shot=best_shot(job, survey, measure, joint.id) if doubtful else None,
        open_holds=tuple(open_holds),
        course=course,
    )


def taken(survey: Survey, segment: str) -> dt.datetime:
    """Return when a segment was surveyed, local.

    Parameters
    ----------
    survey
    segment : str
        Its id.

    Returns
    -------
    datetime
        As stated for the survey file that the segment's targets are from.
    """
    return dt.datetime.fromisoformat(survey.epoch_of[segment].taken)


def _share(stated: CheckTrust) -> float:
    """Return how much of what is allowed a check uses."""
    return abs(stated.value - aim_of(stated.check)) / stated.allowed


def _next(found: Sequence[Window], now: float) -> Window | None:
    """Return the window a time lies in, or the next one after it."""
    return next((w for w in found if w.end >= now), None)


def _cause(
    job: Job,
    trust: JointTrust,
    age: float,
    window: Window | None,
    now: float | None,
    course: TemperatureCourse | None,
    even: EvenSteel | None,
    open_holds: Sequence[str],
) -> Cause:
    if age > job.lockoff.survey_age:
        return "survey age"
    if all(c.conformity == "inside" for c in trust.checks):
        return "hold points" if open_holds else "none"
    if window is not None:
        return "window later"
    if all(_share(c) <= 1.0 for c in trust.checks):
        return "undecided"
    if course is not None and now is not None:
        return "other steel" if _next(course.windows, now) is not None else "outside"
    return "other steel" if even is not None else "outside"
