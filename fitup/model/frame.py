"""The structure as a frame: nodes, members, springs, rigid bodies, ties and seats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Final

import numpy as np

from fitup.frames import Array
from fitup.model.actions import MemberLoad, NodeLoad, Place, Temperature
from fitup.model.cables import FrameCable, FrameSaddle
from fitup.model.column import Column, column, columns_of, grid

#: motions of a node in the order of its six numbers: shifts along, then turns about the grid axes
MOTIONS: Final = ("E", "N", "H", "turn_E", "turn_N", "turn_H")
#: what an end of a member may release, in the order of the six motions of the end
RELEASES: Final = ("axial", "shear_y", "shear_z", "torsion", "moment_y", "moment_z")
_PARTS: Final = (("E", "easting"), ("N", "northing"), ("H", "upward"))


def _direction(prefix: str, more: str = "", default: float | None = None) -> tuple[Column, ...]:
    """Declare the three parts of a direction in the grid."""
    return tuple(
        column(
            "number",
            f"its {'up ' if prefix == 'up' else ''}direction, {word} part",
            more if axis == "E" else "",
            name=f"{prefix}_{axis}",
            default=default,
        )
        for axis, word in _PARTS
    )


def _offset(end: str) -> tuple[Column, ...]:
    return tuple(
        column(
            "length",
            f"the rigid length at end {end} from the node, {axis} part",
            name=f"offset_{end}_{axis}",
            default=0.0,
        )
        for axis in "ENH"
    )


def _release(end: str) -> Column:
    meaning = f"what end {end} does not carry: {', '.join(RELEASES)}"
    return column("ids", meaning, name=f"release_{end}", default=())


@dataclass(frozen=True, eq=False)
class Node:
    """A point of the frame with six motions: shifts and turns in the grid.

    Parameters
    ----------
    id : str
    position : Array (3,)
        In the grid [m].
    fixed : frozenset of int
        Motions that the ground holds, by their place in ``MOTIONS``.
    """

    id: Annotated[str, column("id", "a name for the node")]
    position: Annotated[Array, grid("", " of the node")]
    fixed: Annotated[
        frozenset[int],
        column("ids", f"motions that the ground holds: {', '.join(MOTIONS)}, or all", default=()),
    ] = frozenset()


@dataclass(frozen=True, slots=True)
class Section:
    """A cross-section of members: areas [m2], second moments [m4], depth and width [m]."""

    id: Annotated[str, column("id", "a name for the section")]
    area: Annotated[float, column("area", "its area", above=0.0)]
    bending: Annotated[
        float, column("second_moment", "its second moment for vertical bending", above=0.0)
    ]
    sideways: Annotated[
        float, column("second_moment", "its second moment for sideways bending", above=0.0)
    ]
    torsion: Annotated[float, column("second_moment", "its torsion constant", above=0.0)]
    shear_area: Annotated[
        float,
        column(
            "area",
            "its shear area for vertical shear",
            "; empty: no shear deformation",
            above=0.0,
        ),
    ] = float("inf")
    shear_sideways: Annotated[
        float,
        column(
            "area",
            "its shear area for sideways shear",
            "; empty: no shear deformation",
            above=0.0,
        ),
    ] = float("inf")
    depth: Annotated[
        float | None,
        column(
            "length",
            "its depth",
            ", needed for a temperature difference top to bottom; guards the unit of `bending`",
            above=0.0,
        ),
    ] = None
    width: Annotated[
        float | None,
        column(
            "length",
            "its width",
            ", needed for a temperature difference left to right; guards the unit of `sideways`",
            above=0.0,
        ),
    ] = None


@dataclass(frozen=True, slots=True)
class Material:
    """What members are made of: modulus [Pa], unit weight [N/m3], thermal expansion [1/K]."""

    id: Annotated[str, column("id", "a name for the material")]
    E: Annotated[
        float, column("modulus", "its modulus of elasticity", ", from 1 to 1000 GPa", above=0.0)
    ]
    poisson: Annotated[float, column("number", "its Poisson's ratio", least=0.0, most=0.49)] = 0.3
    unit_weight: Annotated[
        float,
        column(
            "unit_weight",
            "its unit weight",
            ", which gives the self-weight",
            least=0.0,
            most=250e3,
        ),
    ] = 0.0
    expansion: Annotated[
        float, column("expansion", "its thermal expansion coefficient", least=0.0, most=5e-5)
    ] = 0.0

    @property
    def G(self) -> float:
        """Shear modulus [Pa]."""
        return self.E / (2.0 * (1.0 + self.poisson))


@dataclass(frozen=True, eq=False)
class Member:
    """A straight beam from node i to node j, with rigid ends and shear deformation.

    Its own axes: x from end i to end j, z the part of ``up`` across x, y = z x x. A deck member
    that runs ahead has y to the left and z out of the deck. Bending in the vertical plane turns
    about y, so ``Iy`` carries the deck.

    Parameters
    ----------
    id, i, j : str
    E, G : float
        Young's and shear modulus [Pa].
    A, Iy, Iz, J : float
        Area [m2], second moments about y and z, torsion constant [m4].
    Asy, Asz : float
        Shear areas for forces along y and z [m2]; infinite: no shear deformation.
    up : Array (3,)
        Direction in the plane of x and z, in the grid.
    offset_i, offset_j : Array (3,)
        From the node to the end of the flexible length, in the grid [m]; rigid.
    releases : frozenset of int
        End motions that carry no force, in the member's axes: 0-5 at i, 6-11 at j.
    weight : float
        Weight per length, along the gravity of the grid [N/m].
    expansion : float
        Coefficient of thermal expansion [1/K].
    depth, width : float
        Of the section, for the temperature differences through it [m].
    segment : str
        Segment that it is part of; empty for towers, piers and temporary works.
    """

    id: Annotated[str, column("id", "a name for the member")]
    i: Annotated[str, column("id", "the node at its first end")]
    j: Annotated[str, column("id", "the node at its other end")]
    E: Annotated[float, column("id", "its material", name="material")]
    G: float
    A: Annotated[float, column("id", "its section", name="section")]
    Iy: float
    Iz: float
    J: float
    Asy: float
    Asz: float
    up: Annotated[Array, _direction("up", "; all three empty: straight up")]
    offset_i: Annotated[Array, _offset("i")] = field(default_factory=lambda: np.zeros(3))
    offset_j: Annotated[Array, _offset("j")] = field(default_factory=lambda: np.zeros(3))
    releases: Annotated[frozenset[int], _release("i"), _release("j")] = frozenset()
    weight: float = 0.0
    expansion: float = 0.0
    depth: float = 0.0
    width: float = 0.0
    segment: Annotated[
        str,
        column(
            "id",
            "the segment it is part of",
            "; empty for finished deck, towers, piers and temporary works",
        ),
    ] = ""


@dataclass(frozen=True, eq=False)
class Spring:
    """A spring along or about an axis, from a node to another or to the ground.

    It acts at its node; the other node reaches there by a rigid arm. ``stiffness`` is in N/m along
    the axis, or N m/rad about it where ``turns``.
    """

    id: Annotated[str, column("id", "a name for the spring")]
    node: Annotated[str, column("id", "the node it holds")]
    other: Annotated[
        str | None, column("id", "the node it is fixed to; empty: the ground", default=None)
    ]
    axis: Annotated[Array, _direction("axis", default=0.0)]
    stiffness: Annotated[
        float,
        column(
            "stiffness",
            "its stiffness along the axis",
            "; this or `turning`",
            default=None,
            above=0.0,
        ),
        column(
            "turn_stiffness",
            "its stiffness about the axis",
            name="turning",
            default=None,
            above=0.0,
        ),
    ]
    turns: bool = False
    temporary: Annotated[
        bool, column("yesno", "yes if it is taken off at the end", ": a strongback or a tie")
    ] = False
    """Taken off at the end: a strongback or a tie."""
    holds: Annotated[
        float,
        column(
            "force",
            "the force it then puts on its node along its axis",
            ", below zero against it; the other way on the other node",
        ),
    ] = 0.0
    """Force it then puts on its node along its axis, and against it on the other [N or N m]."""


@dataclass(frozen=True, slots=True)
class Body:
    """Nodes that move together as one rigid body, led by the first."""

    id: Annotated[str, column("id", "a name for the rigid body")]
    nodes: Annotated[
        tuple[str, ...],
        column(
            "ids",
            "the nodes that move together, the leading one first",
            "; only that one may be fixed",
        ),
    ]


@dataclass(frozen=True, slots=True)
class Tie:
    """Where a seat or check point is fixed to the frame: a node, or a member at a length."""

    node: Annotated[str | None, column("id", "the node it is fixed to")] = None
    member: Annotated[
        str | None,
        column("id", "the member it is fixed to", "; without node too: the nearest of its segment"),
    ] = None
    at: Annotated[
        float | None,
        column(
            "length", "where on the member, from end i", "; empty: where it is nearest", least=0.0
        ),
    ] = None
    """From end i along the flexible length [m]; None: where it is nearest."""


@dataclass(frozen=True, slots=True)
class PointTie:
    """A check point that does not hang on the nearest member of its segment."""

    point: Annotated[str, column("id", "the check point")]
    tie: Annotated[Tie, columns_of(Tie)]


@dataclass(frozen=True, slots=True)
class FrameSeat:
    """What the frame must know of a seat beyond its row in seats.csv.

    Parameters
    ----------
    seat : str
    one_way : bool
        It can push, not pull: the structure may lift off.
    gap : float
        Present opening between seat and structure [m]; zero: it touches.
    setting : float
        How far the seat was set from the stress-free shape before the survey [m]; it counts
        where present reactions are computed.
    tie : Tie
    """

    seat: Annotated[str, column("id", "the seat")]
    one_way: Annotated[
        bool,
        column(
            "yesno",
            "yes where the structure may lift off",
            "; empty: yes if `reaction_least` is not below zero, no at a cable's nut",
            default=None,
        ),
    ]
    gap: Annotated[
        float,
        column(
            "length",
            "the present opening, measured",
            "; the seat then carries nothing",
            least=0.0,
        ),
    ] = 0.0
    setting: Annotated[
        float,
        column(
            "length",
            "how far it was set above the stress-free shape; below zero: low",
            "; for computed loads",
            name="set_high",
        ),
    ] = 0.0
    tie: Annotated[Tie, columns_of(Tie)] = Tie()
    temporary: Annotated[
        bool,
        column("yesno", "yes if it is taken off at the end", ": a jack or a temporary support"),
    ] = False
    """Taken off at the end: a jack or a temporary support."""


@dataclass(frozen=True, eq=False)
class FrameModel:
    """A whole frame, checked, in SI; ids are those of the tables."""

    nodes: Mapping[str, Node]
    members: Mapping[str, Member]
    springs: Mapping[str, Spring] = field(default_factory=dict)
    bodies: Mapping[str, Body] = field(default_factory=dict)
    node_loads: tuple[NodeLoad, ...] = ()
    member_loads: tuple[MemberLoad, ...] = ()
    temperatures: tuple[Temperature, ...] = ()
    places: Mapping[str, Place] = field(default_factory=dict)
    seats: Mapping[str, FrameSeat] = field(default_factory=dict)
    ties: Mapping[str, Tie] = field(default_factory=dict)
    """Check point -> where it is tied, where not to the nearest member of its segment."""
    cables: Mapping[str, FrameCable] = field(default_factory=dict)
    saddles: Mapping[str, FrameSaddle] = field(default_factory=dict)

    @property
    def temporary(self) -> tuple[str, ...]:
        """Springs and seats that are taken off at the end."""
        springs = tuple(s.id for s in self.springs.values() if s.temporary)
        return springs + tuple(s.seat for s in self.seats.values() if s.temporary)
