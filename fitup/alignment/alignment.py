"""An alignment: station, offset and height to easting, northing and height, and back."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from fitup.alignment.crossfall import Crossfall
from fitup.alignment.curves import Curve
from fitup.alignment.profile import Profile
from fitup.alignment.stations import Equation, Stations
from fitup.frames import Array, joint_axes, left_of

#: where a joint of two curves gapes or breaks, a point in the wedge still counts as there [m]
_WEDGE: Final = 5e-3
#: at the outer ends only what rounding does [m], and what it does to a great coordinate
_ROUND: Final = 1e-6
_EDGE: Final = 1e-7


@dataclass(frozen=True, slots=True)
class AxisPlace:
    """A point told by the alignment: station inside [m], offset to the left positive [m]."""

    station: float
    left: float


@dataclass(frozen=True)
class Alignment:
    """The axis of a road or bridge in plan, with its profile and crossfall where they are known.

    Parameters
    ----------
    name : str
    curves : tuple of Curve
        In order; each begins where the one before ends.
    start : float
        Station inside where the first begins [m].
    unit : {'m', 'ft', 'ftUS'}
        What its stations are written in.
    equations : tuple of Equation
    profile : Profile, optional
    crossfall : Crossfall, optional
    notes : tuple of str
        What is odd in its file but can be used, and what was not read.
    """

    name: str
    curves: tuple[Curve, ...]
    start: float = 0.0
    unit: str = "m"
    equations: tuple[Equation, ...] = ()
    profile: Profile | None = None
    crossfall: Crossfall | None = None
    notes: tuple[str, ...] = ()

    @cached_property
    def begins(self) -> tuple[float, ...]:
        """Station inside where each curve begins [m], and where the last ends."""
        lengths = [self.start, *(c.length for c in self.curves)]
        return tuple(float(s) for s in np.cumsum(lengths))

    @property
    def end(self) -> float:
        """Station inside where it ends [m]."""
        return self.begins[-1]

    @cached_property
    def stations(self) -> Stations:
        """How its stations are written."""
        return Stations(self.start, self.end, self.unit, self.equations)

    def _on(self, station: float) -> tuple[Curve, float]:
        if not self.start - _ROUND <= station <= self.end + _ROUND:
            raise ValueError(f"station {station:.3f} m is not on the alignment")
        i = min(max(bisect_right(self.begins, station) - 1, 0), len(self.curves) - 1)
        return self.curves[i], station - self.begins[i]

    def azimuth(self, station: float) -> float:
        """Return the direction of rising stations [rad], clockwise from north, 0 to 2 pi."""
        curve, along = self._on(station)
        return curve.azimuth_at(along) % math.tau

    def bend(self, station: float) -> float:
        """Return the curvature [1/m], to the left positive."""
        curve, along = self._on(station)
        return curve.bend(along)

    def to_grid(self, place: AxisPlace) -> Array:
        """Return easting and northing (2,) [m] of a place.

        Raises
        ------
        ValueError
            If the station is not on the alignment.
        """
        curve, along = self._on(place.station)
        return curve.at(along) + place.left * left_of(curve.azimuth_at(along))[:2]

    def from_grid(self, east: float, north: float) -> AxisPlace | None:
        """Return the place of a point: the nearest cross-section that holds it.

        Parameters
        ----------
        east, north : float
            In the grid [m].

        Returns
        -------
        AxisPlace or None
            None where no cross-section does: before the start, beyond the end, or too far off on
            the inner side of a curve.
        """
        point = np.array([east, north])
        found = [
            AxisPlace(begin + along, curve.left(point, along))
            for curve, begin in zip(self.curves, self.begins, strict=False)
            for along in curve.feet(point)
        ]
        found += self._at_joints(point)
        return min(found, key=lambda p: (abs(p.left), p.station), default=None)

    def _at_joints(self, point: Array) -> list[AxisPlace]:
        """Return the joints of curves, and the ends, whose narrow wedge holds a point.

        Behind one curve and not yet on the next, or on an edge as far as rounding can tell.
        """
        short = [c.beyond(point, 0.0) for c in self.curves]
        past = [-c.beyond(point, c.length) for c in self.curves]
        # before the first and after the last there is nothing to be past or short of
        short, past = [*short, -_EDGE], [-_EDGE, *past]
        most = [_ROUND, *[_WEDGE] * (len(self.curves) - 1), _ROUND]
        found = []
        for i, station in enumerate(self.begins):
            if -most[i] <= past[i] <= _EDGE and -most[i] <= short[i] <= _EDGE:
                curve, along = self._on(station)
                found.append(AxisPlace(station, curve.left(point, along)))
        return found

    def level(self, station: float) -> float | None:
        """Return the height of the profile [m]; None where there is none."""
        at = None if self.profile is None else self.profile.at(station)
        return None if at is None else at[0]

    def grade(self, station: float) -> float | None:
        """Return the grade, rising ahead positive; None where there is no profile."""
        at = None if self.profile is None else self.profile.at(station)
        return None if at is None else at[1]

    def axes(self, station: float, left: float = 0.0) -> Array:
        """Return the axes (3, 3) of the deck, rows ahead, left and up in the grid.

        Where profile or crossfall are not known the deck is taken as level that way.

        Parameters
        ----------
        station : float
            Station inside [m].
        left : float
            Offset from the axis, to the left positive [m]; says which side's crossfall holds.

        Raises
        ------
        ValueError
            If the station is not on the alignment.
        """
        across = None if self.crossfall is None else self.crossfall.at(station, left)
        return joint_axes(self.azimuth(station), self.grade(station) or 0.0, across or 0.0)
