"""Whether every state the certificate prints is in balance: forces and moments, part by part.

Nothing here uses code of ``structure``. A part is what sticks and rigid rows join. Its loads, the
reactions as printed, springs, and what the ground holds, read off the multipliers of held motions,
must add up to nothing about its middle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.errors import CertificateRefused
from fitup.frames import Array

#: share of all forces on a part by which they may fail to add up; of moments, with its size
_BALANCED = 1e-6


@dataclass(frozen=True, eq=False)
class FramePart:
    """Numbers of the nodes (k,) of one part, what to call it, and its loads added up [N]."""

    name: str
    nodes: Array
    loads: float


class Sums:
    """Forces and moments on parts about their middles."""

    def __init__(self, positions: Sequence[Array], parts: Sequence[FramePart]) -> None:
        self.parts = tuple(parts)
        places = np.array(positions)
        self.count = len(places)
        self.arms, self.size = [], []
        for part in parts:
            own = places[part.nodes]
            self.arms.append(own - 0.5 * (own.max(axis=0) + own.min(axis=0)))
            self.size.append(max(1.0, float(np.linalg.norm(np.ptp(own, axis=0))) / 2.0))

    def of(self, forces: Array) -> Array:
        """Return sums (p, 6, k) of forces and moments on nodes (6 n, k)."""
        own = forces.reshape(self.count, 6, -1)
        result = []
        for part, arms in zip(self.parts, self.arms, strict=True):
            push, turn = own[part.nodes, :3], own[part.nodes, 3:]
            moment = np.cross(arms[:, :, None], push, axisa=1, axisb=1, axisc=1)
            result.append(np.concatenate([push.sum(axis=0), (turn + moment).sum(axis=0)]))
        return np.array(result)

    def require(self, off: Array, carried: Array) -> None:
        """Refuse what does not balance.

        Parameters
        ----------
        off : Array (p, 6)
            What is left over [N, N m].
        carried : Array (p,)
            Reactions of each part, added up by size [N].

        Raises
        ------
        CertificateRefused
            With one line for each part.
        """
        wrong = []
        for part, size, left, more in zip(self.parts, self.size, off, carried, strict=True):
            allowed = _BALANCED * (part.loads + more + 1.0)
            force, moment = float(np.abs(left[:3]).max()), float(np.abs(left[3:]).max())
            if not (force <= allowed and moment <= allowed * size):
                wrong.append(
                    f"{part.name}: {force / 1e3:.4g} kN and {moment / 1e3:.4g} kN m are left over: "
                    "its loads and reactions do not balance in the second solution"
                )
        if wrong:
            raise CertificateRefused(wrong)


def joined(count: int, links: Sequence[tuple[int, int]]) -> list[list[int]]:
    """Return the groups of numbers below a count that links join, those that stand alone too.

    Parameters
    ----------
    count : int
        Numbers run from 0 to ``count - 1``.
    links : sequence of (int, int)
        Pairs of numbers that belong together.

    Returns
    -------
    list of lists of int
        Each in ascending order.
    """
    group = list(range(count))

    def first(i: int) -> int:
        while group[i] != i:
            group[i] = group[group[i]]
            i = group[i]
        return i

    for a, b in links:
        group[first(b)] = first(a)
    members: dict[int, list[int]] = {}
    for i in range(count):
        members.setdefault(first(i), []).append(i)
    return list(members.values())


def called(segments: Mapping[int, str], group: Sequence[int], name: str) -> str:
    """Return what to call a part: by its segments, else by a name of its own.

    Parameters
    ----------
    segments : mapping of int to str
        Segment of each node, empty for a node of none.
    group : sequence of int
        Numbers of the nodes of the part.
    name : str
        Used where no node belongs to a segment.
    """
    own = sorted({segments[i] for i in group if segments.get(i)})
    return f"segment{'s' if len(own) > 1 else ''} {', '.join(own)}" if own else name
