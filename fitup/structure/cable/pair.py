"""A spring along a direction between two nodes: a saddle on its pack, and what guides it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class PairSpring:
    """An elastic pack between a node and the structure, which bears at the end of a rigid arm.

    Parameters
    ----------
    id : str
    node : str
        What is pushed.
    on : str
        Node of the structure.
    arm : Array (3,)
        From that node to where the pack bears [m].
    direction : Array (3,)
        Unit direction in which the node is pushed away.
    stiffness : float
        [N/m].
    setting : float
        How much thicker the pack is than it was [m].
    """

    id: str
    node: str
    on: str
    arm: Array
    direction: Array
    stiffness: float
    setting: float = 0.0

    @cached_property
    def dofs(self) -> tuple[tuple[str, int], ...]:
        """The three shifts of the node, the six motions of the structure."""
        return (*((self.node, k) for k in range(3)), *((self.on, k) for k in range(6)))

    @cached_property
    def row(self) -> Array:
        """How far the node goes away from the structure for each motion (9,)."""
        d = self.direction
        return np.concatenate([d, -d, -np.cross(self.arm, d)])

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (9,) and stiffness (9, 9)."""
        apart = float(self.row @ u) - self.setting
        return self.stiffness * apart * self.row, self.stiffness * np.outer(self.row, self.row)

    def strains(self, u: Array) -> tuple[Array, Array]:
        """Return its stretch (1, k) and stiffness (1, 1)."""
        return self.row[None, :], np.array([[self.stiffness]])

    @property
    def strain_by_moving(self) -> Array:
        """Return the stretch (1,) for a unit move."""
        return np.array([-1.0])

    def by_moving(self, u: Array) -> Array:
        """Return the change (9,) of the forces for a unit move [N/m]."""
        return -self.stiffness * self.row

    def firmness(self, u: Array) -> float:
        """Return the reaction gained for a unit move, nodes held [N/m]."""
        return self.stiffness

    def reaction(self, u: Array) -> float:
        """Return what the pack carries [N]."""
        return self.stiffness * (self.setting - float(self.row @ u))

    def moved(self, to: float) -> PairSpring:
        """Return it with its pack so much thicker in all [m]."""
        return replace(self, setting=to)
