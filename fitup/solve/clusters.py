"""Clusters of seats that tell most of each other, and the order in which they are matched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.solve.exact import Goal

#: most seats of a cluster that is listed at once
_LEAF: Final = 4
#: a seat the checks do not see is taken to be bound to this [m] at this sum of squares
_LOOSE: Final = 5e-3
_LOOSE_SQUARES: Final = 0.05


@dataclass(frozen=True, eq=False)
class Cluster:
    """Seats listed together, made of two clusters or, at the end, of a few seats."""

    seats: Array
    parts: tuple[Cluster, Cluster] | None = None


def cluster_tree(goal: Goal, groups: Sequence[Array]) -> Cluster:
    """Return clusters of clusters: seats that tell most of each other are matched first.

    Parameters
    ----------
    goal : Goal
        Its squares tie the seats.
    groups : sequence of Array of int
        Seats that are to be listed together where they are few enough.

    Notes
    -----
    Read ``exp(-|M x - h|^2)`` as a Gaussian density with the seats bound to a few millimetres:
    the tie of two clusters is their mutual information ``-log det(I - C C')``, C being the
    canonical correlations of their settings when all other seats are free. What is matched last
    should tell little of each other, so that few selections are listed on either side.
    """
    H = goal.M.T @ goal.M
    covariance = np.linalg.inv(H + _ridge(goal))
    clusters = [piece for group in groups if len(group) for piece in _pieces(np.asarray(group))]
    while len(clusters) > 1:
        ties = [
            (_tie(covariance, a.seats, b.seats), -i, -j)
            for i, a in enumerate(clusters)
            for j, b in enumerate(clusters)
            if i < j
        ]
        _, i, j = max(ties)
        a, b = clusters[-i], clusters[-j]
        joined = Cluster(np.r_[a.seats, b.seats], (a, b))
        clusters = [c for c in clusters if c is not a and c is not b] + [joined]
    return clusters[0]


def _pieces(group: Array) -> list[Cluster]:
    count = -(-len(group) // _LEAF)
    return [Cluster(part) for part in np.array_split(group, count)]


def _tie(covariance: Array, a: Array, b: Array) -> float:
    root_a = np.linalg.cholesky(covariance[np.ix_(a, a)])
    root_b = np.linalg.cholesky(covariance[np.ix_(b, b)])
    across = np.linalg.solve(root_a, covariance[np.ix_(a, b)])
    C = np.linalg.svd(np.linalg.solve(root_b, across.T), compute_uv=False)
    return float(-np.log1p(-(np.clip(C, 0.0, 1.0 - 1e-12) ** 2)).sum())


def _ridge(goal: Goal) -> Array:
    return np.eye(goal.M.shape[1]) * (_LOOSE_SQUARES / _LOOSE**2)


def pruned(cluster: Cluster, keep: Mapping[int, int]) -> Cluster:
    """Take seats out of a tree; a cluster left with one part becomes that part.

    Parameters
    ----------
    cluster : Cluster
    keep : mapping of int to int
        Its keys are the seats that stay; one at least.
    """
    seats = np.array([s for s in cluster.seats if int(s) in keep], dtype=np.int64)
    if cluster.parts is None:
        return Cluster(seats)
    parts = [p for p in cluster.parts if any(int(s) in keep for s in p.seats)]
    if len(parts) == 1:
        return pruned(parts[0], keep)
    return Cluster(seats, (pruned(parts[0], keep), pruned(parts[1], keep)))


def renumbered(cluster: Cluster, number: Mapping[int, int]) -> Cluster:
    """Return a tree with other numbers for its seats.

    Parameters
    ----------
    cluster : Cluster
    number : mapping of int to int
        Seat -> its new number.
    """
    seats = np.array([number[int(s)] for s in cluster.seats])
    if cluster.parts is None:
        return Cluster(seats)
    a, b = (renumbered(part, number) for part in cluster.parts)
    return Cluster(seats, (a, b))
