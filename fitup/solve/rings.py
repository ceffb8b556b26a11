"""The exact search for joints with many packs: sides are listed apart, then matched.

Fixing seats one by one walks through every setting of the last seats for every setting of the
first. But the seats fall into clusters that hardly touch each other's squares: the lifts of the
two segments at a joint decide step, twist and grade; the pushes in plan decide gap, offset and
plan kink. So each cluster is listed apart - every selection that could belong to a plan within the
ring, all other seats being free to take any setting - and clusters are matched pair by pair,
the strongest ties first. With the columns of cluster B ahead of those of A, the echelon form reads

    |M x - h|^2 = base + |R22 x_A - z2|^2 + |R11 x_B + R12 x_A - z1|^2,

so a partner in B of a selection in A lies within a known distance of ``z1 - R12 x_A``: a search in
a k-d tree. Rings grow until one reaches as far as the best plan found: searched to its end, it is
the proof.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fitup.frames import Array
from fitup.solve.clusters import Cluster, pruned, renumbered
from fitup.solve.effort import ENDLESS, Effort
from fitup.solve.exact import Goal, SearchResult, Space, Watch, collect, echelon

FIRST_RING: Final = 1.0 / 512.0
_GROWTH: Final = 2.0
#: a ring this near to the plan to beat is not worth a search of its own
_LAST_RING: Final = 0.4
#: most numbers that one list of selections may hold: memory is bounded by a few of these
_MOST_NUMBERS: Final = 40_000_000
#: steps of a look into the tree, of a partner counted, of a partner and row weighed
_QUERY, _PARTNER, _PAIR = 2.0, 0.05, 0.02
#: steps of setting up a search inside a search
_SUB: Final = 3000.0
#: steps of a number of a selection that is listed
_LISTED: Final = 0.05
#: beyond this many pairs of leaf selections a cluster is searched once for each one of the other
_MOST_PAIRS: Final = 1e8
_CHUNK: Final = 1 << 13
#: pairs of selections counted between two looks at the clock
_MOST_COUNTED: Final = 1 << 24
_SPARSE: Final = 1 << 18  # where no more were counted, twice as many are looked up next
_CARE: Final = 1e-9


@dataclass(frozen=True, eq=False)
class _Picks:
    """Listed selections of a cluster: choices (k, s), settings (k, s), amounts used (k, c)."""

    selection: Array
    x: Array
    uses: Array


class _TooMany(Exception):
    """A cluster has more selections than can be listed, or the time is over."""


def search_rings(
    space: Space,
    goal: Goal,
    tree: Cluster,
    *,
    best: float,
    first: float = FIRST_RING,
    effort: Effort = ENDLESS,
    watch: Watch | None = None,
) -> SearchResult:
    """Find the selection of least score below ``best``, or prove that there is none.

    Parameters
    ----------
    space, goal
        As for :func:`fitup.solve.exact.search`.
    tree : Cluster
        From :func:`cluster_tree`.
    best : float
        A finite score to beat.
    first : float
        The first ring as a share of the last: 1.0 where there is most likely no selection at all.
    effort, watch
        As for :func:`fitup.solve.exact.search`.

    Returns
    -------
    SearchResult
        ``proven`` is false when the time was over, or a cluster had too many selections to list;
        the lower bound then is that of the last ring searched to its end.
    """
    free = np.array([i for i, v in enumerate(space.values) if len(v) != 1], dtype=np.int64)
    if 0 < len(free) < len(space.values):
        return _without_fixed(space, goal, tree, free, best, first, effort, watch)
    base = echelon(goal.M, goal.h)[3]
    result = SearchResult(None, best, goal.bound(base), False)
    full = goal.radius(best)
    width = (full - base) * first
    while True:
        # the last ring is the plan to beat itself, free of rounding
        ring = base + width if width < _LAST_RING * (full - base) else full
        before = (result.selection, result.score)
        try:
            _best_in_ring(space, goal, tree, ring, result, effort)
        except _TooMany:
            # what an unfinished ring found depends on the machine's speed: the same job must
            # give the same plan everywhere
            result.selection, result.score = before
            return result
        if result.selection is not None:
            # where the squares only bound the score, a better one may lie outside of this ring
            full = min(full, max(ring, goal.radius(result.score)))
            width = full - base
        if ring >= full:
            result.lower, result.proven = result.score, True
            return result
        result.lower = goal.bound(ring)
        if watch is not None:
            watch(result.nodes, result.score, result.lower)
        width *= _GROWTH


def list_within(
    space: Space, goal: Goal, tree: Cluster, radius: float, effort: Effort = ENDLESS
) -> tuple[Array, Array] | None:
    """Return every selection with |M x - h|^2 <= radius, and its settings, (k, n) each.

    None where there are too many to list, or the effort is over.
    """
    result = SearchResult(None, np.inf, 0.0, False)
    n = len(space.values)
    none = np.zeros((0, n), dtype=np.int64), np.zeros((0, n))
    if any(not len(v) for v in space.values):
        return none
    try:
        leaves = _leaves(space, goal, tree, radius, effort)
        if leaves is None:
            return none
        found = _list(space, goal, tree, radius, leaves, effort, result)
    except _TooMany:
        return None
    selection, x = (
        np.empty((len(found.selection), n), dtype=np.int64),
        np.empty((len(found.selection), n)),
    )
    selection[:, tree.seats], x[:, tree.seats] = found.selection, found.x
    return selection, x


def _without_fixed(
    space: Space,
    goal: Goal,
    tree: Cluster,
    free: Array,
    best: float,
    first: float,
    effort: Effort,
    watch: Watch | None,
) -> SearchResult:
    """Search with the seats that have one choice only put in: they bind the others."""
    fixed = np.setdiff1d(np.arange(len(space.values)), free)
    x = np.array([space.values[i][0] for i in fixed])
    used = sum(space.uses[i][0] for i in fixed)
    inner, inner_goal = _rest(space, goal, free, fixed, x, np.asarray(used))
    number = {int(s): k for k, s in enumerate(free)}
    smaller = renumbered(pruned(tree, number), number)
    found = search_rings(
        inner, inner_goal, smaller, best=best, first=first, effort=effort, watch=watch
    )
    if found.selection is not None:
        whole = np.zeros(len(space.values), dtype=np.int64)
        whole[free] = found.selection
        found.selection = whole
    return found


def _rest(
    space: Space, goal: Goal, own: Array, fixed: Array, x: Array, used: Array
) -> tuple[Space, Goal]:
    """Return what is left to choose and to reach when some seats are fixed."""
    inner = Space(
        [space.values[i] for i in own],
        [space.uses[i] for i in own],
        space.capacity - used,
        space.L[:, own],
        space.b - space.L[:, fixed] @ x,
        space.ideal[own],
    )
    inner_goal = Goal(
        goal.kind,
        goal.M[:, own],
        goal.h - goal.M[:, fixed] @ x,
        goal.F[:, own],
        goal.g - goal.F[:, fixed] @ x,
        goal.offset,
    )
    return inner, inner_goal


def _list(
    space: Space,
    goal: Goal,
    cluster: Cluster,
    ring: float,
    leaves: dict[int, _Picks],
    effort: Effort,
    result: SearchResult,
) -> _Picks:
    """List selections of a cluster that other seats, free to take any setting, could complete."""
    own = cluster.seats
    if cluster.parts is None:
        listed = leaves[int(own[0])]
        near = _alone(space, goal, own, listed.x) <= ring
        selections = _Picks(listed.selection[near], listed.x[near], listed.uses[near])
    else:
        a, b = cluster.parts
        first, second = _list_both(space, goal, (a, b), ring, leaves, effort, result)
        found: list[tuple[Array, Array]] = []
        total = 0
        for i, j in _matches(space, goal, (a.seats, b.seats), (first, second), ring, effort):
            found.append((i, j))
            total += len(i)
            if total > _most_selections(space):
                raise _TooMany
        i = np.concatenate([np.zeros(0, dtype=np.int64), *(f[0] for f in found)])
        j = np.concatenate([np.zeros(0, dtype=np.int64), *(f[1] for f in found)])
        selections = _Picks(
            np.hstack([first.selection[i], second.selection[j]]),
            np.hstack([first.x[i], second.x[j]]),
            first.uses[i] + second.uses[j],
        )
    result.nodes += len(selections.selection)
    return selections


def _list_both(
    space: Space,
    goal: Goal,
    parts: tuple[Cluster, Cluster],
    ring: float,
    leaves: dict[int, _Picks],
    effort: Effort,
    result: SearchResult,
) -> tuple[_Picks, _Picks]:
    """List two clusters, the sparser first: where it has nothing, the other need not be listed."""
    a, b = parts
    turned = _crowd(a, leaves) > _crowd(b, leaves)
    early, late = (b, a) if turned else (a, b)
    first = _list(space, goal, early, ring, leaves, effort, result)
    if len(first.selection):
        second = _list(space, goal, late, ring, leaves, effort, result)
    else:
        second = _Picks(*(m[:0] for m in (first.selection, first.x, first.uses)))
    return (second, first) if turned else (first, second)


def _form(space: Space, goal: Goal, own: Array) -> tuple[Array, Array, float]:
    """Squares of a cluster with all others free: base + |R x - z|^2, as R, z, base."""
    others = _others(space, own)
    R, z, row_of, base = echelon(goal.M[:, np.r_[others, own]], goal.h)
    rows = [r for r in row_of[len(others) :] if r >= 0]
    return R[rows][:, len(others) :], z[rows], base


def _alone(space: Space, goal: Goal, own: Array, x: Array) -> Array:
    """Least squares (k,) of selections of a cluster, all other seats free to take any setting."""
    part, target, base = _form(space, goal, own)
    return base + ((x @ part.T - target) ** 2).sum(axis=1)


def _leaves(
    space: Space, goal: Goal, cluster: Cluster, ring: float, effort: Effort
) -> dict[int, _Picks] | None:
    """List every leaf of a tree, by its first seat; None where one of them has no selection."""
    found: dict[int, _Picks] = {}
    for own in _leaf_seats(cluster):
        selections = _list_leaf(space, goal, own, ring, effort)
        if not len(selections.selection):
            return None
        found[int(own[0])] = selections
    return found


def _leaf_seats(cluster: Cluster) -> Iterator[Array]:
    """Yield the seats of every leaf of a tree."""
    if cluster.parts is None:
        yield cluster.seats
        return
    for part in cluster.parts:
        yield from _leaf_seats(part)


def _crowd(cluster: Cluster, leaves: dict[int, _Picks]) -> float:
    """How many pairs of leaf selections a cluster is made from, as a logarithm."""
    if cluster.parts is None:
        return float(np.log(max(1e-3, len(leaves[int(cluster.seats[0])].selection))))
    return sum(_crowd(part, leaves) for part in cluster.parts)


def _most_selections(space: Space) -> int:
    """Return how many selections a list may hold."""
    return _MOST_NUMBERS // (2 * len(space.values) + len(space.capacity))


def _others(space: Space, own: Array) -> Array:
    return np.setdiff1d(np.arange(len(space.values)), own)


def _rest_of(space: Space, own: Array) -> tuple[Array, Array]:
    """What limits and capacities leave to a cluster when all other seats use the least."""
    room = space.b.copy()
    capacity = space.capacity.copy()
    for i in _others(space, own):
        v = space.values[i]
        room -= np.minimum(space.L[:, i] * v.min(), space.L[:, i] * v.max())
        capacity -= space.uses[i].min(axis=0)
    return room, capacity


def _list_leaf(space: Space, goal: Goal, own: Array, ring: float, effort: Effort) -> _Picks:
    part, target, base = _form(space, goal, own)
    room, capacity = _rest_of(space, own)
    values = [space.values[i] for i in own]
    uses = [space.uses[i] for i in own]
    reduced = Space(values, uses, capacity, space.L[:, own], room, space.ideal[own])
    squares = Goal("squares", part, target, part, target)
    listed = collect(reduced, squares, ring - base, _most_selections(space), effort)
    if listed is None:
        raise _TooMany
    selection = listed[0]
    effort.spend(_LISTED * selection.size)
    x = np.stack([v[selection[:, k]] for k, v in enumerate(values)], axis=1)
    used = np.zeros((len(selection), len(capacity)), dtype=np.int64)
    for k, u in enumerate(uses):
        used += u[selection[:, k]]
    return _Picks(selection, x, used)


def _matches(
    space: Space,
    goal: Goal,
    sides: tuple[Array, Array],
    selections: tuple[_Picks, _Picks],
    ring: float,
    effort: Effort,
    result: SearchResult | None = None,
) -> Iterator[tuple[Array, Array]]:
    """Yield all pairs of selections of two clusters within the ring, limits and capacities kept.

    Given a result, the ring shrinks with its score while the pairs are taken.
    """
    from scipy.spatial import cKDTree

    (a, b), (first, second) = sides, selections
    if not len(first.selection) or not len(second.selection):
        return
    own = np.r_[a, b]
    others = _others(space, own)
    R, z, row_of, base = echelon(goal.M[:, np.r_[others, b, a]], goal.h)
    at_b = range(len(others), len(others) + len(b))
    top = np.array([row_of[k] for k in at_b if row_of[k] >= 0], dtype=np.int64)
    low = np.array([r for r in row_of[len(others) + len(b) :] if r >= 0], dtype=np.int64)
    col_b, col_a = np.array(at_b), len(others) + len(b) + np.arange(len(a))
    alone = base + ((first.x @ R[np.ix_(low, col_a)].T - z[low]) ** 2).sum(axis=1)
    aim = z[top] - first.x @ R[np.ix_(top, col_a)].T
    points = second.x @ R[np.ix_(top, col_b)].T
    if not len(top):
        # the squares do not see B: every partner is as near as any other
        aim, points = np.zeros((len(aim), 1)), np.zeros((len(points), 1))
    tree = cKDTree(points)
    effort.spend(_QUERY * len(points))
    room, capacity = _rest_of(space, own)
    live = _most(space.L[:, a], first.x) + _most(space.L[:, b], second.x) > room
    La, Lb, room = space.L[live][:, a].T, space.L[live][:, b].T, room[live] + 1e-10
    order = np.argsort(alone, kind="stable")
    # even counting the partners of many selections among many takes long: look at the clock between
    begin, chunk = 0, int(np.clip(_MOST_COUNTED // len(second.selection), 1, _CHUNK))
    size = chunk
    while begin < len(order):
        radius = ring if result is None else min(ring, goal.radius(result.score))
        part = order[begin : begin + size]
        begin += size
        part = part[alone[part] <= radius]
        if not len(part):
            return
        reach = np.sqrt(np.maximum(radius - alone[part], 0.0)) * (1.0 + _CARE) + 1e-12
        if effort.over():
            raise _TooMany
        count = tree.query_ball_point(aim[part], reach, return_length=True)
        # those without a partner are not looked up again, and cost what they did
        effort.spend(2.0 * _QUERY * len(part) + _PARTNER * float(count.sum()))
        size = min(2 * size, _CHUNK) if count.sum() < _SPARSE else chunk
        part, reach, count = part[count > 0], reach[count > 0], count[count > 0]
        for bite, near in _bites(tree, aim, part, reach, count, effort) if len(part) else ():
            i = np.repeat(bite, [len(n) for n in near])
            j = np.concatenate([np.asarray(n, dtype=np.int64) for n in near])
            effort.spend(_PAIR * len(i) * (len(capacity) + len(room) + 1))
            fits = np.all(first.uses[i] + second.uses[j] <= capacity, axis=1)
            i, j = i[fits], j[fits]
            fits = np.all(first.x[i] @ La + second.x[j] @ Lb <= room, axis=1)
            if fits.any():
                yield i[fits], j[fits]


def _bites(
    tree: Any, aim: Array, part: Array, reach: Array, count: Array, effort: Effort
) -> Iterator[tuple[Array, Array]]:
    """Yield selections with their partners; those of a few may be too many for memory at once."""
    bounds = np.flatnonzero(np.diff(np.cumsum(count) // 1_000_000)) + 1
    for bite, far in zip(np.split(part, bounds), np.split(reach, bounds), strict=True):
        if effort.over():
            raise _TooMany
        yield bite, tree.query_ball_point(aim[bite], far, return_sorted=True)


def _most(L: Array, x: Array) -> Array:
    """Return the most of rows (p, n) for any mix of the settings of selections (k, n)."""
    return np.asarray(np.maximum(L * x.min(axis=0), L * x.max(axis=0)).sum(axis=1) + 1e-9)


def _best_in_ring(
    space: Space,
    goal: Goal,
    tree: Cluster,
    ring: float,
    result: SearchResult,
    effort: Effort,
) -> None:
    """Look for selections within the ring that beat the result; ties fall to the first in order."""
    leaves = _leaves(space, goal, tree, ring, effort)
    if leaves is None:
        return
    if tree.parts is None:
        found = _list(space, goal, tree, ring, leaves, effort, result)
        _score(goal, tree.seats, found.selection, found.x, result)
        return
    a, b = sorted(tree.parts, key=lambda part: _crowd(part, leaves))
    if _crowd(b, leaves) > np.log(_MOST_PAIRS):
        _one_by_one(space, goal, (a, b), ring, leaves, result, effort)
        return
    first, second = _list_both(space, goal, (a, b), ring, leaves, effort, result)
    seats = np.r_[a.seats, b.seats]
    for i, j in _matches(space, goal, (a.seats, b.seats), (first, second), ring, effort, result):
        selection = np.hstack([first.selection[i], second.selection[j]])
        _score(goal, seats, selection, np.hstack([first.x[i], second.x[j]]), result)


def _one_by_one(
    space: Space,
    goal: Goal,
    parts: tuple[Cluster, Cluster],
    ring: float,
    leaves: dict[int, _Picks],
    result: SearchResult,
    effort: Effort,
) -> None:
    """For every selection of the sparse cluster look for the best of the crowded one.

    What the sparse selection costs alone is taken off the ring, so the crowded cluster is searched
    in a much smaller one than if both were listed side by side.
    """
    sparse, crowded = parts
    first = _list(space, goal, sparse, ring, leaves, effort, result)
    if not len(first.selection):
        return
    alone = _alone(space, goal, sparse.seats, first.x)
    inside = renumbered(crowded, {int(s): k for k, s in enumerate(np.sort(crowded.seats))})
    own = np.sort(crowded.seats)
    for at in np.argsort(alone, kind="stable"):
        radius = min(ring, goal.radius(result.score))
        if alone[at] > radius:
            return
        if effort.over():
            raise _TooMany
        fixed, x = sparse.seats, first.x[at]
        effort.spend(_SUB)
        sub_space, sub_goal = _rest(space, goal, own, fixed, x, first.uses[at])
        found = SearchResult(None, result.score, 0.0, False)
        _best_in_ring(sub_space, sub_goal, inside, radius, found, effort)
        result.nodes += found.nodes
        if found.selection is not None:
            selection = np.empty(len(space.values), dtype=np.int64)
            selection[fixed], selection[own] = first.selection[at], found.selection
            result.selection, result.score = selection, found.score


def _score(goal: Goal, seats: Array, selection: Array, x: Array, result: SearchResult) -> None:
    if not len(x):
        return
    inside = np.empty_like(x)
    inside[:, seats] = x
    score = goal.scores(inside)
    at = int(np.argmin(score))
    if score[at] < result.score - _CARE * max(1e-3, min(result.score, 1e9)):
        whole = np.empty(len(seats), dtype=np.int64)
        whole[seats] = selection[at]
        result.selection, result.score = whole, float(score[at])
