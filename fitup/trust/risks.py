"""Risks of a whole production of decisions, for any density of what is measured.

A tolerance is kept or not, and a measurement with its own error accepts or rejects. Over all items
the consumer's risk is the share that is accepted and outside, the producer's the share that is
rejected and inside (JCGM 106:2012, 9.5). What the items are beforehand may have any density, or be
known by earlier items only; errors of the measurement are normal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from scipy.special import ndtr

from fitup.frames import Array

#: nodes of the quadrature in each piece; its error is below 1e-9 for smooth densities
_NODES: Final = 64
#: pieces end this many uncertainties on either side of every limit
_WIDTHS: Final = (-8.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 8.0)


class Density(Protocol):
    """What the items are beforehand: a frozen distribution of scipy.stats has both."""

    def pdf(self, x: Array) -> Array:
        """Return the density at values."""

    def ppf(self, q: Array) -> Array:
        """Return the values below which shares lie."""


@dataclass(frozen=True, slots=True)
class Risks:
    """Shares of all items."""

    conforming: float
    """Inside the tolerance."""
    accepted: float
    consumer: float
    """Accepted and outside."""
    producer: float
    """Rejected and inside."""


def risks(
    prior: Density | Array, u: float, tolerance: tuple[float, float], accept: tuple[float, float]
) -> Risks:
    """Return the risks of accepting what is measured between two limits.

    Parameters
    ----------
    prior : Density or Array (n,)
        Density of the true values, or true values of earlier items.
    u : float
        Standard uncertainty of the measurement, above zero.
    tolerance : (float, float)
        Least and greatest true value that conforms; infinite for a one-sided tolerance.
    accept : (float, float)
        Least and greatest measured value that is accepted.

    Examples
    --------
    >>> from scipy.stats import gamma
    >>> found = risks(gamma(4, scale=0.25), 0.25, (-np.inf, 2.0), (-np.inf, 2.0))
    >>> round(found.consumer, 4)
    0.008
    """
    values, weights = _nodes(prior, u, (*tolerance, *accept))
    low, high = accept
    taken = ndtr((high - values) / u) - ndtr((low - values) / u)
    inside = (values >= tolerance[0]) & (values <= tolerance[1])
    return Risks(
        float(weights @ inside),
        float(weights @ taken),
        float(weights @ (taken * ~inside)),
        float(weights @ ((1.0 - taken) * inside)),
    )


def guard_band(
    prior: Density | Array, u: float, tolerance: tuple[float, float], risk: float
) -> float:
    """Return how far inside the tolerance to accept so that the consumer's risk is as chosen.

    Parameters
    ----------
    prior, u, tolerance
        As for :func:`risks`.
    risk : float
        Greatest share of all items that may be accepted and outside.

    Returns
    -------
    float
        Taken off every finite limit; below zero where more than the tolerance may be accepted, by
        ten uncertainties at most. A poor measurement is accepted hardly ever: look at
        ``risks(...).accepted`` with it.
    """
    from scipy.optimize import brentq

    low, high = tolerance
    half = 0.5 * (high - low)

    def miss(guard: float) -> float:
        return risks(prior, u, tolerance, (low + guard, high - guard)).consumer - risk

    least, most = -10.0 * u, min(half, 40.0 * u)
    if miss(least) <= 0.0:
        return least
    return float(brentq(miss, least, most, xtol=1e-9 * u))


def _nodes(prior: Density | Array, u: float, limits: tuple[float, ...]) -> tuple[Array, Array]:
    """Values and their weights: earlier items alike, or a quadrature in pieces about the limits."""
    if isinstance(prior, np.ndarray):
        return prior, np.full(len(prior), 1.0 / len(prior))
    ends = np.asarray(prior.ppf(np.array([1e-13, 1e-6, 0.01, 0.25, 0.5, 0.75, 0.99, 1 - 1e-6])))
    far = np.asarray(prior.ppf(np.array([1.0 - 1e-13])))
    near = [limit + w * u for limit in limits if np.isfinite(limit) for w in _WIDTHS]
    first, last = float(ends[0]), float(far[0])
    cuts = np.unique([x for x in (*ends, last, *near) if first <= x <= last])
    x, w = np.polynomial.legendre.leggauss(_NODES)
    middle, half = 0.5 * (cuts[1:] + cuts[:-1]), 0.5 * np.diff(cuts)
    values = (middle[:, None] + half[:, None] * x).ravel()
    weights = (half[:, None] * w).ravel() * prior.pdf(values)
    return values, weights
