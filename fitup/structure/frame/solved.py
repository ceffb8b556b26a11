"""A frame on its seats, solved once: loads, and a unit move of every seat, all seats two-way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array, csc_array

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model import Seat
from fitup.model.frame import FrameModel, Place, Tie
from fitup.structure.frame.assemble import System
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.elements import ArmSpring
from fitup.structure.frame.loose import lonely_nodes, mechanism
from fitup.structure.frame.mesh import NEAR, Mesh, make_mesh
from fitup.structure.frame.solve import Factor, Singular, factorise

#: right-hand sides that are solved together
_AT_ONCE = 64


@dataclass(frozen=True, eq=False)
class Solved:
    """Motions of a frame; six for each node in the order of ``mesh.system.nodes``.

    Parameters
    ----------
    mesh : Mesh
    seats : tuple of ArmSpring
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
    """

    mesh: Mesh
    seats: tuple[ArmSpring, ...]
    still: Array
    moves: Array
    tangent: csc_array
    rest: Array
    softness: float

    def place_of(self, name: str) -> slice:
        """Return where the six motions of what was tied under a name stand."""
        first = self.mesh.system.place[self.mesh.attached[name].node]
        return slice(first, first + 6)

    def shift(self, name: str, motions: Array) -> Array:
        """Return the shift (3,) or (3, k) of a tied place for motions (6 n,) or (6 n, k)."""
        own = motions[self.place_of(name)]
        return self.mesh.attached[name].shift(own.T).T

    def turn(self, name: str, motions: Array) -> Array:
        """Return the turn (3,) or (3, k) of a tied place [rad]."""
        return motions[self.place_of(name)][3:]

    def reactions(self) -> tuple[Array, Array]:
        """Return q (s,) under the loads and R (s, s) for a unit move of every seat, two-way."""
        rows = np.array([s.row for s in self.seats]).reshape(len(self.seats), 6)
        at = [self.mesh.system.place[s.node] for s in self.seats]
        k = np.array([s.stiffness for s in self.seats])
        still = np.array([r @ self.still[a : a + 6] for r, a in zip(rows, at, strict=True)])
        moves = np.array([r @ self.moves[a : a + 6] for r, a in zip(rows, at, strict=True)])
        R = k[:, None] * (np.eye(len(k)) - moves.reshape(len(k), len(k)))
        return -k * still, 0.5 * (R + R.T)


def solve_frame(
    model: FrameModel, seats: Sequence[Seat], ties: Mapping[str, tuple[Tie, Array]]
) -> Solved:
    """Solve a frame on its seats.

    Parameters
    ----------
    model : FrameModel
    seats : sequence of Seat
        Each tied in ``ties`` under ``seat/ID``.
    ties : mapping of str to (Tie, Array)
        Where seats and points are tied, and their positions (3,) [m].

    Raises
    ------
    StructureError
        If a node is held by nothing, or the frame can move by itself.
    """
    mesh = make_mesh(model, ties)
    feet = tuple(_foot(mesh, seat) for seat in seats)
    system = replace(mesh.system, elements=(*mesh.system.elements, *feet))
    mesh = replace(mesh, system=system)
    lonely = lonely_nodes(system)
    if lonely:
        raise StructureError(
            f"node {lonely[0]}: no member, spring, seat or body touches it; delete it from "
            "frame_nodes.csv or connect it"
        )
    forces, tangent = system.assemble()
    rest = forces - system.loads
    try:
        factor = factorise(system.reduced(tangent))
    except Singular as error:
        raise mechanism(system, error.vector) from None
    still = system.spread @ factor.solve(system.spread.T @ -rest)
    return Solved(mesh, feet, still, _moves(system, feet, factor), tangent, rest, factor.least)


def _foot(mesh: Mesh, seat: Seat) -> ArmSpring:
    at = mesh.attached[f"seat/{seat.id}"]
    return ArmSpring(seat.id, at.node, at.arm, seat.direction, seat.stiffness)


def _moves(system: System, feet: tuple[ArmSpring, ...], factor: Factor) -> Array:
    """Motions (6 n, s) for a unit move of every seat, some seats at a time to spare memory."""
    firsts = np.array([system.place[foot.node] for foot in feet], dtype=np.int64)
    rows = (firsts[:, None] + np.arange(6)).ravel()
    columns = np.repeat(np.arange(len(feet)), 6)
    pushes = np.array([foot.stiffness * foot.row for foot in feet]).ravel()
    shape = (system.size, len(feet))
    right = csc_array(system.spread.T @ coo_array((pushes, (rows, columns)), shape=shape))
    moves = np.empty(shape)
    for start in range(0, len(feet), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        moves[:, some] = system.spread @ factor.solve(right[:, some].toarray())
    return moves


def section_forces(solved: Solved, place: Place, motions: Array, loaded: bool) -> Array:
    """Return the forces (6,) on the ahead face of a cut at a place, in the member's axes.

    Axial (tension), along y, along z, torsion, about y, about z [N, N m]; ``loaded`` adds what
    loads and temperature on the piece itself do, which belongs to the state under load only.
    """
    beam, sign = _piece(solved.mesh.pieces[place.member], place.at)
    own = solved.mesh.system.numbers(beam)
    K, rest = beam.held
    ends = K @ (beam.to_ends @ motions[own]) + (rest if loaded else 0.0)
    return ends[6:] if sign > 0.0 else -ends[:6]


def _piece(pieces: tuple[Beam, ...], at: float) -> tuple[Beam, float]:
    """Piece of a member that ends at a place, or begins there, and +1 or -1 for the two."""
    for beam in pieces:
        if abs(beam.first + beam.length - at) <= 2.0 * NEAR:
            return beam, 1.0
    return pieces[0], -1.0
