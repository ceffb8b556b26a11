"""Which assumption explains what the re-survey found, and the corrections that follow from all.

Every assumption is a number with a prior (docs/loop.md): how far it may be off. For one assumption
at a time the evidence against "all as assumed" is the Bayes factor of the two Gaussians; for the
corrections all are fitted together, weighted by both surveys and held back by the prior. What the
survey cannot see keeps its prior value and its prior uncertainty.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri

from fitup.frames import Array
from fitup.loop.compare import whitener
from fitup.loop.hypotheses import KINDS, TOGETHER, Assumptions, Kind, Parameter, assumptions_of
from fitup.loop.predict import Round
from fitup.model import STEEL, Job, Learned, What

#: two assumptions whose effects are this parallel predict the same, whatever their size
SAME: Final = 0.98
#: corrections of a kind are carried on when a variance of it fell by at least this share
SEEN: Final = 0.05
#: twice the logarithm of the odds against one seat having sunk: one in twenty
SELDOM: Final = 6.0
#: where even all assumptions together leave more than this (chance 0.1 %), something else is wrong
_UNEXPLAINED: Final = 1e-3
_STEPS: Final = 20
_LASTING: Final[tuple[What, ...]] = ("stiffness", "bedding", "movement", "expansion")


@dataclass(frozen=True, slots=True)
class Explanation:
    """One assumption alone: how far off it would have to be, and how well that explains."""

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

    @property
    def explained(self) -> bool:
        """The assumptions, within their priors, can account for what was found."""
        return self.chi_left <= self.limit

    @property
    def seen(self) -> Array:
        """Share (p,) of each prior variance that the round took away."""
        return 1.0 - np.diag(self.covariance) / np.diag(self.prior)


@dataclass(frozen=True, eq=False)
class _Fit:
    value: Array
    covariance: Array
    log_evidence: float
    column: Array
    """Whitened effect of one prior standard uncertainty of the first number."""


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
    explanations, none = _alone(model, white, -0.5 * chi)
    limit = float(chdtri(degrees, _UNEXPLAINED))
    fitted = [i for i, p in enumerate(model.parameters) if p.kind != "settlement"]
    fitted = _with_settled(model, white, fitted)
    if not fitted:
        empty = np.zeros((0, 0))
        return Lesson(explanations, none, (), empty, nothing[:0], empty, chi, degrees, chi, limit)
    prior = model.prior[np.ix_(fitted, fitted)]
    basis = np.eye(len(nothing))[:, fitted]
    fit = fit_together(model, white, basis, prior)
    left, total = _linear(model, white, basis, prior, fit.value)
    return Lesson(
        explanations,
        none,
        tuple(model.parameters[i] for i in fitted),
        prior,
        fit.value,
        fit.covariance,
        chi,
        degrees,
        float(left @ np.linalg.solve(total, left)),
        limit,
    )


def _with_settled(model: Assumptions, white: Array, fitted: list[int]) -> list[int]:
    """Add seats that sank, one by one, as long as one more is called for.

    A seat seldom sinks: it is taken only where the evidence outweighs that.
    """
    rest = model.of("settlement")
    while rest:
        basis = np.eye(len(model.parameters))[:, fitted]
        prior = model.prior[np.ix_(fitted, fitted)]
        value = fit_together(model, white, basis, prior).value if fitted else np.zeros(0)
        left, total = _linear(model, white, basis, prior, value)
        columns = white @ model.columns(basis @ value)[:, rest]
        against = np.linalg.solve(total, columns)
        size = 1.0 + np.diag(model.prior)[rest] * (columns * against).sum(axis=0)
        gain = (against.T @ left) ** 2 * np.diag(model.prior)[rest] / size - np.log(size)
        best = int(gain.argmax())
        if gain[best] <= SELDOM:
            break
        fitted = [*fitted, rest.pop(best)]
    return fitted


def _linear(
    model: Assumptions, white: Array, basis: Array, prior: Array, value: Array
) -> tuple[Array, Array]:
    """Return what is to be explained about a fit, and its covariance where the priors hold."""
    theta = basis @ value
    C = white @ model.columns(theta) @ basis
    left = white @ (model.round.found - model.predicted(theta)) + C @ value
    return left, C @ prior @ C.T + np.eye(len(C))


def fit_together(model: Assumptions, white: Array, basis: Array, prior: Array) -> _Fit:
    """Fit numbers phi with prior N(0, Q), the parameters being ``basis @ phi``.

    Gauss-Newton on the whitened differences; each step is the closed solution
    phi = Q C' (C Q C' + 1)^-1 (d + C phi), the posterior Q - Q C' (C Q C' + 1)^-1 C Q. The evidence
    is Laplace's, exact where the columns do not change.
    """
    value = np.zeros(basis.shape[1])
    inner = value
    for _ in range(_STEPS):
        C = white @ model.columns(basis @ value) @ basis
        left, total = _linear(model, white, basis, prior, value)
        inner = C.T @ np.linalg.solve(total, left)
        step = prior @ inner - value
        value = value + step
        if float(np.abs(C @ step).max(initial=0.0)) < 1e-6:
            break
    C = white @ model.columns(basis @ value) @ basis
    left, total = _linear(model, white, basis, prior, value)
    left = left - C @ value
    covariance = prior - prior @ C.T @ np.linalg.solve(total, C @ prior)
    evidence = -0.5 * (left @ left + inner @ prior @ inner + np.linalg.slogdet(total)[1])
    size = np.sqrt(np.diag(prior))
    return _Fit(value, 0.5 * (covariance + covariance.T), float(evidence), C[:, 0] * size[0])


def _alone(
    model: Assumptions, white: Array, nothing: float
) -> tuple[tuple[Explanation, ...], float]:
    """Return every assumption alone, the likeliest first, and how likely none is wrong."""
    told: list[tuple[Kind, str, _Fit]] = []
    for kind, at, basis, variance in _candidates(model):
        fit = fit_together(model, white, basis[:, None], np.array([[variance]]))
        # what moves no check by a thousandth of its uncertainty cannot be told at all
        if float(np.linalg.norm(fit.column)) > 1e-3:
            told.append((kind, at, fit))
    if not told:
        return (), 1.0
    told.sort(key=lambda entry: -entry[2].log_evidence)
    logs = np.array([fit.log_evidence - nothing for _, _, fit in told])
    top = max(0.0, float(logs.max()))
    odds = np.exp(logs - top) / len(told)
    none = float(np.exp(-top))
    total = none + float(odds.sum())
    unit = np.array([fit.column / np.linalg.norm(fit.column) for _, _, fit in told])
    parallel = np.abs(unit @ unit.T) >= SAME
    explanations = tuple(
        Explanation(
            kind,
            at,
            float(fit.value[0]),
            float(np.sqrt(fit.covariance[0, 0])),
            2.0 * float(logs[i]),
            float(odds[i]) / total,
            tuple(j for j in range(len(told)) if j != i and parallel[i, j]),
        )
        for i, (kind, at, fit) in enumerate(told)
    )
    return explanations, none / total


def _candidates(model: Assumptions) -> Iterator[tuple[Kind, str, Array, float]]:
    """Yield each assumption alone: each place of a kind, and all places of it alike."""
    size = len(model.parameters)
    for kind in KINDS:
        own = model.of(kind)
        for i in own:
            yield kind, model.parameters[i].at, np.eye(size)[i], float(model.prior[i, i])
        if kind in TOGETHER and len(own) > 1:
            alike = np.zeros(size)
            alike[own] = 1.0
            # the mean of all of them has this variance beforehand
            yield kind, "", alike, float(alike @ model.prior @ alike) / len(own) ** 2


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
    told = {
        kind
        for kind, share in zip((p.kind for p in lesson.parameters), lesson.seen, strict=True)
        if share >= SEEN
    }
    told |= {one.what for one in job.learned}
    chosen = [i for i, p in enumerate(lesson.parameters) if p.kind in told and p.kind in _LASTING]
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
