"""A straight beam in space: shear deformation, rigid ends, end releases, even loads and heat.

Its own axes are those of :class:`fitup.model.frame.Member`. The stiffness is that of the beam with
shear deformation (J. S. Przemieniecki, Theory of Matrix Structural Analysis, McGraw-Hill 1968,
section 5.6); released motions are condensed out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array, skew
from fitup.model.frame import Member
from fitup.structure.frame.elements import Dof, all_motions
from fitup.structure.frame.large import Beams

#: a diagonal this much smaller than before condensing is a motion that nothing resists
_FREE = 1e-9


def member_axes(start: Array, end: Array, up: Array) -> Array:
    """Return the axes of a beam.

    Parameters
    ----------
    start, end : Array (3,)
        Ends of its flexible length, in the grid [m].
    up : Array (3,)
        Direction in the plane of x and z, of any length.

    Returns
    -------
    Array (3, 3)
        Rows are the unit vectors x, y, z in the grid.

    Raises
    ------
    StructureError
        If ``up`` points along the beam.
    """
    x = (end - start) / np.linalg.norm(end - start)
    z = up - (up @ x) * x
    size = float(np.linalg.norm(z))
    if size < 1e-6 * float(np.linalg.norm(up)):
        raise StructureError("the up direction points along the member")
    z = z / size
    return np.vstack([x, np.cross(z, x), z])


def local_stiffness(member: Member, length: float) -> Array:
    """Return the stiffness of a beam in its own axes, nothing released.

    Parameters
    ----------
    member : Member
        Its section and moduli are used, its releases and offsets are not.
    length : float
        Flexible length [m].

    Returns
    -------
    Array (12, 12)
        Shifts, then turns about x, y, z at end i, then at end j [N, m, rad].
    """
    K = np.zeros((12, 12))
    axial, torsion = member.E * member.A / length, member.G * member.J / length
    for first, k in ((0, axial), (3, torsion)):
        K[first, first] = K[first + 6, first + 6] = k
        K[first, first + 6] = K[first + 6, first] = -k
    # bending along y turns about z; along z it turns about -y
    for shift, turn, inertia, sheared, sign in (
        (1, 5, member.Iz, member.Asy, 1.0),
        (2, 4, member.Iy, member.Asz, -1.0),
    ):
        EI = member.E * inertia
        soft = 0.0 if np.isinf(sheared) else 12.0 * EI / (member.G * sheared * length**2)
        k = EI / (length**3 * (1.0 + soft))
        own = [shift, turn, shift + 6, turn + 6]
        lever = sign * 6.0 * length
        near, far = (4.0 + soft) * length**2, (2.0 - soft) * length**2
        K[np.ix_(own, own)] = k * np.array(
            [
                [12.0, lever, -12.0, lever],
                [lever, near, -lever, far],
                [-12.0, -lever, 12.0, -lever],
                [lever, far, -lever, near],
            ]
        )
    return K


def even_load(load: Array, length: float) -> Array:
    """Return the end forces with which a beam held at both ends resists an even load.

    Parameters
    ----------
    load : Array (3,)
        In the beam's own axes [N/m].
    length : float
        Flexible length [m].

    Returns
    -------
    Array (12,)
        Forces, then moments at end i, then at end j, in its own axes [N, N m].
    """
    half, twelfth = load * length / 2.0, load * length**2 / 12.0
    moment = np.array([0.0, -twelfth[2], twelfth[1]])
    return -np.concatenate([half, moment, half, -moment])


def heat(member: Member, even: float, depth: float, width: float) -> Array:
    """Return the end forces of a beam held at both ends under temperature.

    Parameters
    ----------
    member : Member
        Needs a depth or width where there is a difference through it.
    even : float
        Rise of temperature over the whole section [K].
    depth : float
        By how much the top (along z) is warmer than the bottom [K].
    width : float
        By how much the left (along y) is warmer than the right [K].

    Returns
    -------
    Array (12,)
        Forces, then moments at end i, then at end j, in its own axes [N, N m].
    """
    forces = np.zeros(12)
    push = member.E * member.A * member.expansion * even
    forces[0], forces[6] = push, -push
    if depth:
        moment = member.E * member.Iy * member.expansion * depth / member.depth
        forces[4], forces[10] = moment, -moment
    if width:
        moment = member.E * member.Iz * member.expansion * width / member.width
        forces[5], forces[11] = -moment, moment
    return forces


@dataclass(frozen=True, eq=False)
class Beam:
    """A member between two nodes, or the piece of one between two places.

    Parameters
    ----------
    member : Member
        Its section; ``i``, ``j``, offsets and releases are those of this piece.
    start, end : Array (3,)
        Positions of its nodes [m].
    load : Array (3,)
        Even load in the grid [N/m].
    warm : tuple of three floats
        Temperatures [K]: even, through depth, through width.
    first : float
        Where it begins along the whole member [m].
    """

    member: Member
    start: Array
    end: Array
    load: Array
    warm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    first: float = 0.0

    @property
    def id(self) -> str:
        """Name of its member."""
        return self.member.id

    @cached_property
    def dofs(self) -> tuple[Dof, ...]:
        """The six motions of each end."""
        return all_motions(self.member.i, self.member.j)

    @cached_property
    def length(self) -> float:
        """Flexible length [m]."""
        return float(np.linalg.norm(self._line))

    @property
    def _line(self) -> Array:
        return self.end + self.member.offset_j - self.start - self.member.offset_i

    @cached_property
    def axes(self) -> Array:
        """Axes (3, 3), rows x, y, z in the grid."""
        return member_axes(np.zeros(3), self._line, self.member.up)

    @cached_property
    def to_ends(self) -> Array:
        """Motions of the flexible ends in its own axes (12) from motions of the nodes (12)."""
        T = np.zeros((12, 12))
        for k, arm in ((0, self.member.offset_i), (6, self.member.offset_j)):
            T[k : k + 3, k : k + 3] = self.axes
            T[k : k + 3, k + 3 : k + 6] = -self.axes @ skew(arm)
            T[k + 3 : k + 6, k + 3 : k + 6] = self.axes
        return T

    @cached_property
    def held(self) -> tuple[Array, Array]:
        """Stiffness (12, 12) and forces at rest (12,) in its own axes, releases condensed out."""
        K, rest = self._condensed
        return K, rest.sum(axis=1)

    @cached_property
    def _condensed(self) -> tuple[Array, Array]:
        """The same, with the forces of loads and of temperature apart (12, 2)."""
        full = local_stiffness(self.member, self.length)
        K = full
        loads = even_load(self.axes @ self.load, self.length)
        rest = np.column_stack([loads, heat(self.member, *self.warm)])
        for free in sorted(self.member.releases):
            if K[free, free] <= _FREE * full[free, free]:
                raise StructureError(
                    f"member {self.id}: its releases leave it free to move by itself; "
                    "release it at one end only, or fewer motions, in frame_members.csv"
                )
            rest = rest - np.outer(K[:, free], rest[free] / K[free, free])
            K = K - np.outer(K[:, free], K[free]) / K[free, free]
        return K, rest

    @cached_property
    def bends(self) -> Array:
        """How far end j goes beyond where a rigid beam would take it from end i (6, 12)."""
        carried = np.eye(6)
        carried[1, 5], carried[2, 4] = self.length, -self.length
        return np.hstack([-carried, np.eye(6)])

    @cached_property
    def stiffness(self) -> tuple[Array, Array]:
        """Stiffness (12, 12) and forces at rest (12,) in the motions of its nodes, unmoved."""
        B = self.bends @ self.to_ends
        return B.T @ self.held[0][6:, 6:] @ B, self.to_ends.T @ self.held[1]

    @cached_property
    def _alone(self) -> Beams:
        return together([self])

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (12,) and stiffness (12, 12); its two ends balance whatever u is."""
        forces, tangent = self._alone.resist(u[None])
        return forces[0], tangent[0]

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return how far it bends and stretches (6, 12), and how it resists that (6, 6)."""
        bent = self._alone.bent(u[None])
        return bent.slope[0], self._alone.inner[0], bent.turned[0]

    def heated_at(self, u: Array) -> Array:
        """Return forces (12,) on its nodes of its temperature alone, at their motions u (12,)."""
        forces: Array = self._alone.bent(u[None]).slope[0].T @ self._alone.heat[0]
        return forces

    def end_forces(self, u: Array) -> Array:
        """Return forces (12,) that the nodes put on the flexible ends, in its own axes."""
        forces: Array = self.bends.T @ self._alone.bent(u[None]).forces[0]
        return forces + self._condensed[1][:, 0]

    def end_forces_by(self, u: Array) -> Array:
        """Return their change (12, 12) with the motions of the nodes, at motions u (12,)."""
        slope: Array = self.bends.T @ self._alone.inner[0] @ self._alone.bent(u[None]).slope[0]
        return slope


def together(beams: Sequence[Beam]) -> Beams:
    """Return beams as one, their figures stacked."""
    n = len(beams)
    return Beams(
        axes=np.array([b.axes for b in beams]).reshape(n, 3, 3),
        length=np.array([b.length for b in beams]),
        offsets=np.array([[b.member.offset_i, b.member.offset_j] for b in beams]).reshape(n, 2, 3),
        inner=np.array([b._condensed[0][6:, 6:] for b in beams]).reshape(n, 6, 6),
        heat=np.array([b._condensed[1][6:, 1] for b in beams]).reshape(n, 6),
        rest=np.array([b.to_ends.T @ b._condensed[1][:, 0] for b in beams]).reshape(n, 12),
    )
