"""Read the alignments of an IFC 4.3 file: its business entities, made into our own elements.

A general-purpose library parses the file, in a process of its own (:mod:`ifcextract`); all
geometry is computed here. Coordinates go through the placements of the alignment and through the
map conversion, where there is one: east is x, north is y, a radius above zero bends to the left.
"""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from fitup.alignment import ifcextract
from fitup.alignment.alignment import Alignment
from fitup.alignment.ifcplan import Frame, read_plan
from fitup.alignment.ifcprofile import read_pieces
from fitup.alignment.ifcstations import read_stations
from fitup.alignment.landxml import DesignFile, choose
from fitup.alignment.xmlfile import Teller
from fitup.errors import InputError, Problem
from fitup.plainfile import read_whole
from fitup.units import to_si

MARK: Final = b"ISO-10303-21;"
_END: Final = b"END-ISO-10303-21;"
_AGAIN: Final = "export the alignment alone again"
#: a unit's size in SI must be one of these, within what files round it by
_LENGTHS: Final = ("m", "cm", "mm", "ft", "ftUS", "in")
_ANGLES: Final = ("rad", "deg", "gon")
_ROUNDED: Final = 1e-8
_PREFIX: Final = {None: 1.0, "CENTI": 1e-2, "MILLI": 1e-3, "DECI": 1e-1, "KILO": 1e3}
_MINUTES: Final = 2


@dataclass(frozen=True, slots=True)
class _Units:
    length: str
    angle: str

    def metres(self, value: float) -> float:
        return to_si(value, "length", self.length)

    def radians(self, value: float) -> float:
        return to_si(value, "angle", self.angle)


def read_ifc(path: Path, shown: str | None = None, name: str | None = None) -> DesignFile:
    """Read an IFC 4.3 file and hold its numbers against each other.

    Parameters
    ----------
    path : Path
    shown : str, optional
        Name of the file in messages; its own name if missing.
    name : str, optional
        Which alignment, where the file has several.

    Returns
    -------
    DesignFile
        In metres.

    Raises
    ------
    InputError
        With everything that is wrong in the chosen alignment, each with its segment; or that the
        file is broken, or that the library that parses it is not installed.
    """
    file = shown or path.name
    facts = _facts(path, file)
    problems: list[Problem] = []
    notes: list[Problem] = []
    root = Teller("IFC", file, problems)
    units = _units(root, facts["units"], notes)
    names = [_plain(str(a["name"])) for a in facts["alignments"]]
    if not names and units is not None:
        root.complain("no IfcAlignment", "one or more", "is this the right file?")
    if any(not _plain_world(*w) for w in facts["worlds"]):
        root.complain("a world that is shifted or turned", "one at the origin, not turned", _AGAIN)
    chosen = choose(Teller("IfcAlignment", file, problems), names, name)
    axis = None
    if chosen is not None and units is not None:
        axis = _alignment(facts["alignments"][chosen], facts["conversions"], units, root, notes)
    if problems:
        raise InputError(problems)
    if axis is not None:
        axis = replace(axis, notes=tuple(str(n) for n in notes))
    return DesignFile(axis, (), tuple(notes), str(facts["made"]).replace("T", " "))


def _facts(path: Path, file: str) -> dict[str, Any]:
    """Return what the file says, from a process that a bad file may kill."""

    def refuse(found: str, allowed: str, do: str) -> InputError:
        return InputError([Problem(file, found, allowed, do)])

    raw = read_whole(path, file)
    if _END not in raw[-200:]:
        raise refuse("an IFC file that ends too early", f"{_END.decode()} at its end", _AGAIN)
    try:
        done = subprocess.run(
            [sys.executable, "-P", str(Path(ifcextract.__file__)), str(path)],
            capture_output=True,
            timeout=60.0 * _MINUTES,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise refuse(f"IFC that takes over {_MINUTES} minutes to read", "less", _AGAIN) from None
    said = _plain(done.stderr.decode("utf-8", "replace"))
    if done.returncode == ifcextract.NO_LIBRARY:
        raise refuse(
            "IFC, for which a library is not installed",
            "ifcopenshell beside fitup",
            "pip install 'fitup[ifc]', or export LandXML instead",
        )
    if done.returncode != 0:
        said = said if done.returncode == ifcextract.NOT_READ else "its parser broke down"
        raise refuse(f"broken IFC ({said[:160]})", "whole IFC", _AGAIN)
    facts: dict[str, Any] = json.loads(done.stdout)
    schema = str(facts["schema"])
    if "alignments" not in facts:
        known = ", ".join((ifcextract.READ, *ifcextract.LIKE_IT))
        raise refuse(f"schema '{_plain(schema)[:20]}'", f"IFC 4.3: {known}", "export it as IFC 4.3")
    faults = [line for line in str(facts["log"]).splitlines() if re.search("error|Overwrit", line)]
    if faults:
        # without level and time of day
        first = _plain(re.sub(r"^(\[[^]]*\] )+", "", faults[0]))
        more = f", and {len(faults) - 1} more" if len(faults) > 1 else ""
        raise refuse(f"broken IFC ({first[:160]}{more})", "whole IFC", _AGAIN)
    return facts


def _plain(text: str) -> str:
    """Return text of a file on one line, without what could steer a terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _plain_world(origin: Any, upright: Any, ahead: Any) -> bool:
    """Tell whether a coordinate system of the whole file changes nothing."""
    return (
        not any(origin or ())
        and list(upright or (0.0, 0.0, 1.0))[:2] == [0.0, 0.0]
        and list(ahead or (1.0, 0.0))[1:2] == [0.0]
        and (ahead is None or ahead[0] > 0.0)
    )


def _units(root: Teller, stated: Sequence[dict[str, Any]], notes: list[Problem]) -> _Units | None:
    lengths = [_unit(u, "METRE", "length", _LENGTHS) for u in stated if u["type"] == "LENGTHUNIT"]
    angles = [_unit(u, "RADIAN", "angle", _ANGLES) for u in stated if u["type"] == "PLANEANGLEUNIT"]
    if len(set(lengths)) != 1 or lengths[0] is None:
        known = "metre, centimetre, millimetre, foot, US survey foot, inch"
        named = ", ".join(str(u["name"])[:30] for u in stated if u["type"] == "LENGTHUNIT")
        root.complain(f"length unit '{named}'", f"one of {known}", "export it in one")
        return None
    if not angles:
        notes.append(
            Problem(root.file, "no unit of angles", "one", "taken as radians", column=root.where)
        )
        angles = ["rad"]
    if len(set(angles)) != 1 or angles[0] is None:
        named = ", ".join(str(u["name"])[:30] for u in stated if u["type"] == "PLANEANGLEUNIT")
        root.complain(f"angle unit '{named}'", "one of radian, degree, gon", "export it in one")
        return None
    return _Units(lengths[0], angles[0])


def _unit(stated: dict[str, Any], base: str, dimension: str, known: Sequence[str]) -> str | None:
    """Return the name in :mod:`fitup.units` of a unit, by its size; None if it is none of ours."""
    name, prefix = (stated["base"] if stated.get("base") else [stated["name"], stated["prefix"]])[
        :2
    ]
    factor = stated.get("factor", 1.0)
    if name != base or prefix not in _PREFIX or not isinstance(factor, int | float):
        return None
    size = factor * _PREFIX[prefix]
    fits = [u for u in known if abs(size / to_si(1.0, dimension, u) - 1.0) < _ROUNDED]
    return fits[0] if fits else None


def _alignment(
    stated: dict[str, Any],
    conversions: Sequence[dict[str, Any]],
    units: _Units,
    root: Teller,
    notes: list[Problem],
) -> Alignment | None:
    title = _plain(str(stated["name"]))
    node = root.named(f"alignment '{title}'")
    frame = _frame(node, stated["placement"], conversions, units, notes)
    plans = stated["horizontal"]
    if len(plans) != 1:
        node.complain(
            f"{len(plans) or 'no'} IfcAlignmentHorizontal",
            "one, with its segments",
            "export the design parameters of the alignment, not its drawn curve alone",
        )
    if len(stated["vertical"]) > 1:
        node.complain(
            f"{len(stated['vertical'])} design profiles", "one", "export the one that counts"
        )
    if stated["cant"]:
        _note(node, "the cant of rails, which is not read", "plan and profile", notes)
    if stated["children"]:
        names = ", ".join(f"'{c}'" for c in stated["children"])
        _note(node, f"profiles of their own ({names}), which are not read", "one profile", notes)
    if frame is None or len(plans) != 1:
        return None
    curves = read_plan(node, plans[0], frame, units.metres, units.radians, notes)
    if not curves:
        return None
    length = sum(c.length for c in curves)
    start, equations = read_stations(node, stated["referents"], length, units.metres, notes)
    profile = None
    if len(stated["vertical"]) == 1:
        profile = read_pieces(node, stated["vertical"][0], start, frame.up, units.metres, notes)
    unit = units.length if units.length in ("ft", "ftUS") else "m"
    return Alignment(title, tuple(curves), start, unit, equations, profile)


def _note(node: Teller, found: str, allowed: str, notes: list[Problem]) -> None:
    notes.append(Problem(node.file, found, allowed, "used without", column=node.where))


def _frame(
    node: Teller,
    placements: list[Any] | None,
    conversions: Sequence[dict[str, Any]],
    units: _Units,
    notes: list[Problem],
) -> Frame | None:
    """Return how plan and heights of an alignment lie in the grid; None, with a reason."""
    if placements is None:
        node.complain("a placement along another alignment", "a local one", _AGAIN)
        return None
    frame = Frame(0.0, np.zeros(2), 0.0)
    for location, axis, way in placements:
        if location is None or len(location) < 2 or None in location:
            node.complain("a placement without a place", "three coordinates", _AGAIN)
            return None
        if axis is not None and (len(axis) != 3 or math.hypot(axis[0], axis[1]) > 1e-9 * axis[2]):
            node.complain("a tilted placement", "one that is turned in plan only", _AGAIN)
            return None
        x, y, z = (units.metres(float(v)) for v in (*location, 0.0)[:3])
        turn = 0.0 if way is None else math.atan2(way[1], way[0])
        frame = Frame(turn, np.array([x, y]), z).of(frame)
    if not conversions:
        _note(node, "no map conversion", "one, or x to the east and y to the north as here", notes)
        return frame
    return _on_the_map(node, conversions, units, frame)


def _on_the_map(
    node: Teller, conversions: Sequence[dict[str, Any]], units: _Units, frame: Frame
) -> Frame | None:
    """Return a frame as it lies in the coordinates of the map."""
    one = conversions[0]
    if len(conversions) != 1 or one["type"] != "IfcMapConversion":
        kinds = ", ".join(str(c["type"]) for c in conversions)
        node.complain(kinds, "one IfcMapConversion", _AGAIN)
        return None
    length = units.length
    if one["unit"] is not None:
        found = _unit(one["unit"], "METRE", "length", _LENGTHS)
        if found is None:
            node.complain(f"a map in '{one['unit']['name']}'", "metres or feet", _AGAIN)
            return None
        length = found
    per_unit = to_si(1.0, "length", length)
    scale = 1.0 if one.get("Scale") is None else float(one["Scale"])
    stretch = scale * per_unit / units.metres(1.0)
    if one.get("Scale") is not None and abs(stretch - 1.0) > _ROUNDED:
        node.complain(
            f"a map conversion that scales lengths by {(stretch - 1.0) * 1e6:.3f} ppm",
            "none: lengths of the alignment are those of the grid",
            "export it in grid coordinates",
        )
        return None
    east, north, up = (
        to_si(float(one.get(k) or 0.0), "length", length)
        for k in ("Eastings", "Northings", "OrthogonalHeight")
    )
    cos, sin = one.get("XAxisAbscissa"), one.get("XAxisOrdinate")
    turn = 0.0 if cos is None or sin is None else math.atan2(float(sin), float(cos))
    return Frame(turn, np.array([east, north]), up).of(frame)
