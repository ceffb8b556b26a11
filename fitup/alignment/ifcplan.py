"""Segments of an IfcAlignmentHorizontal as :class:`Curve`, in the grid."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fitup.alignment.curves import MOST_TURN, Curve
from fitup.alignment.elements import FIT, hold_together
from fitup.alignment.xmlfile import Teller
from fitup.errors import Problem
from fitup.frames import Array

KINDS: Final = ("LINE", "CIRCULARARC", "CLOTHOID")
_AGAIN: Final = "correct it in the design program and export it again"


@dataclass(frozen=True, eq=False)
class Frame:
    """How a file lies in the grid: turned to the left [rad], shifted, raised [m]."""

    turn: float
    shift: Array
    up: float

    def of(self, inner: Frame) -> Frame:
        """Return what comes of an inner frame and this one after it."""
        return Frame(self.turn + inner.turn, self.place(inner.shift), self.up + inner.up)

    def place(self, point: Array) -> Array:
        """Return where a point (2,) lies in the grid [m]."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        spin = np.array([[cos, -sin], [sin, cos]])
        found: Array = spin @ point + self.shift
        return found


def number(node: Teller, stated: dict[str, Any], name: str) -> float | None:
    """Return a parameter as a finite number; None, with a reason, where there is none.

    Parameters
    ----------
    node : Teller
        Told where there is no number.
    stated : dict
        Design parameters of a segment by name.
    name : str
    """
    value = stated.get(name)
    if isinstance(value, int | float) and math.isfinite(value):
        return float(value)
    node.complain(f"no {name}", "a number", _AGAIN)
    return None


def read_plan(
    node: Teller,
    segments: Sequence[dict[str, Any] | None],
    frame: Frame,
    metres: Callable[[float], float],
    radians: Callable[[float], float],
    notes: list[Problem],
) -> list[Curve]:
    """Return the curves of a plan; what is wrong is reported to the node.

    Parameters
    ----------
    node : Teller
    segments : sequence of dict
        Parameters by the names of IfcAlignmentHorizontalSegment.
    frame : Frame
    metres, radians : callable
        From units of the file.
    notes : list of Problem
        Filled with what is odd but can be used.

    Returns
    -------
    list of Curve
        Empty where a segment cannot be used.
    """
    curves, nodes, wrong = [], [], False
    for k, stated in enumerate(segments, 1):
        kind = "?" if stated is None else str(stated.get("PredefinedType"))
        own = node.named(f"{node.where}, segment {k} ({kind})")
        curve = None if stated is None else _curve(own, stated, frame, metres, radians)
        if stated is None:
            own.complain("no design parameters", "a horizontal segment", _AGAIN)
        if curve is None:
            wrong = True
        elif curve.length > 0.0:
            curves.append(curve)
            nodes.append(own)
        elif k < len(segments):
            own.complain("a length of 0 before the end", "a length above 0", _AGAIN)
        elif curves and (gape := float(np.linalg.norm(curve.start - curves[-1].end))) > FIT:
            own.complain(f"an end {gape * 1e3:.2f} mm from that of the segments", "one", _AGAIN)
    if wrong:
        return []
    if not curves:
        node.complain("no segments", "lines, arcs and clothoids", "is this the right alignment?")
        return []
    hold_together(curves, nodes, notes)
    return curves


def _curve(
    node: Teller,
    stated: dict[str, Any],
    frame: Frame,
    metres: Callable[[float], float],
    radians: Callable[[float], float],
) -> Curve | None:
    """Return a segment; one without length marks the end and has the length 0."""
    kind, point = stated.get("PredefinedType"), stated.get("StartPoint")
    if kind not in KINDS:
        node.complain(f"segment type {kind}", ", ".join(KINDS), "only these are computed here")
        return None
    names = ("StartDirection", "SegmentLength", "StartRadiusOfCurvature", "EndRadiusOfCurvature")
    values = [number(node, stated, n) for n in names]
    if not point or len(point) < 2 or not all(isinstance(v, int | float) for v in point[:2]):
        node.complain("no StartPoint", "two coordinates", _AGAIN)
        return None
    direction, length, first, last = (math.nan if v is None else v for v in values)
    if None in values:
        return None
    if length < 0.0:
        node.complain(f"a length of minus {-length:g}", "a length above 0", _AGAIN)
        return None
    bends = [0.0 if r == 0.0 else 1.0 / metres(r) for r in (first, last)]
    size = metres(length)
    if length > 0.0 and not _radii_fit(node, str(kind), bends, size):
        return None
    east, north = frame.place(np.array([metres(v) for v in point[:2]]))
    azimuth = math.pi / 2.0 - radians(direction) - frame.turn
    return Curve(float(east), float(north), azimuth, size, *bends)


def _radii_fit(node: Teller, kind: str, bends: list[float], length: float) -> bool:
    """Tell whether the radii are those of a line, an arc or a clothoid."""
    same = abs(bends[0] - bends[1]) * length < 1e-9
    if kind == "LINE" and (bends[0] or bends[1]):
        node.complain("a line with a radius", "none", _AGAIN)
    elif kind == "CIRCULARARC" and not (same and bends[0]):
        node.complain("an arc with two radii, or none", "one radius", _AGAIN)
    elif kind == "CLOTHOID" and same:
        node.complain("a clothoid with one radius", "two different radii", "make it a line or arc")
    elif 0.5 * length * abs(sum(bends)) > MOST_TURN:
        node.complain("a curve of several circles", "one of a road or bridge", _AGAIN)
    else:
        return True
    return False
