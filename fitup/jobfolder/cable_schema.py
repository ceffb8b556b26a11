"""The tables of towers, tensions, cables and saddles, column by column.

The manual (docs/cables.md) is checked against this file.
"""

from __future__ import annotations

from typing import Final

from fitup.jobfolder.table import Column

LEANS: Final = (
    Column("id", "id", "a name for the tower"),
    Column("head", "id", "the check point at its head"),
    Column("foot", "id", "the check point at its foot, on the same segment"),
    Column("amount", "length", "how far off plumb it should be now, without a sign", least=0.0),
    Column("side", "word", "to which side", words=("ahead", "back", "plumb")),
    Column("source", "text", "where that is written"),
)
TENSIONS: Final = (
    Column("id", "id", "the cable"),
    Column("tension", "force", "its tension at the survey", above=0.0),
    Column("u", "force", "the standard uncertainty of that", above=0.0),
    Column("target", "force", "the tension it should have now", required=False, above=0.0),
    Column("how", "text", "the tool, e.g. load cell"),
)
#: file -> (columns, required)
CABLE_TABLES: Final[dict[str, tuple[tuple[Column, ...], bool]]] = {
    "leans.csv": (LEANS, False),
    "tensions.csv": (TENSIONS, False),
}
