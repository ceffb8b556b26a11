"""One sparse system from any elements: who moves, who is led by a rigid body, what is held."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from scipy.sparse import block_diag, coo_array, csc_array

from fitup.frames import Array, skew
from fitup.model.frame import Body, Node
from fitup.structure.cable.element import CableElement
from fitup.structure.cable.many import Cables
from fitup.structure.frame.beam import Beam, together
from fitup.structure.frame.elements import Element, Packs, is_pack


@dataclass(frozen=True, eq=False)
class System:
    """Nodes, elements and rigid bodies, with their motions numbered.

    All motions u (6 n) of the nodes follow from the free ones q (f): u = spread q.

    Parameters
    ----------
    nodes : mapping of str to Node
    elements : tuple of Element
    bodies : tuple of Body
    loads : Array (6 n,)
        Forces and moments on the nodes, six for each in the order of ``nodes`` [N, N m].
    """

    nodes: Mapping[str, Node]
    elements: tuple[Element, ...]
    bodies: tuple[Body, ...]
    loads: Array

    @cached_property
    def place(self) -> Mapping[str, int]:
        """Node -> the number of its first motion."""
        return {name: 6 * i for i, name in enumerate(self.nodes)}

    @property
    def size(self) -> int:
        """How many motions there are in all, 6 n."""
        return 6 * len(self.nodes)

    def numbers(self, element: Element) -> Array:
        """Return the numbers (k,) of an element's motions."""
        return np.array([self.place[node] + k for node, k in element.dofs], dtype=np.int64)

    @cached_property
    def _numbers(self) -> tuple[Array, ...]:
        return tuple(self.numbers(e) for e in self.elements)

    @cached_property
    def spread(self) -> csc_array:
        """All motions from the free ones, (6 n, f): rigid bodies and held motions put in."""
        lead = {n: body.nodes[0] for body in self.bodies for n in body.nodes[1:]}
        rows: list[int] = []
        columns: list[int] = []
        values: list[float] = []
        number = self._free_numbers(lead)
        for name, node in self.nodes.items():
            leader = lead.get(name, name)
            arm = node.position - self.nodes[leader].position
            block = np.eye(6)
            block[:3, 3:] = -skew(arm)
            for i, k in zip(*np.nonzero(block), strict=True):
                column = number.get((leader, int(k)))
                if column is not None:
                    rows.append(self.place[name] + int(i))
                    columns.append(column)
                    values.append(float(block[i, k]))
        shape = (self.size, len(number))
        return csc_array(coo_array((values, (rows, columns)), shape=shape))

    def _free_numbers(self, lead: Mapping[str, str]) -> dict[tuple[str, int], int]:
        free = [
            (name, k)
            for name, node in self.nodes.items()
            if name not in lead
            for k in range(6)
            if k not in node.fixed
        ]
        return {motion: i for i, motion in enumerate(free)}

    @cached_property
    def free(self) -> tuple[tuple[str, int], ...]:
        """Node and motion of each free number."""
        lead = {n: body.nodes[0] for body in self.bodies for n in body.nodes[1:]}
        return tuple(self._free_numbers(lead))

    def assemble(self, u: Array | None = None) -> tuple[Array, csc_array]:
        """Return the forces (6 n,) of all elements at motions u (6 n,), and the tangent (6 n, 6 n).

        u is zero when not given.
        """
        u = np.zeros(self.size) if u is None else u
        forces, tangent = np.zeros(self.size), _Gathered()
        for numbers, together_ in self._batches:
            if len(numbers):
                f, K = together_.resist(u[numbers])
                np.add.at(forces, numbers, f)
                tangent.add(numbers, K)
        for element, own in self._alone:
            f, K = element.forces_and_tangent(u[own])
            np.add.at(forces, own, f)
            tangent.add(own[None], K[None])
        return forces, tangent.matrix(self.size)

    def forces(self, u: Array) -> Array:
        """Return the forces (6 n,) of all elements at motions u (6 n,)."""
        return self.assemble(u)[0]

    @cached_property
    def _batches(self) -> tuple[tuple[Array, _Batch], ...]:
        """Elements that answer many at once, with the numbers (n, k) of their motions."""
        beams = [e for e in self.elements if isinstance(e, Beam)]
        cables = [e for e in self.elements if isinstance(e, CableElement)]
        packs = [e for e in self.elements if is_pack(e)]
        return (
            (self._rows(beams, 12), together(beams)),
            (self._rows(cables, 6), Cables(cables)),
            (self._rows(packs, 6), Packs(packs)),
        )

    @cached_property
    def pull_as_drawn(self) -> float:
        """Greatest pull of a cable at a node before anything moves [N]."""
        numbers, cables = self._batches[1]
        pulls, _ = cables.resist(np.zeros(numbers.shape))
        return float(np.abs(pulls).max(initial=0.0))

    def _rows(self, elements: Sequence[Element], k: int) -> Array:
        rows = [self.numbers(e) for e in elements]
        return np.array(rows, dtype=np.int64).reshape(len(elements), k)

    @cached_property
    def _alone(self) -> tuple[tuple[Element, Array], ...]:
        """The other elements with the numbers (k,) of their motions."""
        both = zip(self.elements, self._numbers, strict=True)
        many = (Beam, CableElement)
        return tuple((e, own) for e, own in both if not (isinstance(e, many) or is_pack(e)))

    def strains(self, u: Array) -> tuple[csc_array, csc_array, csc_array]:
        """Return B (e, 6 n), W (e, e) and G (6 n, 6 n) of all elements: see ``Element``."""
        rows, columns, values, blocks, first = [], [], [], [], 0
        turned = _Gathered()
        for element, own in zip(self.elements, self._numbers, strict=True):
            B, W, G = element.strains(u[own])
            rows.append(np.repeat(np.arange(first, first + len(B)), len(own)))
            columns.append(np.tile(own, len(B)))
            values.append(B.ravel())
            blocks.append(coo_array(W))
            first += len(B)
            turned.add(own[None], G[None])
        if not blocks:
            return csc_array((0, self.size)), csc_array((0, 0)), turned.matrix(self.size)
        entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
        B_all = csc_array(coo_array(entries, shape=(first, self.size)))
        return B_all, csc_array(block_diag(blocks, format="csc")), turned.matrix(self.size)

    def reduced(self, tangent: csc_array) -> csc_array:
        """Return the tangent (f, f) of the free motions."""
        return csc_array(self.spread.T @ tangent @ self.spread)


class _Batch(Protocol):
    """Many elements of one kind."""

    def resist(self, u: Array) -> tuple[Array, Array]:
        """Return forces (n, k) at motions (n, k), and tangents (n, k, k)."""


class _Gathered:
    """Square blocks at numbers, to be added up into one matrix."""

    def __init__(self) -> None:
        self.rows: list[Array] = []
        self.columns: list[Array] = []
        self.values: list[Array] = []

    def add(self, numbers: Array, blocks: Array) -> None:
        """Add blocks (n, k, k) at numbers (n, k)."""
        k = numbers.shape[1]
        self.rows.append(np.repeat(numbers, k, axis=1).ravel())
        self.columns.append(np.tile(numbers, (1, k)).ravel())
        self.values.append(blocks.ravel())

    def matrix(self, size: int) -> csc_array:
        """Return them added up (size, size)."""
        if not self.values:
            return csc_array((size, size))
        places = (np.concatenate(self.rows), np.concatenate(self.columns))
        return csc_array(coo_array((np.concatenate(self.values), places), shape=(size, size)))


def stacked(nodes: Iterable[str], values: Mapping[str, Array]) -> Array:
    """Return six numbers for every node, one after the other.

    Parameters
    ----------
    nodes : iterable of str
        Node ids, in the order of the result.
    values : mapping of str to Array (6,)
        Zero for nodes that it does not name.

    Returns
    -------
    Array (6 n,)
    """
    return np.concatenate([values.get(name, np.zeros(6)) for name in nodes])
