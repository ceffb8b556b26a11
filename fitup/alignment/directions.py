"""Directions a LandXML file states beside its points: in which sense, and in which unit really."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from fitup.alignment.fileunits import ANGLE_UNITS, Units
from fitup.alignment.xmlfile import XmlElement
from fitup.errors import Problem

#: a stated direction fits within this and what its points may be rounded by [rad]
_FIT: Final = 1e-4
#: sense in words -> from an azimuth clockwise from north to what is stated; programs differ
_SENSES: Final[dict[str, Callable[[float], float]]] = {
    "clockwise from north": lambda azimuth: azimuth,
    "counter-clockwise from north": lambda azimuth: -azimuth,
    "counter-clockwise from east": lambda azimuth: math.pi / 2.0 - azimuth,
}


@dataclass(frozen=True, slots=True)
class Stated:
    """A direction as stated, and the azimuth [rad] its element's points give."""

    node: XmlElement
    name: str
    value: float
    azimuth: float
    loose: float
    """What rounded points may turn it by [rad]."""


def directions_fit(
    geometry: XmlElement, stated: Sequence[Stated], units: Units, notes: list[Problem]
) -> None:
    """Hold stated directions against the points of their elements.

    The sense is found from the file, for programs differ; a unit that fits only when it is not
    the declared one, and single directions that fit in no way, are reported to the node.

    Parameters
    ----------
    geometry : XmlElement
        Told what is wrong with the directions as a whole.
    stated : sequence of Stated
        All directions of one alignment, in the numbers of the file.
    units : Units
        As the file declares them.
    notes : list of Problem
        Filled with what is odd but can be used.
    """
    if not stated:
        return
    declared = units.direction
    tries = [declared, *(u for u in ANGLE_UNITS.values() if u != declared)]
    counts = {
        (unit, sense): sum(_fits(s, sense, unit, units) for s in stated)
        for unit in tries
        for sense in _SENSES
    }
    unit, sense = max(counts, key=lambda k: counts[k])
    if counts[unit, sense] <= len(stated) // 2:
        geometry.complain(
            f"directions that fit its points in no sense ({len(stated)} stated)",
            "the directions of the elements",
            "is the order of the points north, east? export it again",
        )
        return
    if unit != declared:
        names = {u: word for word, u in ANGLE_UNITS.items()}
        geometry.complain(
            f"directions that fit its points only as {names[unit]}{_scale(declared, unit)}",
            f"{names[declared]}, as <Units> says",
            "somewhere degrees and gon were mixed up: export it again, and trust no angle of it",
        )
        return
    if sense != "clockwise from north":
        notes.append(
            Problem(
                geometry.file,
                f"directions counted {sense}",
                "clockwise from north",
                "understood; the points count",
                column=geometry.where,
            )
        )
    for s in stated:
        if not _fits(s, sense, unit, units):
            true = math.degrees(_SENSES[sense](s.azimuth)) % 360.0
            told = math.degrees(units.angle(s.value)) % 360.0
            s.node.complain(
                f"{s.name} {told:.4f} deg, but its points give {true:.4f} deg",
                "one direction",
                "correct it in the design program and export it again",
            )


def _fits(s: Stated, sense: str, unit: str, units: Units) -> bool:
    off = math.remainder(units.angle(s.value, unit) - _SENSES[sense](s.azimuth), math.tau)
    return abs(off) <= _FIT + s.loose


def _scale(declared: str, unit: str) -> str:
    pair = {("deg", "gon"): " (they are 10/9 of the degrees)", ("gon", "deg"): " (9/10 of the gon)"}
    return pair.get((declared, unit), "")
