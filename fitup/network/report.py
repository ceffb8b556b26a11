"""What a survey report says of one epoch, as values: set-ups, residuals, ellipses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.network.adjust import point_covariance
from fitup.network.observations import Observation, station
from fitup.network.solve import Solved

#: how many residuals are listed
MOST: Final = 8


@dataclass(frozen=True, slots=True)
class SetupLine:
    """One set-up: where it stood, what it saw, its instrument errors, its largest residual."""

    id: str
    over: str | None
    sights: int
    u: float
    """Standard uncertainty of its place, the larger axis of its ellipse [m]; 0 where held."""
    collimation: float | None
    index: float | None
    worst: float
    """Largest standardised residual; nan where nothing is checked."""
    worst_target: str


@dataclass(frozen=True, slots=True)
class ResidualLine:
    """One observation with its residual [rad, m], both also as a length at the target [m]."""

    id: str
    kind: str
    value: float
    residual: float
    at_target: float
    w: float
    redundancy: float
    detectable_at_target: float
    odd: bool
    """It does not fit, and did not count."""


@dataclass(frozen=True, slots=True)
class EllipseLine:
    """Standard error ellipse of a point in plan, and its uncertainty in height [m]."""

    id: str
    east: float
    north: float
    large: float
    small: float
    azimuth: float
    """Of the large axis, clockwise from north, from 0 to half a turn [rad]."""
    height: float


def ellipse(covariance: Array) -> tuple[float, float, float]:
    """Return the axes [m] and the azimuth [rad] of the large one of a covariance (2, 2).

    Examples
    --------
    >>> large, small, azimuth = ellipse(np.diag([4e-6, 1e-6]))
    >>> round(large, 4), round(small, 4), round(math.degrees(azimuth), 1)
    (0.002, 0.001, 90.0)
    """
    values, vectors = np.linalg.eigh(covariance)
    east, north = vectors[:, 1]
    axes = np.sqrt(np.clip(values, 0.0, None))
    return float(axes[1]), float(axes[0]), float(math.atan2(east, north) % math.pi)


def setup_lines(solved: Solved) -> tuple[SetupLine, ...]:
    """Return a line for every set-up, in the order of the file."""
    observations = solved.network.observations
    w = np.abs(np.nan_to_num(solved.outcome.tested.w))
    lines = []
    for name, setup in solved.read.setups.items():
        own = [i for i, o in enumerate(observations) if o.setup == name]
        worst = max(own, key=lambda i: float(w[i]), default=None)
        spread = point_covariance(solved.outcome.adjusted, station(setup))[:2, :2]
        lines.append(
            SetupLine(
                id=name,
                over=setup.over,
                sights=sum(1 for s in solved.sights if s.setup == name),
                u=ellipse(spread)[0],
                collimation=solved.faces[name].collimation,
                index=solved.faces[name].index,
                worst=float("nan") if worst is None else float(w[worst]),
                worst_target="" if worst is None else observations[worst].to,
            )
        )
    return tuple(lines)


def residual_lines(solved: Solved, most: int | None = MOST) -> tuple[ResidualLine, ...]:
    """Return the observations that stand out, worst first: first those that do not fit.

    Parameters
    ----------
    solved : Solved
    most : int or None
        How many; None for all, in the order of the file.
    """
    outcome, observations = solved.outcome, solved.network.observations
    odd = {i: float(outcome.size[i]) for i in outcome.odd}
    w = np.nan_to_num(outcome.tested.w)
    rank = [(i in odd, abs(odd.get(i, float(w[i])))) for i in range(len(observations))]
    order: Sequence[int] = range(len(observations))
    if most is not None:
        order = sorted(order, key=lambda i: rank[i], reverse=True)[: max(most, len(odd))]
    return tuple(_residual(solved, i, odd) for i in order)


def _residual(solved: Solved, i: int, odd: dict[int, float]) -> ResidualLine:
    outcome, observation = solved.outcome, solved.network.observations[i]
    tested = outcome.tested
    reach = reach_of(solved, i)
    residual = float(outcome.adjusted.residuals[i])
    return ResidualLine(
        id=observation.id,
        kind=observation.kind,
        value=observation.value + _origin(solved, observation),
        residual=residual,
        at_target=residual * reach,
        w=odd.get(i, float(tested.w[i])),
        redundancy=float(tested.redundancy[i]),
        detectable_at_target=float(tested.detectable[i]) * reach,
        odd=i in odd,
    )


def _origin(solved: Solved, observation: Observation) -> float:
    place = {"E": 0, "N": 1, "H": 2}.get(observation.kind)
    return 0.0 if place is None else float(solved.origin[place])


def reach_of(solved: Solved, i: int) -> float:
    """Return what turns an observation into a length at its target: a distance, or 1.

    Parameters
    ----------
    solved : Solved
    i : int
        Place of the observation in the network.

    Returns
    -------
    float
        [m] for a direction (in plan) and a zenith angle (in space); 1 for all others.
    """
    network = solved.network
    observation = network.observations[i]
    if observation.kind not in ("hz", "v"):
        return 1.0
    places = solved.outcome.adjusted.state.positions
    step = np.nan_to_num(places[network.to[i]] - places[network.at[i]])
    return float(np.hypot(step[0], step[1]) if observation.kind == "hz" else np.linalg.norm(step))


def ellipse_lines(solved: Solved) -> tuple[EllipseLine, ...]:
    """Return the error ellipse of every node in plan, in the order of the network."""
    lines = []
    for node in solved.network.nodes:
        place = solved.position(node)
        if not np.isfinite(place[:2]).all():
            continue
        spread = point_covariance(solved.outcome.adjusted, node)
        large, small, azimuth = ellipse(spread[:2, :2])
        height = math.sqrt(max(0.0, float(spread[2, 2])))
        lines.append(
            EllipseLine(node, float(place[0]), float(place[1]), large, small, azimuth, height)
        )
    return tuple(lines)
