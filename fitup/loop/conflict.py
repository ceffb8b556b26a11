"""Where what a round shows contradicts how far the job says that an assumption may be off.

Where the priors hold, the fitted values m have the covariance P - C (prior less posterior): what
the data can move them by. A value, or the mean of all places of a kind, that lies many times its
root from zero says that prior and data contradict each other (M. Evans, H. Moshonov, Checking for
prior-data conflict, Bayesian Analysis 1, 2006, for the normal case). The fit is then a compromise
of two numbers neither of which it believes, and its uncertainty is too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from fitup.frames import Array
from fitup.loop.compare import BY_CHANCE
from fitup.loop.hypotheses import TOGETHER, Kind, Parameter

#: a number of which the round takes away a smaller share of the variance cannot contradict it
_SEEN: Final = 0.05


@dataclass(frozen=True, slots=True)
class Conflict:
    """One assumption, or all places of a kind alike: what the round alone says against the job."""

    kind: Kind
    at: str
    """Seat or segment; empty for the mean of all."""
    value: float
    """What the round alone gives, in the measure of :class:`Parameter`."""
    uncertainty: float
    prior: float
    """Standard uncertainty beforehand."""
    ratio: float
    """Distance over both uncertainties together."""


def conflicts(
    parameters: Sequence[Parameter], prior: Array, mean: Array, covariance: Array
) -> tuple[Conflict, ...]:
    """Return what contradicts its prior: of each kind the mean of all places, else the worst one.

    Parameters
    ----------
    parameters : sequence of Parameter
        The p that were fitted together.
    prior, covariance : Array (p, p)
        Before and after the round.
    mean : Array (p,)
        Fitted.

    Notes
    -----
    One round in a hundred has a conflict by chance (Bonferroni): half of that goes to the means of
    all places of a kind, which a round shows best, half to the places one by one.
    """
    tried = list(_combinations(parameters))
    means = sum(not at for _, at, _ in tried)
    limits = {
        mean: float(ndtri(1.0 - 0.25 * BY_CHANCE / max(1, count)))
        for mean, count in ((True, means), (False, len(tried) - means))
    }
    worst: dict[Kind, Conflict] = {}
    for kind, at, weights in tried:
        before, after = (float(weights @ spread @ weights) for spread in (prior, covariance))
        moved = before - after
        if moved <= _SEEN * before:
            continue
        value = float(weights @ mean)
        one = Conflict(
            kind,
            at,
            value * before / moved,
            float(np.sqrt(after * before / moved)),
            float(np.sqrt(before)),
            abs(value) / float(np.sqrt(moved)),
        )
        held = worst.get(kind)
        # the mean comes first: places that share their prior pull each other along
        if one.ratio > limits[not at] and (held is None or (held.at and one.ratio > held.ratio)):
            worst[kind] = one
    return tuple(worst.values())


def _combinations(parameters: Sequence[Parameter]) -> list[tuple[Kind, str, Array]]:
    """Return each number alone, then the mean of all places of a kind; sunk seats have no prior."""
    unit = np.eye(len(parameters))
    tried: list[tuple[Kind, str, Array]] = [
        (p.kind, p.at, unit[i]) for i, p in enumerate(parameters) if p.kind != "settlement"
    ]
    for kind in TOGETHER:
        own = [i for i, p in enumerate(parameters) if p.kind == kind]
        if len(own) > 1:
            tried.append((kind, "", unit[own].mean(axis=0)))
    return sorted(tried, key=lambda one: (one[0], one[1]))
