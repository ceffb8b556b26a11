"""One curve in plan: line, arc or clothoid, all of them a bend that changes evenly along the way.

The bend is the curvature [1/m], positive to the left, as rule 12 of docs/signs.md has it. A line
has none, an arc one, a clothoid goes from one to another, from none or between two radii. The
position is the integral of the direction; for a clothoid that is what Fresnel's integrals give.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from fitup.frames import Array, heading, left_of

#: nodes of the quadrature: its error stays below 1e-15 of the length for turns of several circles
_NODES: Final = 32
MOST_TURN: Final = 8.0 * math.pi
#: between two looks for the foot of a point the direction turns by no more [rad]
_LOOK: Final = 0.25


@lru_cache(maxsize=1)
def _quadrature() -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return 0.5 * (nodes + 1.0), 0.5 * weights


@dataclass(frozen=True, slots=True)
class Curve:
    """A line, an arc or a clothoid.

    Parameters
    ----------
    east, north : float
        Where it begins [m].
    azimuth : float
        Its direction there [rad], clockwise from north.
    length : float
        Along the curve [m].
    bend_in, bend_out : float
        Curvature where it begins and ends [1/m], to the left positive.
    """

    east: float
    north: float
    azimuth: float
    length: float
    bend_in: float = 0.0
    bend_out: float = 0.0

    @property
    def kind(self) -> str:
        """Return ``line``, ``arc`` or ``clothoid``."""
        if self.bend_in != self.bend_out:
            return "clothoid"
        return "arc" if self.bend_in else "line"

    @property
    def start(self) -> Array:
        """Where it begins (2,) [m]."""
        return np.array([self.east, self.north])

    @property
    def end(self) -> Array:
        """Where it ends (2,) [m]."""
        return self.at(self.length)

    def turn(self, along: float) -> float:
        """Return how far the direction has turned to the left [rad] after ``along`` [m]."""
        change = (self.bend_out - self.bend_in) / self.length
        return along * (self.bend_in + 0.5 * along * change)

    def bend(self, along: float) -> float:
        """Return the curvature [1/m] after ``along`` [m], to the left positive."""
        return self.bend_in + (self.bend_out - self.bend_in) * along / self.length

    def azimuth_at(self, along: float) -> float:
        """Return the direction [rad] after ``along`` [m], clockwise from north."""
        return self.azimuth - self.turn(along)

    def at(self, along: float) -> Array:
        """Return the position (2,) [m] after ``along`` [m].

        Examples
        --------
        >>> quarter = Curve(0.0, 0.0, 0.0, 50.0 * math.pi, -0.01, -0.01)
        >>> quarter.at(quarter.length).round(9).tolist()
        [100.0, 100.0]
        """
        ahead, left = self._local(along)
        way, side = heading(self.azimuth)[:2], left_of(self.azimuth)[:2]
        return self.start + ahead * way + left * side

    def _local(self, along: float) -> tuple[float, float]:
        """Return the way gone ahead and to the left [m], in the direction of the beginning."""
        if self.bend_in == self.bend_out == 0.0:
            return along, 0.0
        nodes, weights = _quadrature()
        s = nodes * along
        turn = s * (self.bend_in + 0.5 * s * (self.bend_out - self.bend_in) / self.length)
        return along * float(weights @ np.cos(turn)), along * float(weights @ np.sin(turn))

    def beyond(self, point: Array, along: float) -> float:
        """Return how far a point lies ahead of a cross-section [m].

        Parameters
        ----------
        point : Array (2,)
            Easting and northing [m].
        along : float
            Length from the beginning of the curve to the cross-section [m].
        """
        return float(heading(self.azimuth_at(along))[:2] @ (point - self.at(along)))

    def left(self, point: Array, along: float) -> float:
        """Return how far a point lies to the left of the curve [m].

        Parameters
        ----------
        point : Array (2,)
            Easting and northing [m].
        along : float
            Length from the beginning of the curve to its cross-section [m].
        """
        return float(left_of(self.azimuth_at(along))[:2] @ (point - self.at(along)))

    def feet(self, point: Array) -> list[float]:
        """Return every place [m along] whose cross-section holds a point (2,).

        This side of the centre of the bend. Empty where the point lies behind the beginning or
        beyond the end.
        """
        from scipy.optimize import brentq

        most = max(abs(self.bend_in), abs(self.bend_out))
        count = 2 + int(most * self.length / _LOOK)
        places = np.linspace(0.0, self.length, count)
        ahead = [self.beyond(point, s) for s in places]
        found = []
        for i in range(count - 1):
            # ahead at first, behind at last; the other way round it is beyond the centre
            if ahead[i] >= 0.0 > ahead[i + 1] or (ahead[i] > 0.0 and ahead[i + 1] == 0.0):
                low, high = float(places[i]), float(places[i + 1])
                foot = brentq(lambda s: self.beyond(point, s), low, high, xtol=1e-11, rtol=1e-14)
                found.append(float(foot))
        return found
