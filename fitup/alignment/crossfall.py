"""The slope of the deck across, by station, on either side of the axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

#: slopes are the same within this: 0.05 %, half a millimetre a metre
SAME: Final = 5e-4
#: stations of two sources are the same within this [m]
_NEAR: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Crossfall:
    """Superelevation: slopes at some stations, straight between them.

    Parameters
    ----------
    stations : tuple of float
        Rising [m].
    left, right : tuple of float
        Rise over run going LEFT, on the left and on the right of the axis: a deck that falls to
        the right has both above zero, a crown has the left below and the right above zero.
    gaps : tuple of (float, float)
        Stretches between two of the stations where nothing is known [m].
    reach : (float, float)
        How far to the left and to the right of the axis the slopes hold [m].
    source : str
        Where they come from, in words.
    """

    stations: tuple[float, ...]
    left: tuple[float, ...]
    right: tuple[float, ...]
    gaps: tuple[tuple[float, float], ...] = ()
    reach: tuple[float, float] = (math.inf, math.inf)
    source: str = ""

    def at(self, station: float, left: float = 0.0) -> float | None:
        """Return the slope across, rising to the left positive.

        Parameters
        ----------
        station : float
            Station inside [m].
        left : float
            Offset from the axis, to the left positive [m]; on the axis the slope is the mean of
            both sides.

        Returns
        -------
        float or None
            None where nothing is known.

        Examples
        --------
        >>> crown = Crossfall((0.0, 100.0), (-0.025, 0.025), (0.025, 0.025))
        >>> crown.at(50.0, left=3.0), crown.at(50.0, left=-3.0)
        (0.0, 0.025)
        """
        if not self.stations[0] <= station <= self.stations[-1]:
            return None
        if any(begin < station < end for begin, end in self.gaps):
            return None
        if not -self.reach[1] <= left <= self.reach[0]:
            return None
        sides = [float(np.interp(station, self.stations, s)) for s in (self.left, self.right)]
        if left == 0.0:
            return 0.5 * (sides[0] + sides[1])
        return sides[0] if left > 0.0 else sides[1]

    def plane(self, station: float) -> float | None:
        """Return the slope where both sides have the same, rising to the left positive."""
        left, right = self.at(station, _NEAR), self.at(station, -_NEAR)
        if left is None or right is None or abs(left - right) > SAME:
            return None
        return 0.5 * (left + right)


@dataclass(frozen=True, slots=True)
class CrossfallConflict:
    """Where two sources contradict each other: station [m], side, slope in one and in other."""

    station: float
    side: str
    one: float
    other: float


def conflict(one: Crossfall, other: Crossfall) -> CrossfallConflict | None:
    """Return where two crossfalls differ most, if they differ by more than a rounding.

    Between their stations both are straight, so that looking at these and at the ends of gaps
    is looking everywhere.

    Parameters
    ----------
    one, other : Crossfall
        Of the same alignment; compared where both are known.

    Returns
    -------
    CrossfallConflict or None
        None where they agree within ``SAME``.
    """
    found = []
    for station in sorted({*one.stations, *other.stations}):
        for side, left in (("left", _NEAR), ("right", -_NEAR)):
            a, b = one.at(station, left), other.at(station, left)
            if a is not None and b is not None and abs(a - b) > SAME:
                found.append(CrossfallConflict(station, side, a, b))
    return max(found, key=lambda c: abs(c.one - c.other), default=None)


def in_words(slope: float) -> str:
    """Return a slope without a sign, and the side it falls to.

    Examples
    --------
    >>> in_words(0.025), in_words(-0.02), in_words(0.0)
    ('2.50 % falling RIGHT', '2.00 % falling LEFT', 'level')
    """
    if abs(slope) < 5e-5:
        return "level"
    return f"{abs(slope) * 100.0:.2f} % falling {'RIGHT' if slope > 0.0 else 'LEFT'}"


def signed(slope: float, falls_to: str) -> float:
    """Return a slope without a sign as rise going left.

    Parameters
    ----------
    slope : float
        Rise over run, without a sign.
    falls_to : {'left', 'right', 'level'}
        Side that the deck falls to.

    Examples
    --------
    >>> signed(0.025, "right"), signed(0.025, "left"), signed(0.0, "level")
    (0.025, -0.025, 0.0)
    """
    return -slope if falls_to == "left" else slope


def crossfall_of(rows: Sequence[tuple[float, str, float]]) -> Crossfall:
    """Return the crossfall of rows (station [m], ``left``, ``right`` or ``both``, slope).

    Slopes are rises going left. Each side is straight between its own stations.

    Raises
    ------
    ValueError
        With a text for people, where a side has fewer than two stations or one twice, or the two
        sides do not reach equally far.
    """
    sides: dict[str, dict[float, float]] = {"left": {}, "right": {}}
    for station, side, slope in rows:
        for name in ("left", "right") if side == "both" else (side,):
            if station in sides[name]:
                raise ValueError(f"the {name} side at station {station:g} m twice")
            sides[name][station] = slope
    for name, own in sides.items():
        if len(own) < 2:
            raise ValueError(f"{len(own)} stations of the {name} side; it needs two or more")
    ends = {name: (min(own), max(own)) for name, own in sides.items()}
    if ends["left"] != ends["right"]:
        raise ValueError("the left and right side do not begin and end at the same stations")
    stations = tuple(sorted({s for own in sides.values() for s in own}))
    slopes = {
        name: tuple(
            float(v) for v in np.interp(stations, sorted(own), [own[s] for s in sorted(own)])
        )
        for name, own in sides.items()
    }
    return Crossfall(stations, slopes["left"], slopes["right"])
