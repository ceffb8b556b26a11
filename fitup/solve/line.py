"""Lines of segments tied only to their neighbours: links, and the recursion along them.

Segments that do not touch yet are tied only through the checks at their joints, so once the
settings of one segment are fixed, what lies ahead of it no longer depends on what lies behind:
the best line through each setting is the best line to some setting of the segment before, and
one step more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.solve.exact import Space


@dataclass(frozen=True, eq=False)
class Link:
    """What ties two neighbours: ``|A x_s + B x_t - h|^2`` and limits ``P x_s + Q x_t <= r``."""

    A: Array
    B: Array
    h: Array
    P: Array
    Q: Array
    r: Array


@dataclass(frozen=True, eq=False)
class SegmentLine:
    """Segments in order: own squares ``|M x - h|^2``, choices and limits, and links between.

    Parameters
    ----------
    spaces : sequence of Space
        What each segment may choose, by its own limits; capacities are those of one segment.
    own : sequence of (Array (m, n), Array (m,))
        Squares of each segment alone.
    links : sequence of Link
        One between each segment and the next.
    prices : sequence of sequence of Array (k_i,), optional
        What every choice costs besides its squares, none below zero.
    base : float
        What every line costs besides.
    """

    spaces: Sequence[Space]
    own: Sequence[tuple[Array, Array]]
    links: Sequence[Link]
    prices: Sequence[Sequence[Array]] | None = None
    base: float = 0.0


@dataclass(frozen=True, eq=False)
class Kept:
    """Settings of a segment that are kept: selections (k, n), settings (k, n), own cost (k,)."""

    selection: Array
    x: Array
    alone: Array

    def only(self, which: Array) -> Kept:
        """Return the settings at some places."""
        return Kept(self.selection[which], self.x[which], self.alone[which])


@dataclass(frozen=True, eq=False)
class ReducedLink:
    """A link in as few coordinates as its squares have: ``|a(x_s) - b(x_t)|^2 + rest``."""

    to_a: Array
    to_b: Array
    h: Array
    rest: float
    P: Array
    Q: Array
    r: Array

    @classmethod
    def of(cls, link: Link) -> ReducedLink:
        """Return a link in its own coordinates; limit rows scaled to coefficients of order one."""
        U, size, _ = np.linalg.svd(np.hstack([link.A, link.B]), full_matrices=False)
        U = U[:, size > 1e-12 * size.max(initial=1e-300)]
        h = U.T @ link.h
        scale = np.abs(np.hstack([link.P, link.Q])).max(axis=1, initial=0.0)
        scale = np.where(scale > 0.0, scale, 1.0)
        return cls(
            U.T @ link.A,
            -(U.T @ link.B),
            h,
            max(0.0, float(link.h @ link.h - h @ h)),
            link.P / scale[:, None],
            link.Q / scale[:, None],
            link.r / scale,
        )

    def turned(self) -> ReducedLink:
        """Return the same link seen from ahead."""
        return ReducedLink(-self.to_b, -self.to_a, self.h, self.rest, self.Q, self.P, self.r)

    def step(self, before: Kept, value: Array, after: Kept) -> tuple[Array, Array]:
        """Return the least value at each setting ahead, and which setting it came from.

        Parameters
        ----------
        before : Kept
        value : Array (k,)
            Least cost up to each setting of ``before``, its own included; infinite where no way
            leads to it.
        after : Kept

        Returns
        -------
        value : Array (l,)
            Own cost of the setting ahead included; infinite where limits allow no way to it.
        came : Array (l,)
            Numbers of settings of ``before``.
        """
        from fitup.solve.minplus import least_sums

        alive = np.flatnonzero(np.isfinite(value))
        if not len(alive) or not len(after.x):
            return np.full(len(after.x), np.inf), np.zeros(len(after.x), dtype=np.int64)
        near, far = before.x[alive] @ self.P.T, after.x @ self.Q.T
        live = near.max(axis=0) + far.max(axis=0) > self.r
        best, came = least_sums(
            before.x[alive] @ self.to_a.T - self.h,
            value[alive] + self.rest,
            after.x @ self.to_b.T,
            np.ascontiguousarray(near[:, live]),
            np.ascontiguousarray(far[:, live]),
            self.r[live],
        )
        return best + after.alone, alive[came]

    def within(
        self, x: Array, cost: Array, after: Kept, rest: Array, limit: float, most: int
    ) -> tuple[Array, Array, Array, bool]:
        """Return the ways from settings to kept ones ahead that cost no more than a limit.

        Parameters
        ----------
        x : Array (k, n), cost : Array (k,)
            Settings behind, and what it has cost to come there.
        after : Kept
        rest : Array
            Least cost from each setting of ``after`` on, its own not included.
        limit : float
        most : int
            About how many to find at most.

        Returns
        -------
        behind, ahead : Array
            Numbers of settings.
        cost : Array
            What it has cost to come to the one ahead, its own included.
        complete : bool
            Whether these are all.
        """
        from fitup.solve.minplus import sums_within

        if not len(x) or not len(after.x):
            none = np.zeros(0, dtype=np.int64)
            return none, none, np.zeros(0), True
        near, far = x @ self.P.T, after.x @ self.Q.T
        live = near.max(axis=0) + far.max(axis=0) > self.r
        behind, ahead, total, complete = sums_within(
            x @ self.to_a.T - self.h,
            cost + self.rest,
            after.x @ self.to_b.T,
            after.alone + rest,
            np.ascontiguousarray(near[:, live]),
            np.ascontiguousarray(far[:, live]),
            self.r[live],
            limit,
            most,
        )
        return behind, ahead, total + after.alone[ahead], bool(complete)


def best_line(
    ties: Sequence[ReducedLink], kept: Sequence[Kept]
) -> tuple[float, list[Array], Array]:
    """Find the best line along kept settings; ties fall to the first.

    Parameters
    ----------
    ties : sequence of ReducedLink
        Between each segment and the next.
    kept : sequence of Kept
        Settings of every segment.

    Returns
    -------
    score : float
        Infinite when there is no line.
    selections : list of Array (n,)
    before : Array (count + 1,)
        Least cost of all segments before each.
    """
    value, trail = kept[0].alone, []
    before = [0.0, float(value.min(initial=np.inf))]
    for s, tie in enumerate(ties):
        value, came = tie.step(kept[s], value, kept[s + 1])
        trail.append(came)
        before.append(float(value.min(initial=np.inf)))
    if not len(value) or not np.isfinite(value.min()):
        return np.inf, [], np.array(before)
    at = int(np.argmin(value))
    score, selections = float(value[at]), [kept[-1].selection[at]]
    for s in range(len(ties) - 1, -1, -1):
        at = int(trail[s][at])
        selections.append(kept[s].selection[at])
    return score, selections[::-1], np.array(before)


def values_after(ties: Sequence[ReducedLink], kept: Sequence[Kept]) -> list[Array]:
    """Return the least cost of all segments ahead of each kept setting, along kept settings.

    Parameters
    ----------
    ties : sequence of ReducedLink
        Between each segment and the next.
    kept : sequence of Kept
        Settings of every segment.

    Returns
    -------
    list of Array (k_s,)
        A setting's own cost is not included; infinite where no way leads on.
    """
    values = [np.zeros(len(kept[-1].x))]
    for s in range(len(ties) - 1, -1, -1):
        value, _ = ties[s].turned().step(kept[s + 1], values[-1] + kept[s + 1].alone, kept[s])
        values.append(value - kept[s].alone)
    return values[::-1]


def least_after(ties: Sequence[ReducedLink], kept: Sequence[Kept]) -> Array:
    """Return the least cost of all segments from each on, along kept settings (count + 1,).

    Parameters
    ----------
    ties : sequence of ReducedLink
        Between each segment and the next.
    kept : sequence of Kept
        Settings of every segment.
    """
    values = values_after(ties, kept)
    least = [float((v + k.alone).min(initial=np.inf)) for v, k in zip(values, kept, strict=True)]
    return np.array([*least, 0.0])
