"""How far one of four seats leaves the plane through the other three: the warp of a segment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from fitup.model import Seat


def off_plane(seats: Sequence[Seat], settings: Mapping[str, float]) -> float:
    """Return how far one of four seats leaves the plane through the other three [m].

    Of the four ways to choose the one, the smallest distance is the warp.

    Parameters
    ----------
    seats : sequence of Seat
    settings : mapping of str to float
        By seat [m].
    """
    places = tuple((float(s.position[0]), float(s.position[1])) for s in seats)
    values = [settings[s.id] for s in seats]
    return min(
        (abs(sum(w * v for w, v in zip(row, values, strict=True))) for row in _distances(places)),
        default=0.0,
    )


@lru_cache(maxsize=1024)
def _distances(places: tuple[tuple[float, float], ...]) -> tuple[tuple[float, ...], ...]:
    """Return what makes each distance of the settings: 1 for the one, less its plane's shares."""
    found = []
    for i, place in enumerate(places):
        others = [k for k in range(len(places)) if k != i]
        corner = np.ones((3, len(others)))
        corner[1:] = (np.array([places[k] for k in others]) - place).T
        if abs(np.linalg.det(corner)) < 1e-9:
            continue
        # a plane through the three has its height here by these shares of theirs
        share = dict(zip(others, np.linalg.solve(corner, [1.0, 0.0, 0.0]), strict=True))
        found.append(tuple(1.0 if k == i else -float(share[k]) for k in range(len(places))))
    return tuple(found)
