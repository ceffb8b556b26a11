"""Long lines of segments: dynamic programming along the deck, with a proof at the end.

Segments that do not touch yet are tied only through the checks at their joints, so once the
settings of one segment are fixed, what lies ahead of it no longer depends on what lies behind.
For each segment a set of settings is kept: all those within a small ellipsoid about the local
continuous optimum. Along the kept sets dynamic programming finds the best line exactly.

The proof is the same recursion once more with one more state, *anything else*. Say a line uses a
setting of segment s outside its kept set. Over the window of segments around s the squares then
exceed the local continuous optimum by at least the size of the ellipsoid, whatever the others
do. Rows that cross the ends of the window are left out, which only lowers the sum. So a line
that leaves the kept sets costs at least

    best so far up to the window + local optimum + ellipsoid + what lies ahead,

and the least of these over all ways to leave is a lower bound. If it is not below the best kept
line, that line is the optimum; if it is, the ellipsoids it went through are doubled. Time and
memory grow with the number of segments and no faster.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.optimize.search import Goal, Space, collect, echelon

#: a window reaches this many segments to either side
REACH: Final = 2
_FIRST: Final = 0.05
_GROWTH: Final = 1.5
#: how much more than seems needed a kept set grows
_AMPLE: Final = 1.02
_FEWEST, _MOST = 16, 60_000
_TABLE: Final = 2_000_000
_CARE: Final = 1e-9


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
class Line:
    """Segments in order: own squares ``|M x - h|^2``, choices and limits, and links between.

    Parameters
    ----------
    spaces : sequence of Space
        What each segment may choose, by its own limits; capacities are those of one segment.
    own : sequence of (Array (m, n), Array (m,))
        Squares of each segment alone.
    links : sequence of Link
        One between each segment and the next.
    """

    spaces: Sequence[Space]
    own: Sequence[tuple[Array, Array]]
    links: Sequence[Link]


@dataclass(slots=True)
class LineResult:
    """Best picks by segment, their sum of squares, a lower bound, proof, and sizes."""

    picks: list[Array]
    score: float
    lower: float
    proven: bool
    kept: list[int]
    rounds: int


@dataclass(eq=False, slots=True)
class _Kept:
    """Kept settings of a segment: picks (k, n), settings (k, n), own squares (k,), ellipsoid."""

    pick: Array
    x: Array
    alone: Array
    size: float


def solve_line(line: Line, *, deadline: float = np.inf) -> LineResult | None:
    """Find the line of least squares, or the best within the kept sets and a lower bound.

    Parameters
    ----------
    line : Line
    deadline : float
        ``time.monotonic()`` after which kept sets no longer grow.

    Returns
    -------
    LineResult or None
        None when a segment has no setting that keeps its own limits, or the kept sets hold no
        line at all when the time is over.
    """
    windows = [_Window(line, s) for s in range(len(line.spaces))]
    kept: list[_Kept] = []
    for s, window in enumerate(windows):
        first = window.keep(line, s, _FIRST)
        if first is None:
            return None
        kept.append(first)
    rounds = 0
    while True:
        rounds += 1
        score, picks = _best_kept(line, kept)
        lower, left = _bound_outside(line, windows, kept)
        proven = lower >= score - _CARE * max(1.0, abs(score))
        if proven or time.monotonic() > deadline:
            break
        if not _grow(line, windows, kept, left, score):
            break
    if not np.isfinite(score):
        return None
    sizes = [len(k.pick) for k in kept]
    return LineResult(picks, score, min(lower, score), proven, sizes, rounds)


def _grow(
    line: Line, windows: Sequence[_Window], kept: list[_Kept], left: Sequence[int], score: float
) -> bool:
    """Make kept sets as large as the proof seems to need; say whether any could grow.

    To be dismissed, leaving at segment s must cost more than what the window's own squares and
    the best lines on either side leave of the score.
    """
    before = _least_before(line, kept)
    after = _least_after(line, kept)
    grown = False
    for s, window in enumerate(windows):
        spare = score - before[window.first] - window.base(window.first) - after[window.last + 1]
        wanted = _AMPLE * spare if np.isfinite(spare) else 0.0
        if s in left:
            wanted = max(wanted, kept[s].size * _GROWTH)
        if wanted <= kept[s].size:
            continue
        larger = window.keep(line, s, wanted)
        if larger is not None:
            kept[s], grown = larger, True
    return grown


def _least_before(line: Line, kept: Sequence[_Kept]) -> list[float]:
    """Return the least squares of all rows before each segment, along kept sets (count + 1)."""
    value = kept[0].alone
    least = [0.0, float(value.min())]
    for s, link in enumerate(line.links):
        value, _ = _step(link, kept[s], value, kept[s + 1])
        least.append(float(value.min()))
    return least


def _least_after(line: Line, kept: Sequence[_Kept]) -> list[float]:
    """Return the least squares of all rows from each segment on, along kept sets (count + 1)."""
    turned = Line(
        line.spaces[::-1],
        line.own[::-1],
        [Link(k.B, k.A, k.h, k.Q, k.P, k.r) for k in reversed(line.links)],
    )
    return _least_before(turned, kept[::-1])[::-1]


class _Window:
    """The squares of a segment with its neighbours free, for every place the window may begin."""

    def __init__(self, line: Line, s: int) -> None:
        self.first = max(0, s - REACH)
        self.last = min(len(line.spaces) - 1, s + REACH)
        self.forms = {u: _marginal(line, s, u, self.last) for u in range(self.first, s + 1)}

    def base(self, begin: int) -> float:
        """Return the least squares of segments begin..last, all settings free."""
        return self.forms[begin][2]

    def keep(self, line: Line, s: int, size: float) -> _Kept | None:
        """Keep every setting of segment s within the ellipsoid, larger until there are some."""
        R, z, _ = self.forms[self.first]
        space = line.spaces[s]
        goal = Goal("squares", R, z, R, z)
        while True:
            listed = collect(space, goal, size, _MOST)
            if listed is None:
                return None
            pick = listed[0]
            if len(pick) >= min(_FEWEST, _count(space)) or size > 1e6:
                break
            size *= _GROWTH
        if not len(pick):
            return None
        x = np.stack([v[pick[:, k]] for k, v in enumerate(space.values)], axis=1)
        M, h = line.own[s]
        alone = ((x @ M.T - h) ** 2).sum(axis=1) if len(h) else np.zeros(len(x))
        whole = len(pick) == _count(space)
        return _Kept(pick, x, alone, np.inf if whole or size > 1e6 else size)

    def outside(self, begin: int, size: float) -> float:
        """Return how far squares from ``begin`` on must exceed their base outside the ellipsoid.

        With |R x - z|^2 > size over the whole window and lambda the least ratio of the shorter
        window's form to the longer's, |R' x - z'|^2 >= lambda (sqrt(size) - d)^2, where d is how
        far apart the two centres are in the longer form.
        """
        if begin == self.first or not np.isfinite(size):
            return size
        R, z, _ = self.forms[self.first]
        shorter, target, _ = self.forms[begin]
        if not len(shorter):
            return 0.0
        centre = np.linalg.lstsq(shorter, target, rcond=None)[0]
        apart = float(np.linalg.norm(R @ centre - z))
        share = _least_ratio(shorter, R)
        return share * max(0.0, np.sqrt(size) - apart) ** 2


def _count(space: Space) -> int:
    total = 1
    for v in space.values:
        total = min(_BIG_COUNT, total * len(v))
    return total


_BIG_COUNT: Final = 1 << 40


def _least_ratio(shorter: Array, longer: Array) -> float:
    """Return the largest lambda with shorter' shorter >= lambda longer' longer."""
    size, vectors = np.linalg.eigh(shorter.T @ shorter)
    keep = size > 1e-10 * size.max(initial=1e-300)
    blind = longer @ vectors[:, ~keep]
    if np.abs(blind).max(initial=0.0) > 1e-9 * max(float(np.abs(longer).max(initial=0.0)), 1e-300):
        # a direction the shorter window does not see at all bounds nothing
        return 0.0
    seen = longer @ (vectors[:, keep] / np.sqrt(size[keep]))
    most = float(np.linalg.norm(seen, 2)) ** 2 if seen.size else 0.0
    return 1.0 / most if most > 0.0 else 0.0


def _marginal(line: Line, s: int, begin: int, end: int) -> tuple[Array, Array, float]:
    """Squares of segments begin..end as a form in x_s alone, the others free: R, z, base."""
    members = [t for t in range(begin, end + 1) if t != s] + [s]
    width = {t: len(line.spaces[t].values) for t in members}
    start, at = {}, 0
    for t in members:
        start[t] = at
        at += width[t]
    blocks, targets = [], []

    def place(parts: Sequence[tuple[int, Array]], h: Array) -> None:
        row = np.zeros((len(h), at))
        for t, M in parts:
            row[:, start[t] : start[t] + width[t]] = M
        blocks.append(row)
        targets.append(h)

    for t in range(begin, end + 1):
        place([(t, line.own[t][0])], line.own[t][1])
        if t < end:
            link = line.links[t]
            place([(t, link.A), (t + 1, link.B)], link.h)
    R, z, row_of, base = echelon(np.vstack(blocks), np.concatenate(targets))
    rows = [r for r in row_of[at - width[s] :] if r >= 0]
    return R[rows][:, at - width[s] :], z[rows], base


def _pair_costs(link: Link, before: _Kept, after: _Kept, rows: slice) -> Array:
    """Squares of a link for pairs of kept settings (rows, k), infinite where a limit is broken."""
    left = before.x[rows] @ link.A.T - link.h
    right = after.x @ link.B.T
    cost = 2.0 * left @ right.T
    cost += (left**2).sum(axis=1)[:, None]
    cost += (right**2).sum(axis=1)[None, :]
    if len(link.r):
        near, far = before.x[rows] @ link.P.T, after.x @ link.Q.T
        live = near.max(axis=0, initial=-np.inf) + far.max(axis=0) > link.r
        for i in np.flatnonzero(live):
            cost[near[:, i][:, None] + far[:, i][None, :] > link.r[i] + 1e-10] = np.inf
    return np.maximum(cost, 0.0)


def _step(link: Link, before: _Kept, value: Array, after: _Kept) -> tuple[Array, Array]:
    """One step of the recursion: least value at each setting ahead, and where it came from."""
    best = np.full(len(after.x), np.inf)
    came = np.zeros(len(after.x), dtype=np.int64)
    alive = np.flatnonzero(np.isfinite(value))
    bite = max(1, _TABLE // len(after.x))
    for begin in range(0, len(alive), bite):
        part = alive[begin : begin + bite]
        taken = _Kept(before.pick[part], before.x[part], before.alone[part], before.size)
        total = _pair_costs(link, taken, after, slice(None)) + value[part][:, None]
        at = total.argmin(axis=0)
        least = total[at, np.arange(len(best))]
        better = least < best
        best[better], came[better] = least[better], part[at[better]]
    return best + after.alone, came


def _best_kept(line: Line, kept: Sequence[_Kept]) -> tuple[float, list[Array]]:
    """Return the best line along the kept sets; ties fall to the first in order."""
    value = kept[0].alone
    trail = []
    for s, link in enumerate(line.links):
        value, came = _step(link, kept[s], value, kept[s + 1])
        trail.append(came)
    at = int(np.argmin(value))
    score = float(value[at])
    picks = [kept[-1].pick[at]]
    for s in range(len(trail) - 1, -1, -1):
        at = int(trail[s][at])
        picks.append(kept[s].pick[at])
    return score, picks[::-1]


def _bound_outside(
    line: Line, windows: Sequence[_Window], kept: Sequence[_Kept]
) -> tuple[float, list[int]]:
    """Bound from below every line that leaves the kept sets; name the segments it leaves at.

    ``inside`` holds values of kept settings on lines that never left; ``outside`` on lines that
    did, infinite at first; ``cut[u]`` is the least value of all rows before segment u on lines
    that left in a window which ends at u.
    """
    count = len(line.spaces)
    cut = np.full(count + 1, np.inf)
    source: list[tuple[str, int, int] | None] = [None] * (count + 1)
    inside, outside = kept[0].alone.copy(), np.full(len(kept[0].x), np.inf)
    origin: list[int] = []
    least = np.zeros(count + 1)
    least_out = np.full(count + 1, np.inf)
    last_cut = [0] * (count + 1)
    begun: list[Array] = []
    for u in range(count):
        # the least over kept settings of all rows before segment u
        if u > 0:
            inside, _ = _step(line.links[u - 1], kept[u - 1], inside, kept[u])
            stepped, came = _step(line.links[u - 1], kept[u - 1], outside, kept[u])
            start = np.where(np.isfinite(stepped), begun[u - 1][came], 0)
            fresh = cut[u] + kept[u].alone
            outside = np.minimum(stepped, fresh)
            begun.append(np.where(fresh <= stepped, u, start))
        else:
            begun.append(np.zeros(len(outside), dtype=np.int64))
        ways = [(least[u], "kept", 0)]
        if np.isfinite(least_out[u]):
            ways.append((least_out[u], "outside", last_cut[u]))
        if np.isfinite(cut[u]):
            ways.append((cut[u], "cut", u))
        value, how, from_cut = min(ways)
        least[u + 1] = float(inside.min())
        least_out[u + 1] = float(outside.min())
        last_cut[u + 1] = int(begun[u][int(np.argmin(outside))])
        for s in range(u, min(count, u + REACH + 1)):
            window = windows[s]
            # a window may begin later than it would like where the one before it ended
            if window.first > u or (window.first < u and not np.isfinite(cut[u])):
                continue
            begin_value = value if window.first == u else cut[u]
            add = window.base(u) + window.outside(u, kept[s].size)
            end = window.last + 1
            if begin_value + add < cut[end]:
                cut[end] = begin_value + add
                source[end] = (
                    how if window.first == u else "cut",
                    s,
                    from_cut if window.first == u else u,
                )
    whole = float(outside.min())
    lower = min(whole, float(cut[count]))
    at = count if cut[count] <= whole else int(begun[count - 1][int(np.argmin(outside))])
    while at > 0 and source[at] is not None:
        how_before, s, from_cut = source[at] or ("kept", 0, 0)
        origin.append(s)
        at = from_cut if how_before != "kept" else 0
    return lower, sorted(set(origin))
