"""Least squares held back by a prior: the closed solution, repeated about itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.loop.hypotheses import Assumptions

_STEPS: Final = 20
#: a step that moves no whitened difference by more is the last one
_DONE: Final = 1e-6


@dataclass(frozen=True, eq=False)
class Fit:
    """Numbers (q,), their covariance (q, q) and twice the log of the evidence over all zero."""

    value: Array
    covariance: Array
    evidence: float
    effect: Array
    """Whitened effect (r,) of one prior standard uncertainty of the first number."""


def linear(
    model: Assumptions, white: Array, basis: Array, prior: Array, value: Array
) -> tuple[Array, Array, Array]:
    """Return the columns at a fit, what is to be explained about it, and its covariance.

    Parameters
    ----------
    model : Assumptions
    white : Array (r, m + k)
        Whitening rows.
    basis : Array (p, q)
        The parameters are ``basis @ value``.
    prior : Array (q, q)
    value : Array (q,)
    """
    theta = basis @ value
    C = white @ model.columns(theta) @ basis
    left = white @ (model.round.found - model.predicted(theta)) + C @ value
    return C, left, C @ prior @ C.T + np.eye(len(C))


def fit(model: Assumptions, white: Array, basis: Array, prior: Array) -> Fit:
    """Fit numbers phi with prior N(0, Q), the parameters being ``basis @ phi``.

    Gauss-Newton on the whitened differences; each step is the closed solution
    phi = Q C' (C Q C' + 1)^-1 (d + C phi), the posterior Q - Q C' (C Q C' + 1)^-1 C Q. The evidence
    is Laplace's, exact where the columns do not change.
    """
    value = np.zeros(basis.shape[1])
    inner = value
    for _ in range(_STEPS):
        C, left, total = linear(model, white, basis, prior, value)
        inner = C.T @ np.linalg.solve(total, left)
        step = prior @ inner - value
        value = value + step
        if float(np.abs(C @ step).max(initial=0.0)) < _DONE:
            break
    C, left, total = linear(model, white, basis, prior, value)
    missed = left - C @ value
    covariance = prior - prior @ C.T @ np.linalg.solve(total, C @ prior)
    nothing = white @ (model.round.found - model.predicted(np.zeros(len(basis))))
    cost = missed @ missed + inner @ prior @ inner + np.linalg.slogdet(total)[1]
    return Fit(
        value,
        0.5 * (covariance + covariance.T),
        float(nothing @ nothing - cost),
        C[:, 0] * float(np.sqrt(prior[0, 0])),
    )
