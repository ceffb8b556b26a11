"""Inside, outside or undecided: a check against its tolerance, with the risk chosen.

A check is *inside* when the probability that its true value is within the tolerance is at least
one less the risk, *outside* when it is at most the risk, *undecided* in between (JCGM 106:2012,
guarded acceptance and guarded rejection). Where the tolerance is wide against the uncertainty
this is the guard band of ISO 14253-1: 1.645 standard uncertainties at a risk of 5 %.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from scipy.special import ndtr

from fitup.model import Check

Conformity = Literal["inside", "outside", "undecided"]


def allowed_of(check: Check) -> float | None:
    """Return the greatest deviation of a check either way [m or m/m]; None: it is not judged.

    What is left is judged by the amount within which it is to be kept.
    """
    return check.tolerance if check.leave_within is None else check.leave_within


def aim_of(check: Check) -> float:
    """Return the value from which the deviation of a check counts [m or m/m]."""
    return check.target if check.leave_within is None else 0.0


def probability_inside(deviation: float, u: float, allowed: float) -> float:
    """Return the probability that the true deviation is within the allowed one.

    Parameters
    ----------
    deviation : float
        Estimate less aim.
    u : float
        Its standard uncertainty, normal; zero is exact.
    allowed : float
        Greatest deviation either way, above zero.

    Examples
    --------
    >>> round(probability_inside(0.0, 1.0, 1.645), 3)
    0.9
    """
    if u == 0.0:
        return 1.0 if abs(deviation) <= allowed else 0.0
    far = abs(deviation)
    # the smaller tail of a normal distribution keeps its digits, the larger does not
    return float(ndtr((allowed - far) / u) - ndtr((-allowed - far) / u))


def conformity(deviation: float, u: float, allowed: float, risk: float) -> Conformity:
    """Return what may be said of a check at a risk chosen, see the module.

    Parameters
    ----------
    deviation : float
        Estimate less aim.
    u : float
        Its standard uncertainty.
    allowed : float
        Greatest deviation either way, in the same unit.
    risk : float
        Accepted probability that what is said is wrong, 0 to 1.
    """
    return conformity_at(probability_inside(deviation, u, allowed), risk)


def conformity_at(probability: float, risk: float) -> Conformity:
    """Return what may be said of a check that is inside with a probability.

    Parameters
    ----------
    probability : float
    risk : float
        Accepted probability that what is said is wrong, 0 to 1.
    """
    if probability >= 1.0 - risk:
        return "inside"
    return "outside" if probability <= risk else "undecided"


def accepted(u: float, allowed: float, risk: float) -> float | None:
    """Return the greatest deviation either way that may be called inside.

    Parameters
    ----------
    u : float
        Standard uncertainty of the deviation.
    allowed : float
        Greatest deviation either way, in the same unit.
    risk : float
        Accepted probability that a check called inside is not.

    Returns
    -------
    float or None
        The allowed deviation less the guard band; None where even a deviation of zero could not
        be called inside: measure better first.
    """
    if probability_inside(0.0, u, allowed) < 1.0 - risk:
        return None
    return _deviation_at(1.0 - risk, u, allowed)


def rejected(u: float, allowed: float, risk: float) -> float:
    """Return the least deviation either way that may be called outside.

    Parameters
    ----------
    u : float
        Standard uncertainty of the deviation.
    allowed : float
        Greatest deviation either way, in the same unit.
    risk : float
        Accepted probability that a check called outside is inside.

    Returns
    -------
    float
        The allowed deviation plus the guard band; zero where any deviation may be called outside.
    """
    if probability_inside(0.0, u, allowed) <= risk:
        return 0.0
    return _deviation_at(risk, u, allowed)


def _deviation_at(probability: float, u: float, allowed: float) -> float:
    if u == 0.0:
        return allowed

    def miss(deviation: float) -> float:
        return probability_inside(deviation, u, allowed) - probability

    return _root(miss, 0.0, allowed + 10.0 * u)


def _root(miss: Callable[[float], float], low: float, high: float) -> float:
    if miss(low) == 0.0:
        return low
    from scipy.optimize import brentq

    return float(brentq(miss, low, high, xtol=1e-12 * high, rtol=1e-12))
