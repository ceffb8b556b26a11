"""The structure as a frame: nodes, members, springs, rigid bodies, their loads and their seats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from fitup.frames import Array
from fitup.model.cables import FrameCable, FrameSaddle

#: motions of a node in the order of its six numbers: shifts along, then turns about the grid axes
MOTIONS: Final = ("E", "N", "H", "turn_E", "turn_N", "turn_H")


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

    id: str
    position: Array
    fixed: frozenset[int] = frozenset()


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

    id: str
    i: str
    j: str
    E: float
    G: float
    A: float
    Iy: float
    Iz: float
    J: float
    Asy: float
    Asz: float
    up: Array
    offset_i: Array = field(default_factory=lambda: np.zeros(3))
    offset_j: Array = field(default_factory=lambda: np.zeros(3))
    releases: frozenset[int] = frozenset()
    weight: float = 0.0
    expansion: float = 0.0
    depth: float = 0.0
    width: float = 0.0
    segment: str = ""


@dataclass(frozen=True, eq=False)
class Spring:
    """A spring along or about an axis, from a node to another or to the ground.

    It acts at its node; the other node reaches there by a rigid arm. ``stiffness`` is in N/m along
    the axis, or N m/rad about it where ``turns``.
    """

    id: str
    node: str
    other: str | None
    axis: Array
    stiffness: float
    turns: bool = False
    temporary: bool = False
    """Taken off at the end: a strongback or a tie."""
    holds: float = 0.0
    """Force it then puts on its node along its axis, and against it on the other [N or N m]."""


@dataclass(frozen=True, slots=True)
class Body:
    """Nodes that move together as one rigid body, led by the first."""

    id: str
    nodes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class NodeLoad:
    """Force [N] and moment [N m] (6,) at a node, in the grid."""

    id: str
    node: str
    values: Array


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

    id: str
    member: str
    values: Array
    start: float
    end: float | None = None


@dataclass(frozen=True, slots=True)
class Temperature:
    """Temperature of a member against the reference [K].

    ``even`` over the section; ``depth`` by how much the top (along z) is warmer than the bottom;
    ``width`` by how much the left (along y) is warmer than the right.
    """

    id: str
    member: str
    even: float = 0.0
    depth: float = 0.0
    width: float = 0.0


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

    id: str
    member: str
    at: float
    quantity: Literal["axial", "shear", "moment", "torsion", "stress"]
    y: float = 0.0
    z: float = 0.0
    least: float = -float("inf")
    most: float = float("inf")


@dataclass(frozen=True, slots=True)
class Tie:
    """Where a seat or check point is fixed to the frame: a node, or a member at a length."""

    node: str | None = None
    member: str | None = None
    at: float | None = None
    """From end i along the flexible length [m]; None: where it is nearest."""


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

    seat: str
    one_way: bool
    gap: float = 0.0
    setting: float = 0.0
    tie: Tie = Tie()
    temporary: bool = False
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
