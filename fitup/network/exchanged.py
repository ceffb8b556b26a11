"""Control that fits when its axes or two of its names are exchanged: found from the shape alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import ControlPoint
from fitup.network.observations import ObservationSet, Sight
from fitup.network.start import find_start
from fitup.units import Shown

#: control that lies farther off calls for an explanation [m]; what remains must be below it
BAD: Final = 0.3
#: and below this share of what it was
SHARPER: Final = 0.05
#: fewer points in plan fit whatever they are called
LEAST: Final = 3


def exchanged(
    read: ObservationSet,
    sights: Sequence[Sight],
    control: Mapping[str, ControlPoint],
    length: Shown,
) -> tuple[str, ...]:
    """Return what was exchanged in control.csv, if that explains control far off; else nothing.

    The observations alone give the shape of the control; it is compared with the coordinates as
    they stand, with easting and northing exchanged, and with every pair of names exchanged.

    Parameters
    ----------
    read : ObservationSet
    sights : sequence of Sight
        Corrected readings, for the shape without the control.
    control : mapping of str to ControlPoint
    length : Shown
        How lengths are written in the text.
    """
    try:
        free = find_start(read.setups, sights, read.levels, {}).positions
    except SurveyRefused:
        return ()
    names = [
        n
        for n, c in control.items()
        if c.given[:2].all() and n in free and np.isfinite(free[n][:2]).all()
    ]
    if len(names) < LEAST:
        return ()
    shape = np.array([free[n][:2] for n in names])
    given = np.array([control[n].position[:2] for n in names])
    before = _misfit(shape, given)
    if before <= BAD:
        return ()
    tried = [(_misfit(shape, places), what, do) for what, do, places in _ways(names, given)]
    good = min(BAD, SHARPER * before)
    return tuple(
        f"if {what}, control that is {length.text(before)} off fits within {length.text(after)}; "
        f"{do}"
        for after, what, do in sorted(tried)
        if after <= good
    )


def _ways(names: Sequence[str], given: Array) -> Iterator[tuple[str, str, Array]]:
    yield (
        "easting and northing of control.csv are exchanged",
        "correct its header",
        given[:, ::-1],
    )
    for i, j in combinations(range(len(names)), 2):
        order = list(range(len(names)))
        order[i], order[j] = j, i
        yield (
            f"control points {names[i]} and {names[j]} are exchanged",
            "correct the names in control.csv, or in the observations",
            given[order],
        )


def _misfit(shape: Array, places: Array) -> float:
    """Return the largest distance left after the best turn in plan and shift [m]."""
    here, there = (p @ (1.0, 1.0j) for p in (shape, places))
    here, there = here - here.mean(), there - there.mean()
    turn = np.vdot(here, there)
    size = abs(turn)
    return float(np.abs(there - here * (turn / size if size > 0.0 else 1.0)).max())
