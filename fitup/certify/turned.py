"""Sticks once more where they have turned: true rotations, and statics where they now stand.

Nothing here uses code of ``structure``. Each stick is seen from its own chord: axes along the line
between its ends, across it by the mean turn of both. In these axes its ends have turned little,
by true rotations, and its forces follow from its flexibility; those of end i balance those of end
j on the line as it now runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.certify.sticks import Stick
from fitup.frames import Array

_EYE = np.eye(3)


def rotations(vectors: Array) -> Array:
    """Return the rotations (n, 3, 3) by vectors (n, 3), after O. Rodrigues (1840)."""
    angle = np.linalg.norm(vectors, axis=1)
    small = angle < 1e-8
    safe = np.where(small, 1.0, angle)
    a = np.where(small, 1.0, np.sin(safe) / safe)[:, None, None]
    b = np.where(small, 0.5, (1.0 - np.cos(safe)) / safe**2)[:, None, None]
    S = crosses(vectors)
    return _EYE + a * S + b * (S @ S)


def crosses(v: Array) -> Array:
    """Return the matrices (n, 3, 3) that take the cross product with v (n, 3) from the left."""
    result = np.zeros((len(v), 3, 3))
    result[:, 0, 1], result[:, 0, 2], result[:, 1, 2] = -v[:, 2], v[:, 1], -v[:, 0]
    return result - result.transpose(0, 2, 1)


def _vectors(turned: Array) -> Array:
    """Return the vectors (n, 3) of rotations (n, 3, 3) below half a turn."""
    skewed = 0.5 * (turned - turned.transpose(0, 2, 1))
    axis = np.column_stack([skewed[:, 2, 1], skewed[:, 0, 2], skewed[:, 1, 0]])
    sine = np.linalg.norm(axis, axis=1)
    cosine = 0.5 * (np.trace(turned, axis1=1, axis2=2) - 1.0)
    angle = np.arctan2(sine, cosine)
    factor = np.where(sine < 1e-9, 1.0, angle / np.where(sine < 1e-9, 1.0, sine))
    result: Array = axis * factor[:, None]
    return result


@dataclass(frozen=True, eq=False)
class Bent:
    """All sticks at some motions.

    Parameters
    ----------
    local : Array (n, 6)
        Force and moment on their ends j, in axes of their chords [N, N m].
    forces : Array (n, 12)
        That hold both ends, in the grid.
    slope : Array (n, 6, 12)
        How the ends' motions bend and stretch them.
    string : Array (n, 3, 3)
        How the axial force resists the line's turning [N/m].
    """

    local: Array
    forces: Array
    slope: Array
    string: Array


class Sticks:
    """All sticks of a frame, stacked."""

    def __init__(self, sticks: Sequence[Stick], loads: Sequence[Array], grown: Sequence[Array]):
        n = len(sticks)
        self.numbers = np.array(
            [[*range(s.first, s.first + 6), *range(s.last, s.last + 6)] for s in sticks], dtype=int
        ).reshape(n, 12)
        self.axes = np.array([s.axes for s in sticks]).reshape(n, 3, 3)
        self.length = np.array([s.ends - s.begins for s in sticks])
        self.inner = np.array([s.inner for s in sticks]).reshape(n, 6, 6)
        self.grown = np.array(grown).reshape(n, 6)
        self.loads = np.array(loads).reshape(n, 12)

    def bent(self, u: Array) -> Bent:
        """Return what they do at motions (6 n,) of all nodes."""
        own = u[self.numbers]
        axes, line, size = self._chord(own)
        ends = []
        for k in (3, 9):
            ends.append(
                _vectors(axes @ rotations(own[:, k : k + 3]) @ self.axes.transpose(0, 2, 1))
            )
        apart = own[:, 6:9] - own[:, :3]
        first = self.length[:, None] * self.axes[:, 0]
        stretch = np.einsum("ni,ni->n", apart, 2.0 * first + apart) / (size + self.length)
        i, j, L = ends[0], ends[1], self.length
        way = np.column_stack([stretch, -L * i[:, 2], L * i[:, 1]])
        # bowing shortens the chord, and the axial force bends on along the bow
        bow = 2.0 * i * i - i * j + 2.0 * j * j
        way[:, 0] += L / 30.0 * (bow[:, 1] + bow[:, 2])
        local = np.einsum("nij,nj->ni", self.inner, np.hstack([way, j - i]) - self.grown)
        at_i, at_j = (local[:, :1] * L[:, None] / 30.0 * (4.0 * a - b) for a, b in ((i, j), (j, i)))
        shear = (at_i + at_j) / L[:, None]
        local[:, 1] -= shear[:, 2]
        local[:, 2] += shear[:, 1]
        local[:, 4:] += at_j[:, 1:]
        push = np.einsum("nji,nj->ni", axes, local[:, :3])
        turn = np.einsum("nji,nj->ni", axes, local[:, 3:])
        back = -turn - np.cross(line, push)
        forces = np.hstack([-push, back, push, turn]) + self.loads
        slope = np.zeros((len(own), 6, 12))
        for at in (0, 3):
            slope[:, at : at + 3, at : at + 3] = -axes
            slope[:, at : at + 3, at + 6 : at + 9] = axes
        slope[:, 1, 3:6] -= size[:, None] * axes[:, 2]
        slope[:, 2, 3:6] += size[:, None] * axes[:, 1]
        unit = line / size[:, None]
        across = _EYE - unit[:, :, None] * unit[:, None, :]
        return Bent(local, forces, slope, (local[:, 0] / size)[:, None, None] * across)

    def _chord(self, own: Array) -> tuple[Array, Array, Array]:
        """Return axes (n, 3, 3) of the chords, lines between the ends (n, 3), and lengths (n,)."""
        line = self.length[:, None] * self.axes[:, 0] + own[:, 6:9] - own[:, :3]
        size = np.linalg.norm(line, axis=1)
        mean = rotations(0.5 * (own[:, 3:6] + own[:, 9:12]))
        aside = np.einsum("nij,nj->ni", mean, self.axes[:, 1])
        x = line / size[:, None]
        z = np.cross(x, aside)
        z = z / np.linalg.norm(z, axis=1)[:, None]
        return np.stack([x, np.cross(z, x), z], axis=1), line, size
