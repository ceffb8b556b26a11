"""How small the greatest of several misses can be made: nothing fitted to them betters it."""

from __future__ import annotations

from typing import Final

import numpy as np

from fitup.frames import Array

#: the answer is this near to its lower bound, or found in so many steps [m]
_NEAR: Final = 1e-9
_MOST_STEPS: Final = 400


def least_worst(rows: Array, seen: Array) -> float:
    """Return the least that the greatest miss |seen - rows p| can be made by any p [m].

    A convex problem, solved by weighting the worst more and more (Lawson's iteration).

    Parameters
    ----------
    rows : Array (k, 2, p)
        How each of k places answers to what is free.
    seen : Array (k, 2)
        Where each is [m].
    """
    flat, right = rows.reshape(-1, rows.shape[2]), seen.ravel()
    weights = np.full(len(seen), 1.0 / len(seen))
    best = np.inf
    for _ in range(_MOST_STEPS):
        root = np.repeat(np.sqrt(weights), 2)
        free = np.linalg.lstsq(root[:, None] * flat, root * right, rcond=None)[0]
        off = np.linalg.norm(seen - rows @ free, axis=1)
        best = min(best, float(off.max()))
        # no p can have a smaller weighted mean of squares, nor then a smaller greatest
        total = float(weights @ off)
        if total <= 0.0 or off.max() - total < _NEAR:
            break
        weights = weights * off / total
    return best
