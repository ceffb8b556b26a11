"""The crossfall a LandXML file tells: by design cross-sections, or by superelevation.

What the schema of LandXML 1.2 fixes, by its annotations of station, offsetDistance and slope:
stations are internal, counted without equations; an offset is positive to the RIGHT of the axis; a
slope is in per cent. Source: these types as reprinted in the open InfraModel schema of
buildingSMART Finland, schema/inframodel-raw.xsd, commit 0883da4f. What it leaves open is not
guessed: such an element is named and not read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from fitup.alignment.alignment import Alignment
from fitup.alignment.crossfall import Crossfall, conflict, in_words
from fitup.alignment.fileunits import Units
from fitup.alignment.xmlfile import XmlElement
from fitup.errors import Problem

#: points of a section lie on one line within this [m]: files are rounded
_LINE: Final = 2e-3
#: a station of a section may lie beyond the end by so much [m]
_ROUND: Final = 2e-3
#: a superelevation in per cent lies between; below, it may have been meant as a ratio
_LEAST, _MOST = 0.5, 15.0
#: no deck is steeper across: else offsets and heights are in two units
_STEEP: Final = 0.5
_UNNAME: Final = "export them, or take surface out of job.toml [alignment]"
_TABLE: Final = "give the crossfall as a table: station, side, slope, falls_to"
_KNOWN: Final = {
    "BeginRunoutSta",
    "BeginRunoffSta",
    "FullSuperSta",
    "FullSuperelev",
    "RunoffSta",
    "StartofRunoutSta",
    "EndofRunoutSta",
    "AdverseSE",
    "Feature",
}


class _Left(Exception):
    """Something the schema leaves open, or that is not understood: named, not read."""

    def __init__(self, found: str, allowed: str, do: str = _TABLE) -> None:
        super().__init__(found)
        self.found, self.allowed, self.do = found, allowed, do


def read_crossfall(
    node: XmlElement, units: Units, axis: Alignment, surface: str | None, notes: list[Problem]
) -> Crossfall | None:
    """Return the crossfall of an <Alignment>; None where it tells none that is understood.

    Parameters
    ----------
    node : XmlElement
        The alignment; cross-sections and superelevation that contradict each other are noted.
    units : Units
    axis : Alignment
        With its curves: superelevation falls to the inside of a bend.
    surface : str, optional
        Which design surface is the deck, where the sections have several.
    notes : list of Problem
        Filled with what is not understood, and with what an understanding rests on.
    """
    for cant in node.all("Cant"):
        place = cant.named(f"{node.where}, Cant")
        _note(place, _Left("the cant of rails, which is not read", "a crossfall"), notes)
    sections = superelevation = None
    try:
        sections = _from_sections(node, units, axis, surface, notes)
    except _Left as left:
        _note(node.named(f"{node.where}, CrossSects"), left, notes)
    try:
        superelevation = _from_superelevation(node, units, axis, notes)
    except _Left as left:
        _note(node.named(f"{node.where}, Superelevation"), left, notes)
    if sections is None or superelevation is None:
        return sections or superelevation
    differs = conflict(sections, superelevation)
    if differs is not None:
        node.complain(
            f"cross-sections with {in_words(differs.one)} on the {differs.side} at station "
            f"{axis.stations.text(differs.station)}, but a superelevation with "
            f"{in_words(differs.other)}",
            "one crossfall",
            "correct one of them in the design program and export it again",
        )
    return sections


def _note(node: XmlElement, left: _Left, notes: list[Problem]) -> None:
    notes.append(Problem(node.file, left.found, left.allowed, left.do, column=node.where))


@dataclass(frozen=True, slots=True)
class _Section:
    """Slopes rising to the left on both sides of the axis, and how far they reach [m]."""

    station: float
    left: float
    right: float
    reach: tuple[float, float]
    broken: bool


def _from_sections(
    node: XmlElement, units: Units, axis: Alignment, surface: str | None, notes: list[Problem]
) -> Crossfall | None:
    entries = [s for group in node.all("CrossSects") for s in group.all("CrossSect")]
    if not entries:
        if surface is not None:
            raise _Left(f"no sections, so no surface '{surface}'", "sections with it", _UNNAME)
        return None
    name = _surface(entries, surface)
    found: dict[float, _Section] = {}
    for entry in entries:
        runs = [s for s in entry.all("DesignCrossSectSurf") if s.text("name") == name]
        if not runs:
            continue
        station = _station(entry, units, axis)
        if station in found:
            raise _Left(f"two sections at station {axis.stations.text(station)}", "one at each")
        found[station] = _section(station, runs, units, axis)
    if len(found) < 2:
        raise _Left(f"{len(found)} section with surface '{name}'", "two or more")
    ordered = [found[s] for s in sorted(found)]
    reach = (min(s.reach[0] for s in ordered), min(s.reach[1] for s in ordered))
    if any(s.broken for s in ordered):
        far = [f"{r / units.metres(1.0):.3f}" for r in reach]
        stated = f"surface '{name}' breaks; its slope beside the axis is taken"
        held = f"a straight surface; taken up to {far[0]} left and {far[1]} right of the axis"
        place = node.named(f"{node.where}, CrossSects")
        _note(place, _Left(stated, held, "beyond, the crossfall is not known"), notes)
    return Crossfall(
        tuple(s.station for s in ordered),
        tuple(s.left for s in ordered),
        tuple(s.right for s in ordered),
        reach=reach,
        source=f"cross-sections, surface '{name}'",
    )


def _surface(entries: Sequence[XmlElement], wanted: str | None) -> str:
    """Return the name of the design surface that is the deck."""
    surfaces = [s for e in entries for s in e.all("DesignCrossSectSurf")]
    names = list(dict.fromkeys(s.text("name") for s in surfaces if s.text("closedArea") != "true"))
    listed = ", ".join(f"'{n}'" for n in names)
    if not names:
        raise _Left("no design surface that is a line", "<DesignCrossSectSurf> of the deck")
    if wanted is not None and wanted not in names:
        raise _Left(f"no surface '{wanted}'", listed, "name one of them")
    if wanted is None and len(names) > 1:
        raise _Left(f"{len(names)} design surfaces", listed, "name the deck's: surface")
    return names[0] if wanted is None else wanted


def _station(node: XmlElement, units: Units, axis: Alignment) -> float:
    stated = node.number("sta")
    if stated is None:
        raise _Left("a section without a station", "sta=...")
    station = units.metres(stated)
    if not axis.start - _ROUND <= station <= axis.end + _ROUND:
        raise _Left(
            f"a section at {stated:g}, which is not on the alignment",
            "stations counted without equations, as the schema has them",
        )
    return min(max(station, axis.start), axis.end)


def _section(station: float, runs: Sequence[XmlElement], units: Units, axis: Alignment) -> _Section:
    at = f"at station {axis.stations.text(station)}"
    points: list[tuple[float, float]] = []
    for run in runs:
        for point in run.all("CrossSectPnt"):
            form = point.text("dataFormat") or "Offset Elevation"
            if form != "Offset Elevation":
                raise _Left(f"points as '{form[:30]}' {at}", "Offset Elevation")
            if point.text("alignRef") not in ("", axis.name):
                stated = f"points beside alignment '{point.text('alignRef')[:40]}' {at}"
                raise _Left(stated, f"'{axis.name}'")
            values = point.numbers(2)
            if values is None:
                raise _Left(f"a point without offset and elevation {at}", "both")
            points.append((units.metres(values[0]), units.metres(values[1])))
    points = sorted(set(points))
    if any(b[0] - a[0] < 1e-4 for a, b in pairwise(points)):
        raise _Left(f"two heights at one offset {at}", "one height at each offset")
    left, reach_left, broken_left = _side([(-o, z) for o, z in reversed(points)], at, "left")
    right, reach_right, broken_right = _side(points, at, "right")
    for side, slope in (("left", left), ("right", right)):
        if abs(slope) > _STEEP:
            found = f"a slope of {100 * abs(slope):.3g} % on the {side} {at}"
            raise _Left(found, f"{100 * _STEEP:g} % or less; offsets and heights in one unit")
    # rises going left: outwards on the left, inwards on the right
    return _Section(station, left, -right, (reach_left, reach_right), broken_left or broken_right)


def _side(points: Sequence[tuple[float, float]], at: str, side: str) -> tuple[float, float, bool]:
    """Return the rise going outwards beside the axis, how far it goes on, and whether it breaks.

    Offsets rise outwards; those of the other side are below zero.
    """
    before = [p for p in points if p[0] <= 1e-6]
    after = [p for p in points if p[0] > 1e-6]
    if not before or not after:
        raise _Left(f"a surface that does not reach over the axis to the {side} {at}", "both sides")
    (o0, z0), (o1, z1) = before[-1], after[0]
    slope, reach = (z1 - z0) / (o1 - o0), o1
    for offset, height in after[1:]:
        if abs(z0 + slope * (offset - o0) - height) > _LINE:
            return slope, reach, True
        reach = offset
    # a straight side is stated best by its ends
    return (after[-1][1] - z0) / (after[-1][0] - o0), reach, False


def _from_superelevation(
    node: XmlElement, units: Units, axis: Alignment, notes: list[Problem]
) -> Crossfall | None:
    entries = node.all("Superelevation")
    if not entries:
        return None
    stretches = sorted(_stretch(e, units, axis, notes) for e in entries)
    for a, b in pairwise(stretches):
        if b[0] < a[1]:
            raise _Left("full superelevations that overlap", "one after the other")
    stations = tuple(s for begin, end, _ in stretches for s in (begin, end))
    slopes = tuple(s for _, _, slope in stretches for s in (slope, slope))
    stated = _Left(
        "runoff and runout, in which the crown is not stated",
        "slopes on both sides",
        "the crossfall is taken between FullSuperSta and RunoffSta; for the rest " + _TABLE,
    )
    _note(node.named(f"{node.where}, Superelevation"), stated, notes)
    return Crossfall(
        stations,
        slopes,
        slopes,
        gaps=tuple((a[1], b[0]) for a, b in pairwise(stretches)),
        source="superelevation",
    )


def _stretch(
    node: XmlElement, units: Units, axis: Alignment, notes: list[Problem]
) -> tuple[float, float, float]:
    """Return where a full superelevation begins and ends [m] and its slope, rising left."""
    odd = [n.tag for n in node if n.tag not in _KNOWN]
    if odd:
        raise _Left(f"<{odd[0]}>", "the elements of the schema")
    values = {}
    for tag in ("FullSuperSta", "RunoffSta", "FullSuperelev"):
        one = node.all(tag)
        number = one[0].numbers(1) if len(one) == 1 else None
        if number is None:
            count = "no" if not one else f"{len(one)}"
            raise _Left(f"{count} <{tag}> in one element", "one")
        values[tag] = number[0]
    full = values["FullSuperelev"]
    if not _LEAST <= full <= _MOST:
        raise _Left(
            f"FullSuperelev {full:g}",
            f"per cent, as the schema has it, from {_LEAST:g} to {_MOST:g}",
        )
    begin, end = (units.metres(values[t]) for t in ("FullSuperSta", "RunoffSta"))
    if not axis.start - _ROUND <= begin < end <= axis.end + _ROUND:
        raise _Left(
            f"full superelevation from {values['FullSuperSta']:g} to {values['RunoffSta']:g}",
            "a stretch of the alignment, counted without equations as the schema has it",
        )
    side = _inside(axis, begin, end)
    adverse = node.first("AdverseSE")
    word = "" if adverse is None else (adverse.element.text or "").strip()
    if word not in ("", "adverse", "non-adverse"):
        raise _Left(f"AdverseSE '{word[:30]}'", "adverse or non-adverse")
    if word == "":
        falls = "LEFT" if side > 0.0 else "RIGHT"
        stated = _Left(
            f"no <AdverseSE> at station {axis.stations.text(begin)}",
            "adverse or non-adverse",
            f"taken as falling to the inside of the bend, {falls}: check it",
        )
        _note(node.named(f"{node.where}, Superelevation"), stated, notes)
    inward = -side * full / 100.0
    return begin, end, -inward if word == "adverse" else inward


def _inside(axis: Alignment, begin: float, end: float) -> float:
    """Return to which side the axis bends along a stretch: 1 to the left, -1 to the right."""
    middles = [
        (max(begin, a) + min(end, b)) / 2.0
        for a, b in pairwise(axis.begins)
        if max(begin, a) < min(end, b)
    ]
    sides = {(axis.bend(m) > 0.0) - (axis.bend(m) < 0.0) for m in middles}
    if sides in ({1}, {-1}):
        return float(sides.pop())
    raise _Left(
        f"full superelevation at station {axis.stations.text(begin)} along no single bend",
        "a bend to one side: the inside is where it falls to",
    )
