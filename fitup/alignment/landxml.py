"""Read a LandXML 1.1 or 1.2 file: units, alignments with their profiles, points."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from fitup.alignment.alignment import Alignment
from fitup.alignment.elements import FIT, read_curves
from fitup.alignment.fileunits import Units, read_units
from fitup.alignment.profile import Profile, VerticalPoint, circle_length, profile_of
from fitup.alignment.sections import read_crossfall
from fitup.alignment.stations import Equation
from fitup.alignment.xmlfile import Teller, XmlElement, read_xml
from fitup.errors import InputError, Problem
from fitup.frames import Array

_VERTICAL: Final = ("PVI", "ParaCurve", "UnsymParaCurve", "CircCurve")


@dataclass(frozen=True, slots=True)
class NamedPoint:
    """A point of the file: easting, northing, height (3,) [m]; the height may be missing (nan)."""

    id: str
    position: Array


@dataclass(frozen=True, slots=True)
class DesignFile:
    """What one file holds: one alignment, its points, and what is odd but can be used.

    The notes name what was not read, too.
    """

    alignment: Alignment | None
    points: tuple[NamedPoint, ...]
    notes: tuple[Problem, ...]
    made: str
    """Date and time that the file carries, as ``2031-04-02 04:10``; empty where it has none."""


def read_landxml(
    path: Path, shown: str | None = None, name: str | None = None, surface: str | None = None
) -> DesignFile:
    """Read a LandXML file and hold its numbers against each other.

    Parameters
    ----------
    path : Path
    shown : str, optional
        Name of the file in messages; its own name if missing.
    name : str, optional
        Which alignment, where the file has several.
    surface : str, optional
        Which design surface of its cross-sections is the deck, where they have several.

    Returns
    -------
    DesignFile
        In metres; coordinates of LandXML stand in the order north, east, height.

    Raises
    ------
    InputError
        With everything that is wrong in the chosen alignment, each with its element.
    """
    problems: list[Problem] = []
    notes: list[Problem] = []
    file = shown or path.name
    root = XmlElement("LandXML", file, problems, read_xml(path, file))
    if root.tag != "LandXML":
        root.complain(f"<{root.tag}>", "<LandXML> version 1.1 or 1.2", "export it as LandXML")
        raise InputError(problems)
    if root.text("version") not in ("1.1", "1.2"):
        root.complain(
            f"version '{root.text('version')[:20]}'", "1.1 or 1.2", "export it as LandXML 1.2"
        )
    units = read_units(root)
    if units is None:
        raise InputError(problems)
    points = _points(root, units)
    node = _chosen(root, name)
    alignment = None
    if node is not None:
        alignment = _alignment(node, units, {p.id: p.position for p in points}, surface, notes)
    if not problems and alignment is None and not points:
        root.complain("no alignment and no points", "either", "is this the right file?")
    if problems:
        raise InputError(problems)
    if alignment is not None:
        alignment = replace(alignment, notes=tuple(str(n) for n in notes))
    made = " ".join(t for t in (root.text("date"), root.text("time")) if t)
    return DesignFile(alignment, points, tuple(notes), made)


def _points(root: XmlElement, units: Units) -> tuple[NamedPoint, ...]:
    result: dict[str, NamedPoint] = {}
    for group in root.all("CgPoints"):
        for node in group.all("CgPoint"):
            name = node.text("name") or node.text("oID")
            place = node.named(f"CgPoint '{name}'")
            if node.text("pntRef") and not (node.element.text or "").strip():
                continue
            values = place.numbers(2)
            if not name:
                place.complain("a point without a name", "name=...", "name it")
            elif name in result:
                place.complain("the name a second time", "each name once", "rename one")
            elif values is not None:
                north, east = units.metres(values[0]), units.metres(values[1])
                height = units.metres(values[2]) if len(values) > 2 else np.nan
                result[name] = NamedPoint(name, np.array([east, north, height]))
    return tuple(result.values())


def _chosen(root: XmlElement, name: str | None) -> XmlElement | None:
    nodes = [n for group in root.all("Alignments") for n in group.all("Alignment")]
    chosen = choose(root.named("Alignments"), [n.text("name") for n in nodes], name)
    return None if chosen is None else nodes[chosen]


def choose(node: Teller, names: Sequence[str], name: str | None) -> int | None:
    """Return which of the alignments of a file is meant.

    Parameters
    ----------
    node : Teller
        Told where that is unclear.
    names : sequence of str
        Of all alignments, in the order of the file.
    name : str or None
        The one asked for; None for the only one.

    Returns
    -------
    int or None
        Place in ``names``; None also, without a complaint, for a file with no alignment where none
        was asked for.
    """
    if name is None and len(names) <= 1:
        return 0 if names else None
    listed = ", ".join(f"'{n}'" for n in names) or "none: the file has no alignment"
    if name is None:
        node.complain(f"{len(names)} alignments", listed, "name the one meant")
    elif names.count(name) == 1:
        return names.index(name)
    else:
        near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
        do = f"did you mean '{near[0]}'?" if near and near[0] != name else "name the one meant"
        found = f"'{name}'" if name not in names else f"'{name}' more than once"
        node.complain(found, listed, do)
    return None


def _alignment(
    node: XmlElement,
    units: Units,
    points: dict[str, Array],
    surface: str | None,
    notes: list[Problem],
) -> Alignment | None:
    node = node.named(f"alignment '{node.text('name')}'")
    geometry = node.first("CoordGeom")
    if geometry is None:
        node.complain("no <CoordGeom>", "lines, curves and spirals", "export the alignment in plan")
        return None
    curves = read_curves(geometry, units, points, notes)
    start = units.metres(node.number("staStart") or 0.0)
    if not curves:
        return None
    total, told = sum(c.length for c in curves), node.number("length")
    if told is not None and abs(units.metres(told) - total) > FIT + 1e-6 * total:
        node.complain(
            f"length {units.metres(told):.3f} m, but its elements sum to {total:.3f} m",
            "one length",
            "an element is missing or a length is stale: export it again",
        )
    unit = units.length if units.length in ("m", "ft", "ftUS") else "m"
    equations = _equations(node, units)
    profile = _profile(node, units)
    axis = Alignment(node.text("name"), tuple(curves), start, unit, equations, profile)
    return replace(axis, crossfall=read_crossfall(node, units, axis, surface, notes))


def _equations(node: XmlElement, units: Units) -> tuple[Equation, ...]:
    result = []
    for k, entry in enumerate(node.all("StaEquation"), 1):
        place = entry.named(f"{node.where}, station equation {k}")
        inside, ahead = place.number("staInternal"), place.number("staAhead")
        back = place.number("staBack")
        if inside is None or ahead is None:
            place.complain("no staInternal or no staAhead", "both", "export it again")
        elif entry.text("staIncrement") == "decreasing":
            place.complain(
                "stations that fall going ahead", "rising stations", "use the part where they rise"
            )
        else:
            at = units.metres(inside)
            told = at if back is None else units.metres(back)
            result.append(Equation(at, told, units.metres(ahead)))
    if any(b.inside <= a.inside for a, b in pairwise(result)):
        node.complain("station equations out of order", "rising staInternal", "export it again")
    return tuple(result)


def _profile(node: XmlElement, units: Units) -> Profile | None:
    entries = [n for p in node.all("Profile") for n in p.all("ProfAlign")]
    if not entries:
        return None
    if len(entries) > 1:
        names = ", ".join(f"'{e.text('name')}'" for e in entries)
        node.complain(
            f"{len(entries)} design profiles ({names})", "one", "export the one that counts"
        )
        return None
    place = entries[0].named(f"{node.where}, profile")
    points = []
    for k, entry in enumerate(place, 1):
        point = _vertical(entry.named(f"{place.where}, vertical point {k}"), units)
        if point is not None:
            points.append(point)
    try:
        profile = profile_of(points)
    except ValueError as error:
        place.complain(str(error), "points and curves one after the other", "correct the profile")
        return None
    _circles_fit(place, points, units)
    return profile


def _vertical(entry: XmlElement, units: Units) -> VerticalPoint | None:
    if entry.tag not in _VERTICAL:
        return None
    values = entry.numbers(2)
    if values is None:
        return None
    station, height = (units.metres(v) for v in values[:2])
    if entry.tag == "PVI":
        return VerticalPoint(station, height)
    if entry.tag == "CircCurve":
        radius = entry.number("radius")
        if not radius:
            entry.complain("no radius", "radius=...", "export it again")
            return None
        return VerticalPoint(station, height, "circle", radius=abs(units.metres(radius)))
    if entry.tag == "ParaCurve":
        length = entry.number("length")
        halves = None if length is None else (length / 2.0, length / 2.0)
    else:
        before, after = entry.number("lengthIn"), entry.number("lengthOut")
        halves = None if before is None or after is None else (before, after)
    if halves is None or min(halves) <= 0.0:
        entry.complain("no length, or none above zero", "a length above zero", "export it again")
        return None
    return VerticalPoint(
        station, height, "parabola", units.metres(halves[0]), units.metres(halves[1])
    )


def _circles_fit(place: XmlElement, points: list[VerticalPoint], units: Units) -> None:
    """Hold the stated lengths of circles against radius and grades, along the arc or level."""
    told = [e for e in place if e.tag in _VERTICAL]
    for i in range(1, len(points) - 1):
        length = told[i].number("length") if points[i].curve == "circle" else None
        if length is None:
            continue
        a, b, c = points[i - 1], points[i], points[i + 1]
        g1 = (b.height - a.height) / (b.station - a.station)
        g2 = (c.height - b.height) / (c.station - b.station)
        arc, stated = circle_length(b, g1, g2), abs(units.metres(length))
        level = b.radius * abs(math.sin(math.atan(g2)) - math.sin(math.atan(g1)))
        if min(abs(stated - arc), abs(stated - level)) > FIT:
            place.named(f"{place.where}, vertical point {i + 1}").complain(
                f"length {stated:.3f} m, but radius and grades give {arc:.3f} m",
                "one length",
                "correct radius or length",
            )
