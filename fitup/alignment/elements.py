"""Lines, curves and spirals of a LandXML file as :class:`Curve`, each held against what it says.

The points of an element are believed: it begins and ends where they are. Length, radius, side of
turning and directions say the same thing again, and where they do not, the element is named.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.alignment.curves import MOST_TURN, Curve
from fitup.alignment.directions import Stated, directions_fit
from fitup.alignment.fileunits import Units
from fitup.alignment.xmlfile import Teller, XmlElement
from fitup.errors import Problem
from fitup.frames import Array

#: what is said twice may differ by so much [m]: files are rounded
FIT: Final = 2e-3
#: a gape between elements is worth telling from here on [m]
SEEN: Final = 5e-5
#: a break of direction is worth telling from the first, too much from the second on [rad]
BREAK_SEEN: Final = 1e-4
BREAK_MOST: Final = 1e-3
_AGAIN: Final = "correct it in the design program and export it again"
#: rot -> to the left positive
_ROT: Final = {"ccw": 1.0, "cw": -1.0}


@dataclass(frozen=True, slots=True)
class _Ends:
    """Start and end of an element (2,) [m], its chord and the direction of it."""

    start: Array
    end: Array

    @property
    def chord(self) -> float:
        return float(np.linalg.norm(self.end - self.start))

    @property
    def azimuth(self) -> float:
        east, north = self.end - self.start
        return math.atan2(east, north)

    def curve(self, azimuth: float, length: float, first: float = 0.0, last: float = 0.0) -> Curve:
        return Curve(float(self.start[0]), float(self.start[1]), azimuth, length, first, last)


class _Reader:
    """Reads the elements of one <CoordGeom>."""

    def __init__(self, units: Units, points: dict[str, Array]) -> None:
        self.units, self.points = units, points

    def place(self, node: XmlElement, tag: str) -> Array | None:
        """Return easting and northing (2,) [m] of a point of an element, given or referred to."""
        entry = node.first(tag)
        if entry is None:
            return None
        name = entry.text("pntRef")
        if name and not (entry.element.text or "").strip():
            if name in self.points:
                return self.points[name][:2]
            node.complain(f"<{tag}> at point '{name}'", "a point of <CgPoints>", "add the point")
            return None
        values = entry.child(entry.element, node.where).numbers(2)
        if values is None:
            return None
        return np.array([self.units.metres(values[1]), self.units.metres(values[0])])

    def ends(self, node: XmlElement) -> _Ends | None:
        start, end = self.place(node, "Start"), self.place(node, "End")
        if start is None or end is None:
            if node.first("Start") is None or node.first("End") is None:
                node.complain("no <Start> or no <End>", "both", "export it with its points")
            return None
        ends = _Ends(start, end)
        if ends.chord < 1e-4:
            node.complain(
                "an element without length", "one above zero", "delete it and export again"
            )
            return None
        return ends

    def metres(self, node: XmlElement, name: str) -> float | None:
        value = node.number(name)
        return None if value is None else self.units.metres(value)

    def rot(self, node: XmlElement) -> float | None:
        side = _ROT.get(node.text("rot"))
        if side is None:
            node.complain(f"rot='{node.text('rot')[:20]}'", "cw or ccw", _AGAIN)
        return side

    def line(self, node: XmlElement) -> Curve | None:
        ends = self.ends(node)
        if ends is None:
            return None
        self.same_length(node, ends.chord)
        return ends.curve(ends.azimuth, ends.chord)

    def same_length(self, node: XmlElement, length: float) -> None:
        told = self.metres(node, "length")
        if told is not None and abs(told - length) > FIT + 1e-6 * length:
            node.complain(
                f"length {told:.3f} m, but its points give {length:.3f} m", "one length", _AGAIN
            )

    def arc(self, node: XmlElement) -> Curve | None:
        ends, side = self.ends(node), self.rot(node)
        radius, centre = self.metres(node, "radius"), self.place(node, "Center")
        if ends is None or side is None:
            return None
        if radius is not None and radius <= 0.0:
            node.complain(
                f"a radius of minus {-radius:.3f} m",
                "a radius above zero; rot tells the side",
                _AGAIN,
            )
            return None
        if centre is None and radius is None:
            node.complain("no <Center> and no radius", "one of them", "export it with its points")
            return None
        turn = self.turn(node, ends, side, centre, radius)
        if turn is None:
            return None
        true = ends.chord / (2.0 * math.sin(turn / 2.0))
        if radius is not None and abs(true - radius) > FIT + 1e-5 * radius:
            node.complain(
                f"radius {radius:.3f} m, but its points lie on one of {true:.3f} m",
                "one radius",
                _AGAIN,
            )
        azimuth = ends.azimuth + side * turn / 2.0
        return ends.curve(azimuth, true * turn, side / true, side / true)

    def turn(
        self, node: XmlElement, ends: _Ends, side: float, centre: Array | None, radius: float | None
    ) -> float | None:
        """Return by how much an arc turns [rad]; its length must say the same."""
        told = self.metres(node, "length")
        if centre is None:
            assert radius is not None
            if ends.chord > 2.0 * radius:
                node.complain(
                    f"a chord above two radii of {radius:.3f} m", "a longer radius", _AGAIN
                )
                return None
            small = 2.0 * math.asin(ends.chord / (2.0 * radius))
            great = math.tau - small
            if told is not None and abs(told - radius * great) < abs(told - radius * small):
                small = great
            self.same_length(node, radius * small)
            return small
        a, b = ends.start - centre, ends.end - centre
        left = math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b))
        size = 0.5 * float(np.linalg.norm(a) + np.linalg.norm(b))
        turn, other = (side * left) % math.tau, (-side * left) % math.tau
        if told is not None and abs(told - size * other) < min(FIT, abs(told - size * turn)):
            node.complain(
                f"rot='{node.text('rot')}', but centre and length say it turns the other way",
                "one side",
                "correct rot, or the sign of the radius it came from",
            )
            return None
        self.same_length(node, size * turn)
        return turn

    def spiral(self, node: XmlElement) -> Curve | None:
        ends, side = self.ends(node), self.rot(node)
        length = self.metres(node, "length")
        kind = node.text("spiType")
        if kind != "clothoid":
            node.complain(f"spiType='{kind[:30]}'", "clothoid", "only clothoids are computed here")
            return None
        bends = [self.bend(node, name) for name in ("radiusStart", "radiusEnd")]
        if ends is None or side is None or None in bends:
            return None
        if length is None or length <= 0.0:
            node.complain("no length above zero", "length=...", _AGAIN)
            return None
        first, last = (side * float(b or 0.0) for b in bends)
        if 0.5 * length * abs(first + last) > MOST_TURN:
            node.complain("a spiral of several circles", "one of a road or bridge", _AGAIN)
            return None
        if first == last:
            node.complain(
                "a spiral with one radius", "two different radii", "make it a line or curve"
            )
            return None
        curve = _through(ends, length, first, last)
        miss = float(np.linalg.norm(curve.end - ends.end))
        if miss > FIT:
            node.complain(
                f"length and radii that end {miss * 1e3:.1f} mm from its <End>", "one end", _AGAIN
            )
        return curve if self.same_side(node, ends, curve) else None

    def bend(self, node: XmlElement, name: str) -> float | None:
        """Return the curvature of a radius, without its side; INF has none."""
        if node.text(name).upper() in ("INF", "INFINITY"):
            return 0.0
        radius = self.metres(node, name)
        if radius is None or radius <= 0.0:
            found = node.text(name)[:20]
            node.complain(
                f"{name}='{found}'", "a radius above zero or INF; rot tells the side", _AGAIN
            )
            return None
        return 1.0 / radius

    def same_side(self, node: XmlElement, ends: _Ends, curve: Curve) -> bool:
        """Hold the tangents' meeting point of a spiral against the side it turns to."""
        middle = self.place(node, "PI")
        if middle is None:
            return True
        way, chord = middle - ends.start, ends.end - ends.start
        if float(way[0] * chord[1] - way[1] * chord[0]) * (curve.bend_in + curve.bend_out) < 0.0:
            node.complain(
                f"rot='{node.text('rot')}', but its <PI> says it turns the other way",
                "one side",
                "correct rot, or the sign of the radius it came from",
            )
            return False
        off = abs(_turned(math.atan2(way[0], way[1]) - curve.azimuth))
        if off * float(np.linalg.norm(way)) > FIT:
            node.complain(
                f"a <PI> {off * 1e3:.2f} mm/m off the tangent that length and radii give",
                "one tangent",
                _AGAIN,
            )
        return True


def _through(ends: _Ends, length: float, first: float, last: float) -> Curve:
    """Return the clothoid turned so that its chord points from start to end."""
    straight = Curve(0.0, 0.0, 0.0, length, first, last)
    east, north = straight.end
    azimuth = ends.azimuth - math.atan2(east, north)
    return ends.curve(azimuth, length, first, last)


def _turned(angle: float) -> float:
    """Return an angle [rad] between minus and plus a half turn."""
    return math.remainder(angle, math.tau)


def read_curves(
    geometry: XmlElement, units: Units, points: dict[str, Array], notes: list[Problem]
) -> list[Curve]:
    """Return the curves of a <CoordGeom>; what is wrong is reported to the node.

    Parameters
    ----------
    geometry : XmlElement
    units : Units
    points : dict of str to Array (3,)
        Points that elements may refer to.
    notes : list of Problem
        Filled with what is odd but can be used.

    Returns
    -------
    list of Curve
        Empty where an element cannot be used.
    """
    reader = _Reader(units, points)
    readers = {"Line": reader.line, "Curve": reader.arc, "Spiral": reader.spiral}
    curves, nodes = [], []
    for k, entry in enumerate((n for n in geometry if n.tag not in ("Feature", "Note")), 1):
        node = entry.named(f"{geometry.where}, element {k} ({entry.tag})")
        if entry.tag not in readers:
            node.complain(f"<{entry.tag}>", "Line, Curve, Spiral", "export it as one of these")
            continue
        curve = readers[entry.tag](node)
        if curve is not None:
            curves.append(curve)
            nodes.append(node)
    if not geometry.problems and not curves:
        geometry.complain(
            "no elements", "lines, curves and spirals", "is this the right alignment?"
        )
    if geometry.problems:
        return []
    hold_together(curves, nodes, notes)
    _stations(curves, nodes, units)
    stated = [s for n, c in zip(nodes, curves, strict=True) for s in _stated(n, c)]
    directions_fit(geometry, stated, units, notes)
    return curves


def hold_together(curves: Sequence[Curve], nodes: Sequence[Teller], notes: list[Problem]) -> None:
    """Tell where elements gape or break.

    Parameters
    ----------
    curves : sequence of Curve
        In the order of stations.
    nodes : sequence of Teller
        One for each curve; told of gaps and breaks that are too large to use.
    notes : list of Problem
        Filled with smaller ones.
    """
    for a, b, node in zip(curves, curves[1:], nodes[1:], strict=False):
        gape = float(np.linalg.norm(b.start - a.end))
        fault = abs(_turned(b.azimuth - a.azimuth_at(a.length)))
        # points rounded to the millimetre turn a short element by more
        loose = SEEN / min(a.length, b.length)
        if gape > SEEN:
            where = f"begins {gape * 1e3:.2f} mm from where the element before it ends"
            _tell(node, gape > FIT, where, "the same point", notes)
        if gape <= FIT and fault > BREAK_SEEN + loose:
            where = f"breaks from the direction of the element before it by {fault * 1e3:.2f} mm/m"
            _tell(
                node,
                fault > BREAK_MOST + FIT / min(a.length, b.length),
                where,
                "one tangent",
                notes,
            )


def _tell(node: Teller, wrong: bool, found: str, allowed: str, notes: list[Problem]) -> None:
    do = "correct the elements, or cut the alignment there"
    if wrong:
        node.complain(found, allowed, do)
    else:
        notes.append(Problem(node.file, found, allowed, "small: used as it is", column=node.where))


def _stations(curves: list[Curve], nodes: list[XmlElement], units: Units) -> None:
    """Hold the stated stations of elements against the lengths before them."""
    first = nodes[0].number("staStart")
    along = 0.0
    for curve, node in zip(curves, nodes, strict=True):
        told = node.number("staStart")
        if first is not None and told is not None:
            there = units.metres(told - first)
            if abs(there - along) > FIT + 1e-6 * along:
                node.complain(
                    f"a station {abs(there - along):.3f} m off the lengths before it",
                    "one station",
                    "an element is missing, or a station is stale: export it again",
                )
                return
        along += curve.length


def _stated(node: XmlElement, curve: Curve) -> list[Stated]:
    """Return the directions an element states, with those its points give."""
    true = {
        "dir": curve.azimuth,
        "dirStart": curve.azimuth,
        "dirEnd": curve.azimuth_at(curve.length),
    }
    found = []
    for name, azimuth in true.items():
        value = node.number(name)
        if value is not None:
            found.append(Stated(node, name, value, azimuth, FIT / curve.length))
    return found
