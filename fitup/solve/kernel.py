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
    """List the choices of seat j worth trying, best first; return how many.

    Parameters
    ----------
    j : int
        Seats after it are fixed, those before it are free.
    tau : float
        Score to beat, added to the room of floating rows.
    budget : float
        Squares that the seats not yet fixed may still add; 1e299 or more sets no limit.
    V : (n, w), K : (n,)
        Settings of every seat, ascending [m], and how many they are.
    R : (r, n), row_of : (n,)
        Squares in row echelon form, and the row whose pivot a column is, or -1.
    start : (n + 1,), rows, coefficients
        Non-zeros of the limit rows, column by column.
    ahead_least : (n + 1, p)
        The least that seats before j can add to each limit row.
    floating : (p,) of bool
        Ratio rows, whose bound is the score itself.
    ideal : (n,)
        Where to start at a seat without a pivot [m].
    rest : (n + 1, r)
        Right-hand sides of the squares, row j with seats j and after taken off.
    slack : (p,)
        Bounds of the limit rows less what the fixed seats add.
    queue : (n, w)
        Row j is filled with numbers of choices.
    """
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
    selection: Any,
    best_selection: Any,
    status: Any,
    best: Any,
    found: Any,
    found_cost: Any,
) -> int:
    """Walk on for at most ``most_nodes``; return 0 when done, 1 when there is more.

    The state, from ``rest`` on, is changed in place, so that a further call goes on from there.

    Parameters
    ----------
    most_nodes : int
    mode : int
        0 scores the squares, 1 the worst ratio (radius = score squared), 2 collects every selection
        within the radius.
    first_only : bool
        Return with the first selection that is better than the best.
    radius_cap : float
        Greatest |M x - h|^2 of any selection.
    V, K, R, row_of, start, rows, coefficients, ahead_least, floating, ideal
        As for :func:`enter`.
    U : (n, w, c)
        Whole-number amounts that each choice takes from the capacities.
    ahead_uses : (n + 1, c)
        The least that seats before j take from each capacity.
    F : (m, n), g : (m,), offset : float
        As in :class:`fitup.solve.exact.Goal`.
    rest, slack, queue
        As for :func:`enter`.
    cost : (n + 1,)
        Squares that the seats from j on already come to.
    saved : (n, q)
        Slack of the rows of each seat before it was fixed.
    room : (n + 1, c)
        What the seats from j on leave of the capacities.
    count, position : (n,)
        Choices listed for each seat, and how many were tried; -1: none is listed yet.
    selection, best_selection : (n,)
    status : (3,)
        Level, nodes so far, selections found.
    best : (1,)
        Best score.
    found : (k, n), found_cost : (k,)
        Picks collected in mode 2, and their squares.

    Returns
    -------
    int
        0 when done, 1 when there is more, 2 when ``found`` is full.
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
        selection[j] = k
        if j > 0:
            for s in range(start[j], start[j + 1]):
                i = rows[s]
                saved[j, s - start[j]] = slack[i]
                slack[i] -= x * coefficients[s]
            j -= 1
            position[j] = -1
            continue
        if mode == 2:
            found[status[2], :] = selection
            found_cost[status[2]] = cost[0]
            status[2] += 1
            continue
        score = 0.0
        for i in range(len(g)):
            ratio = -g[i]
            for seat in range(n):
                ratio += F[i, seat] * V[seat, selection[seat]]
            score = score + ratio * ratio if mode == 0 else max(score, abs(ratio))
        if score < best[0] - 1e-9 * max(1e-3, best[0]):
            best[0] = score
            best_selection[:] = selection
            status[2] = 1
            if first_only:
                status[1] += nodes
                return 0
    status[0] = n
    status[1] += nodes
    return 0
