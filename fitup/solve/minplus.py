"""One step of the recursion along a line, compiled: the least of value plus squared distance.

``best_j = min_i v_i + |a_i - b_j|^2`` over all i whose limits allow j. Points a are sorted into a
tree of boxes that know their least value; a box farther off than the best so far is passed
over. Ties fall to the first i, whatever the order of the walk.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from fitup.compiled import jit

#: absolute care at limit rows, scaled to coefficients of order one [m]
CARE: Final = 1e-10
_LEAF: Final = 12


@jit
def plant(a: Any, v: Any) -> tuple[Any, Any, Any, Any, Any]:
    """Sort points a (n, d) with values v (n,) into a tree.

    Parameters
    ----------
    a : (n, d), v : (n,)
        Points and their values.

    Returns
    -------
    order (n,)
        Points, those of a box side by side.
    bounds (nodes, 2)
        Where each box begins and ends in ``order``; the halves of box k are 2 k + 1, 2 k + 2.
    low, high (nodes, d)
        Boxes.
    least (nodes,)
        Least value in each box.
    """
    n, d = a.shape
    levels = 0
    while (n >> levels) > _LEAF:
        levels += 1
    nodes = (1 << (levels + 1)) - 1
    begin, end = np.zeros(nodes, np.int64), np.zeros(nodes, np.int64)
    low, high = np.zeros((nodes, d)), np.zeros((nodes, d))
    least = np.full(nodes, np.inf)
    order = np.arange(n)
    end[0] = n
    for node in range(nodes):
        i, j = begin[node], end[node]
        if i >= j:
            if 2 * node + 2 < nodes:
                begin[2 * node + 1] = end[2 * node + 1] = i
                begin[2 * node + 2] = end[2 * node + 2] = i
            continue
        for k in range(d):
            low[node, k] = high[node, k] = a[order[i], k]
        for t in range(i, j):
            p = order[t]
            least[node] = min(least[node], v[p])
            for k in range(d):
                low[node, k] = min(low[node, k], a[p, k])
                high[node, k] = max(high[node, k], a[p, k])
        if 2 * node + 2 < nodes:
            wide = 0
            for k in range(1, d):
                if high[node, k] - low[node, k] > high[node, wide] - low[node, wide]:
                    wide = k
            part = order[i:j].copy()
            key = np.empty(j - i)
            for t in range(j - i):
                key[t] = a[part[t], wide]
            order[i:j] = part[np.argsort(key)]
            middle = (i + j) // 2
            begin[2 * node + 1], end[2 * node + 1] = i, middle
            begin[2 * node + 2], end[2 * node + 2] = middle, j
    bounds = np.empty((nodes, 2), np.int64)
    bounds[:, 0], bounds[:, 1] = begin, end
    return order, bounds, low, high, least


@jit
def allowed(near: Any, far: Any, r: Any, i: int, j: int) -> bool:
    """Say whether limits ``near_i + far_j <= r`` hold.

    Parameters
    ----------
    near : (n, p), far : (k, p), r : (p,)
        Limits of the pairs; a limit passed by no more than ``CARE`` counts as kept.
    i, j : int
        Numbers of the two settings of a pair.
    """
    over = 0
    for q in range(len(r)):
        over += near[i, q] + far[j, q] > r[q] + CARE
    return over == 0


@jit
def box_least(node: int, b: Any, j: int, low: Any, high: Any, least: Any) -> float:
    """Return what value plus squared distance is at least for every point of a box.

    Parameters
    ----------
    node : int
        Number of the box in the tree.
    b : (k, d), j : int
        The point ``b_j`` from which distances are measured.
    low, high : (nodes, d), least : (nodes,)
        As from :func:`plant`.
    """
    bound = least[node]
    for q in range(low.shape[1]):
        if b[j, q] < low[node, q]:
            bound += (low[node, q] - b[j, q]) ** 2
        elif b[j, q] > high[node, q]:
            bound += (b[j, q] - high[node, q]) ** 2
    return bound


@jit
def least_sums(a: Any, v: Any, b: Any, near: Any, far: Any, r: Any) -> tuple[Any, Any]:
    """Return the least of ``v_i + |a_i - b_j|^2`` for every j, and the first i that has it.

    Parameters
    ----------
    a : (n, d), v : (n,)
        Points and their finite values.
    b : (k, d)
    near : (n, p), far : (k, p), r : (p,)
        Limits of the pairs.

    Returns
    -------
    best : (k,)
        Infinite where no i is allowed.
    came : (k,)
    """
    n, d = a.shape
    k = len(b)
    best, came = np.full(k, np.inf), np.zeros(k, np.int64)
    if n == 0:
        return best, came
    order, bounds, low, high, least = plant(a, v)
    nodes = len(least)
    # points as they lie in the tree, side by side in memory
    points, values = np.empty((n, d)), np.empty(n)
    for t in range(n):
        values[t] = v[order[t]]
        for q in range(d):
            points[t, q] = a[order[t], q]
    stack, due = np.empty(128, np.int64), np.empty(128)
    last = 0
    for j in range(k):
        top, found = np.inf, n
        # the winner of the point before is a good first guess
        if allowed(near, far, r, order[last], j):
            top, found = values[last], last
            for q in range(d):
                top += (points[last, q] - b[j, q]) ** 2
        stack[0], due[0] = 0, -np.inf
        filled = 1
        while filled:
            filled -= 1
            node = stack[filled]
            if due[filled] > top:
                continue
            if 2 * node + 2 >= nodes:
                for t in range(bounds[node, 0], bounds[node, 1]):
                    total = values[t]
                    for q in range(d):
                        total += (points[t, q] - b[j, q]) ** 2
                    if (total < top or (total == top and order[t] < order[found])) and allowed(
                        near, far, r, order[t], j
                    ):
                        top, found = total, t
                continue
            one, two = 2 * node + 1, 2 * node + 2
            first = box_least(one, b, j, low, high, least)
            second = box_least(two, b, j, low, high, least)
            if second < first:
                one, two, first, second = two, one, second, first
            # the nearer box is looked into first: it comes off the stack first
            if second <= top:
                stack[filled], due[filled] = two, second
                filled += 1
            if first <= top:
                stack[filled], due[filled] = one, first
                filled += 1
        best[j] = top
        if found < n:
            came[j] = order[found]
            last = found
    return best, came


@jit
def sums_within(
    a: Any, v: Any, b: Any, w: Any, near: Any, far: Any, r: Any, limit: float, most: int
) -> tuple[Any, Any, Any, bool]:
    """Return all pairs with ``v_i + |a_i - b_j|^2 + w_j <= limit`` whose limits allow them.

    Parameters
    ----------
    a : (n, d), v : (n,)
    b : (k, d), w : (k,)
    near : (n, p), far : (k, p), r : (p,)
        Limits of the pairs.
    limit : float
    most : int
        The walk ends when it has found more pairs.

    Returns
    -------
    i, j : (pairs,)
    total : (pairs,)
        ``v_i + |a_i - b_j|^2``.
    complete : bool
    """
    n, d = a.shape
    one, two, sums = np.empty(1024, np.int64), np.empty(1024, np.int64), np.empty(1024)
    count = 0
    if n == 0:
        return one[:0], two[:0], sums[:0], True
    order, bounds, low, high, least = plant(a, v)
    nodes = len(least)
    stack = np.empty(128, np.int64)
    for j in range(len(b)):
        top = limit - w[j]
        stack[0] = 0
        filled = 1
        while filled:
            filled -= 1
            node = stack[filled]
            if box_least(node, b, j, low, high, least) > top:
                continue
            if 2 * node + 2 < nodes:
                stack[filled], stack[filled + 1] = 2 * node + 1, 2 * node + 2
                filled += 2
                continue
            for t in range(bounds[node, 0], bounds[node, 1]):
                i = order[t]
                total = v[i]
                for q in range(d):
                    total += (a[i, q] - b[j, q]) ** 2
                if total > top or not allowed(near, far, r, i, j):
                    continue
                if count == len(one):
                    if count >= most:
                        return one[:count], two[:count], sums[:count], False
                    one, two = np.append(one, one), np.append(two, two)
                    sums = np.append(sums, sums)
                one[count], two[count], sums[count] = i, j, total
                count += 1
    return one[:count], two[:count], sums[:count], True
