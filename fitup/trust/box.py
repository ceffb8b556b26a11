"""The probability that several checks that share their uncertainties are all inside at once.

The integral of a multivariate normal density over a box by separation of variables (A. Genz,
Numerical computation of multivariate normal probabilities, Journal of Computational and Graphical
Statistics 1 (1992) 141-149), the variables ordered so that the least likely come first, on
shifted lattice points of the square roots of primes. Shifts have a fixed seed.
"""

from __future__ import annotations

from dataclasses import dataclass
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
#: what a printed probability may be off
ERROR: Final = 0.0005
#: points are doubled so often at most
_DOUBLINGS: Final = 4
#: points times variables of one shift beyond which they are not: a hundred checks take seconds
_WORK: Final = 1_000_000
#: 99 % point of Student's t for seven degrees of freedom, two-sided
_STUDENT: Final = 3.4995


@dataclass(frozen=True, slots=True)
class BoxProbability:
    """A probability, and how far it may be off: at most ``error`` with 99 %."""

    value: float
    error: float


def box_probability(
    deviation: Array, covariance: Array, allowed: Array, points: int = 2003
) -> float:
    """Return the probability that every deviation is within the allowed one, see :func:`sure_box`.

    Parameters
    ----------
    deviation : Array (m,)
        Estimates less aims.
    covariance : Array (m, m)
        It may be singular; a check without uncertainty counts as exact.
    allowed : Array (m,)
        Greatest deviations either way.
    points : int
        Lattice points for each of eight shifts. How far that may be off is not asked here: few
        checks err by some 0.0001, a hundred that share much by 0.002.

    Examples
    --------
    >>> round(box_probability(np.zeros(2), np.eye(2), np.full(2, 1.96)), 4)
    0.9025
    """
    return sure_box(deviation, covariance, allowed, np.inf, points).value


def sure_box(
    deviation: Array,
    covariance: Array,
    allowed: Array,
    error: float = ERROR,
    points: int = 2003,
) -> BoxProbability:
    """Return the probability that every deviation is within the allowed one, with its error.

    Points are doubled until the eight shifts, each an estimate of its own, agree well enough: the
    error is the 99 % point of Student's t, seven degrees of freedom, times the standard error of
    their mean.

    Parameters
    ----------
    deviation : Array (m,)
        Estimates less aims.
    covariance : Array (m, m)
        It may be singular; a check without uncertainty counts as exact.
    allowed : Array (m,)
        Greatest deviations either way.
    error : float
        What it is to stay below; doubling stops at 16 times the first points, or
        at a million points times variables.
    points : int
        Lattice points for each of eight shifts, to begin with.

    Examples
    --------
    >>> found = sure_box(np.zeros(2), np.eye(2), np.full(2, 1.96))
    >>> round(found.value, 4), found.error < 0.0005
    (0.9025, True)
    """
    spread = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    exact = spread <= 1e-9 * allowed
    if np.any(np.abs(deviation[exact]) > allowed[exact]):
        return BoxProbability(0.0, 0.0)
    if exact.all():
        return BoxProbability(1.0, 0.0)
    keep = ~exact
    unit = spread[keep]
    correlation = covariance[np.ix_(keep, keep)] / np.outer(unit, unit) + _OWN * np.eye(len(unit))
    low = (-allowed - deviation)[keep] / unit
    high = (allowed - deviation)[keep] / unit
    factor, order = _factor(correlation, low, high)
    limits = low[order], high[order]
    for count in (points << n for n in range(_DOUBLINGS + 1)):
        if count > points and count * len(factor) > _WORK:
            break
        shifted = _integral(factor, *limits, count)
        off = float(_STUDENT * shifted.std(ddof=1) / np.sqrt(len(shifted)))
        if off <= error:
            break
    return BoxProbability(float(np.clip(shifted.mean(), 0.0, 1.0)), off)


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


def _integral(L: Array, low: Array, high: Array, points: int) -> Array:
    """Return the estimate of each shift (8,)."""
    n = len(L)
    step = np.sqrt(_primes(n))[:, None]
    shifts = np.random.default_rng(_SEED).random((_SHIFTS, n))
    k = step * np.arange(1, points + 1)
    return np.array([_shifted(L, low, high, k + one[:, None]) for one in shifts])


def _shifted(L: Array, low: Array, high: Array, places: Array) -> float:
    """Return the mean weight of points (n, p), a row for each variable."""
    lattice = np.abs(2.0 * np.mod(places, 1.0) - 1.0)
    weight = np.ones(lattice.shape[1])
    for i in range(len(L)):
        # rows before this one hold what was drawn already
        shift = L[i, :i] @ lattice[:i]
        a, b = ndtr((low[i] - shift) / L[i, i]), ndtr((high[i] - shift) / L[i, i])
        weight *= b - a
        lattice[i] = ndtri(np.clip(a + lattice[i] * (b - a), _TINY, 1.0 - _TINY))
    return float(weight.mean())


def _primes(count: int) -> Array:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % p for p in found if p * p <= number):
            found.append(number)
        number += 1
    return np.array(found, dtype=np.float64)
