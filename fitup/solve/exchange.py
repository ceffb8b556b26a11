"""The inner loop of the quick descent, compiled: two seats at a time to the best pair of choices.

All pairs of choices of two seats are weighed. What limits and stock cost is never below nothing,
so it is worked out only for pairs whose squares and prices alone would be an improvement.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fitup.compiled import jit

#: an improvement smaller than this share is rounding
_ROUNDING = 1e-12


@jit
def sweep(
    pairs: Any,
    at: Any,
    V: Any,
    K: Any,
    U: Any,
    P: Any,
    H: Any,
    lin: Any,
    const: float,
    start: Any,
    rows: Any,
    coefficients: Any,
    b: Any,
    capacity: Any,
    prices: Any,
) -> float:
    """Try every pair of seats once, change ``at`` (n,) where it helps, and return the cost.

    Parameters
    ----------
    pairs : Array (q, 2)
    V, K : Array (n, k), Array (n,)
        Settings of every seat [m], and how many there are.
    U, P : Array (n, k, c), Array (n, k)
        What each takes of the capacities, and its price.
    H, lin, const
        Squares are ``x' H x - 2 lin . x + const``.
    start, rows, coefficients
        Limit rows by columns, with right-hand sides ``b``.
    capacity : Array (c,)
    prices : Array (5,)
        Of squares, of squares beyond what is allowed, what is allowed, of a metre over a limit,
        of a unit over a capacity.
    """
    n, p, c = len(K), len(b), len(capacity)
    x, used, over = np.zeros(n), np.zeros(c, dtype=np.int64), -b
    spent = 0.0
    for i in range(n):
        x[i] = V[i, at[i]]
        spent += P[i, at[i]]
        used += U[i, at[i]]
        for s in range(start[i], start[i + 1]):
            over[rows[s]] += coefficients[s] * x[i]
    pull = 2.0 * (H @ x - lin)
    here = float(x @ (H @ x)) - 2.0 * float(lin @ x) + const
    outside = np.maximum(over, 0.0).sum()
    best = _priced(here, prices) + spent + prices[3] * outside
    best += prices[4] * np.maximum(used - capacity, 0).sum()
    place = np.full(p, -1, dtype=np.int64)
    touched = np.zeros(p, dtype=np.int64)
    by_i, by_j = np.zeros(p), np.zeros(p)
    left = np.zeros(c, dtype=np.int64)
    for q in range(len(pairs)):
        i, j = pairs[q]
        count = _touched(i, j, start, rows, coefficients, place, touched, by_i, by_j)
        rest = outside
        for r in range(count):
            rest -= max(over[touched[r]], 0.0)
        near = _in_reach(i, j, x, V, K, over, count, touched, by_i, by_j)
        for m in range(c):
            left[m] = used[m] - U[i, at[i], m] - capacity[m]
            if i != j:
                left[m] -= U[j, at[j], m]
        owed = spent - P[i, at[i]] - (P[j, at[j]] if i != j else 0.0)
        least, ka, kb = best - _ROUNDING * max(1.0, abs(best)), -1, -1
        for a in range(K[i]):
            di = V[i, a] - x[i]
            first = here + pull[i] * di + H[i, i] * di * di
            for k in range(K[j] if i != j else 1):
                dj = V[j, k] - x[j] if i != j else 0.0
                squares = first + pull[j] * dj + H[j, j] * dj * dj + 2.0 * H[i, j] * di * dj
                total = _priced(squares, prices) + owed + P[i, a] + (P[j, k] if i != j else 0.0)
                if total >= least:
                    continue
                far = max(rest, 0.0)
                for r in range(near):
                    far += max(over[touched[r]] + by_i[r] * di + by_j[r] * dj, 0.0)
                short = 0
                for m in range(c):
                    need = left[m] + U[i, a, m] + (U[j, k, m] if i != j else 0)
                    short += max(need, 0)
                total += prices[3] * far + prices[4] * short
                if total < least:
                    least, ka, kb = total, a, k
        if ka < 0:
            continue
        here = _step(i, ka, at, x, V, U, H, pull, used, over, start, rows, coefficients, here)
        if i != j:
            here = _step(j, kb, at, x, V, U, H, pull, used, over, start, rows, coefficients, here)
        spent = owed + P[i, ka] + (P[j, kb] if i != j else 0.0)
        outside = np.maximum(over, 0.0).sum()
        best = least
    return float(best)


@jit
def _priced(squares: float, prices: Any) -> float:
    return float(prices[0] * squares + prices[1] * max(squares - prices[2], 0.0))


@jit
def _touched(
    i: int,
    j: int,
    start: Any,
    rows: Any,
    coefficients: Any,
    place: Any,
    touched: Any,
    by_i: Any,
    by_j: Any,
) -> int:
    """List the limit rows that two seats touch with both coefficients; return how many."""
    count = 0
    for s in range(start[i], start[i + 1]):
        place[rows[s]] = count
        touched[count], by_i[count], by_j[count] = rows[s], coefficients[s], 0.0
        count += 1
    if i != j:
        for s in range(start[j], start[j + 1]):
            r = place[rows[s]]
            if r < 0:
                r = count
                touched[r], by_i[r] = rows[s], 0.0
                count += 1
            by_j[r] = coefficients[s]
    for s in range(start[i], start[i + 1]):
        place[rows[s]] = -1
    return count


@jit
def _in_reach(
    i: int,
    j: int,
    x: Any,
    V: Any,
    K: Any,
    over: Any,
    count: int,
    touched: Any,
    by_i: Any,
    by_j: Any,
) -> int:
    """Bring the rows that some pair of choices would pass to the front; return how many."""
    low_i, high_i = V[i, 0] - x[i], V[i, K[i] - 1] - x[i]
    low_j, high_j = V[j, 0] - x[j], V[j, K[j] - 1] - x[j]
    near = 0
    for r in range(count):
        most = over[touched[r]] + max(by_i[r] * low_i, by_i[r] * high_i)
        if most + max(by_j[r] * low_j, by_j[r] * high_j) > 0.0:
            touched[near], by_i[near], by_j[near] = touched[r], by_i[r], by_j[r]
            near += 1
    return near


@jit
def _step(
    i: int,
    k: int,
    at: Any,
    x: Any,
    V: Any,
    U: Any,
    H: Any,
    pull: Any,
    used: Any,
    over: Any,
    start: Any,
    rows: Any,
    coefficients: Any,
    here: float,
) -> float:
    """Set one seat to a choice and bring all that hangs on it up to date; return the squares."""
    d = V[i, k] - x[i]
    squares = here + pull[i] * d + H[i, i] * d * d
    used += U[i, k] - U[i, at[i]]
    pull += 2.0 * d * H[:, i]
    for s in range(start[i], start[i + 1]):
        over[rows[s]] += coefficients[s] * d
    x[i], at[i] = V[i, k], k
    return float(squares)
