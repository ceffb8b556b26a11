"""The tables of a frame, column by column.

The manual (docs/structure.md) is checked against this file.
"""

from __future__ import annotations

from typing import Final

from fitup.model.column import Column

QUANTITIES: Final = ("axial", "shear", "moment", "torsion", "stress")
NODES: Final = (
    Column("id", "id", "a name for the node"),
    Column("E", "length", "its easting"),
    Column("N", "length", "its northing"),
    Column("H", "length", "its height"),
    Column(
        "fixed",
        "ids",
        "motions that the ground holds: E, N, H, turn_E, turn_N, turn_H, or all",
        required=False,
        default=(),
    ),
)
MEMBERS: Final = (
    Column("id", "id", "a name for the member"),
    Column("i", "id", "the node at its first end"),
    Column("j", "id", "the node at its other end"),
    Column("section", "id", "its section"),
    Column("material", "id", "its material"),
    Column("segment", "id", "the segment it is part of", required=False, default=""),
    Column("up_E", "number", "its up direction, easting part", required=False),
    Column("up_N", "number", "its up direction, northing part", required=False),
    Column("up_H", "number", "its up direction, upward part", required=False),
    *(
        Column(
            f"offset_{end}_{axis}",
            "length",
            f"the rigid length at end {end} from the node, {axis} part",
            required=False,
            default=0.0,
        )
        for end in "ij"
        for axis in "ENH"
    ),
    *(
        Column(
            f"release_{end}",
            "ids",
            f"what end {end} does not carry: axial, shear_y, shear_z, torsion, moment_y, moment_z",
            required=False,
            default=(),
        )
        for end in "ij"
    ),
)
SECTIONS: Final = (
    Column("id", "id", "a name for the section"),
    Column("area", "area", "its area", above=0.0),
    Column("bending", "second_moment", "its second moment for vertical bending", above=0.0),
    Column("sideways", "second_moment", "its second moment for sideways bending", above=0.0),
    Column("torsion", "second_moment", "its torsion constant", above=0.0),
    Column("shear_area", "area", "its shear area for vertical shear", required=False, above=0.0),
    Column(
        "shear_sideways", "area", "its shear area for sideways shear", required=False, above=0.0
    ),
    Column("depth", "length", "its depth", required=False, above=0.0),
    Column("width", "length", "its width", required=False, above=0.0),
)
MATERIALS: Final = (
    Column("id", "id", "a name for the material"),
    Column("E", "modulus", "its modulus of elasticity", above=0.0),
    Column(
        "poisson",
        "number",
        "its Poisson's ratio",
        required=False,
        default=0.3,
        least=0.0,
        most=0.49,
    ),
    Column(
        "unit_weight",
        "unit_weight",
        "its unit weight",
        required=False,
        default=0.0,
        least=0.0,
        most=250e3,
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
)
SPRINGS: Final = (
    Column("id", "id", "a name for the spring"),
    Column("node", "id", "the node it holds"),
    Column("other", "id", "the node it is fixed to; empty: the ground", required=False),
    Column("axis_E", "number", "its direction, easting part", required=False, default=0.0),
    Column("axis_N", "number", "its direction, northing part", required=False, default=0.0),
    Column("axis_H", "number", "its direction, upward part", required=False, default=0.0),
    Column("stiffness", "stiffness", "its stiffness along the axis", required=False, above=0.0),
    Column("turning", "turn_stiffness", "its stiffness about the axis", required=False, above=0.0),
    Column(
        "temporary", "yesno", "yes if it is taken off at the end", required=False, default=False
    ),
    Column(
        "holds",
        "force",
        "the force it then puts on its node along its axis",
        required=False,
        default=0.0,
    ),
)
BODIES: Final = (
    Column("id", "id", "a name for the rigid body"),
    Column("nodes", "ids", "the nodes that move together, the leading one first"),
)
LOADS: Final = (
    Column("id", "id", "a name for the load"),
    Column(
        "kind",
        "word",
        "what it is",
        words=("node", "point", "line", "temperature"),
    ),
    Column("on", "id", "the node (kind node) or member it is on"),
    Column("down", "force", "the force down, for node and point", required=False, default=0.0),
    Column("east", "force", "the force to the east", required=False, default=0.0),
    Column("north", "force", "the force to the north", required=False, default=0.0),
    Column("line", "line_load", "the load down per length, for line", required=False),
    Column("at", "length", "where it acts or begins, from end i", required=False, least=0.0),
    Column("to", "length", "where a line load ends, from end i", required=False, above=0.0),
    Column(
        "warmer",
        "temperature_step",
        "by how much it is warmer than the reference",
        required=False,
        default=0.0,
    ),
    Column(
        "top_warmer",
        "temperature_step",
        "by how much its top is warmer than its bottom",
        required=False,
        default=0.0,
    ),
    Column(
        "left_warmer",
        "temperature_step",
        "by how much its left side is warmer than its right",
        required=False,
        default=0.0,
    ),
)
SEATS: Final = (
    Column("seat", "id", "the seat"),
    Column("one_way", "yesno", "yes where the structure may lift off", required=False),
    Column(
        "gap", "length", "the present opening, measured", required=False, default=0.0, least=0.0
    ),
    Column(
        "set_high",
        "length",
        "how far it was set above the stress-free shape; below zero: low",
        required=False,
        default=0.0,
    ),
    Column("node", "id", "the node it is fixed to", required=False),
    Column("member", "id", "the member it is fixed to", required=False),
    Column("at", "length", "where on the member, from end i", required=False, least=0.0),
    Column(
        "temporary", "yesno", "yes if it is taken off at the end", required=False, default=False
    ),
)
TIES: Final = (
    Column("point", "id", "the check point"),
    Column("node", "id", "the node it is fixed to", required=False),
    Column("member", "id", "the member it is fixed to", required=False),
    Column("at", "length", "where on the member, from end i", required=False, least=0.0),
)
PLACES: Final = (
    Column("id", "id", "a name for the place"),
    Column("member", "id", "the member"),
    Column("at", "length", "where on the member, from end i", least=0.0),
    Column("quantity", "word", "what is watched", words=QUANTITIES),
    Column("left", "length", "for a stress: how far left of the centroid", required=False),
    Column("up", "length", "for a stress: how far above the centroid", required=False),
    Column("force_least", "force", "the least axial force or shear", required=False),
    Column("force_most", "force", "the greatest axial force or shear", required=False),
    Column("moment_least", "moment", "the least moment or torsion", required=False),
    Column("moment_most", "moment", "the greatest moment or torsion", required=False),
    Column("stress_least", "modulus", "the least stress", required=False),
    Column("stress_most", "modulus", "the greatest stress", required=False),
)
#: file -> (columns, required once there is a frame)
FRAME_TABLES: Final[dict[str, tuple[tuple[Column, ...], bool]]] = {
    "frame_nodes.csv": (NODES, True),
    "frame_members.csv": (MEMBERS, True),
    "frame_sections.csv": (SECTIONS, True),
    "frame_materials.csv": (MATERIALS, True),
    "frame_springs.csv": (SPRINGS, False),
    "frame_bodies.csv": (BODIES, False),
    "frame_loads.csv": (LOADS, False),
    "frame_seats.csv": (SEATS, False),
    "frame_ties.csv": (TIES, False),
    "frame_places.csv": (PLACES, False),
}
