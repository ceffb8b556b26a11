"""The re-survey against what was predicted: check by check, and all together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtrc, chdtri, ndtr

from fitup.frames import Array
from fitup.loop.predict import Prediction, Round, predict
from fitup.model import Check

#: differences up to this many standard uncertainties are as predicted (95 %)
AS_PREDICTED: Final = 1.96
#: and beyond this they are not (two-sided 0.1 %, the alpha0 of Baarda's B-method)
NOT_PREDICTED: Final = 3.2905
#: all of them together are by chance in all but this share of the rounds
BY_CHANCE: Final = 0.01
#: combinations of checks with less than this share of the variance say nothing new
_FLAT: Final = 1e-6


@dataclass(frozen=True, slots=True)
class CheckDifference:
    """One check: predicted and found at the reference temperature, and how far apart [m, m/m]."""

    check: Check
    predicted: float
    found: float
    uncertainty: float
    """Standard uncertainty of the difference."""
    predicted_there: float
    found_there: float
    """Both at the steel temperature of the new survey."""

    @property
    def difference(self) -> float:
        """Found less predicted."""
        return self.found - self.predicted

    @property
    def ratio(self) -> float:
        """Difference over its standard uncertainty."""
        return self.difference / self.uncertainty if self.uncertainty else 0.0

    @property
    def verdict(self) -> str:
        """As predicted, doubtful, or NOT as predicted."""
        return verdict_of(self.ratio)


@dataclass(frozen=True, slots=True)
class LoadDifference:
    """One seat whose reaction was measured before and after: its change [N]."""

    seat: str
    predicted: float
    found: float
    uncertainty: float

    @property
    def ratio(self) -> float:
        """Difference over its standard uncertainty."""
        return (self.found - self.predicted) / self.uncertainty if self.uncertainty else 0.0

    @property
    def verdict(self) -> str:
        """As predicted, doubtful, or NOT as predicted."""
        return verdict_of(self.ratio)


@dataclass(frozen=True, eq=False)
class Comparison:
    """A whole round against its prediction."""

    prediction: Prediction
    checks: tuple[CheckDifference, ...]
    loads: tuple[LoadDifference, ...]
    chi_square: float
    """Sum of squares of the differences, each independent one over its own uncertainty."""
    degrees: int
    """How many of them are independent."""
    limit: float
    """Chance stays below this in 99 of 100 rounds."""
    probability: float
    """Of a sum as large as this by chance."""

    @property
    def as_predicted(self) -> bool:
        """All together are no more than chance."""
        return self.chi_square <= self.limit

    @property
    def single(self) -> tuple[str, ...]:
        """Single checks and loads that are not as predicted, whatever all together are."""
        far = [d.check.id for d in self.checks if abs(d.ratio) > NOT_PREDICTED]
        return (*far, *(f"load of {d.seat}" for d in self.loads if abs(d.ratio) > NOT_PREDICTED))

    @property
    def chance_of_worst(self) -> float:
        """At most this is the chance that any difference is as far off as the worst (Bonferroni).

        As many are counted as are independent.
        """
        ratios = [d.ratio for d in self.checks] + [d.ratio for d in self.loads]
        worst = max(map(abs, ratios), default=0.0)
        return min(1.0, 2.0 * self.degrees * float(ndtr(-worst)))


def verdict_of(ratio: float) -> str:
    """Say how a difference of so many standard uncertainties is to be taken."""
    if abs(ratio) <= AS_PREDICTED:
        return "as predicted"
    return "doubtful" if abs(ratio) <= NOT_PREDICTED else "NOT as predicted"


def whitener(covariance: Array) -> Array:
    """Return rows W (r, m) with W C W' = 1 that leave out what says nothing new.

    Checks depend on each other (a step is the difference of two levels), so that a covariance
    has fewer independent combinations than checks. It is brought to one scale first: units of
    the checks do not matter.
    """
    scale = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    scale[scale == 0.0] = 1.0
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    keep = values > _FLAT * values[-1]
    return (vectors[:, keep] / np.sqrt(values[keep])).T / scale


def compare(one: Round) -> Comparison:
    """Hold a re-survey against its prediction.

    Parameters
    ----------
    one : Round

    Returns
    -------
    Comparison
        Both surveys are taken as independent of each other.
    """
    prediction = predict(one)
    covariance = one.covariance
    sigma = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    m = len(one.before.values)
    there = prediction.at_survey
    checks = tuple(
        CheckDifference(
            check,
            float(prediction.values[i]),
            float(one.after.values[i]),
            float(sigma[i]),
            float(prediction.values[i] + there[i]),
            float(one.after.values[i] + there[i]),
        )
        for i, check in enumerate(one.after.checks)
    )
    expected = one.rows @ one.moves
    loads = tuple(
        LoadDifference(
            one.influence.seats[seat],
            float(expected[m + j] + one.load_shift[j]),
            float(one.load_change[j]),
            float(sigma[m + j]),
        )
        for j, seat in enumerate(one.loaded)
    )
    white = whitener(covariance) @ (one.found - expected)
    degrees, chi = len(white), float(white @ white)
    return Comparison(
        prediction,
        checks,
        loads,
        chi,
        degrees,
        float(chdtri(degrees, BY_CHANCE)),
        float(chdtrc(degrees, chi)),
    )
