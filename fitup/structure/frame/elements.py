"""What every element of a frame answers, and the plain ones: springs along and about an axis."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from fitup.frames import Array
from fitup.model.frame import Spring

#: node id and motion 0..5, in the order of ``model.frame.MOTIONS``
Dof = tuple[str, int]


class Element(Protocol):
    """Anything that resists motions of nodes; linear or not."""

    @property
    def id(self) -> str:
        """Name in messages."""

    @property
    def dofs(self) -> tuple[Dof, ...]:
        """Motions (k) of nodes on which it works."""

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (k,) and tangent stiffness (k, k) at the motions u (k,).

        The forces are the derivative of its energy, loads on the element itself included: in
        equilibrium the forces of all elements add up to the loads on the nodes.
        """

    def strains(self, u: Array) -> tuple[Array, Array]:
        """Return B (e, k) and W (e, e) such that its tangent is B' W B at the motions u (k,).

        B is nil for a rigid motion, so that what a rigid motion strains is not the small
        difference of large numbers.
        """


class Foot(Element, Protocol):
    """An element that is a seat too: a move of it puts forces on the structure.

    With x the move and u the motions, its reaction is the derivative of its energy by x, and so
    answers to u as its forces answer to x: ``by_moving`` is both.
    """

    @property
    def strain_by_moving(self) -> Array:
        """Strain (e,), as in ``strains``, for a unit move with the nodes held."""

    def by_moving(self, u: Array) -> Array:
        """Return the change of forces (k,) for a unit move, and of the reaction for u (k,)."""

    def firmness(self, u: Array) -> float:
        """Return the reaction gained for a unit move, nodes held [N/m]."""

    def reaction(self, u: Array) -> float:
        """Return the reaction [N]."""

    def moved(self, to: float) -> Foot:
        """Return it moved so far in all [m]."""


def all_motions(*nodes: str) -> tuple[Dof, ...]:
    """Return the six motions of each node in turn."""
    return tuple((node, k) for node in nodes for k in range(6))


@dataclass(frozen=True, eq=False)
class SpringElement:
    """A spring along or about an axis between a node and another, or the ground.

    It acts at its node; the other reaches there by a rigid arm (3,) [m], so that moving both as
    one body strains nothing.
    """

    spring: Spring
    arm: Array

    @property
    def id(self) -> str:
        """Name in messages."""
        return self.spring.id

    @cached_property
    def dofs(self) -> tuple[Dof, ...]:
        """The six motions of its nodes."""
        ends = [self.spring.node]
        if self.spring.other is not None:
            ends.append(self.spring.other)
        return all_motions(*ends)

    @cached_property
    def row(self) -> Array:
        """How far it is stretched for each of its motions (k,)."""
        axis = self.spring.axis / np.linalg.norm(self.spring.axis)
        none = np.zeros(3)
        if self.spring.turns:
            own, other = np.concatenate([none, axis]), np.concatenate([none, axis])
        else:
            own = np.concatenate([axis, none])
            other = np.concatenate([axis, np.cross(self.arm, axis)])
        return own if self.spring.other is None else np.concatenate([own, -other])

    @cached_property
    def stiffness(self) -> Array:
        """Stiffness (k, k) in its dofs."""
        return self.spring.stiffness * np.outer(self.row, self.row)

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (k,) and stiffness (k, k)."""
        return self.stiffness @ u, self.stiffness

    def strains(self, u: Array) -> tuple[Array, Array]:
        """Return its stretch (1, k) and stiffness (1, 1)."""
        return self.row[None, :], np.array([[self.spring.stiffness]])


@dataclass(frozen=True, eq=False)
class ArmSpring:
    """An elastic seat: a spring along a direction at the end of a rigid arm from a node.

    Parameters
    ----------
    id, node : str
    arm : Array (3,)
        From the node to where the seat bears [m].
    direction : Array (3,)
        Unit direction in which the seat pushes.
    stiffness : float
        Of the seat [N/m].
    setting : float
        How far its foot has been moved along the direction [m].
    """

    id: str
    node: str
    arm: Array
    direction: Array
    stiffness: float
    setting: float = 0.0

    @cached_property
    def dofs(self) -> tuple[Dof, ...]:
        """The six motions of its node."""
        return all_motions(self.node)

    @cached_property
    def row(self) -> Array:
        """How far the structure goes along the direction for each motion of the node (6,)."""
        return np.concatenate([self.direction, np.cross(self.arm, self.direction)])

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (6,) and stiffness (6, 6)."""
        pressed = float(self.row @ u) - self.setting
        return self.stiffness * pressed * self.row, self.stiffness * np.outer(self.row, self.row)

    def strains(self, u: Array) -> tuple[Array, Array]:
        """Return its stretch (1, k) and stiffness (1, 1)."""
        return self.row[None, :], np.array([[self.stiffness]])

    @property
    def strain_by_moving(self) -> Array:
        """Return the stretch (1,) for a unit move."""
        return np.array([-1.0])

    def by_moving(self, u: Array) -> Array:
        """Return the change of forces (6,) for a unit move [N/m]."""
        return -self.stiffness * self.row

    def firmness(self, u: Array) -> float:
        """Return its stiffness [N/m]."""
        return self.stiffness

    def reaction(self, u: Array) -> float:
        """Return how much it pushes [N]."""
        return self.stiffness * (self.setting - float(self.row @ u))

    def moved(self, to: float) -> ArmSpring:
        """Return it with its foot moved so far in all [m]."""
        return replace(self, setting=to)
