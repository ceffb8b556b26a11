"""A cable or hanger between two nodes: what it pulls at its ends, and how that changes.

A catenary hangs under its own weight, also slack. A straight one is an elastic line, half its
weight at either end: right for short taut hangers, and for bars that may also push. Both take large
movements of their ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.structure.cable.catenary import Cable, Catenary, tangent_stiffness
from fitup.structure.cable.hang import compressed, hang, length_for_tension

Form = Literal["catenary", "straight"]
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Pull:
    """What a cable does at its ends.

    Parameters
    ----------
    at_i, at_j : Array (3,)
        Tension as a vector along the cable from end i to end j, at either end [N].
    stiffness : Array (3, 3)
        Change of both for a movement of end j against end i [N/m].
    slack : bool
        A straight cable shorter between its ends than its unstressed length.
    """

    at_i: Array
    at_j: Array
    stiffness: Array
    slack: bool = False

    @property
    def tensions(self) -> tuple[float, float]:
        """Tension at end i and at end j [N]."""
        return float(np.linalg.norm(self.at_i)), float(np.linalg.norm(self.at_j))


@dataclass(frozen=True, eq=False)
class CableElement:
    """A cable between two nodes.

    Parameters
    ----------
    cable : Cable
    form : {'catenary', 'straight'}
    nodes : tuple of str
        The nodes at its ends i and j.
    ends : Array (2, 3)
        Where they are before any displacement, height last [m].
    pushes : bool
        A straight bar that can also push; else it goes slack.
    drawn : float
        How far a shim or nut has drawn end j out of its anchorage [m].
    axis : Array (3,), optional
        Unit direction in which it is drawn, out of the cable; along the cable where not given.
    """

    cable: Cable
    form: Form
    nodes: tuple[str, str]
    ends: Array
    pushes: bool = False
    drawn: float = 0.0
    axis: Array | None = None

    @property
    def id(self) -> str:
        """Name in messages."""
        return self.cable.id

    @cached_property
    def dofs(self) -> tuple[tuple[str, int], ...]:
        """The three shifts of each end: a cable resists no turn."""
        return tuple((node, k) for node in self.nodes for k in range(3))

    def pull(self, u: Array) -> Pull:
        """Return what the cable does with its ends displaced by u (6,) [m].

        Raises
        ------
        StructureError
            If no tension is found, or its ends coincide.
        """
        apart = self.apart(u)
        if self.form == "straight":
            return _straight(self.cable, apart, self.pushes)
        span, towards = _level(apart)
        line = hang(self.cable, span, float(apart[2]))
        at_i = line.level * towards + line.start * _UP
        gain = self.cable.weight * self.cable.length
        return Pull(
            at_i=at_i,
            at_j=at_i + gain * _UP,
            stiffness=tangent_stiffness(line, towards),
        )

    def forces_and_tangent(self, u: Array) -> tuple[Array, Array]:
        """Return the forces (6,) [N] that hold its ends, and their change (6, 6) [N/m].

        The cable's own weight is among what they hold.
        """
        pull = self.pull(u)
        k = pull.stiffness
        weight = self._half_weight()
        forces = np.concatenate([weight - pull.at_i, weight + pull.at_j])
        return forces, np.block([[k, -k], [-k, k]])

    def strains(self, u: Array) -> tuple[Array, Array, Array]:
        """Return how far its ends go apart (3, 6), how it resists that (3, 3), and no more."""
        return np.hstack([-np.eye(3), np.eye(3)]), self.pull(u).stiffness, np.zeros((6, 6))

    @property
    def strain_by_moving(self) -> Array:
        """Return how far its ends go apart (3,) as end j is drawn out."""
        return self.anchorage

    def by_moving(self, u: Array) -> Array:
        """Return the change (6,) of the holding forces as end j is drawn out [N/m].

        It is also the change of the tension along the anchorage for motions of the ends: Maxwell's
        reciprocity holds.
        """
        change = self.pull(u).stiffness @ self.anchorage
        return np.concatenate([-change, change])

    def firmness(self, u: Array) -> float:
        """Return the tension gained along the anchorage as end j is drawn, ends held [N/m]."""
        return float(self.anchorage @ self.pull(u).stiffness @ self.anchorage)

    def reaction(self, u: Array) -> float:
        """Return the tension at end j along its anchorage [N]: what bears on its nut."""
        return float(self.anchorage @ self.pull(u).at_j)

    def end_tension(self, u: Array, node: str) -> tuple[float, Array, float]:
        """Return the tension at the end at a node, and how it answers.

        Parameters
        ----------
        u : Array (6,)
            Displacements of end i and of end j [m].
        node : str
            One of ``nodes``.

        Returns
        -------
        float
            Tension [N].
        Array (6,)
            Its change for motions of the ends [N/m].
        float
            Its change for drawing end j out [N/m].

        Raises
        ------
        StructureError
            If no tension is found, or the ends coincide.
        """
        pull = self.pull(u)
        whole = pull.at_j if node == self.nodes[1] else pull.at_i
        size = float(np.linalg.norm(whole))
        along = whole / size if size > 0.0 else self.anchorage
        row = along @ pull.stiffness
        return size, np.concatenate([-row, row]), float(row @ self.anchorage)

    @cached_property
    def anchorage(self) -> Array:
        """Unit direction (3,) in which end j is drawn out."""
        if self.axis is not None:
            return self.axis
        pull = replace(self, drawn=0.0, axis=_UP).pull(np.zeros(6)).at_j
        size = float(np.linalg.norm(pull))
        along = self.ends[1] - self.ends[0] if size == 0.0 else pull
        return along / np.linalg.norm(along)

    def aligned(self, u: Array) -> CableElement:
        """Return the cable with its anchorage along its pull at end j, ends displaced by u (6,)."""
        pull = self.pull(u).at_j
        size = float(np.linalg.norm(pull))
        return self if size == 0.0 else replace(self, axis=pull / size)

    def moved(self, to: float) -> CableElement:
        """Return the cable with end j drawn out so far in all [m]."""
        return replace(self, drawn=to, axis=self.anchorage)

    def apart(self, u: Array) -> Array:
        """Return how far its ends are apart (3,) [m], drawn out, at displacements u (6,) [m]."""
        apart = self.ends[1] + u[3:6] - self.ends[0] - u[:3]
        return apart + self.drawn * self.anchorage if self.drawn else apart

    def _half_weight(self) -> Array:
        if self.form == "catenary":
            return np.zeros(3)
        return 0.5 * self.cable.weight * self.cable.length * _UP


def _level(apart: Array) -> tuple[float, Array]:
    """Return the level distance, and the level unit vector; any where one end hangs plumb."""
    span = float(np.hypot(apart[0], apart[1]))
    if span < 1e-12:
        return 0.0, np.array([1.0, 0.0, 0.0])
    return span, np.array([apart[0] / span, apart[1] / span, 0.0])


def _straight(cable: Cable, apart: Array, pushes: bool) -> Pull:
    chord, length = float(np.linalg.norm(apart)), cable.warm_length
    if chord == 0.0 or length <= 0.0:
        raise coincident(cable.id)
    along = apart / chord
    tension = cable.EA * (chord / length - 1.0)
    axial, line = cable.EA / length, np.outer(along, along)
    if tension <= 0.0 and not pushes:
        return Pull(np.zeros(3), np.zeros(3), np.zeros((3, 3)), slack=True)
    stiffness = axial * line + tension / chord * (np.eye(3) - line)
    return Pull(tension * along, tension * along, stiffness)


def cut_for(element: CableElement, tension: float) -> CableElement:
    """Return the cable cut to the unstressed length at which it pulls with a given tension.

    Parameters
    ----------
    element : CableElement
        With its ends where they are before any displacement; its own length is not looked at.
    tension : float
        At end j [N]; below zero only for a straight bar that can push.

    Raises
    ------
    StructureError
        If its ends coincide, the cable would be in compression, or its own weight pulls more.
    """
    cable, apart = element.cable, element.ends[1] - element.ends[0]
    chord = float(np.linalg.norm(apart))
    if chord == 0.0:
        raise coincident(cable.id)
    if tension <= 0.0 and not element.pushes:
        raise compressed(cable.id, tension)
    if element.form == "catenary":
        length = length_for_tension(cable, _level(apart)[0], float(apart[2]), tension)
    else:
        length = chord / (1.0 + tension / cable.EA) / (1.0 + cable.strain)
    return replace(element, cable=replace(cable, length=length))


def coincident(name: str) -> StructureError:
    """Return the error for a cable whose ends are one place."""
    return StructureError(
        f"cable {name}: zero length between its ends; give it two nodes that lie apart, and an "
        "unstressed length above zero"
    )


def hanging(element: CableElement, u: Array) -> Catenary:
    """Return the catenary of an element, for its sag and the tension along it.

    Parameters
    ----------
    element : CableElement
    u : Array (6,)
        Displacements of end i and of end j [m].

    Raises
    ------
    StructureError
        If no tension is found.
    """
    apart = element.apart(u)
    return hang(element.cable, _level(apart)[0], float(apart[2]))
