"""Values of the survey: points as measured, poses of segments, and a whole survey."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from fitup.frames import Array, Motion
from fitup.model import Epoch
from fitup.network.solve import Solved
from fitup.survey.steel import Steel
from fitup.survey.verdict import Verdict


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
    unit: str = ""
    """Unit that the coordinates were listed in; nothing for those of a network."""


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


@dataclass(frozen=True, slots=True)
class Scatter:
    """Fabrication scatter of one segment, one standard deviation of each coordinate [m]."""

    value: float
    how: Literal["stated", "estimated"]


@dataclass(frozen=True, slots=True)
class Carried:
    """A point nobody measured: it is where the design shape of its segment puts it."""

    segment: str
    scatter: float
    """Of the steel about its drawing, one standard deviation of each coordinate [m]."""


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
    scatter: Mapping[str, Scatter] = field(default_factory=dict)
    """Segment -> how far its steel is from its drawing, where that was stated or shows."""
    carried: Mapping[str, Carried] = field(default_factory=dict)
    """Points nobody measured whose fabrication scatter counts."""
    verdict: Verdict = Verdict()

    @property
    def story(self) -> tuple[str, ...]:
        """What was understood, after the verdict."""
        return self.understood[len(self.verdict.lines) :]

    @property
    def shaped(self) -> dict[str, float]:
        """Points whose fabrication scatter [m] reaches the checks.

        Those that are carried, and the measured ones that carry them.
        """
        result = {name: one.scatter for name, one in self.carried.items()}
        for one in self.carried.values():
            result |= dict.fromkeys(self.poses[one.segment].points, one.scatter)
        return result

    @property
    def covariance(self) -> Array:
        """Covariance [m2] of all coordinates, in the order of ``points``, then ``shaped``."""
        result: Array = np.diag(self.apart**2)
        for here, block in self._blocks():
            result[np.ix_(here, here)] = block
        return result

    @property
    def root(self) -> Array:
        """Symmetric root of the covariance [m]: column 3 i + k is mostly of point i."""
        result: Array = np.diag(self.apart)
        for here, block in self._blocks():
            values, vectors = np.linalg.eigh(block)
            result[np.ix_(here, here)] = (vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T
        return result

    @property
    def apart(self) -> Array:
        """Standard uncertainties as if all were independent [m]."""
        own = [p.uncertainty for p in self.points.values()]
        return np.concatenate([*own, *(np.full(3, s) for s in self.shaped.values())])

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
