"""What the redundancy of a network can find: tests, smallest detectable errors, their effects.

W. Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic Commission,
Delft 1968. With P the weights, v the residuals and Q their cofactors, the test of observation i
is w = e' P v / sqrt(e' P Q P e); an error of (k + z) / sqrt(e' P Q P e) is found with the power
of z when k is the critical value.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri, chndtr, chndtrinc, ndtri

from fitup.frames import Array
from fitup.network.adjust import Adjusted

#: chance that a clean survey is refused, for each of its two tests
ALPHA: Final = 1e-3
#: chance that an error of the smallest detectable size is found
POWER: Final = 0.8
#: an observation whose error shows in its residual by less than this share is not checked
CHECKED: Final = 1e-4


def critical_value(tests: int = 1, alpha: float = ALPHA) -> float:
    """Critical value when the largest of so many standardised residuals is looked at.

    Parameters
    ----------
    tests : int
        How many residuals are looked at.
    alpha : float
        Chance, at most, that any of them exceeds the value in clean data, of either sign.

    Examples
    --------
    >>> round(critical_value(), 4)
    3.2905
    """
    return float(-ndtri(alpha / (2.0 * max(1, tests))))


def detectable(critical: float, power: float = POWER) -> float:
    """Smallest error that is found, in standard uncertainties of its test.

    Parameters
    ----------
    critical : float
        Critical value of the standardised residual.
    power : float
        Chance of finding it.

    Examples
    --------
    >>> round(detectable(critical_value()), 4)
    4.1321
    """
    return critical + float(ndtri(power))


def matched_alpha(freedom: int, noncentrality: float, power: float = POWER) -> float:
    """Level of a test of several degrees of freedom that finds the same error as one of one.

    Baarda's B-method: all tests have one noncentrality and one power.

    Parameters
    ----------
    freedom : int
        Degrees of freedom of the test.
    noncentrality, power : float
        The same for all tests.

    Returns
    -------
    float
        Chance that the test fails on clean data.
    """

    def missed(limit: float) -> float:
        return float(chndtr(limit, freedom, noncentrality)) - (1.0 - power)

    from scipy.optimize import brentq

    limit = brentq(missed, 1e-6, freedom + 20.0 * noncentrality)
    from scipy.special import chdtrc

    return float(chdtrc(freedom, limit))


def noncentrality(freedom: int, limit: float, power: float = POWER) -> float:
    """Return how noncentral chi-square must be to exceed a limit with a given chance.

    Parameters
    ----------
    freedom : int
    limit : float
        Of the sum of squares.
    power : float
        Chance of exceeding it.

    Examples
    --------
    With one degree of freedom it is the square of the smallest error that is found.

    >>> round(noncentrality(1, critical_value() ** 2) ** 0.5, 4)
    4.1321
    """
    return float(chndtrinc(limit, freedom, 1.0 - power))


@dataclass(frozen=True, eq=False)
class Reliability:
    """What can be said of every observation (m,); nan where it did not count or is not checked.

    Parameters
    ----------
    redundancy : Array
        Share of an error that shows in the residual.
    w : Array
        Standardised residual.
    detectable : Array
        Smallest error that is found [rad, m].
    critical : float
        Critical value of w.
    squares, freedom, limit : float, int, float
        Global test: weighted squares of the residuals, their degrees of freedom, what is allowed.
    """

    redundancy: Array
    w: Array
    detectable: Array
    critical: float
    squares: float
    freedom: int
    limit: float

    @property
    def factor(self) -> float:
        """Variance factor: 1 when the residuals are as large as stated; nan without redundancy."""
        return self.squares / self.freedom if self.freedom > 0 else float("nan")

    @property
    def passed(self) -> bool:
        """Whether the global test and every single test are passed."""
        worst = float(np.nanmax(np.abs(self.w), initial=0.0))
        return worst <= self.critical and (self.freedom <= 0 or self.squares <= self.limit)


def reliability(adjusted: Adjusted) -> Reliability:
    """Test every observation of an adjusted network."""
    weights = adjusted.weights
    rows = weights.T @ (weights @ adjusted.slopes)
    own = np.asarray(weights.power(2).sum(axis=0))
    left = own - adjusted.selected.quadratic(rows)
    checked = adjusted.used & (left > CHECKED * own) & (own > 0.0)
    tested = int(checked.sum())
    critical = critical_value(tested)
    pull = weights.T @ (weights @ adjusted.residuals)
    redundancy, w, smallest = (np.full(len(own), np.nan) for _ in range(3))
    counted = adjusted.used & (own > 0.0)
    redundancy[counted] = np.clip(left[counted] / own[counted], 0.0, 1.0)
    root = np.sqrt(left[checked])
    w[checked] = pull[checked] / root
    smallest[checked] = detectable(critical) / root
    freedom = adjusted.redundancy
    limit = float(chdtri(freedom, ALPHA)) if freedom > 0 else 0.0
    return Reliability(redundancy, w, smallest, critical, adjusted.squares, freedom, limit)


def unseen_effects(adjusted: Adjusted, tested: Reliability, functions: Array) -> Array:
    """Effects (m, q) of the smallest detectable error of each observation.

    Parameters
    ----------
    adjusted, tested
    functions : Array (q, n)
        Linear functions of the unknowns, such as the checks of a joint.

    Returns
    -------
    Array (m, q)
        Nan where an observation is not checked at all.
    """
    count = adjusted.slopes.shape[1]
    wide = np.zeros((count, len(functions)))
    wide[: functions.shape[1]] = functions.T
    answer = adjusted.factor.solve(wide)
    if adjusted.gauge is not None:
        answer = adjusted.gauge.laid_functions(answer, wide)
    rows = adjusted.weights.T @ (adjusted.weights @ adjusted.slopes)
    return np.asarray(rows @ answer) * tested.detectable[:, None]
