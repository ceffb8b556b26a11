"""Causes that many observations share, tried on the whole adjustment before any is left out.

A prism constant forgotten at every target, an instrument height, an index error: with the cause
as an unknown everything fits, while the search for single wrong readings blames what is sound.
Causes are compared by the weighted squares they leave and their number of unknowns, each at the
price of G. Schwarz (Estimating the dimension of a model, Annals of Statistics 6, 1978).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.network.adjust import Adjusted, adjust
from fitup.network.causes import Cause, causes, score
from fitup.network.equations import KINDS, Network, State, far_heights
from fitup.network.observations import ObservationSet
from fitup.network.reliability import reliability

#: so many causes, those that explain most, are adjusted
MOST: Final = 10
#: how much worse the rest may fit with a rival: 0.1 % of chi-square, one degree of freedom
RIVAL: Final = 10.8276


@dataclass(frozen=True, eq=False)
class SharedCause:
    """A cause with which everything fits, its size (e,), and what is left unexplained."""

    cause: Cause
    amount: Array
    squares: float
    price: float

    @property
    def cost(self) -> float:
        """What it leaves and what its unknowns cost."""
        return self.squares + self.price


def shared_causes(
    read: ObservationSet,
    network: Network,
    whole: Adjusted,
    deck: Collection[str],
    datum: tuple[str, ...],
) -> list[SharedCause]:
    """Return the causes with which everything fits, the best first, and all that are as good.

    Parameters
    ----------
    read : ObservationSet
    network : Network
    whole : Adjusted
        With every observation the engineer left in.
    deck : collection of str
        Points of the deck; others are control and ties.
    datum : tuple of str
        Of a free network.
    """
    tried = _once([*_groups(read, network, whole.state, deck), *_of_single(network, whole)])
    falls = _falls(whole, tried)
    ranked = [tried[k] for k in np.argsort(-falls, kind="stable")[:MOST]]
    price = float(np.log(max(2, int(whole.used.sum()))))
    found = []
    for cause in ranked:
        try:
            with_it = adjust(
                network, whole.state, used=whole.used, extra=cause.effects, datum=datum
            )
        except SurveyRefused:
            continue
        tested = reliability(with_it)
        if tested.passed:
            found.append(
                SharedCause(cause, with_it.extra, tested.squares, price * cause.effects.shape[1])
            )
    found.sort(key=lambda f: f.cost)
    return [f for f in found if f.cost <= found[0].cost + 0.5 * RIVAL]


def _of_single(network: Network, whole: Adjusted) -> Iterator[Cause]:
    """Causes of one target, one set-up or one control point, over all observations."""
    yield from causes(network, whole, range(len(network.observations)))


def _once(tried: list[Cause]) -> list[Cause]:
    """Drop causes that act on the same observations in the same way as an earlier one."""
    seen: set[bytes] = set()
    result = []
    for cause in tried:
        key = np.round(cause.effects, 9).tobytes()
        if key not in seen and np.abs(cause.effects).max(initial=0.0) > 0.0:
            seen.add(key)
            result.append(cause)
    return result


def _falls(whole: Adjusted, tried: Sequence[Cause]) -> Array:
    """By how much the weighted squares would fall with each cause (c,)."""
    falls = np.zeros(len(tried))
    single = [k for k, cause in enumerate(tried) if cause.effects.shape[1] == 1]
    if single:
        falls[single] = score(whole, np.hstack([tried[k].effects for k in single]))
    for k, cause in enumerate(tried):
        if cause.effects.shape[1] > 1:
            falls[k] = fall(whole, cause.effects)
    return falls


def fall(whole: Adjusted, effects: Array) -> float:
    """By how much the weighted squares would fall with further unknowns, all together.

    Parameters
    ----------
    whole : Adjusted
    effects : Array (m, e)
        Change of every observation for one unit of each unknown.
    """
    white = whole.weights @ effects
    design = whole.weights @ whole.slopes
    through = np.asarray(design.T @ white)
    left = white.T @ white - through.T @ whole.factor.solve(through)
    pull = white.T @ (whole.weights @ whole.residuals)
    return float(pull @ np.linalg.pinv(left, rcond=1e-9, hermitian=True) @ pull)


def _groups(
    read: ObservationSet, network: Network, state: State, deck: Collection[str]
) -> Iterator[Cause]:
    observations = network.observations
    kinds = network.kind
    v, sd = kinds == KINDS.index("v"), kinds == KINDS.index("sd")
    measured = kinds < KINDS.index("dh")
    on_deck = np.array([o.to in deck for o in observations])
    setup = np.array([o.setup for o in observations])
    everything: list[tuple[str, str, Array]] = [
        ("all", "", measured),
        ("deck", "", measured & on_deck),
        ("control", "", measured & ~on_deck),
    ]
    for name in dict.fromkeys(s.instrument.id for s in read.setups.values()):
        own = [n for n, s in read.setups.items() if s.instrument.id == name]
        everything.append(("instrument", name, measured & np.isin(setup, own)))
    for typed, targets in _by_prism(read).items():
        rows = measured & np.array([(o.setup, o.to) in targets for o in observations])
        everything.append(("prism of", f"{typed * 1e3:.1f}", rows))
    for kind, name, rows in everything:
        if (sd & rows).sum() > 2:
            effects = (sd & rows).astype(float)[:, None]
            yield Cause("distances of", (kind, name), effects, rows)
            if kind in ("all", "instrument"):
                scale = ((sd & rows) * network.value)[:, None]
                yield Cause("scale of", (kind, name), scale, rows)
        if (v & rows).sum() > 2 and kind in ("all", "instrument"):
            yield Cause("index of", (kind, name), (v & rows).astype(float)[:, None], rows)
    yield from _heights(read, network, far_heights(network, state), setup)
    yield from _knocks(read, network, measured, setup)


def _by_prism(read: ObservationSet) -> Mapping[float, set[tuple[str, str]]]:
    """Sights by the prism constant that was written for them."""
    result: dict[float, set[tuple[str, str]]] = {}
    for shot in read.shots:
        if shot.sd is not None:
            result.setdefault(shot.prism, set()).add((shot.setup, shot.target))
    return result if len(result) > 1 else {}


def _heights(read: ObservationSet, network: Network, rise: Array, setup: Array) -> Iterator[Cause]:
    """Heights of instruments over their points, and of the prisms at a target."""
    measured = network.kind < KINDS.index("dh")
    for name, one in read.setups.items():
        rows = measured & (setup == name)
        if one.over is not None and rows.sum() > 1:
            yield Cause("instrument height", (name,), np.where(rows, rise, 0.0)[:, None], rows)
    target = np.array([o.to for o in network.observations])
    for name in dict.fromkeys(o.to for o in network.observations if o.h_to != 0.0):
        rows = measured & (target == name)
        yield Cause("target height", (name,), np.where(rows, -rise, 0.0)[:, None], rows)


def _knocks(
    read: ObservationSet, network: Network, measured: Array, setup: Array
) -> Iterator[Cause]:
    """A turn of the instrument from a pointing on, also between the two faces of a set."""
    rows_of: dict[tuple[str, str, int], list[int]] = {}
    for shot in read.shots:
        if shot.hz is not None:
            rows_of.setdefault((shot.setup, shot.target, shot.set), []).append(shot.row)
    hz = np.flatnonzero(network.kind == KINDS.index("hz"))
    for name in read.setups:
        own = [i for i in hz if setup[i] == name]
        parts = {
            int(i): rows_of.get(_sight(network, int(i)), [network.observations[i].row]) for i in own
        }
        order = sorted({row for rows in parts.values() for row in rows})
        if len(own) < 4:
            continue
        for row in order[1:]:
            effects = np.zeros((len(setup), 1))
            for i, rows in parts.items():
                effects[i, 0] = np.mean([r >= row for r in rows])
            if len(np.unique(effects[own])) > 1:
                yield Cause("turned", (name, str(row)), effects, measured & (setup == name))


def _sight(network: Network, i: int) -> tuple[str, str, int]:
    observation = network.observations[i]
    parts = observation.id.split("/")
    return observation.setup, observation.to, int(parts[3]) if len(parts) > 3 else 1
