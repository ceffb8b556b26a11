"""Sights that miss in several readings at once: which target do they really belong to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from fitup.network.equations import Network, State, linearise

#: readings are those of another target when all are within so many standard uncertainties of it
SAME: Final = 10.0


def by_sight(network: Network, odd: Sequence[int]) -> list[list[int]]:
    """Group odd observations of one set-up to one target; all others stand alone.

    Parameters
    ----------
    network : Network
    odd : sequence of int
        Places of observations in the network.

    Returns
    -------
    list of list of int
        In the order of the first of each group.
    """
    groups: dict[tuple[object, ...], list[int]] = {}
    for i in odd:
        o = network.observations[i]
        groups.setdefault((o.setup, o.to) if o.setup else (i,), []).append(i)
    return list(groups.values())


def exchanged_sights(
    network: Network, state: State, sights: Sequence[list[int]]
) -> list[tuple[list[int], list[int]]]:
    """Return pairs of odd sights of one set-up each of which has the readings of the other.

    Parameters
    ----------
    network : Network
    state : State
        Without what does not fit.
    sights : sequence of list of int
        As :func:`by_sight` groups them.
    """
    found = {}
    for sight in sights:
        first = network.observations[sight[0]]
        if len({network.observations[i].kind for i in sight}) > 1:
            found[first.setup, first.to] = (sight, really(network, state, sight))
    return [
        (sight, found[setup, other][0])
        for (setup, target), (sight, other) in found.items()
        if found.get((setup, other), ([], ""))[1] == target and target < other
    ]


def really(network: Network, state: State, sight: Sequence[int]) -> str:
    """Return the one other target that all three readings of a sight fit, or nothing.

    Parameters
    ----------
    network : Network
    state : State
        Without what does not fit.
    sight : sequence of int
        Odd observations of one sight.
    """
    first = network.observations[sight[0]]
    key = (first.setup, first.to, first.row)
    rows = [i for i, o in enumerate(network.observations) if (o.setup, o.to, o.row) == key]
    if len(rows) < 3:
        return ""
    spread = np.array([network.observations[i].u for i in rows])
    fits = []
    for node, name in enumerate(network.nodes):
        if name in (first.to, first.at) or np.isnan(state.positions[node]).any():
            continue
        to = network.to.copy()
        to[rows] = node
        off = linearise(replace(network, to=to), state)[0][rows]
        if (np.abs(off) < SAME * spread).all():
            fits.append(name)
    return fits[0] if len(fits) == 1 else ""
