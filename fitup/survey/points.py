"""Values of the survey: points as measured, poses of segments, and a whole survey."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

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
class Shared:
    """Points that were measured together: their ids and whole covariance (3 k, 3 k) [m2]."""

    ids: tuple[str, ...]
    covariance: Array


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
    shared: tuple[Shared, ...] = ()
    """What points of one network have in common; other points are independent."""
    solved: Mapping[int, Solved] = field(default_factory=dict)
    """The networks behind it, by the place of their epoch in ``Job.epochs``."""

    @property
    def covariance(self) -> Array:
        """Covariance of all coordinates (3 n, 3 n) [m2], in the order of ``points``."""
        result: Array = np.diag(np.concatenate([p.uncertainty for p in self.points.values()]) ** 2)
        for here, block in self._blocks():
            result[np.ix_(here, here)] = block
        return result

    @property
    def root(self) -> Array:
        """Symmetric root (3 n, 3 n) of the covariance [m]: column 3 i + k is mostly of point i."""
        result: Array = np.diag(np.concatenate([p.uncertainty for p in self.points.values()]))
        for here, block in self._blocks():
            values, vectors = np.linalg.eigh(block)
            result[np.ix_(here, here)] = (vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T
        return result

    def _blocks(self) -> Iterator[tuple[Array, Array]]:
        """Places of shared points among all coordinates, and their covariance."""
        place = {name: i for i, name in enumerate(self.points)}
        for one in self.shared:
            known = [(place[n], k) for k, n in enumerate(one.ids) if n in place]
            if not known:
                continue
            here = np.concatenate([3 * i + np.arange(3) for i, _ in known])
            there = np.concatenate([3 * k + np.arange(3) for _, k in known])
            yield here, one.covariance[np.ix_(there, there)]
