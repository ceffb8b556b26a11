"""What every element of a frame answers, and the plain ones: springs along and about an axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol, TypeGuard

import numpy as np

from fitup.frames import Array
from fitup.model.frame import Spring
from fitup.structure.frame.large import arm_after, arm_bend, arm_slope

#: a seat that would pull by less than this stands there idle, and goes on to touch [N]
IDLE = 1e-3
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

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return B (e, k), W (e, e) and G (k, k): its tangent is B' W B + G at the motions u (k,).

        G is of the forces as they turn along. B is nil for a rigid motion, so that what a rigid
        motion strains is not the small difference of large numbers.
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

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return its stretch (1, k), stiffness (1, 1) and nothing that turns."""
        return self.row[None, :], np.array([[self.spring.stiffness]]), np.zeros((len(u), len(u)))


@dataclass(frozen=True, eq=False)
class OneWay:
    """A seat that can push, not pull: nothing while the structure is off it."""

    foot: Foot

    @property
    def id(self) -> str:
        """Name in messages."""
        return self.foot.id

    @property
    def dofs(self) -> tuple[Dof, ...]:
        """Motions on which it works."""
        return self.foot.dofs

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (k,) and stiffness (k, k)."""
        forces, tangent = self.foot.forces_and_tangent(u)
        if self.foot.reaction(u) < -IDLE:
            return 0.0 * forces, 0.0 * tangent
        return forces, tangent

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return what its seat does while it carries."""
        return self.foot.strains(u)

    def opening(self, u: Array) -> float:
        """Return how far the structure is off it [m]."""
        return max(0.0, -self.foot.reaction(u) / self.foot.firmness(u))


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

    def row(self, u: Array) -> Array:
        """Return how far the structure goes along the direction for each motion (6,), at u (6,)."""
        swung = arm_slope(u[None, 3:], self.arm[None])[0]
        return np.concatenate([self.direction, self.direction @ swung])

    def _pressed(self, u: Array) -> float:
        way = u[:3] + arm_after(u[None, 3:], self.arm[None])[0]
        return float(self.direction @ way) - self.setting

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return forces (6,) and stiffness (6, 6)."""
        row, _, turned = self.strains(u)
        return self.stiffness * self._pressed(u) * row[0], self.stiffness * row.T @ row + turned

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return its stretch (1, 6), stiffness (1, 1), and what turns (6, 6)."""
        turned = np.zeros((6, 6))
        force = self.stiffness * self._pressed(u) * self.direction
        turned[3:, 3:] = arm_bend(force[None], self.arm[None])[0]
        return self.row(u)[None, :], np.array([[self.stiffness]]), turned

    @property
    def strain_by_moving(self) -> Array:
        """Return the stretch (1,) for a unit move."""
        return np.array([-1.0])

    def by_moving(self, u: Array) -> Array:
        """Return the change of forces (6,) for a unit move [N/m]."""
        return -self.stiffness * self.row(u)

    def firmness(self, u: Array) -> float:
        """Return its stiffness [N/m]."""
        return self.stiffness

    def reaction(self, u: Array) -> float:
        """Return how much it pushes [N]."""
        return -self.stiffness * self._pressed(u)

    def moved(self, to: float) -> ArmSpring:
        """Return it with its foot moved so far in all [m]."""
        return replace(self, setting=to)


def is_pack(element: Element) -> TypeGuard[ArmSpring | OneWay]:
    """Whether an element is an elastic seat on an arm, one-way or not."""
    return isinstance(element.foot if isinstance(element, OneWay) else element, ArmSpring)


class Packs:
    """Elastic seats, one-way or not, many at once."""

    def __init__(self, elements: Sequence[ArmSpring | OneWay]) -> None:
        n = len(elements)
        feet = [e.foot if isinstance(e, OneWay) else e for e in elements]
        own = [f for f in feet if isinstance(f, ArmSpring)]
        assert len(own) == n
        self.one_way = np.array([isinstance(e, OneWay) for e in elements], dtype=bool)
        self.arms = np.array([f.arm for f in own]).reshape(n, 3)
        self.ways = np.array([f.direction for f in own]).reshape(n, 3)
        self.stiffness = np.array([f.stiffness for f in own])
        self.settings = np.array([f.setting for f in own])

    def resist(self, u: Array) -> tuple[Array, Array]:
        """Return forces (n, 6) on their nodes at motions (n, 6), and tangents (n, 6, 6)."""
        turns = u[:, 3:]
        gone = u[:, :3] + arm_after(turns, self.arms)
        pressed = np.einsum("ni,ni->n", self.ways, gone) - self.settings
        off = self.one_way & (self.stiffness * pressed > IDLE)
        stiffness = np.where(off, 0.0, self.stiffness)
        swung = np.einsum("ni,nij->nj", self.ways, arm_slope(turns, self.arms))
        row = np.concatenate([self.ways, swung], axis=1)
        force = stiffness * pressed
        tangent = stiffness[:, None, None] * row[:, :, None] * row[:, None, :]
        tangent[:, 3:, 3:] += arm_bend(force[:, None] * self.ways, self.arms)
        return force[:, None] * row, tangent
