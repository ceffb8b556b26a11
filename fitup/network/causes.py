"""What may have gone wrong in several observations at once, each as one or a few unknowns.

A prism constant forgotten shows in every distance to one target, a set-up that was knocked in
every direction after it, a control point that moved in everything measured to it. Each is a set
of further unknowns, tried on the observations themselves: it explains what does not fit when,
with it and without giving up what it explains, everything else fits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.network.adjust import Adjusted
from fitup.network.equations import KINDS, Network


@dataclass(frozen=True, eq=False)
class Cause:
    """A common cause and its effects (m, e) on the observations for one metre or radian."""

    kind: str
    subject: tuple[str, ...]
    effects: Array
    touches: Array
    """Which observations it would explain (m,)."""


def causes(network: Network, adjusted: Adjusted, odd: Sequence[int]) -> Iterator[Cause]:
    """Yield the causes that touch two or more odd observations, simple ones first."""
    observations = network.observations
    kinds = network.kind
    hz, v, sd = (kinds == k for k in range(3))
    measured = kinds < KINDS.index("dh")
    setup = np.array([o.setup for o in observations])
    target = np.array([o.to for o in observations])
    mask = np.zeros(len(observations), dtype=bool)
    mask[list(odd)] = True

    def worth(touches: Array, least: int = 2) -> bool:
        return int((touches & mask).sum()) >= least

    for name in sorted(set(target[mask & measured])):
        rows = sd & (target == name)
        if worth(rows, 1) and rows.sum() > 1:
            yield Cause("prism", (name,), rows.astype(float)[:, None], rows)
    for name in sorted(set(setup[mask & measured])):
        rows = sd & (setup == name)
        if worth(rows):
            yield Cause("distances", (name,), rows.astype(float)[:, None], rows)
            ratio = np.where(rows, network.value, 0.0)
            yield Cause("scale", (name,), ratio[:, None], rows)
        rows = v & (setup == name)
        if worth(rows):
            yield Cause("index", (name,), rows.astype(float)[:, None], rows)
        yield from _turned(adjusted, hz & (setup == name), name, worth)
    for name in sorted(set(target[mask])):
        own = kinds >= KINDS.index("E")
        rows = own & (target == name)
        touched = rows | (measured & (target == name))
        if rows.any() and worth(touched, 1):
            effects = np.zeros((len(observations), int(rows.sum())))
            effects[np.flatnonzero(rows), np.arange(int(rows.sum()))] = 1.0
            yield Cause("moved", (name,), effects, touched)


def _turned(adjusted: Adjusted, rows: Array, name: str, worth: object) -> Iterator[Cause]:
    """Find the row after which the directions of a set-up best fit a turn of the instrument."""
    order = np.flatnonzero(rows)
    if len(order) < 4 or not callable(worth) or not worth(rows):
        return
    residuals = adjusted.residuals[order]
    best, where = np.inf, 0
    for k in range(1, len(order)):
        left, right = residuals[:k], residuals[k:]
        squares = np.abs(left - np.median(left)).sum() + np.abs(right - np.median(right)).sum()
        if squares < best:
            best, where = float(squares), k
    touches = np.zeros(len(rows), dtype=bool)
    touches[order[where:]] = True
    row = adjusted.network.observations[order[where]].row
    # a turn of the first ones is the same as a turn of the rest
    effects = touches.astype(float)[:, None]
    yield Cause("turned", (name, str(row)), effects, rows)
