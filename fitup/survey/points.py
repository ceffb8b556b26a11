"""Values of the survey: points as measured, poses of segments, and a whole survey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fitup.frames import Array, Motion
from fitup.model import Epoch
from fitup.network.solve import Solved
from fitup.survey.steel import Steel


@dataclass(frozen=True, eq=False)
class SurveyedPoint:
    """A point as surveyed: coordinates (3,) and standard uncertainties (3,) [m], and its place."""

    id: str
    position: Array
    uncertainty: Array
    epoch: int
    """Index into ``Job.epochs``."""
    row: int
    """Row in the survey file."""


@dataclass(frozen=True, eq=False)
class CoordinateList:
    """One survey file as understood.

    ``understood`` says in plain lines what was read: how many points, which order, which unit,
    which uncertainty, which rows were not used and why.
    """

    file: str
    points: tuple[SurveyedPoint, ...]
    unused: tuple[str, ...]
    understood: tuple[str, ...]
    covariance: Array | None = None
    """Of all coordinates (3 k, 3 k) [m2] where points are not independent, in their order."""


@dataclass(frozen=True, eq=False)
class Pose:
    """Where the survey found a segment.

    Parameters
    ----------
    segment : str
    design2site : Motion
        Carries design points onto the survey; its centre is the mean of the points used.
    covariance : Array (6, 6)
        Of shift [m] and turn [rad] about that centre, a priori (stated uncertainties).
    points : tuple of str
        Points used.
    residuals : Array (k, 3)
        Surveyed minus carried design [m], in the order of ``points``.
    gain : Array (6, 3 k)
        How shift and turn answer to each surveyed coordinate of ``points``.
    ratio : float
        Largest residual over its standard uncertainty.
    variance_factor : float
        Weighted sum of squared residuals over the redundancy.
    redundancy : int
        3 k - 6.
    """

    segment: str
    design2site: Motion
    covariance: Array
    points: tuple[str, ...]
    residuals: Array
    gain: Array
    ratio: float
    variance_factor: float
    redundancy: int


@dataclass(frozen=True, eq=False)
class Survey:
    """A survey that may be believed: points at the reference temperature, poses, and its story."""

    points: Mapping[str, SurveyedPoint]
    poses: Mapping[str, Pose]
    epoch_of: Mapping[str, Epoch]
    """Segment -> the epoch its points come from."""
    steel: Mapping[str, Steel]
    """Segment -> its steel temperature at the survey."""
    understood: tuple[str, ...]
    covariance: Array
    """Of all coordinates (3 n, 3 n) [m2], in the order of ``points``."""
    solved: Mapping[int, Solved] = field(default_factory=dict)
    """The networks behind it, by the place of their epoch in ``Job.epochs``."""
