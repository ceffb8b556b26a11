"""The tables of towers, tensions, cables and saddles, column by column.

The manual (docs/cables.md) is checked against this file.
"""

from __future__ import annotations

from typing import Final

from fitup.model.column import Column

LEANS: Final = (
    Column("id", "id", "a name for the tower"),
    Column("head", "id", "the check point at its head"),
    Column("foot", "id", "the check point at its foot, on the same segment"),
    Column("amount", "length", "how far off plumb it should be now, without a sign", least=0.0),
    Column("side", "word", "to which side", words=("ahead", "back", "plumb")),
    Column("source", "text", "where that is written"),
    Column("stage", "text", "the stage of the work it is for; empty: every stage", required=False),
)
TENSIONS: Final = (
    Column("id", "id", "the cable"),
    Column("tension", "force", "its tension at the survey", above=0.0),
    Column("u", "force", "the standard uncertainty of that", above=0.0),
    Column("target", "force", "the tension it should have now", required=False, above=0.0),
    Column("how", "text", "the tool, e.g. load cell"),
    Column("stage", "text", "the stage of the work it is for; empty: every stage", required=False),
)
CABLES: Final = (
    Column("id", "id", "a name for the cable"),
    Column("i", "id", "the node at its far end"),
    Column("j", "id", "the node at the end that is adjusted"),
    Column(
        "form",
        "word",
        "how it hangs",
        required=False,
        default="catenary",
        words=("catenary", "straight"),
    ),
    Column("E", "modulus", "its modulus of elasticity", least=1e9, most=1e12),
    Column("area", "area", "its metallic area", above=0.0),
    Column("weight", "line_load", "its weight per unstressed length", least=0.0, most=2e5),
    Column(
        "length",
        "length",
        "its unstressed length at the reference temperature",
        required=False,
        above=0.0,
    ),
    Column(
        "tension",
        "force",
        "its tension with both ends where frame_nodes.csv puts them",
        required=False,
    ),
    Column(
        "expansion",
        "expansion",
        "its thermal expansion coefficient",
        required=False,
        default=0.0,
        least=0.0,
        most=5e-5,
    ),
    Column(
        "warmer",
        "temperature_step",
        "by how much it is warmer than the reference",
        required=False,
        default=0.0,
    ),
    Column("seat", "id", "the seat whose shim or nut shortens it", required=False),
    Column("tension_least", "force", "the least tension", required=False, default=0.0, least=0.0),
    Column("tension_most", "force", "the greatest tension", required=False, above=0.0),
)
SADDLES: Final = (
    Column("id", "id", "a name for the saddle"),
    Column("node", "id", "the node where the cables meet on it"),
    Column("back", "id", "the cable on its back side"),
    Column("ahead", "id", "the cable on its ahead side"),
    Column(
        "friction", "number", "the friction to rely on, its reserve taken off", above=0.0, most=1.0
    ),
    Column("on", "id", "the node of the structure it slides on", required=False),
    Column("seat", "id", "the seat whose pack pushes it", required=False),
)
#: tables of a frame: file -> (columns, required once there is a frame)
FRAME_CABLE_TABLES: Final[dict[str, tuple[tuple[Column, ...], bool]]] = {
    "frame_cables.csv": (CABLES, False),
    "frame_saddles.csv": (SADDLES, False),
}
#: file -> (columns, required)
CABLE_TABLES: Final[dict[str, tuple[tuple[Column, ...], bool]]] = {
    "leans.csv": (LEANS, False),
    "tensions.csv": (TENSIONS, False),
}
