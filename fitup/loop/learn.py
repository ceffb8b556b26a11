"""Which assumption explains what the re-survey found, and the corrections that follow from all.

Every assumption is a number with a prior (docs/loop.md): how far it may be off. For one assumption
at a time the evidence against "all as assumed" is the Bayes factor of the two Gaussians; for the
corrections all are fitted together, weighted by both surveys and held back by the prior. What the
survey cannot see keeps its prior value and its prior uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri

from fitup.frames import Array
from fitup.loop.alone import Explanation, explain
from fitup.loop.compare import whitener
from fitup.loop.conflict import Conflict, conflicts
from fitup.loop.fit import expected, fit, linear
from fitup.loop.hypotheses import Assumptions, Parameter, assumptions_of
from fitup.loop.predict import Round
from fitup.model import STEEL, Job, Learned, What

#: corrections of a kind are carried on when a variance of it fell by at least this share
SEEN: Final = 0.05
#: twice the logarithm of the odds against one seat having sunk: one in twenty
SELDOM: Final = 6.0
#: where even all assumptions together leave more than this (chance 0.1 %), something else is wrong
_UNEXPLAINED: Final = 1e-3
_LASTING: Final[tuple[What, ...]] = ("stiffness", "bedding", "movement", "expansion")


@dataclass(frozen=True, eq=False)
class Lesson:
    """What a round teaches."""

    explanations: tuple[Explanation, ...]
    """The likeliest first."""
    as_assumed: float
    """Probability that every assumption holds."""
    parameters: tuple[Parameter, ...]
    prior: Array
    mean: Array
    """Fitted together (p,)."""
    covariance: Array
    chi_square: float
    """Differences as they are."""
    degrees: int
    chi_left: float
    """Differences left by the fit, weighted by surveys and prior together."""
    limit: float
    """Chance keeps ``chi_left`` below this in 999 of 1000 rounds."""
    conflicts: tuple[Conflict, ...] = ()
    """Assumptions farther off than the job says they may be."""

    @property
    def explained(self) -> bool:
        """The assumptions, within their priors, can account for what was found."""
        return self.chi_left <= self.limit

    @property
    def may_be_carried(self) -> bool:
        """What was fitted explains the round, and lies where the job says it may."""
        return self.explained and not self.conflicts

    @property
    def seen(self) -> Array:
        """Share (p,) of each prior variance that the round took away."""
        return 1.0 - np.diag(self.covariance) / np.diag(self.prior)


def learn(one: Round) -> Lesson:
    """Return what explains a round best, and the corrections from all assumptions together.

    Parameters
    ----------
    one : Round

    Returns
    -------
    Lesson
    """
    model = assumptions_of(one)
    white = whitener(one.covariance)
    nothing = np.zeros(len(model.parameters))
    raw = white @ (one.found - model.predicted(nothing))
    chi, degrees = float(raw @ raw), len(raw)
    explanations, none = explain(model, white)
    limit = float(chdtri(degrees, _UNEXPLAINED))
    fitted = [i for i, p in enumerate(model.parameters) if p.kind != "settlement"]
    fitted = _with_settled(model, white, fitted)
    if not fitted:
        empty = np.zeros((0, 0))
        return Lesson(explanations, none, (), empty, nothing[:0], empty, chi, degrees, chi, limit)
    prior = model.prior[np.ix_(fitted, fitted)]
    basis = np.eye(len(nothing))[:, fitted]
    together = fit(model, white, basis, prior)
    C, left = linear(model, white, basis, together.value)
    return Lesson(
        explanations,
        none,
        tuple(model.parameters[i] for i in fitted),
        prior,
        together.value,
        together.covariance,
        chi,
        degrees,
        float(left @ np.linalg.solve(expected(C, prior), left)),
        limit,
        conflicts(
            [model.parameters[i] for i in fitted], prior, together.value, together.covariance
        ),
    )


def _with_settled(model: Assumptions, white: Array, fitted: list[int]) -> list[int]:
    """Add seats that sank, one by one, as long as one more is called for.

    A seat seldom sinks: it is taken only where the evidence outweighs that.
    """
    rest = model.of("settlement")
    while rest:
        basis = np.eye(len(model.parameters))[:, fitted]
        prior = model.prior[np.ix_(fitted, fitted)]
        value = fit(model, white, basis, prior).value if fitted else np.zeros(0)
        C, left = linear(model, white, basis, value)
        columns = white @ model.columns(basis @ value)[:, rest]
        against = np.linalg.solve(expected(C, prior), columns)
        size = 1.0 + np.diag(model.prior)[rest] * (columns * against).sum(axis=0)
        along = against.T @ left
        gain = along**2 * np.diag(model.prior)[rest] / size - np.log(size)
        # a seat sinks; one that seems to rise is softer and was unloaded, or something else
        gain[along <= 0.0] = -np.inf
        best = int(gain.argmax())
        if gain[best] <= SELDOM:
            break
        fitted = [*fitted, rest.pop(best)]
    return fitted


def corrections(job: Job, lesson: Lesson, source: str) -> tuple[Learned, ...]:
    """Return the lasting corrections for the next job, those of earlier rounds included.

    Parameters
    ----------
    job : Job
        The one the round began with; its own corrections are in its values.
    lesson : Lesson
    source : str
        Where they come from, for the table.
    """
    stated = {
        kind
        for kind, share in zip((p.kind for p in lesson.parameters), lesson.seen, strict=True)
        if share >= SEEN
    }
    stated |= {one.what for one in job.learned}
    chosen = [i for i, p in enumerate(lesson.parameters) if p.kind in stated and p.kind in _LASTING]
    sigma = np.sqrt(np.diag(lesson.covariance))
    before = {(one.what, one.at): one.value for one in job.learned}
    result = []
    for row, i in enumerate(chosen):
        p = lesson.parameters[i]
        what = next(w for w in _LASTING if w == p.kind)
        at = p.at or STEEL
        r = [float(lesson.covariance[i, j] / (sigma[i] * sigma[j])) for j in chosen[:row]]
        value = _corrected(job, what, at, float(lesson.mean[i]), before)
        result.append(Learned(what, at, value, float(sigma[i]), tuple(r), source))
    return tuple(result)


def _corrected(
    job: Job, what: What, at: str, off: float, before: dict[tuple[What, str], float]
) -> float:
    if what == "bedding":
        # a pack does not grow under load, and the table holds up to 10 mm
        return float(np.clip(job.seats[at].bedding + off, 0.0, 0.01))
    factor = float(np.exp(off)) if what == "stiffness" else 1.0 + off
    return before.get((what, at), 1.0) * factor
