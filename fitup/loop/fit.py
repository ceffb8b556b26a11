"""Least squares held back by a prior: the closed solution, repeated about itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.loop.hypotheses import Assumptions

_STEPS: Final = 20
#: a step that moves no whitened difference by more is the last one
_DONE: Final = 1e-5


@dataclass(frozen=True, eq=False)
class AssumptionFit:
    """Numbers (q,), their covariance (q, q) and twice the log of the evidence over all zero."""

    value: Array
    covariance: Array
    evidence: float
    effect: Array
    """Whitened effect (r,) of one prior standard uncertainty of the first number."""


def linear(model: Assumptions, white: Array, basis: Array, value: Array) -> tuple[Array, Array]:
    """Return the whitened columns about a fit, and what is to be explained about it.

    Parameters
    ----------
    model : Assumptions
    white : Array (r, m + k)
        Whitening rows.
    basis : Array (p, q)
        The parameters are ``basis @ value``.
    value : Array (q,)
    """
    theta = basis @ value
    C = white @ model.columns(theta) @ basis
    return C, white @ (model.round.found - model.predicted(theta)) + C @ value


def expected(C: Array, prior: Array) -> Array:
    """Return the covariance (r, r) of what is to be explained, where the priors hold.

    Parameters
    ----------
    C : Array (r, q)
        Whitened columns, as :func:`linear` returns them.
    prior : Array (q, q)
        Covariance of the numbers beforehand.
    """
    spread: Array = C @ prior @ C.T
    return spread + np.eye(len(C))


def fit(model: Assumptions, white: Array, basis: Array, prior: Array) -> AssumptionFit:
    """Fit numbers phi with prior N(0, L L').

    Gauss-Newton on the whitened differences d. With phi = L z a step is ordinary least squares of
    [C L; 1] z = [d + C phi; 0], solved by reflections so that a wide prior costs no digits; with
    T its triangle the covariance is (L T^-1)(L T^-1)'. The evidence is Laplace's, exact where the
    columns do not change.

    Parameters
    ----------
    model : Assumptions
    white : Array (r, m + k)
        Whitening rows.
    basis : Array (p, q)
        The parameters are ``basis @ phi``.
    prior : Array (q, q)
        The covariance L L' of phi beforehand.
    """
    size, vectors = np.linalg.eigh(prior)
    root = vectors * np.sqrt(np.clip(size, 0.0, None))
    value = np.zeros(basis.shape[1])
    for _ in range(_STEPS):
        C, left = linear(model, white, basis, value)
        Q, T = np.linalg.qr(np.vstack([C @ root, np.eye(len(root))]))
        z = np.linalg.solve(T, Q[: len(C)].T @ left)
        step = root @ z - value
        value = value + step
        if float(np.abs(C @ step).max(initial=0.0)) < _DONE:
            break
    spread = np.linalg.solve(T.T, root.T).T
    theta = basis @ value
    missed = white @ (model.round.found - model.predicted(theta))
    nothing = white @ (model.round.found - model.predicted(np.zeros(len(basis))))
    cost = missed @ missed + z @ z + 2.0 * np.log(np.abs(np.diag(T))).sum()
    effect = white @ model.columns(theta) @ basis[:, 0] * np.sqrt(prior[0, 0])
    return AssumptionFit(value, spread @ spread.T, float(nothing @ nothing - cost), effect)
