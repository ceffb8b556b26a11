"""How sure the joints are, for the report: uncertainty of every check, and what to measure next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.checks.items import place_of
from fitup.model import Job
from fitup.sheets.numbers import Number, uncertified
from fitup.sheets.trust_words import main_source_line, percent, risk_words, shot_line, verdict_word
from fitup.sheets.words import NAMES, shown_for
from fitup.trust.conformity import conformity_at
from fitup.trust.joint import CheckTrust, JointTrust, risk_of
from fitup.trust.shots import PlannedShot
from fitup.trust.trust_report import TrustReport, both_ways, shares_inside
from fitup.units import DISPLAY

#: checks of single points: told in a line where they are surely inside
_OF_POINTS: Final = ("level", "line", "station")
#: sources listed for each joint
_LISTED: Final = 5
#: uncertainties found both ways may differ by this share
_NEAR: Final = 0.05


@dataclass(frozen=True, slots=True)
class CheckConfidence:
    """One judged check: expected, its uncertainty from all sources, and how probably inside."""

    id: str
    what: str
    place: str
    expected: str
    uncertainty: Number
    allowed: Number
    probability: str
    said: str


@dataclass(frozen=True, slots=True)
class JointConfidence:
    """One joint: its checks, all at once, the sources of uncertainty, what to measure next."""

    joint: str
    lines: tuple[CheckConfidence, ...]
    others: str
    """Points that are surely inside, in a line; empty where there are none."""
    probability: str
    drawn: str
    shares: tuple[tuple[str, str], ...]
    most: str
    shot: str
    """Empty where nothing needs to be measured."""


@dataclass(frozen=True, slots=True)
class ConfidenceSheet:
    """Everything the report says of how sure a plan is; ``small`` are seats moved for little."""

    joints: tuple[JointConfidence, ...]
    risk: str
    small: tuple[str, ...]
    not_counted: tuple[str, ...]
    draws: int

    def of_check(self, name: str) -> CheckConfidence | None:
        """Return the line of a check that is listed."""
        lines = (line for joint in self.joints for line in joint.lines)
        return next((line for line in lines if line.id == name), None)


def confidence_sheet(job: Job, stated: TrustReport, expected: Mapping[str, str]) -> ConfidenceSheet:
    """Round and word what may be said of a plan.

    An uncertainty or probability that draws do not confirm is printed as they found it.

    Parameters
    ----------
    job, stated
    expected : mapping of str to str
        Check -> the certificate's value after the moves, in words.
    """
    return ConfidenceSheet(
        joints=tuple(
            _joint(job, stated, joint, shot, expected)
            for joint, shot in zip(stated.joints, stated.shots, strict=True)
        ),
        risk=risk_words(risk_of(job)),
        small=stated.small,
        not_counted=stated.budget.not_counted,
        draws=len(stated.draws.values),
    )


def _joint(
    job: Job,
    stated: TrustReport,
    joint: JointTrust,
    shot: PlannedShot | None,
    expected: Mapping[str, str],
) -> JointConfidence:
    lines, others = [], []
    drawn = np.transpose(
        [shares_inside(stated, joint), stated.draws.u[stated.budget.judged(joint.joint)]]
    )
    for check, (share, u) in zip(joint.checks, drawn.tolist(), strict=True):
        if check.check.quantity in _OF_POINTS and check.conformity == "inside":
            others.append(min(check.probability, share))
            continue
        words = expected[check.check.id]
        lines.append(_line(job, check, words, share, u, len(stated.draws.values)))
    most = main_source_line(joint)
    return JointConfidence(
        joint=joint.joint,
        lines=tuple(lines),
        others=_summed(others),
        probability=percent(joint.probability),
        drawn=percent(stated.drawn(joint)),
        shares=tuple((percent(s.share), s.source.text) for s in joint.shares[:_LISTED]),
        most=f"{most[0].upper()}{most[1:]}.",
        shot="" if shot is None else shot_line(shot, DISPLAY[job.units]),
    )


def _summed(probabilities: list[float]) -> str:
    if not probabilities:
        return ""
    return (
        f"{len(probabilities)} levels, lines and stations of points: inside, the least sure with "
        f"{percent(min(probabilities))}"
    )


def _line(
    job: Job, stated: CheckTrust, expected: str, share: float, u: float, draws: int
) -> CheckConfidence:
    check = stated.check
    shown = shown_for(check.quantity, DISPLAY[job.units])
    alike = both_ways(stated.probability, share, draws)
    near = abs(u - stated.u) <= _NEAR * stated.u
    return CheckConfidence(
        id=check.id,
        what=NAMES[check.quantity],
        place=place_of(job, check) or "whole joint",
        expected=expected,
        uncertainty=uncertified(stated.u if near else u, shown),
        allowed=uncertified(stated.allowed, shown),
        probability=percent(stated.probability) if alike else f"{percent(share)}, by draws",
        said=verdict_word(stated.conformity if alike else conformity_at(share, risk_of(job))),
    )
