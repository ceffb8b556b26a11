"""The profile along an alignment: grades, parabolas and circular vertical curves."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

#: curves may run into each other by so much [m]: files are rounded
OVERLAP = 2e-3


@dataclass(frozen=True, slots=True)
class VerticalPoint:
    """Where two grades meet, or would meet without the curve between them.

    Parameters
    ----------
    station, height : float
        Of the meeting point [m]; the station is that along the alignment, not level distance.
    curve : {'none', 'parabola', 'circle'}
    before, after : float
        Lengths of a parabola before and after the point [m], level.
    radius : float
        Of a circle [m].
    """

    station: float
    height: float
    curve: Literal["none", "parabola", "circle"] = "none"
    before: float = 0.0
    after: float = 0.0
    radius: float = 0.0


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of the profile: a grade, a parabola or a circle (``radius`` above zero)."""

    station: float
    height: float
    length: float
    grade_in: float
    grade_out: float
    radius: float = 0.0

    @property
    def kind(self) -> str:
        """Return ``grade``, ``parabola`` or ``circle``."""
        if self.radius > 0.0:
            return "circle"
        return "parabola" if self.grade_in != self.grade_out else "grade"

    @property
    def end(self) -> float:
        """Station where it ends [m]."""
        return self.station + self.length

    def at(self, station: float) -> tuple[float, float]:
        """Return height [m] and grade at a station [m]."""
        x = station - self.station
        if self.radius > 0.0:
            return self._on_circle(x)
        change = (self.grade_out - self.grade_in) / self.length
        return self.height + x * (self.grade_in + 0.5 * x * change), self.grade_in + x * change

    def _on_circle(self, x: float) -> tuple[float, float]:
        way = 1.0 if self.grade_out > self.grade_in else -1.0
        angle = math.atan(self.grade_in)
        from_centre = x + way * self.radius * math.sin(angle)
        upright = math.sqrt(self.radius**2 - from_centre**2)
        height = self.height + way * (self.radius * math.cos(angle) - upright)
        return height, way * from_centre / upright


@dataclass(frozen=True, slots=True)
class Profile:
    """Heights along an alignment, piece by piece in the order of stations."""

    pieces: tuple[Piece, ...]

    @property
    def start(self) -> float:
        """Station where it begins [m]."""
        return self.pieces[0].station

    @property
    def end(self) -> float:
        """Station where it ends [m]."""
        return self.pieces[-1].end

    def at(self, station: float) -> tuple[float, float] | None:
        """Return height [m] and grade at a station [m]; None outside the profile."""
        if not self.start - OVERLAP <= station <= self.end + OVERLAP:
            return None
        i = bisect_right([p.station for p in self.pieces], station) - 1
        return self.pieces[max(i, 0)].at(station)


def circle_length(point: VerticalPoint, grade_in: float, grade_out: float) -> float:
    """Return the length of a circular vertical curve along its arc [m].

    Parameters
    ----------
    point : VerticalPoint
        With the radius [m].
    grade_in, grade_out : float
        Rise over run before and after the curve, rising ahead positive.
    """
    return point.radius * abs(math.atan(grade_out) - math.atan(grade_in))


def profile_of(points: Sequence[VerticalPoint]) -> Profile:
    """Return the profile through vertical points.

    Parameters
    ----------
    points : sequence of VerticalPoint
        Two or more in the order of stations; the first and last without a curve.

    Raises
    ------
    ValueError
        With a text for people, where points are too few or out of order or curves overlap.
    """
    if len(points) < 2:
        raise ValueError(f"{len(points)} vertical points; two or more make a profile")
    for a, b in pairwise(points):
        if b.station <= a.station:
            raise ValueError(f"vertical point at {b.station:.3f} m after one at {a.station:.3f} m")
    grades = [(b.height - a.height) / (b.station - a.station) for a, b in pairwise(points)]
    pieces: list[Piece] = []
    now, height = points[0].station, points[0].height
    for point, g1, g2 in zip(points[1:-1], grades, grades[1:], strict=False):
        curve = _curve(point, g1, g2)
        begin = curve[0].station if curve else point.station
        if begin < now - OVERLAP:
            raise ValueError(
                f"the vertical curve at {point.station:.3f} m begins {now - begin:.3f} m before "
                "the one in front of it ends"
            )
        if begin > now:
            pieces.append(Piece(now, height, begin - now, g1, g1))
        pieces += curve
        now = curve[-1].end if curve else point.station
        height = curve[-1].at(now)[0] if curve else point.height
    last = points[-1].station
    if now > last + OVERLAP:
        raise ValueError(f"the last vertical curve ends {now - last:.3f} m beyond the profile")
    if last > now:
        pieces.append(Piece(now, height, last - now, grades[-1], grades[-1]))
    return Profile(tuple(pieces))


def _curve(point: VerticalPoint, g1: float, g2: float) -> list[Piece]:
    """Return the pieces of the curve at a vertical point; a parabola of two lengths is two."""
    if g1 == g2 or point.curve == "none":
        return []
    if point.curve == "circle":
        one, two = math.atan(g1), math.atan(g2)
        tangent = point.radius * math.tan(abs(two - one) / 2.0)
        begin = point.station - tangent * math.cos(one)
        length = tangent * (math.cos(one) + math.cos(two))
        height = point.height - tangent * math.sin(one)
        return [Piece(begin, height, length, g1, g2, point.radius)]
    before, after = point.before, point.after
    begin, height = point.station - before, point.height - before * g1
    if before == after:
        return [Piece(begin, height, before + after, g1, g2)]
    # both parabolas have the grade of the line through the middles of the two tangents in common
    common = (g1 * before + g2 * after) / (before + after)
    first = Piece(begin, height, before, g1, common)
    return [first, Piece(point.station, first.at(point.station)[0], after, common, g2)]
