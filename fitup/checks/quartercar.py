"""What a wheel feels: the quarter car of ASTM E1926, and the straightedge on the deck.

The car is the golden car of the International Roughness Index: body over axle k2 = 63.3 /s2 and
c = 6 /s, tyre k1 = 653 /s2, axle over body mu = 0.15, at 80 km/h. Profiles are lines between
points; beyond their ends they go on with the slope they have there, so that only what lies
between them is felt.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np

from fitup.frames import Array

K1, K2, C, MU = 653.0, 63.3, 6.0, 0.15
#: speed of the golden car [m/s]
SPEED: Final = 80.0 / 3.6
#: a tyre bridges this much of the road [m]
TYRE: Final = 0.25
#: step along the road [m], and the road over which the index is taken, before and behind the joint
STEP: Final = 0.05
BEFORE, BEHIND = 25.0, 75.0
#: the straightedge is laid down anew after so much [m]
_LAY: Final = 0.05
#: its middle is over a top within so much [m]
_TOP: Final = 1e-6


@lru_cache(maxsize=4)
def transition(step: float) -> tuple[Array, Array]:
    """Return state matrix (4, 4) and input (4,) of the quarter car for one step [m].

    States are the slopes of body and axle and their rates [1/s]; the input is the slope of the
    road, held over the step.
    """
    from scipy.linalg import expm

    a = np.array(
        [
            [0.0, 1.0, 0.0, 0.0],
            [-K2, -C, K2, C],
            [0.0, 0.0, 0.0, 1.0],
            [K2 / MU, C / MU, -(K1 + K2) / MU, -C / MU],
        ]
    )
    b = np.array([0.0, 0.0, 0.0, K1 / MU])
    state = expm(a * (step / SPEED))
    return state, np.linalg.solve(a, (state - np.eye(4)) @ b)


def roughness(slopes: Array, step: float) -> float:
    """Return the mean stroke of the suspension along the road [m/m], the index of E1926.

    Parameters
    ----------
    slopes : Array (n,)
        Slope of the road in each step [m/m]. The car comes along the first of them.
    step : float
        [m]
    """
    state, drive = transition(step)
    car = np.array([slopes[0], 0.0, slopes[0], 0.0])
    total = 0.0
    for slope in slopes:
        car = state @ car + drive * slope
        total += abs(car[2] - car[0])
    return total / len(slopes)


def height_at(x: Array, z: Array, where: Array) -> Array:
    """Return heights of a profile at places, gone on with its end slopes beyond its ends.

    Parameters
    ----------
    x, z : Array (n,)
        Places along the road, rising, and heights, two or more [m].
    where : Array (k,)
        Places at which heights are wanted [m].

    Returns
    -------
    Array (k,)
        [m]
    """
    inner = np.interp(where, x, z)
    first, last = (z[1] - z[0]) / (x[1] - x[0]), (z[-1] - z[-2]) / (x[-1] - x[-2])
    inner = np.where(where < x[0], z[0] + first * (where - x[0]), inner)
    return np.where(where > x[-1], z[-1] + last * (where - x[-1]), inner)


def joint_roughness(x: Array, z: Array) -> float:
    """Return the roughness index of 100 m of road with a joint at x = 0 [m/m].

    Driven both ways; the worse counts. The road away from the joint adds nothing.

    Parameters
    ----------
    x, z : Array (n,)
        Places along the road, rising, and heights [m].
    """
    return max(_one_way(x, z), _one_way(-x[::-1], z[::-1]))


def _one_way(x: Array, z: Array) -> float:
    middles = np.arange(-BEFORE + 0.5 * STEP, BEHIND, STEP)
    rise = height_at(x, z, middles + 0.5 * TYRE) - height_at(x, z, middles - 0.5 * TYRE)
    return roughness(rise / TYRE, STEP)


def straightedge_gap(x: Array, z: Array, length: float) -> float:
    """Return the greatest gap under a straightedge laid anywhere across x = 0 [m].

    It rests where a rigid edge on two of the highest points does: on the side of the hull that
    its middle is over. Where the points were found nearer together than it is long, it is laid
    down once, as far over the first as over the last, and the deck goes on straight beyond both.

    Parameters
    ----------
    x, z : Array (n,)
        Places along the road, rising, and heights [m].
    length : float
        Of the straightedge [m].
    """
    first, last = max(-length, float(x[0])), min(0.0, float(x[-1]) - length)
    if last < first:
        first = last = 0.5 * (first + last)
    return max(_gap(x, z, float(s), length) for s in np.arange(first, last + 1e-9, _LAY))


def _gap(x: Array, z: Array, start: float, length: float) -> float:
    ends = np.array([start, start + length])
    inside = (x > start) & (x < start + length)
    px = np.concatenate([ends[:1], x[inside], ends[1:]])
    pz = height_at(x, z, px)
    hull: list[int] = []
    for i in range(len(px)):
        # drop what would lie below the line from the one before it to the new one
        while len(hull) > 1 and _below(px, pz, hull[-2], hull[-1], i):
            hull.pop()
        hull.append(i)
    middle = start + 0.5 * length
    worst = 0.0
    for a, b in pairwise(hull):
        # over a top it can rock: both ways count
        if px[a] - _TOP <= middle <= px[b] + _TOP:
            line = pz[a] + (pz[b] - pz[a]) * (px - px[a]) / (px[b] - px[a])
            worst = max(worst, float(np.max(line - pz)))
    return worst


def _below(px: Array, pz: Array, a: int, b: int, c: int) -> bool:
    return bool((pz[b] - pz[a]) * (px[c] - px[a]) <= (pz[c] - pz[a]) * (px[b] - px[a]))
