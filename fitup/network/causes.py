"""What may have gone wrong in several observations at once, each as one or a few unknowns.

A prism constant forgotten shows in every distance to one target, a set-up that was knocked in
every direction after it, a control point that moved in everything measured to it. Each is a set
of further unknowns, tried on the observations themselves: it explains what does not fit when,
with it and without giving up what it explains, everything else fits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from fitup.frames import Array
from fitup.network.adjust import Adjusted
from fitup.network.equations import KINDS, Network, linearise


@dataclass(frozen=True, eq=False)
class Cause:
    """A common cause and its effects (m, e) on the observations for one metre or radian."""

    kind: str
    subject: tuple[str, ...]
    effects: Array
    touches: Array
    """Observations of its target or set-up (m,): with the cause, none of them is given up."""


def causes(network: Network, whole: Adjusted, odd: Sequence[int]) -> Iterator[Cause]:
    """Yield the causes that touch odd observations, simple ones first.

    Parameters
    ----------
    network : Network
    whole : Adjusted
        With all observations, odd ones too.
    odd : sequence of int
    """
    observations = network.observations
    kinds = network.kind
    hz, v, sd = (kinds == k for k in range(3))
    measured = kinds < KINDS.index("dh")
    setup = np.array([o.setup for o in observations])
    target = np.array([o.to for o in observations])
    mask = np.zeros(len(observations), dtype=bool)
    mask[list(odd)] = True

    for name in sorted(set(target[mask & measured])):
        rows = sd & (target == name)
        if rows.sum() > 1:
            yield Cause("prism", (name,), rows.astype(float)[:, None], measured & (target == name))
    for name in sorted(set(setup[mask & measured])):
        own = measured & (setup == name)
        distances = (sd & own).astype(float)
        if distances.sum() > 1:
            yield Cause("distances", (name,), distances[:, None], own)
            yield Cause("scale", (name,), (distances * network.value)[:, None], own)
        if (v & own).sum() > 1:
            yield Cause("index", (name,), (v & own).astype(float)[:, None], own)
    for name in network.setups:
        yield from _turned(whole, hz & (setup == name), measured & (setup == name), name)
    often = np.diff(sparse.csc_array(whole.slopes).indptr)
    for name in sorted(set(target[mask])):
        given = np.flatnonzero((kinds >= KINDS.index("E")) & (target == name))
        # what control.csv alone states may be anything: nothing shows that it is wrong
        columns = network.columns[network.to[given], kinds[given] - KINDS.index("E")]
        given = given[(columns >= 0) & (often[columns] > 1)]
        if len(given):
            effects = np.zeros((len(observations), len(given)))
            effects[given, np.arange(len(given))] = 1.0
            axes = "".join(observations[i].kind for i in given)
            yield Cause("moved", (name, axes), effects, target == name)
    yield from _held_and_moved(network, whole, odd)


def _held_and_moved(network: Network, whole: Adjusted, odd: Sequence[int]) -> Iterator[Cause]:
    """Held control that is not where it is held: seen in everything measured to it and from it.

    One set-up alone may as well have sighted something else.
    """
    setup = np.array([o.setup for o in network.observations])
    for node in sorted({int(n) for i in odd for n in (network.to[i], network.at[i])}):
        held = [k for k in range(3) if network.columns[node, k] < 0]
        touched = (network.to == node) | (network.at == node)
        if not held or not np.isfinite(whole.state.positions[node, held]).all():
            continue
        if len({s for s in setup[touched] if s}) < 2:
            continue
        columns = np.full_like(network.columns, -1)
        columns[node, held] = np.arange(len(held))
        turns = np.full_like(network.turns, len(held))
        alone = replace(network, columns=columns, turns=turns)
        effects = linearise(alone, whole.state)[1].toarray()[:, : len(held)]
        # by how much control.csv is off, as for control that counts by its uncertainty
        yield Cause(
            "moved", (network.nodes[node], "".join("ENH"[k] for k in held)), -effects, touched
        )


def _turned(whole: Adjusted, rows: Array, own: Array, name: str) -> Iterator[Cause]:
    """Find the row from which on a turn of the instrument explains most."""
    order = np.flatnonzero(rows & whole.used)
    if len(order) < 4:
        return
    breaks = np.zeros((len(rows), len(order) - 1))
    for k in range(1, len(order)):
        breaks[order[k:], k - 1] = 1.0
    k = int(score(whole, breaks).argmax())
    row = whole.network.observations[order[k + 1]].row
    yield Cause("turned", (name, str(row)), breaks[:, k : k + 1], own)


def score(whole: Adjusted, effects: Array) -> Array:
    """By how much the weighted squares would fall if each of k effects (m, k) were an unknown.

    Parameters
    ----------
    whole : Adjusted
        With all observations that the effects are to explain.
    effects : Array (m, k)
        Each column a candidate by itself; change of every observation for one unit of it.

    Returns
    -------
    Array (k,)
        0 for an effect that the other unknowns take up.
    """
    white = whole.weights @ effects
    design = whole.weights @ whole.slopes
    through = np.asarray(design.T @ white)
    left = (white**2).sum(axis=0) - (through * whole.factor.solve(through)).sum(axis=0)
    pull = white.T @ (whole.weights @ whole.residuals)
    seen = left > 1e-6 * (white**2).sum(axis=0)
    return np.where(seen, pull**2 / np.where(seen, left, 1.0), 0.0)
