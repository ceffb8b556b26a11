"""A file of the design office, LandXML or IFC: told apart by how it begins, not by its name."""

from __future__ import annotations

from pathlib import Path

from fitup.alignment.ifc import MARK, read_ifc
from fitup.alignment.landxml import DesignFile, read_landxml


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
        with path.open("rb") as opened:
            head = opened.read(64).lstrip(b"\xef\xbb\xbf \t\r\n")
    except OSError:
        # told by the reader of LandXML
        head = b""
    if head.startswith(MARK):
        return read_ifc(path, shown, name)
    return read_landxml(path, shown, name, surface)
