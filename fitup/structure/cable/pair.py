"""A spring along a direction between two nodes: a saddle on its pack, and what guides it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from fitup.frames import Array
from fitup.structure.frame.large import arm_bend, arm_slope


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

    def _way(self, u: Array) -> tuple[float, Array, Array]:
        """Return how far the node is pushed away [m], its slope (9,) and bend (9, 9).

        The direction turns with the structure, by R: d.R'(a + apart) - d.a, and the pack bears
        where the node now is. To second order in the turn.
        """
        d, turn = self.direction, u[6:]
        arm = self.arm + u[:3] - u[3:6]
        along = d + np.cross(turn, d) + 0.5 * np.cross(turn, np.cross(turn, d))
        by_turn = -np.cross(arm, d) - (d @ arm) * turn
        by_turn = by_turn + 0.5 * (d * (turn @ arm) + arm * (turn @ d))
        bend = np.zeros((9, 9))
        # the direction's change with the turn
        swung = arm_slope(turn[None], d[None])[0]
        bend[:3, 6:], bend[6:, :3] = swung, swung.T
        bend[3:6, 6:], bend[6:, 3:6] = -swung, -swung.T
        bend[6:, 6:] = arm_bend(d[None], arm[None])[0]
        apart = float(along @ (u[:3] - u[3:6]) + (along - d) @ self.arm)
        return apart, np.concatenate([along, -along, by_turn]), bend

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (9,) and stiffness (9, 9)."""
        apart, row, bend = self._way(u)
        force = self.stiffness * (apart - self.setting)
        return force * row, self.stiffness * np.outer(row, row) + force * bend

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return its stretch (1, 9), stiffness (1, 1), and what turns (9, 9)."""
        apart, row, bend = self._way(u)
        force = self.stiffness * (apart - self.setting)
        return row[None, :], np.array([[self.stiffness]]), force * bend

    @property
    def strain_by_moving(self) -> Array:
        """Return the stretch (1,) for a unit move."""
        return np.array([-1.0])

    def by_moving(self, u: Array) -> Array:
        """Return the change (9,) of the forces for a unit move."""
        return -self.stiffness * self._way(u)[1]

    def firmness(self, u: Array) -> float:
        """Return the reaction gained for a unit move, nodes held [N/m]."""
        return self.stiffness

    def reaction(self, u: Array) -> float:
        """Return what the pack carries [N]."""
        return self.stiffness * (self.setting - self._way(u)[0])

    def moved(self, to: float) -> PairSpring:
        """Return it with its pack so much thicker in all [m]."""
        return replace(self, setting=to)
