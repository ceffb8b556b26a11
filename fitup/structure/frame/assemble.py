"""One sparse system from any elements: who moves, who is led by a rigid body, what is held."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import block_diag, coo_array, csc_array

from fitup.frames import Array, skew
from fitup.model.frame import Body, Node
from fitup.structure.frame.elements import Element


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
        forces = np.zeros(self.size)
        rows, columns, values = [], [], []
        for element, own in zip(self.elements, self._numbers, strict=True):
            f, K = element.forces_and_tangent(np.zeros(len(own)) if u is None else u[own])
            np.add.at(forces, own, f)
            rows.append(np.repeat(own, len(own)))
            columns.append(np.tile(own, len(own)))
            values.append(K.ravel())
        if not values:
            return forces, csc_array((self.size, self.size))
        entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
        return forces, csc_array(coo_array(entries, shape=(self.size, self.size)))

    def strains(self, u: Array) -> tuple[csc_array, csc_array]:
        """Return B (e, 6 n) and W (e, e) of all elements at motions u (6 n,): see ``Element``."""
        rows, columns, values, blocks, first = [], [], [], [], 0
        for element, own in zip(self.elements, self._numbers, strict=True):
            B, W = element.strains(u[own])
            rows.append(np.repeat(np.arange(first, first + len(B)), len(own)))
            columns.append(np.tile(own, len(B)))
            values.append(B.ravel())
            blocks.append(W)
            first += len(B)
        if not blocks:
            return csc_array((0, self.size)), csc_array((0, 0))
        entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
        B_all = csc_array(coo_array(entries, shape=(first, self.size)))
        return B_all, csc_array(block_diag(blocks, format="csc"))

    def reduced(self, tangent: csc_array) -> csc_array:
        """Return the tangent (f, f) of the free motions."""
        return csc_array(self.spread.T @ tangent @ self.spread)


def stacked(nodes: Iterable[str], values: Mapping[str, Array]) -> Array:
    """Return six numbers for every node, one after the other; zero where there are none."""
    return np.concatenate([values.get(name, np.zeros(6)) for name in nodes])
