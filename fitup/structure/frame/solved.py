"""A frame on its seats, solved once: loads, and a unit move of every seat, all seats two-way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array, csc_array

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model import Seat
from fitup.model.actions import Place
from fitup.model.frame import FrameModel, Tie
from fitup.structure.cable.of_frame import foot_of_cable_or_saddle, saddle_guides
from fitup.structure.frame.assemble import System
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.elements import ArmSpring, Foot
from fitup.structure.frame.loose import lonely_nodes, mechanism
from fitup.structure.frame.mesh import Mesh, make_mesh
from fitup.structure.frame.solve import Factor, Singular, factorise

#: right-hand sides that are solved together
_AT_ONCE = 64


@dataclass(frozen=True, eq=False)
class SolvedFrame:
    """A frame, linear about some motions; six for each node in the order of ``mesh.system.nodes``.

    Parameters
    ----------
    mesh : Mesh
    seats : tuple of Foot
        One for each seat.
    still : Array (6 n,)
        Under the loads, no seat moved, all seats two-way.
    moves : Array (6 n, s)
        For a unit move of every seat.
    tangent : csc_array (6 n, 6 n)
        Stiffness, seats included.
    rest : Array (6 n,)
        Forces of the elements where nothing has moved, less the loads on the nodes [N, N m].
    softness : float
        Least eigenvalue of the stiffness scaled to a unit diagonal; small is badly conditioned.
    by_moving : csc_array (6 n, s)
        Change of the forces of the elements for a unit move of each seat.
    own : Array (s,)
        Reaction gained for a unit move of each seat, nodes held [N/m].
    base : Array (s,)
        Reactions of the seats where nothing has moved, no node either [N].
    about : Array (6 n,)
        The motions about which all this is the tangent; zero for a frame without cables.
    at : Array (s,)
        The moves of the seats there [m].
    """

    mesh: Mesh
    seats: tuple[Foot, ...]
    still: Array
    moves: Array
    tangent: csc_array
    rest: Array
    softness: float
    by_moving: csc_array
    own: Array
    base: Array
    about: Array
    at: Array

    def place_of(self, name: str) -> slice:
        """Return where the six motions of what was tied under a name stand."""
        first = self.mesh.system.place[self.mesh.attached[name].node]
        return slice(first, first + 6)

    def shift(self, name: str, motions: Array) -> Array:
        """Return the shift of a tied place.

        Parameters
        ----------
        name : str
            As it was tied: ``seat/ID`` or ``point/ID``.
        motions : Array (6 n,) or (6 n, k)
            Of all nodes, one set or k of them [m, rad].

        Returns
        -------
        Array (3,) or (3, k)
            In the grid [m].
        """
        own = motions[self.place_of(name)]
        return self.mesh.attached[name].shift(own.T).T

    def turn(self, name: str, motions: Array) -> Array:
        """Return the turn of a tied place.

        Parameters
        ----------
        name : str
            As it was tied: ``seat/ID`` or ``point/ID``.
        motions : Array (6 n,) or (6 n, k)
            Of all nodes, one set or k of them [m, rad].

        Returns
        -------
        Array (3,) or (3, k)
            About the axes of the grid [rad].
        """
        return motions[self.place_of(name)][3:]

    def reactions(self) -> tuple[Array, Array]:
        """Return q (s,) under the loads and R (s, s) for a unit move of every seat, two-way."""
        return self.base + self.by_moving.T @ self.still, self._gained

    @cached_property
    def _gained(self) -> Array:
        """R by the work of the strains: D' W D, with D (e, s) those of a unit move of each seat.

        Where a move strains nothing, under a part that stands on as many seats as it needs, that
        is nothing: a difference of two stiffnesses would leave their rounding. What is wrong in
        the motions counts by its square only.
        """
        system = self.mesh.system
        B, W, turned = system.strains(self.about)
        strained = B @ self.moves
        first = B.shape[0] - sum(len(foot.strain_by_moving) for foot in self.seats)
        for i, foot in enumerate(self.seats):
            own = foot.strain_by_moving
            strained[first : first + len(own), i] += own
            first += len(own)
        return np.asarray(strained.T @ (W @ strained) + self.moves.T @ (turned @ self.moves))


def stand(
    model: FrameModel, seats: Sequence[Seat], ties: Mapping[str, tuple[Tie, Array]]
) -> tuple[Mesh, tuple[Foot, ...]]:
    """Put a frame on its seats.

    Parameters
    ----------
    model : FrameModel
    seats : sequence of Seat
        Each tied in ``ties`` under ``seat/ID``, unless it shortens a cable or pushes a saddle.
    ties : mapping of str to (Tie, Array)
        Where seats and points are tied, and their positions (3,) [m].

    Returns
    -------
    Mesh
        Its elements without the feet.
    feet : tuple of Foot

    Raises
    ------
    StructureError
        If a node is held by nothing.
    """
    mesh = make_mesh(model, ties)
    guides = tuple(saddle_guides(model, seats))
    system = replace(mesh.system, elements=(*mesh.system.elements, *guides))
    feet = tuple(_foot(model, mesh, seat) for seat in seats)
    lonely = lonely_nodes(replace(system, elements=(*system.elements, *feet)))
    if lonely:
        raise StructureError(
            f"node {lonely[0]}: no member, spring, cable, seat or body touches it; delete it from "
            "frame_nodes.csv or connect it"
        )
    return replace(mesh, system=system), feet


def solve_frame(
    model: FrameModel, seats: Sequence[Seat], ties: Mapping[str, tuple[Tie, Array]]
) -> SolvedFrame:
    """Solve a frame without cables on its seats.

    Parameters
    ----------
    model, seats, ties
        As for :func:`stand`.

    Raises
    ------
    StructureError
        If a node is held by nothing, or the frame can move by itself.
    """
    mesh, feet = stand(model, seats, ties)
    return tangent_about(mesh, feet, np.zeros(mesh.system.size), np.zeros(len(feet)))


def tangent_about(mesh: Mesh, feet: Sequence[Foot], about: Array, at: Array) -> SolvedFrame:
    """Return a frame linear about given motions and moves of its seats.

    Parameters
    ----------
    mesh : Mesh
        Its elements without the feet.
    feet : sequence of Foot
        One for each seat, wherever it is set.
    about : Array (6 n,)
        Motions of all nodes [m, rad].
    at : Array (s,)
        Moves to which the seats are set [m].

    Raises
    ------
    StructureError
        If the frame can move by itself.
    """
    feet = tuple(foot.moved(float(to)) for foot, to in zip(feet, at, strict=True))
    system = replace(mesh.system, elements=(*mesh.system.elements, *feet))
    forces, tangent = system.assemble(about)
    by_moving, own, base = _seats(system, feet, about, at)
    rest = forces - tangent @ about - by_moving @ at - system.loads
    try:
        factor = factorise(system.reduced(tangent))
    except Singular as error:
        raise mechanism(system, error.vector) from None
    return SolvedFrame(
        mesh=replace(mesh, system=system),
        seats=feet,
        still=system.spread @ factor.solve(system.spread.T @ -rest),
        moves=_moves(system, by_moving, factor),
        tangent=tangent,
        rest=rest,
        softness=factor.least,
        by_moving=by_moving,
        own=own,
        base=base,
        about=about,
        at=at,
    )


def _seats(
    system: System, feet: tuple[Foot, ...], about: Array, at: Array
) -> tuple[csc_array, Array, Array]:
    """What moving each seat does to the forces, to its own reaction, and that reaction at zero."""
    rows, columns, values = [], [], []
    own, base = np.zeros(len(feet)), np.zeros(len(feet))
    for i, foot in enumerate(feet):
        numbers = system.numbers(foot)
        u = about[numbers]
        change = foot.by_moving(u)
        rows.append(numbers)
        columns.append(np.full(len(numbers), i))
        values.append(change)
        own[i] = foot.firmness(u)
        base[i] = foot.reaction(u) - change @ u - own[i] * at[i]
    shape = (system.size, len(feet))
    if not feet:
        return csc_array(shape), own, base
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return csc_array(coo_array(entries, shape=shape)), own, base


def _foot(model: FrameModel, mesh: Mesh, seat: Seat) -> Foot:
    hung = foot_of_cable_or_saddle(model, seat)
    if hung is not None:
        return hung
    at = mesh.attached[f"seat/{seat.id}"]
    return ArmSpring(seat.id, at.node, at.arm, seat.direction, seat.stiffness)


def _moves(system: System, by_moving: csc_array, factor: Factor) -> Array:
    """Motions (6 n, s) for a unit move of every seat, some seats at a time to spare memory."""
    right = csc_array(system.spread.T @ -by_moving)
    moves = np.empty(by_moving.shape)
    for start in range(0, by_moving.shape[1], _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        moves[:, some] = system.spread @ factor.solve(right[:, some].toarray())
    return moves


def section_forces(solved: SolvedFrame, place: Place, motions: Array, loaded: bool) -> Array:
    """Return the forces on the ahead face of a cut at a place, in the member's axes.

    Parameters
    ----------
    solved : SolvedFrame
    place : Place
        One of the frame's own, at which its member has been cut.
    motions : Array (6 n,)
        Of all nodes: in a state, or a change such as for a unit move of a seat [m, rad].
    loaded : bool
        Add what loads and temperature on the piece itself do, which belongs to the state under load
        only.

    Returns
    -------
    Array (6,)
        Axial (tension), along y, along z, torsion, about y, about z [N, N m].
    """
    beam, sign = _piece(solved.mesh.pieces[place.member], place.at)
    own = solved.mesh.system.numbers(beam)
    about = solved.about[own]
    if loaded:
        ends = beam.end_forces(about) + beam.end_forces_by(about) @ (motions[own] - about)
    else:
        ends = beam.end_forces_by(about) @ motions[own]
    return ends[6:] if sign > 0.0 else -ends[:6]


def _piece(pieces: tuple[Beam, ...], at: float) -> tuple[Beam, float]:
    """Piece of a member that ends at a place, or begins there, and +1 or -1 for the two."""
    nearest = min(pieces, key=lambda beam: abs(beam.first + beam.length - at))
    if abs(at) < abs(nearest.first + nearest.length - at):
        return pieces[0], -1.0
    return nearest, 1.0
