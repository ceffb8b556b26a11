"""A file of the design office, LandXML or IFC: told apart by how it begins, not by its name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from fitup.alignment.ifc import MARK, read_ifc
from fitup.alignment.landxml import DesignFile, read_landxml
from fitup.errors import Problem
from fitup.plainfile import read_bytes


def read_design(
    path: Path, shown: str | None = None, name: str | None = None, surface: str | None = None
) -> DesignFile:
    """Read an alignment from LandXML 1.1 or 1.2, or from IFC 4.3.

    Parameters
    ----------
    path : Path
    shown : str, optional
        Name of the file in messages; its own name if missing.
    name : str, optional
        Which alignment, where the file has several.
    surface : str, optional
        Which design surface of LandXML cross-sections is the deck, where they have several.

    Raises
    ------
    InputError
        With everything that is wrong in the chosen alignment.
    """
    try:
        head = read_bytes(path)[:64].lstrip(b"\xef\xbb\xbf \t\r\n")
    except OSError:
        # told by the reader of LandXML
        head = b""
    if head.startswith(MARK):
        return _without_surface(read_ifc(path, shown, name), shown or path.name, surface)
    return read_landxml(path, shown, name, surface)


def _without_surface(found: DesignFile, file: str, surface: str | None) -> DesignFile:
    """Say so where a surface is named for a file whose crossfall is not read."""
    if surface is None:
        return found
    stated = Problem(
        file,
        f"surface '{surface}' named for an IFC file, whose crossfall is not read",
        "a surface of LandXML cross-sections",
        "take surface out of [alignment], and give the crossfall as a table: station, side, "
        "slope, falls_to",
    )
    notes = (*found.notes, stated)
    axis = found.alignment
    if axis is not None:
        axis = replace(axis, notes=tuple(str(n) for n in notes))
    return replace(found, alignment=axis, notes=notes)
