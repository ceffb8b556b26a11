"""One assumption at a time: how far off it would have to be, and how well that explains.

The evidence against "all as assumed" is the Bayes factor of the two Gaussians. What an assumption
does is one column, and all but stiffness act along it in proportion; a seat that is softer acts
along the column of its own setting, by what its force presses it more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import ndtr

from fitup.frames import Array
from fitup.loop.fit import AssumptionFit, fit
from fitup.loop.hypotheses import KINDS, TOGETHER, Assumptions, Kind

#: two assumptions whose effects are this parallel predict the same, whatever their size
SAME: Final = 0.98
#: what moves no check by this share of its uncertainty cannot be stated at all
_UNSEEN: Final = 1e-3
_STEPS: Final = 30
#: chance that a seat rose, or a pack grew, below which that is no explanation
_IMPOSSIBLE: Final = 1e-4


@dataclass(frozen=True, slots=True)
class Explanation:
    """One assumption alone."""

    kind: Kind
    at: str
    """Seat or segment, or empty for all of them alike."""
    value: float
    """In the measure of :class:`fitup.loop.hypotheses.Parameter`."""
    uncertainty: float
    evidence: float
    """Twice the logarithm of the Bayes factor over 'all as assumed'."""
    probability: float
    """Among all explanations told, each as likely beforehand, and 'all as assumed' as likely as
    all of them together."""
    same: tuple[int, ...]
    """Places, in the lesson, of explanations that predict the same at these points."""


def explain(model: Assumptions, white: Array) -> tuple[tuple[Explanation, ...], float]:
    """Return every assumption alone, the likeliest first, and how likely none is wrong.

    Parameters
    ----------
    model : Assumptions
    white : Array (r, m + k)
        Whitening rows of the round.
    """
    stated = [
        (kind, at, replace(one, evidence=one.evidence + _possible(model, kind, at, one)))
        for kind, at, one in _candidates(model, white)
        if np.linalg.norm(one.effect) > _UNSEEN
    ]
    stated = [c for c in stated if np.isfinite(c[2].evidence)]
    if not stated:
        return (), 1.0
    stated.sort(key=lambda entry: -entry[2].evidence)
    evidence = np.array([one.evidence for _, _, one in stated])
    top = max(0.0, float(evidence.max()))
    odds = np.exp(0.5 * (evidence - top)) / len(stated)
    none = float(np.exp(-0.5 * top))
    total = none + float(odds.sum())
    unit = np.array([one.effect / np.linalg.norm(one.effect) for _, _, one in stated])
    parallel = np.abs(unit @ unit.T) >= SAME
    explanations = tuple(
        Explanation(
            kind,
            at,
            float(one.value[0]),
            float(np.sqrt(one.covariance[0, 0])),
            one.evidence,
            float(odds[i]) / total,
            tuple(j for j in range(len(stated)) if j != i and parallel[i, j]),
        )
        for i, (kind, at, one) in enumerate(stated)
    )
    return explanations, none / total


def _possible(model: Assumptions, kind: Kind, at: str, one: AssumptionFit) -> float:
    """Return what the sign of an assumption adds to its evidence: a half-line has half the prior.

    A seat sinks and does not rise; a pack does not grow under load. A value that the data put
    beyond that is impossible: minus infinity.
    """
    if kind == "settlement":
        least, before = 0.0, 0.5
    elif kind == "bedding":
        seats = [at] if at else [model.parameters[i].at for i in model.of(kind)]
        least = -min(model.round.job.seats[seat].bedding for seat in seats)
        own = [i for i in model.of(kind) if model.parameters[i].at in seats]
        before = float(ndtr(-least / np.sqrt(model.prior[own[0], own[0]])))
    else:
        return 0.0
    after = float(ndtr((one.value[0] - least) / np.sqrt(one.covariance[0, 0])))
    return float(2.0 * np.log(after / before)) if after > _IMPOSSIBLE else -np.inf


def _candidates(model: Assumptions, white: Array) -> Iterator[tuple[Kind, str, AssumptionFit]]:
    """Yield each assumption alone: each place of a kind, and all places of it alike."""
    nothing = np.zeros(len(model.parameters))
    columns = white @ model.columns(nothing)
    found = white @ (model.round.found - model.predicted(nothing))
    for kind in KINDS:
        own = model.of(kind)
        for i in own:
            at, variance = model.parameters[i].at, float(model.prior[i, i])
            if kind == "stiffness":
                yield kind, at, _seat(model, white, found, at, variance)
            else:
                yield kind, at, _straight(columns[:, i], found, variance)
        if kind in TOGETHER and len(own) > 1:
            alike = np.zeros((len(nothing), 1))
            alike[own] = 1.0
            # the mean of all of them has this variance beforehand
            variance = float((alike.T @ model.prior @ alike)[0, 0]) / len(own) ** 2
            if kind == "stiffness":
                yield kind, "", fit(model, white, alike, np.array([[variance]]))
            else:
                yield kind, "", _straight(columns @ alike[:, 0], found, variance)


def _straight(column: Array, found: Array, variance: float) -> AssumptionFit:
    """Fit one number that acts in proportion: the closed solution."""
    size = 1.0 + variance * float(column @ column)
    along = float(column @ found)
    value, spread = variance * along / size, variance / size
    evidence = variance * along**2 / size - np.log(size)
    return AssumptionFit(
        np.array([value]), np.array([[spread]]), float(evidence), column * np.sqrt(variance)
    )


def _seat(
    model: Assumptions, white: Array, found: Array, at: str, variance: float
) -> AssumptionFit:
    """Fit the stiffness of one seat: its setting acts by a(s) = -D r / (1 + D R) more."""
    one = model.round
    i = one.influence.seats.index(at)
    column = white @ one.rows[:, i]
    size, along = float(column @ column), float(column @ found)
    k = one.job.seats[at].stiffness
    force, own = float(one.influence.R[i] @ one.moves), float(one.influence.R[i, i])

    def acts(s: float) -> tuple[float, float]:
        soft, slope = np.expm1(-s) / k, -np.exp(-s) / k
        give = 1.0 + soft * own
        return float(-soft * force / give), float(-slope * force / give**2)

    s = 0.0
    for _ in range(_STEPS):
        a, da = acts(s)
        new = variance * da * (along - a * size + da * size * s)
        new /= 1.0 + variance * da**2 * size
        # the path is curved: no step goes further than a factor of e
        new = s + float(np.clip(new - s, -1.0, 1.0))
        if abs(new - s) * abs(da) * np.sqrt(size) < 1e-9:
            break
        s = new
    a, da = acts(s)
    room = 1.0 + variance * da**2 * size
    evidence = 2.0 * a * along - a**2 * size - s**2 / variance - np.log(room)
    effect = column * da * np.sqrt(variance)
    return AssumptionFit(np.array([s]), np.array([[variance / room]]), float(evidence), effect)
