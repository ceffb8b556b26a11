"""The tables of a new job laid out from a few dimensions: segments in a line, seats below them.

Segments follow each other along a straight axis, with plumb faces. What is laid out is a start:
places are those of a regular deck, and the drawings decide.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, Literal

from fitup.errors import InputError, Problem
from fitup.jobfolder.rewrite import Cell

Deck = Literal["box", "girders"]
Record = Mapping[str, Cell]
#: what one deck can have: seats of a segment, segments of a job
_SEATS_MOST: Final = 24
_SEGMENTS_MOST: Final = 200
_STEEPEST: Final = 0.5
#: the pack that stands at a seat must be typed: an empty cell would say that there is none
_TYPED: Final = "..."
#: extras that are laid out; others are headers alone
LAID_OUT: Final = ("limits.csv", "pumps.csv", "ride.csv")


@dataclass(frozen=True)
class Layout:
    """A regular deck in a few dimensions [m, N, rad].

    Parameters
    ----------
    segments : int
    seats : int
        Upward seats of a segment: an even number in two lines, or three.
    deck : {'box', 'girders'}
        Decides the check points on a face: the edges and webs of a box, or the flanges of every
        girder, with a girder over each seat of a line.
    length, width, depth : float
        Of a segment; the width is that of the deck.
    weight : float
        Of a segment.
    along, across : float
        Between the two lines of seats, and between the outer seats of a line.
    opening : float
        Nominal opening of every joint.
    origin : tuple of float
        Easting, northing and height of the axis at the back face of the first segment, on deck.
    azimuth : float
        Direction of increasing station, clockwise from north.
    grade, fall : float
        Rise going ahead; slope across, down to the right.
    push_along, push_across : int
        Seats of a segment that push it ahead or back, and to the side; 0, 1 or 2.
    seat, jack : mapping
        What is the same at every upward seat and its jack, by column; the rest is left empty.
    """

    segments: int
    seats: int
    deck: Deck
    length: float
    width: float
    depth: float
    weight: float
    along: float
    across: float
    opening: float
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    azimuth: float = 0.0
    grade: float = 0.0
    fall: float = 0.0
    push_along: int = 0
    push_across: int = 0
    seat: Record = field(default_factory=dict)
    jack: Record = field(default_factory=dict)

    def place(self, station: float, right: float, down: float = 0.0) -> dict[str, float]:
        """Return easting, northing and height of a place along, right of and below the axis."""
        east, north = math.sin(self.azimuth), math.cos(self.azimuth)
        e, n, h = self.origin
        return {
            "E": e + station * east + right * north,
            "N": n + station * north - right * east,
            "H": h + station * self.grade - right * self.fall - down,
        }

    def back_face(self, number: int) -> float:
        """Return the station of the back face of a segment, counted from 0."""
        return number * (self.length + self.opening)

    def spread(self, count: int) -> list[float]:
        """Return places across of a line of seats or girders, left to right."""
        if count == 1:
            return [0.0]
        return [(i / (count - 1) - 0.5) * self.across for i in range(count)]


def laid_out(deck: Layout, extras: Sequence[str] = ()) -> dict[str, list[Record]]:
    """Return the rows of the tables a job needs, and of those extras that can be laid out.

    Parameters
    ----------
    deck : Layout
    extras : sequence of str
        Files wanted besides; those not in ``LAID_OUT`` have no rows.

    Raises
    ------
    InputError
        With every dimension that cannot be meant.
    """
    _check(deck)
    seats = list(_seats(deck))
    tables: dict[str, list[Record]] = {
        "segments.csv": list(_segments(deck)),
        "points.csv": list(_points(deck)),
        "joints.csv": list(_joints(deck)),
        "pairs.csv": list(_pairs(deck)),
        "seats.csv": seats,
        "jacks.csv": [
            {"id": f"J{i + 1}", "seat": s["id"], **(deck.jack if s["pushes"] == "up" else {})}
            for i, s in enumerate(seats)
        ],
        "plates.csv": [],
    }
    make = {"limits.csv": _limits, "pumps.csv": _pumps, "ride.csv": _ride}
    for file in extras:
        tables[file] = list(make[file](deck)) if file in make else []
    return tables


def _check(deck: Layout) -> None:
    """Refuse what cannot be laid out, all of it at once."""
    even = deck.seats % 2 == 0 and 4 <= deck.seats <= _SEATS_MOST
    three = deck.seats == 3 and deck.deck == "box"
    seats = f"3 for a box, or an even number from 4 to {_SEATS_MOST}"
    checks = [
        (2 <= deck.segments <= _SEGMENTS_MOST, "segments", f"2 to {_SEGMENTS_MOST}"),
        (even or three, "seats", seats),
        (0 <= deck.push_along <= 2, "push-along", "0, 1 or 2"),
        (0 <= deck.push_across <= 2, "push-across", "0, 1 or 2"),
        (deck.length > 0.0, "length", "above 0 m"),
        (deck.width > 0.0, "width", "above 0 m"),
        (deck.depth > 0.0, "depth", "above 0 m"),
        (deck.weight > 0.0, "weight", "above 0 N"),
        (0.0 < deck.along < deck.length, "along", "above 0 m and below the length"),
        (0.0 < deck.across <= deck.width, "across", "above 0 m, at most the width"),
        (deck.opening >= 0.0, "opening", "0 m or more"),
        (abs(deck.grade) <= _STEEPEST, "grade", "at most 50 % either way"),
        (abs(deck.fall) <= _STEEPEST, "crossfall", "at most 50 %"),
    ]
    problems = [
        Problem(f"--{name}", _found(deck, name), allowed, "correct this dimension")
        for right, name, allowed in checks
        if not right
    ]
    if problems:
        raise InputError(problems)


def _found(deck: Layout, name: str) -> str:
    value = getattr(deck, {"crossfall": "fall"}.get(name, name).replace("-", "_"))
    if isinstance(value, int):
        return str(value)
    unit = {"weight": " N", "grade": "", "crossfall": ""}.get(name, " m")
    return f"{value:.6g}{unit}"


def _names(deck: Layout) -> list[str]:
    return [f"S{i + 1}" for i in range(deck.segments)]


def _segments(deck: Layout) -> Iterator[Record]:
    """Each with its centre of gravity in the middle, at half the depth."""
    motions = [
        ("along", deck.push_along == 0),
        ("across", deck.push_across == 0),
        ("turn", max(deck.push_along, deck.push_across) < 2),
    ]
    held = " ".join(word for word, true in motions if true)
    for i, name in enumerate(_names(deck)):
        centre = deck.place(deck.back_face(i) + deck.length / 2.0, 0.0, deck.depth / 2.0)
        yield {
            "id": name,
            "azimuth": deck.azimuth,
            "weight": deck.weight,
            **{f"centre_{axis}": value for axis, value in centre.items()},
            "held": held,
        }


def _marks(deck: Layout) -> list[tuple[str, str, float, float]]:
    """Return mark, place, offset to the right and depth of the check points on a face."""
    if deck.deck == "box":
        edge, web = deck.width / 2.0, deck.across / 2.0
        return [
            ("L", "LEFT edge", -edge, 0.0),
            ("C", "CENTRE", 0.0, 0.0),
            ("R", "RIGHT edge", edge, 0.0),
            ("SL", "LEFT soffit", -web, deck.depth),
            ("SR", "RIGHT soffit", web, deck.depth),
        ]
    girders = deck.spread(deck.seats // 2)
    sides = ["LEFT", *[""] * (len(girders) - 2), "RIGHT"]
    return [
        (f"{mark}{i + 1}", f"{side} girder {i + 1} {word} flange".strip(), right, down)
        for mark, word, down in (("T", "top", 0.0), ("B", "bottom", deck.depth))
        for i, (side, right) in enumerate(zip(sides, girders, strict=True))
    ]


def _points(deck: Layout) -> Iterator[Record]:
    """Both faces of every segment; those of no joint are watched."""
    for i, name in enumerate(_names(deck)):
        for face, station in (("b", 0.0), ("a", deck.length)):
            free = (face == "b" and i == 0) or (face == "a" and i == deck.segments - 1)
            for mark, _, right, down in _marks(deck):
                yield {
                    "id": f"{name}{face}-{mark}",
                    "segment": name,
                    **deck.place(deck.back_face(i) + station, right, down),
                    "watched": "yes" if free else "",
                }


def _met(deck: Layout) -> Iterator[tuple[str, str, str]]:
    """Yield every joint with the segments it is between."""
    names = _names(deck)
    for i, (back, ahead) in enumerate(pairwise(names)):
        yield f"K{i + 1}", back, ahead


def _joints(deck: Layout) -> Iterator[Record]:
    for joint, back, ahead in _met(deck):
        yield {
            "id": joint,
            "back": back,
            "ahead": ahead,
            "azimuth": deck.azimuth,
            "grade": deck.grade,
            "crossfall": abs(deck.fall),
            "falls_to": "level" if deck.fall == 0.0 else "right" if deck.fall > 0.0 else "left",
        }


def _pairs(deck: Layout) -> Iterator[Record]:
    number = 0
    for joint, back, ahead in _met(deck):
        for mark, place, _, _ in _marks(deck):
            number += 1
            yield {
                "id": f"P{number}",
                "joint": joint,
                "back_point": f"{back}a-{mark}",
                "ahead_point": f"{ahead}b-{mark}",
                "opening": deck.opening,
                "place": place,
            }


def _lines(deck: Layout) -> list[list[tuple[float, float]]]:
    """Return places along and right of the upward seats of a segment, line by line going ahead."""
    near = (deck.length - deck.along) / 2.0
    count = [2, 1] if deck.seats == 3 else [deck.seats // 2] * 2
    return [
        [(station, right) for right in deck.spread(n)]
        for station, n in zip((near, near + deck.along), count, strict=True)
    ]


def _seats(deck: Layout) -> Iterator[Record]:
    """Upward seats on packs, then those that push in plan."""
    for i, name in enumerate(_names(deck)):
        back = deck.back_face(i)
        upward = [place for line in _lines(deck) for place in line]
        for j, (station, right) in enumerate(upward):
            yield {
                "id": f"{name}-V{j + 1}",
                "segment": name,
                **deck.place(back + station, right, deck.depth),
                "pushes": "up",
                "held_by": "packs",
                "pack": _TYPED,
                **deck.seat,
            }
        # the last segment is pushed back, all before it ahead: each toward a joint
        way = "back" if i == deck.segments - 1 else "ahead"
        at = deck.length if way == "back" else 0.0
        for j, right in enumerate(deck.spread(deck.push_along)):
            yield {
                "id": f"{name}-A{j + 1}",
                "segment": name,
                **deck.place(back + at, right, deck.depth / 2.0),
                "pushes": way,
                "held_by": "packs",
                "pack": _TYPED,
            }
        for j in range(deck.push_across):
            yield {
                "id": f"{name}-B{j + 1}",
                "segment": name,
                **deck.place(back + _lines(deck)[j][0][0], -deck.across / 2.0, deck.depth),
                "pushes": "right",
                "held_by": "nut",
            }


def _limits(deck: Layout) -> Iterator[Record]:
    """Warp of the corner seats, and how far the ends of a line may differ."""
    lines = _lines(deck)
    first, last = len(lines[0]), deck.seats
    for name in _names(deck):
        back = f"{name}-V1 {name}-V{first}"
        if last > 3:
            ahead = f"{name}-V{last} {name}-V{first + 1}"
            yield {"id": f"{name}-warp", "kind": "warp", "seats": f"{back} {ahead}"}
            yield {"id": f"{name}-front", "kind": "difference", "seats": ahead}
        yield {"id": f"{name}-rear", "kind": "difference", "seats": back}


def _pumps(deck: Layout) -> Iterator[Record]:
    """One pump for the upward jacks of every segment, and one for all that push it."""
    each = deck.seats + deck.push_along + deck.push_across
    for i in range(deck.segments):
        jacks = [f"J{i * each + j + 1}" for j in range(each)]
        yield {"id": f"PU{i + 1}", "jacks": " ".join(jacks[: deck.seats])}
        if each > deck.seats:
            yield {"id": f"PU{i + 1}P", "jacks": " ".join(jacks[deck.seats :])}


def _ride(deck: Layout) -> Iterator[Record]:
    """A wheel path over every joint along the outer points on deck."""
    girder = deck.seats // 2
    paths = (
        [("LEFT", "L"), ("RIGHT", "R")]
        if deck.deck == "box"
        else [("LEFT", "T1"), ("RIGHT", f"T{girder}")]
    )
    number = 0
    for joint, back, ahead in _met(deck):
        for side, mark in paths:
            number += 1
            points = [f"{back}b", f"{back}a", f"{ahead}b", f"{ahead}a"]
            yield {
                "id": f"R{number}",
                "joint": joint,
                "points": " ".join(f"{p}-{mark}" for p in points),
                "place": f"{side} path",
            }
