"""What acts on a frame, and where its forces are watched: loads, temperatures, places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal, get_args

from fitup.frames import Array
from fitup.model.column import column

Watched = Literal["axial", "shear", "moment", "torsion", "stress"]
_LOAD: Final = column("id", "a name for the load", name="id")
#: what a load is, and what it is on
_ON: Final = (
    column(
        "word",
        "what it is",
        "; a point or a line is on a member",
        name="kind",
        words=("node", "point", "line", "temperature"),
    ),
    column("id", "the node (kind node) or member it is on", name="on"),
)
_FORCE: Final = (
    column("force", "the force down, for node and point", name="down", default=0.0),
    column("force", "the force to the east", name="east", default=0.0),
    column("force", "the force to the north", name="north", default=0.0),
)


@dataclass(frozen=True, eq=False)
class NodeLoad:
    """Force [N] and moment [N m] (6,) at a node, in the grid."""

    id: Annotated[str, _LOAD]
    node: Annotated[str, _ON]
    values: Annotated[Array, _FORCE]


@dataclass(frozen=True, eq=False)
class MemberLoad:
    """Load on a member, in the grid: a point load, or an even one over a length.

    Parameters
    ----------
    id, member : str
    values : Array (3,)
        Force [N], or force per length [N/m] where ``end`` is given.
    start : float
        Where it acts or begins, from end i along the flexible length [m].
    end : float, optional
        Where it ends [m].
    """

    id: Annotated[str, _LOAD]
    member: Annotated[str, _ON]
    values: Annotated[
        Array,
        _FORCE,
        column("line_load", "the load down per length, for line", name="line", default=None),
    ]
    start: Annotated[
        float,
        column(
            "length",
            "where it acts or begins, from end i",
            "; a line begins at 0 where it is empty",
            name="at",
            default=None,
            least=0.0,
        ),
    ]
    end: Annotated[
        float | None,
        column(
            "length",
            "where a line load ends, from end i",
            "; empty: at end j",
            name="to",
            above=0.0,
        ),
    ] = None


@dataclass(frozen=True, slots=True)
class Temperature:
    """Temperature of a member against the reference [K].

    ``even`` over the section; ``depth`` by how much the top (along z) is warmer than the bottom;
    ``width`` by how much the left (along y) is warmer than the right.
    """

    id: Annotated[str, _LOAD]
    member: Annotated[str, _ON]
    even: Annotated[
        float,
        column("temperature_step", "by how much it is warmer than the reference", name="warmer"),
    ] = 0.0
    depth: Annotated[
        float,
        column(
            "temperature_step", "by how much its top is warmer than its bottom", name="top_warmer"
        ),
    ] = 0.0
    width: Annotated[
        float,
        column(
            "temperature_step",
            "by how much its left side is warmer than its right",
            name="left_warmer",
        ),
    ] = 0.0


@dataclass(frozen=True, slots=True)
class Place:
    """A place of a member at which a force or stress is watched or limited.

    Parameters
    ----------
    id, member : str
    at : float
        From end i along the flexible length [m].
    quantity : str
        ``axial``, ``shear``, ``moment`` (vertical), ``torsion`` or ``stress``.
    y, z : float
        Fibre of a stress, from the centroid [m].
    least, most : float
        What it may be [N, N m or Pa]; tension and sagging are positive; infinite: only shown.
    """

    id: Annotated[str, column("id", "a name for the place")]
    member: Annotated[str, column("id", "the member")]
    at: Annotated[float, column("length", "where on the member, from end i", least=0.0)]
    quantity: Annotated[
        Watched,
        column(
            "word", "what is watched", "; shear and moment are vertical", words=get_args(Watched)
        ),
    ]
    y: Annotated[
        float,
        column("length", "for a stress: how far left of the centroid", name="left", default=None),
    ] = 0.0
    z: Annotated[
        float,
        column("length", "for a stress: how far above the centroid", name="up", default=None),
    ] = 0.0
    least: Annotated[
        float,
        column(
            "force",
            "the least axial force or shear",
            "; below zero: compression",
            name="force_least",
            default=None,
        ),
        column(
            "moment",
            "the least moment or torsion",
            "; below zero: hogging",
            name="moment_least",
            default=None,
        ),
        column("modulus", "the least stress", name="stress_least", default=None),
    ] = -float("inf")
    most: Annotated[
        float,
        column("force", "the greatest axial force or shear", name="force_most", default=None),
        column("moment", "the greatest moment or torsion", name="moment_most", default=None),
        column("modulus", "the greatest stress", name="stress_most", default=None),
    ] = float("inf")
