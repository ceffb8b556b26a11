"""The probability that several checks that share their uncertainties are all inside at once.

The integral of a multivariate normal density over a box by separation of variables (A. Genz,
Numerical computation of multivariate normal probabilities, Journal of Computational and Graphical
Statistics 1 (1992) 141-149), the variables ordered so that the least likely come first, on
shifted lattice points of the square roots of primes. Shifts have a fixed seed.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from fitup.frames import Array

_SEED: Final = 20_310_402
_SHIFTS: Final = 8
#: own variance of every check beside what it shares, as a share: keeps the matrix regular where
#: checks are sums of one another, and changes no probability that matters
_OWN: Final = 1e-6
_TINY: Final = 1e-15


def box_probability(
    deviation: Array, covariance: Array, allowed: Array, points: int = 2003
) -> float:
    """Return the probability that every deviation is within the allowed one.

    Parameters
    ----------
    deviation : Array (m,)
        Estimates less aims.
    covariance : Array (m, m)
        It may be singular; a check without uncertainty counts as exact.
    allowed : Array (m,)
        Greatest deviations either way.
    points : int
        Lattice points for each of eight shifts; the default errs by about 0.0005 or less.

    Examples
    --------
    >>> round(box_probability(np.zeros(2), np.eye(2), np.full(2, 1.96)), 4)
    0.9025
    """
    spread = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    exact = spread <= 1e-9 * allowed
    if np.any(np.abs(deviation[exact]) > allowed[exact]):
        return 0.0
    if exact.all():
        return 1.0
    keep = ~exact
    unit = spread[keep]
    correlation = covariance[np.ix_(keep, keep)] / np.outer(unit, unit) + _OWN * np.eye(len(unit))
    low = (-allowed - deviation)[keep] / unit
    high = (allowed - deviation)[keep] / unit
    factor, order = _factor(correlation, low, high)
    return _integral(factor, low[order], high[order], points)


def _factor(matrix: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Return a Cholesky factor and the order of its rows, least likely variable first."""
    n = len(matrix)
    order = np.arange(n)
    L, mean = np.zeros((n, n)), np.zeros(n)
    for i in range(n):
        rest = order[i:]
        variance = np.maximum(matrix[rest, rest] - (L[i:, :i] ** 2).sum(axis=1), _TINY)
        root = np.sqrt(variance)
        shift = L[i:, :i] @ mean[:i]
        a, b = (low[rest] - shift) / root, (high[rest] - shift) / root
        k = i + int(np.argmin(ndtr(b) - ndtr(a)))
        order[[i, k]], L[[i, k]] = order[[k, i]], L[[k, i]]
        a_k, b_k, own = float(a[k - i]), float(b[k - i]), float(root[k - i])
        L[i, i] = own
        below = order[i + 1 :]
        L[i + 1 :, i] = (matrix[below, order[i]] - L[i + 1 :, :i] @ L[i, :i]) / own
        mean[i] = _mean_within(a_k, b_k)
    return L, order


def _mean_within(low: float, high: float) -> float:
    """Return the mean of a standard normal variable that lies between two values."""
    share = float(ndtr(high) - ndtr(low))
    if share < _TINY:
        return float(np.clip(0.0, low, high))
    return float(np.exp(-0.5 * low**2) - np.exp(-0.5 * high**2)) / (np.sqrt(2.0 * np.pi) * share)


def _integral(L: Array, low: Array, high: Array, points: int) -> float:
    n = len(L)
    rng = np.random.default_rng(_SEED)
    step = np.sqrt(_primes(n))
    shifts = rng.random((_SHIFTS, n))
    k = np.arange(1, points + 1)[:, None]
    lattice = np.vstack([np.abs(2.0 * np.mod(k * step + s, 1.0) - 1.0) for s in shifts])
    drawn = np.zeros((len(lattice), n))
    weight = np.ones(len(lattice))
    for i in range(n):
        shift = drawn[:, :i] @ L[i, :i]
        a, b = ndtr((low[i] - shift) / L[i, i]), ndtr((high[i] - shift) / L[i, i])
        weight *= b - a
        drawn[:, i] = ndtri(np.clip(a + lattice[:, i] * (b - a), _TINY, 1.0 - _TINY))
    return float(np.clip(weight.mean(), 0.0, 1.0))


def _primes(count: int) -> Array:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % p for p in found if p * p <= number):
            found.append(number)
        number += 1
    return np.array(found, dtype=np.float64)
