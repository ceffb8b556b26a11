"""What clusters cannot place: polar points of an oriented set-up, and places by distances alone.

A set-up over a known point that reads a direction to one other known point is oriented; whatever
it sees by direction and distance then has a place. Distances to three known points place a set-up
or a target without any direction. Angles and distances may come from different set-ups.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.network.observations import Setup, Sight, station

Places = dict[str, Array]
#: orientation of a set-up from what it sees, None where nothing known is in sight
Turn = Callable[[Places, Setup, Sequence[Sight]], float | None]

#: three known points nearer to a line than this share of their extent place nothing by distances
IN_LINE: Final = 0.02
_STEPS: Final = 20


def extend(
    places: Places,
    setups: Mapping[str, Setup],
    by_setup: Mapping[str, Sequence[Sight]],
    turn_of: Turn,
) -> bool:
    """Add polar points and places by distances, once round; tell whether any was found.

    Parameters
    ----------
    places : dict
        Node -> place (3,) [m], height nan where unknown; added to.
    setups, by_setup : mapping
        Set-ups, and what each sees.
    turn_of : callable
        Orientation of a set-up.
    """
    found = False
    lengths = _lengths(setups, by_setup)
    for name, seen in by_setup.items():
        setup = setups[name]
        if not _placed(places, station(setup)):
            continue
        turn = turn_of(places, setup, seen)
        if turn is None:
            continue
        for sight in seen:
            length = lengths.get((station(setup), sight.target))
            if length is None or sight.hz is None or _placed(places, sight.target):
                continue
            places[sight.target] = _polar(places[station(setup)], turn + sight.hz, *length)
            found = True
    for node, rays in _distances(setups, by_setup).items():
        if not _placed(places, node):
            place = by_distances([(places[n], flat) for n, flat in rays if _placed(places, n)])
            if place is not None:
                places[node] = place
                found = True
    return found


def _placed(places: Places, node: str) -> bool:
    return node in places and bool(np.isfinite(places[node][:2]).all())


def _flat(sight: Sight) -> float | None:
    """Horizontal length of a sight [m]; without a zenith angle it is taken as level."""
    if sight.sd is None:
        return None
    return float(sight.sd * (1.0 if sight.v is None else np.sin(sight.v)))


def _polar(at: Array, azimuth: float, flat: float, rise: float) -> Array:
    return np.array([at[0] + flat * np.sin(azimuth), at[1] + flat * np.cos(azimuth), at[2] + rise])


def _lengths(
    setups: Mapping[str, Setup], by_setup: Mapping[str, Sequence[Sight]]
) -> dict[tuple[str, str], tuple[float, float]]:
    """Horizontal length and rise [m] from a node to a target, by whatever set-up stood there."""
    result: dict[tuple[str, str], tuple[float, float]] = {}
    for name, seen in by_setup.items():
        for sight in seen:
            flat, rise = _flat(sight), np.nan
            if flat is None or sight.sd is None:
                continue
            if sight.v is not None:
                rise = setups[name].height + sight.sd * np.cos(sight.v) - sight.target_height
            result.setdefault((station(setups[name]), sight.target), (flat, float(rise)))
    return result


def _distances(
    setups: Mapping[str, Setup], by_setup: Mapping[str, Sequence[Sight]]
) -> dict[str, list[tuple[str, float]]]:
    """Node -> the other ends of its distances, with their horizontal lengths [m]."""
    result: dict[str, list[tuple[str, float]]] = {}
    for name, seen in by_setup.items():
        node = station(setups[name])
        for sight in seen:
            flat = _flat(sight)
            if flat is not None:
                result.setdefault(node, []).append((sight.target, flat))
                result.setdefault(sight.target, []).append((node, flat))
    return result


def by_distances(rays: Sequence[tuple[Array, float]]) -> Array | None:
    """Return the place (3,) at given horizontal distances from three or more known points.

    Differences of squared distances are linear in the place; Gauss-Newton steps then settle it.
    None where the points are fewer, or nearly in a line: two places would do as well.

    Examples
    --------
    >>> points = [np.array(p) for p in ([0.0, 0, 0], [10.0, 0, 0], [0.0, 10, 0])]
    >>> reach = [float(np.hypot(*(p[:2] - [3.0, 4.0]))) for p in points]
    >>> by_distances(list(zip(points, reach, strict=True))).round(6).tolist()
    [3.0, 4.0, nan]
    """
    points = np.array([p[:2] for p, _ in rays]).reshape(-1, 2)
    lengths = np.array([flat for _, flat in rays])
    if len(np.unique(points.round(3), axis=0)) < 3:
        return None
    arms = points - points.mean(axis=0)
    spread = np.linalg.svd(arms, compute_uv=False)
    if spread[1] < IN_LINE * spread[0]:
        return None
    squares = (points**2).sum(axis=1) - lengths**2
    place: Array = np.linalg.lstsq(
        2.0 * (points[1:] - points[0]), squares[1:] - squares[0], rcond=None
    )[0].astype(np.float64)
    for _ in range(_STEPS):
        step = place - points
        reach = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-6)
        change = np.linalg.lstsq(step / reach[:, None], lengths - reach, rcond=None)[0]
        place = place + change
        if np.abs(change).max() < 1e-9:
            break
    return np.array([*place, np.nan])
