"""What an IFC file says of its alignments, as JSON; a process of its own that may be killed.

A file from elsewhere may bring a parser down, or feed it for ever. This script therefore runs in a
process of its own, with limits on time and memory, and imports nothing of fitup. It judges
nothing: what is missing stays null, and :mod:`fitup.alignment.ifc` says what that means.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import re
import sys
from pathlib import Path
from typing import Any

SECONDS = 60
#: the edition the library knows, and those whose alignments are the same
READ = "IFC4X3_ADD2"
LIKE_IT = ("IFC4X3", "IFC4X3_TC1", "IFC4X3_ADD1")
SCHEMA = re.compile(r"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'")
BYTES = 4_000_000_000
MOST_SEGMENTS = 10_000
#: what it ends with
NO_LIBRARY, NOT_READ = 3, 4


def limit() -> None:
    """Bound what this process may use, where the system can."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def get(entity: Any, name: str) -> Any:
    """Return an attribute; None where it is missing or cannot be read.

    Parameters
    ----------
    entity : entity of the IFC library, or None
    name : str
        Of the attribute, as IFC spells it.
    """
    try:
        return getattr(entity, name, None)
    except Exception:
        return None


def value(one: Any) -> Any:
    """Return the number or word of a measure that is wrapped in its type."""
    return get(one, "wrappedValue") if hasattr(one, "wrappedValue") else one


def nested(entity: Any) -> list[Any]:
    """Return what is nested under an entity, in order."""
    return [e for rel in get(entity, "IsNestedBy") or () for e in get(rel, "RelatedObjects") or ()]


def parameters(segment: Any) -> dict[str, Any] | None:
    """Return the design parameters of a segment by name."""
    design = get(segment, "DesignParameters")
    if design is None:
        return None
    found: dict[str, Any] = design.get_info(include_identifier=False)
    point = found.pop("StartPoint", None)
    if point is not None:
        found["StartPoint"] = get(point, "Coordinates")
    return {k: v for k, v in found.items() if isinstance(v, str | int | float | tuple | None)}


def segments(layout: Any) -> list[dict[str, Any] | None]:
    """Return the parameters of the segments of a horizontal or vertical layout."""
    own = [e for e in nested(layout) if e.is_a("IfcAlignmentSegment")]
    if len(own) > MOST_SEGMENTS:
        raise ValueError(f"{len(own)} segments in one layout")
    return [parameters(s) for s in own]


def axes(place: Any) -> list[Any]:
    """Return origin, upright axis and x axis of a placement; null where they are left out."""
    parts = (("Location", "Coordinates"), ("Axis", "DirectionRatios"))
    last = get(get(place, "RefDirection"), "DirectionRatios")
    return [*(get(get(place, part), what) for part, what in parts), last]


def placement(entity: Any) -> list[Any] | None:
    """Return the placements of an entity, inner first; None where one is not a local placement."""
    found: list[Any] = []
    place = get(entity, "ObjectPlacement")
    while place is not None:
        if not place.is_a("IfcLocalPlacement") or len(found) > 50:
            return None
        found.append(axes(get(place, "RelativePlacement")))
        place = get(place, "PlacementRelTo")
    return found


def referent(entity: Any) -> dict[str, Any]:
    """Return where a referent stands along its alignment, and the stations written there."""
    found: dict[str, Any] = {"name": get(entity, "Name"), "along": None}
    place = get(get(get(entity, "ObjectPlacement"), "RelativePlacement"), "Location")
    along = get(place, "DistanceAlong")
    if along is not None and getattr(along, "is_a", lambda: "IfcLengthMeasure")() in (
        "IfcLengthMeasure",
        "IfcNonNegativeLengthMeasure",
    ):
        found["along"] = value(along)
    for rel in get(entity, "IsDefinedBy") or ():
        properties = get(rel, "RelatingPropertyDefinition")
        if get(properties, "Name") == "Pset_Stationing":
            for one in get(properties, "HasProperties") or ():
                found[str(get(one, "Name"))] = value(get(one, "NominalValue"))
    return found


def unit(entity: Any) -> dict[str, Any]:
    """Return a unit: what it measures, its name, and its size in SI where it is a conversion."""
    found = {"type": get(entity, "UnitType"), "name": get(entity, "Name"), "prefix": None}
    if entity.is_a("IfcSIUnit"):
        found["prefix"] = get(entity, "Prefix")
    factor = get(entity, "ConversionFactor")
    if factor is not None:
        found["factor"] = value(get(factor, "ValueComponent"))
        base = get(factor, "UnitComponent")
        found["base"] = [get(base, "Name"), get(base, "Prefix")]
    return found


def conversions(file: Any) -> list[dict[str, Any]]:
    """Return how coordinates of the file become those of a map."""
    found = []
    for entity in file.by_type("IfcCoordinateOperation"):
        info = entity.get_info(include_identifier=False)
        crs = get(entity, "TargetCRS")
        map_unit = get(crs, "MapUnit")
        plain = {k: value(v) for k, v in info.items() if k not in ("SourceCRS", "TargetCRS")}
        plain["crs"] = get(crs, "Name")
        plain["unit"] = None if map_unit is None else unit(map_unit)
        found.append(plain)
    return found


def extract(path: str) -> dict[str, Any]:
    """Return everything of a file that an alignment needs."""
    # untyped, and optional
    ifcopenshell: Any = importlib.import_module("ifcopenshell")
    text = Path(path).read_bytes().decode("utf-8", "replace")
    found = SCHEMA.search(text[:100_000])
    schema = found[1].upper() if found else ""
    if schema not in (READ, *LIKE_IT):
        return {"schema": schema}
    if schema != READ:
        text = text[: found.start(1)] + READ + text[found.end(1) :] if found else text
    file = ifcopenshell.file.from_string(text)
    units = [u for a in file.by_type("IfcUnitAssignment") for u in get(a, "Units") or ()]
    alignments = []
    for entity in file.by_type("IfcAlignment"):
        parts = nested(entity)
        alignments.append(
            {
                "name": get(entity, "Name") or "",
                "horizontal": [segments(p) for p in parts if p.is_a("IfcAlignmentHorizontal")],
                "vertical": [segments(p) for p in parts if p.is_a("IfcAlignmentVertical")],
                "cant": sum(p.is_a("IfcAlignmentCant") for p in parts),
                "placement": placement(entity),
                "referents": [referent(p) for p in parts if p.is_a("IfcReferent")],
                "children": [
                    get(c, "Name") or ""
                    for rel in get(entity, "IsDecomposedBy") or ()
                    for c in get(rel, "RelatedObjects") or ()
                    if c.is_a("IfcAlignment")
                ],
            }
        )
    return {
        "schema": schema,
        "log": ifcopenshell.get_log(),
        "units": [unit(u) for u in units if get(u, "UnitType") in ("LENGTHUNIT", "PLANEANGLEUNIT")],
        "worlds": [
            axes(get(c, "WorldCoordinateSystem"))
            for c in file.by_type("IfcGeometricRepresentationContext", include_subtypes=False)
        ],
        "conversions": conversions(file),
        "alignments": alignments,
        "made": str(file.header.file_name.time_stamp or ""),
    }


def main() -> int:
    """Print what a file says; the reason on standard error where it cannot be read."""
    limit()
    try:
        print(json.dumps(extract(sys.argv[1])))
    except ImportError as error:
        print(error, file=sys.stderr)
        return NO_LIBRARY
    except Exception as error:
        print(" ".join(str(error).split())[:200] or type(error).__name__, file=sys.stderr)
        return NOT_READ
    return 0


if __name__ == "__main__":
    sys.exit(main())
