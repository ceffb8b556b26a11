"""The inner loop of the exact search, compiled. It can stop after any number of nodes and go on.

One depth-first walk over the seats, last column first. At a seat the squares and every limit row
that touches it give the interval of settings that can still lead to something better; the
choices in it are tried from the middle outwards (Schnorr and Euchner 1994). Saved values are put
back when the walk returns, so rounding does not build up.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fitup.compiled import jit

#: absolute care [m] at limit rows and in settings: far below any plate, far above rounding
CARE = 1e-10


@jit
def enter(
    j: int,
    tau: float,
    budget: float,
    V: Any,
    K: Any,
    R: Any,
    row_of: Any,
    start: Any,
    rows: Any,
    coefficients: Any,
    ahead_least: Any,
    floating: Any,
    ideal: Any,
    rest: Any,
    slack: Any,
    queue: Any,
) -> int:
    """List the choices of seat j worth trying, best first; return how many."""
    low, high = -1e300, 1e300
    centre = ideal[j]
    row = row_of[j]
    if row >= 0:
        centre = rest[j + 1, row] / R[row, j]
        if budget < 1e299:
            reach = np.sqrt(max(budget, 0.0)) / abs(R[row, j]) + CARE
            low, high = centre - reach, centre + reach
    for s in range(start[j], start[j + 1]):
        i = rows[s]
        room = slack[i] - ahead_least[j, i] + CARE
        if floating[i]:
            room += tau
        edge = room / coefficients[s]
        if coefficients[s] > 0.0:
            high = min(high, edge)
        else:
            low = max(low, edge)
    values = V[j, : K[j]]
    first = np.searchsorted(values, low)
    last = np.searchsorted(values, high + 1e-300, side="right")
    if last <= first:
        return 0
    right = min(max(np.searchsorted(values, centre), first), last)
    left = right - 1
    count = 0
    while left >= first or right < last:
        if left < first or (right < last and values[right] - centre <= centre - values[left]):
            queue[j, count] = right
            right += 1
        else:
            queue[j, count] = left
            left -= 1
        count += 1
    return count


@jit
def walk(
    most_nodes: int,
    mode: int,
    first_only: bool,
    radius_cap: float,
    V: Any,
    K: Any,
    U: Any,
    R: Any,
    row_of: Any,
    start: Any,
    rows: Any,
    coefficients: Any,
    ahead_least: Any,
    ahead_uses: Any,
    floating: Any,
    ideal: Any,
    F: Any,
    g: Any,
    offset: float,
    rest: Any,
    cost: Any,
    slack: Any,
    saved: Any,
    room: Any,
    queue: Any,
    count: Any,
    position: Any,
    pick: Any,
    best_pick: Any,
    status: Any,
    best: Any,
    found: Any,
    found_cost: Any,
) -> int:
    """Walk on for at most ``most_nodes``; return 0 when done, 1 when there is more.

    ``status`` holds the level, the counts of nodes and of picks found; ``best[0]`` the best
    score. ``mode`` 0 scores the squares, 1 the worst ratio (radius = score squared), 2 collects
    every pick within the radius in ``found`` and returns 2 when that is full.
    """
    n = len(K)
    c = room.shape[1]
    r = rest.shape[1]
    j = status[0]
    nodes = 0
    while j < n:
        if nodes >= most_nodes:
            status[0] = j
            status[1] += nodes
            return 1
        if mode == 2 and status[2] == len(found):
            status[0] = j
            status[1] += nodes
            return 2
        tau = best[0]
        limit = radius_cap
        if mode != 2:
            limit = best[0] - offset if mode == 0 else best[0] * best[0]
            limit = min(limit - 1e-9 * max(1e-3, abs(limit)), radius_cap)
        if position[j] < 0:
            position[j] = 0
            count[j] = enter(
                j,
                tau,
                limit - cost[j + 1],
                V,
                K,
                R,
                row_of,
                start,
                rows,
                coefficients,
                ahead_least,
                floating,
                ideal,
                rest,
                slack,
                queue,
            )
        if position[j] >= count[j]:
            # back to the seat before, its rows as they were
            j += 1
            if j < n:
                for s in range(start[j], start[j + 1]):
                    slack[rows[s]] = saved[j, s - start[j]]
            continue
        k = queue[j, position[j]]
        position[j] += 1
        nodes += 1
        fits = True
        for i in range(c):
            room[j, i] = room[j + 1, i] - U[j, k, i]
            if room[j, i] < ahead_uses[j, i]:
                fits = False
                break
        if not fits:
            continue
        x = V[j, k]
        for i in range(r):
            rest[j, i] = rest[j + 1, i] - x * R[i, j]
        cost[j] = cost[j + 1]
        if row_of[j] >= 0:
            cost[j] += rest[j, row_of[j]] ** 2
            if cost[j] > limit:
                continue
        pick[j] = k
        if j > 0:
            for s in range(start[j], start[j + 1]):
                i = rows[s]
                saved[j, s - start[j]] = slack[i]
                slack[i] -= x * coefficients[s]
            j -= 1
            position[j] = -1
            continue
        if mode == 2:
            found[status[2], :] = pick
            found_cost[status[2]] = cost[0]
            status[2] += 1
            continue
        score = 0.0
        for i in range(len(g)):
            ratio = -g[i]
            for seat in range(n):
                ratio += F[i, seat] * V[seat, pick[seat]]
            score = score + ratio * ratio if mode == 0 else max(score, abs(ratio))
        if score < best[0] - 1e-9 * max(1e-3, best[0]):
            best[0] = score
            best_pick[:] = pick
            status[2] = 1
            if first_only:
                status[1] += nodes
                return 0
    status[0] = n
    status[1] += nodes
    return 0
