"""Segments of an IfcAlignmentVertical as pieces of a profile."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any, Final

from fitup.alignment.elements import BREAK_SEEN, FIT, SEEN
from fitup.alignment.ifcplan import number
from fitup.alignment.profile import Piece, Profile
from fitup.alignment.xmlfile import Teller
from fitup.errors import Problem

KINDS: Final = ("CONSTANTGRADIENT", "PARABOLICARC", "CIRCULARARC")
_AGAIN: Final = "correct it in the design program and export it again"
_NAMES: Final = (
    "StartDistAlong",
    "HorizontalLength",
    "StartHeight",
    "StartGradient",
    "EndGradient",
)


def read_pieces(
    node: Teller,
    segments: Sequence[dict[str, Any] | None],
    start: float,
    up: float,
    metres: Callable[[float], float],
    notes: list[Problem],
) -> Profile | None:
    """Return the profile; what is wrong is reported to the node.

    Parameters
    ----------
    node : Teller
    segments : sequence of dict
        Parameters by the names of IfcAlignmentVerticalSegment.
    start : float
        Station where the plan begins [m]; distances along count from there.
    up : float
        Height of the file's zero [m].
    metres : callable
        From the file's unit.
    notes : list of Problem
        Filled with what is odd but can be used.
    """
    pieces, wrong = [], False
    for k, told in enumerate(segments, 1):
        kind = "?" if told is None else str(told.get("PredefinedType"))
        own = node.named(f"{node.where}, profile, segment {k} ({kind})")
        if told is None:
            own.complain("no design parameters", "a vertical segment", _AGAIN)
        piece = None if told is None else _piece(own, told, start, up, metres)
        if piece is None:
            wrong = True
        elif piece.length > 0.0:
            pieces.append(piece)
        elif k < len(segments):
            own.complain("a length of 0 before the end", "a length above 0", _AGAIN)
    if wrong or not pieces:
        return None
    _meet(node, pieces, notes)
    return Profile(tuple(pieces))


def _piece(
    node: Teller,
    told: dict[str, Any],
    start: float,
    up: float,
    metres: Callable[[float], float],
) -> Piece | None:
    """Return a segment; one without length marks the end and has the length 0."""
    kind = told.get("PredefinedType")
    if kind not in KINDS:
        node.complain(f"segment type {kind}", ", ".join(KINDS), "only these are computed here")
        return None
    values = [number(node, told, n) for n in _NAMES]
    if None in values:
        return None
    along, length, height, first, last = (math.nan if v is None else v for v in values)
    if length < 0.0:
        node.complain(f"a length of minus {-length:g}", "a length above 0", _AGAIN)
        return None
    size = metres(length)
    if kind == "CONSTANTGRADIENT" and abs(first - last) * size > FIT:
        node.complain(f"grades {first:g} and {last:g} of a straight grade", "one grade", _AGAIN)
        return None
    if kind == "CONSTANTGRADIENT":
        last = first
    bend = 0.0
    if size > 0.0 and kind != "CONSTANTGRADIENT":
        turned = math.sin(math.atan(last)) - math.sin(math.atan(first))
        bend = abs(last - first if kind == "PARABOLICARC" else turned) / size
        if not _radius_fits(node, told, bend, size, metres):
            return None
    radius = 1.0 / bend if kind == "CIRCULARARC" and bend > 0.0 else 0.0
    return Piece(start + metres(along), up + metres(height), size, first, last, radius)


def _radius_fits(
    node: Teller,
    told: dict[str, Any],
    bend: float,
    length: float,
    metres: Callable[[float], float],
) -> bool:
    """Hold the stated radius against grades and length, by the height it comes to."""
    radius = told.get("RadiusOfCurvature")
    if radius in (None, 0.0) or not isinstance(radius, int | float):
        return True
    stated = abs(metres(radius))
    if abs(1.0 / stated - bend) * length**2 / 8.0 <= FIT:
        return True
    given = f"{1.0 / bend:.3f} m" if bend > 0.0 else "none"
    node.complain(f"radius {stated:.3f} m, but grades and length give {given}", "one", _AGAIN)
    return False


def _meet(node: Teller, pieces: Sequence[Piece], notes: list[Problem]) -> None:
    """Tell where pieces gape in station or height, and note where the grade breaks."""
    for k, (a, b) in enumerate(pairwise(pieces), 2):
        own = node.named(f"{node.where}, profile, segment {k}")
        height, grade = a.at(a.end)
        gape, step = abs(b.station - a.end), abs(b.height - height)
        for size, what in ((gape, "along"), (step, "in height")):
            if size > SEEN:
                found = f"begins {size * 1e3:.2f} mm {what} from where the one before it ends"
                _tell(own, size > FIT, found, "the same point", notes)
        if abs(b.grade_in - grade) > BREAK_SEEN:
            broken = abs(b.grade_in - grade) * 1e3
            found = f"breaks from the grade of the one before it by {broken:.2f} mm/m"
            _tell(own, False, found, "one grade, or a break as designed", notes)


def _tell(node: Teller, wrong: bool, found: str, allowed: str, notes: list[Problem]) -> None:
    if wrong:
        node.complain(found, allowed, _AGAIN)
    else:
        notes.append(Problem(node.file, found, allowed, "used as it is", column=node.where))
