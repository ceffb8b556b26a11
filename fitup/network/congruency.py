"""What has moved: control since it was fixed, and points between two epochs.

Differences of coordinates are first laid onto a group of points that is taken as stable, by a
shift and a turn in plan; if that group does not agree with itself, or one point of it with the
rest, the point whose removal helps most leaves it, until the rest agrees. Every other point is
then tested against the stable group (congruency test of deformation surveys; S-transformation
after Baarda 1973). Levels: 0.1 % for
the group and again for all its points together; for a point outside the group, and for a point
in it that calls for attention, that of Baarda's B-method with three degrees of freedom, 0.55 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import chdtri

from fitup.frames import Array
from fitup.network.adjust import covariance_of
from fitup.network.equations import State, build_network
from fitup.network.reliability import (
    ALPHA,
    critical_value,
    detectable,
    matched_alpha,
    noncentrality,
)
from fitup.network.robust import adjust_and_test
from fitup.network.solve import Solved

#: a group of fewer points cannot show that one of them moved
LEAST: Final = 3


@dataclass(frozen=True, eq=False)
class Change:
    """How a point lies to where it was, against the stable group.

    Parameters
    ----------
    id : str
    shift : Array (3,)
        East, north and up [m].
    covariance : Array (3, 3)
        Of the shift [m2].
    stable : bool
        It belongs to the group the others are compared with.
    ratio : float
        Squared size of the shift over its covariance, over what is allowed.
    unseen : float
        Greatest movement [m], in its weakest direction, that the test of this point against the
        rest of the stable group misses with a chance of 20 % or more; nan outside the group.
    suspect : bool
        In the stable group, but farther from the rest of it than Baarda's level for one point.
    apart : Array (3,) or None
        Shift against the rest of the stable group [m].
    """

    id: str
    shift: Array
    covariance: Array
    stable: bool
    ratio: float
    unseen: float = float("nan")
    suspect: bool = False
    apart: Array | None = None

    @property
    def moved(self) -> bool:
        """Whether it moved by more than its uncertainty explains."""
        return not self.stable and self.ratio > 1.0


@dataclass(frozen=True, eq=False)
class Congruency:
    """Changes of all points, and whether there were enough to tell which of them moved."""

    changes: tuple[Change, ...]
    agreed: bool
    """The stable group agrees with itself."""

    @property
    def stable(self) -> tuple[str, ...]:
        """The points the others are compared with."""
        return tuple(c.id for c in self.changes if c.stable)


def congruency(
    ids: Sequence[str],
    places: Array,
    difference: Array,
    covariance: Array,
    candidates: Sequence[str],
) -> Congruency:
    """Find the stable group among candidates, and test all points against it.

    Parameters
    ----------
    ids : sequence of str
    places, difference : Array (k, 3)
        Where the points are, and later less earlier coordinates [m].
    covariance : Array (3 k, 3 k)
        Of the differences [m2]; it may be singular to shifts and a turn in plan.
    candidates : sequence of str
        Points that may be stable.
    """
    group = [i for i, name in enumerate(ids) if name in set(candidates)]
    motions = _motions(places)
    agreed = False
    while True:
        laid, spread = _laid(motions, difference, covariance, group)
        alone = [_alone(motions, difference, covariance, group, i) for i in group]
        excess = max(_excess(laid, spread, group), *(one.size / one.limit for one in alone))
        if excess <= 1.0:
            agreed = True
            break
        if len(group) <= LEAST:
            break
        without = [[g for g in group if g != out] for out in group]
        tried = [_excess(*_laid(motions, difference, covariance, w), w) for w in without]
        group = without[int(np.argmin(tried))]
    changes = [_change(ids, i, laid, spread, group, agreed) for i in range(len(ids))]
    for i, one in zip(group, alone, strict=True):
        suspect = agreed and one.size > _point_limit()
        changes[i] = replace(changes[i], unseen=one.unseen, suspect=suspect, apart=one.shift)
    return Congruency(tuple(changes), agreed)


@dataclass(frozen=True, eq=False)
class _Alone:
    """One point of a group against the rest of it: its shift [m], squares, limit, unseen [m]."""

    shift: Array
    size: float
    limit: float
    unseen: float


def _alone(
    motions: Array, difference: Array, covariance: Array, group: Sequence[int], i: int
) -> _Alone:
    """Test one point of a group against the rest, at 0.1 % for the whole group (Bonferroni)."""
    laid, spread = _laid(motions, difference, covariance, [g for g in group if g != i])
    block = spread[3 * i : 3 * i + 3, 3 * i : 3 * i + 3]
    size = float(laid[i] @ np.linalg.pinv(block, hermitian=True) @ laid[i])
    limit = float(chdtri(3, ALPHA / len(group)))
    weakest = float(np.linalg.eigvalsh(block)[-1])
    return _Alone(laid[i], size, limit, float(np.sqrt(noncentrality(3, limit) * weakest)))


def _point_limit() -> float:
    """Baarda's B-method: what is allowed of one point, three degrees of freedom."""
    return float(chdtri(3, matched_alpha(3, detectable(critical_value()) ** 2)))


def _change(
    ids: Sequence[str], i: int, laid: Array, spread: Array, group: Sequence[int], agreed: bool
) -> Change:
    own = slice(3 * i, 3 * i + 3)
    block = spread[own, own]
    size = float(laid[i] @ np.linalg.pinv(block, hermitian=True) @ laid[i])
    ratio = size / _point_limit()
    return Change(ids[i], laid[i], block, agreed and i in group, ratio)


def _motions(places: Array) -> Array:
    """Shifts and a turn in plan of k points (3 k, 4)."""
    arms = places - places.mean(axis=0)
    out = np.zeros((3 * len(places), 4))
    out[:, :3] = np.tile(np.eye(3), (len(places), 1))
    out[0::3, 3], out[1::3, 3] = arms[:, 1], -arms[:, 0]
    return out


def _laid(
    motions: Array, difference: Array, covariance: Array, group: Sequence[int]
) -> tuple[Array, Array]:
    """Lay differences onto the group, and their covariance with them."""
    inside = np.zeros(len(motions), dtype=bool)
    for i in group:
        inside[3 * i : 3 * i + 3] = True
    chosen = np.where(inside[:, None], motions, 0.0)
    lay = np.eye(len(motions)) - motions @ np.linalg.solve(chosen.T @ motions, chosen.T)
    return (lay @ difference.ravel()).reshape(-1, 3), lay @ covariance @ lay.T


def _excess(laid: Array, spread: Array, group: Sequence[int]) -> float:
    """Weighted squares of the group's differences over what is allowed."""
    rows = np.concatenate([3 * i + np.arange(3) for i in group])
    freedom = len(rows) - 4
    if freedom <= 0:
        return 0.0
    values, vectors = np.linalg.eigh(spread[np.ix_(rows, rows)])
    # four motions were taken out
    kept, along = values[4:], vectors[:, 4:].T @ laid[group].ravel()
    return float((along**2 / kept).sum() / chdtri(freedom, ALPHA))


def control_changes(solved: Solved) -> Congruency | None:
    """Compare the control with a free network of the same observations.

    Returns
    -------
    Congruency or None
        None where fewer than three control points were observed in all three coordinates.
    """
    network = solved.network
    measured = [i for i, o in enumerate(network.observations) if o.kind not in ("E", "N", "H")]
    free = build_network(
        [network.observations[i] for i in measured],
        {},
        scale=network.scale,
        bend=network.bend,
        earth=network.earth,
    )
    state = solved.outcome.adjusted.state
    given = [
        n
        for n, c in solved.control.items()
        # a height that nobody observed would agree with control.csv whatever happened to it
        if n in free.nodes and c.given.all() and (free.columns[free.index(n)] >= 0).all()
    ]
    if len(given) < LEAST:
        return None
    order = [network.index(n) for n in free.nodes]
    positions = state.positions[order]
    for name in given:
        # laid onto the control as it is given
        positions[free.index(name)] = solved.control[name].position
    turns = state.turns[[network.setups.index(s) for s in free.setups]]
    used = np.array([o.id not in solved.excluded for o in free.observations])
    adjusted = adjust_and_test(free, State(positions, turns), used, given).adjusted
    places = np.array([solved.control[n].position for n in given])
    found = np.array([adjusted.state.positions[free.index(n)] for n in given])
    covariance = covariance_of(adjusted, given)
    for i, name in enumerate(given):
        own = slice(3 * i, 3 * i + 3)
        covariance[own, own] += solved.control[name].covariance
    return congruency(given, places, found - places, covariance, given)


def epoch_changes(before: Solved, after: Solved) -> Congruency | None:
    """Compare the points that two epochs have in common, against their control.

    Parameters
    ----------
    before, after : Solved
        Changes are ``after`` less ``before``; ``before`` says which points are control.

    Returns
    -------
    Congruency or None
        None where they share fewer than three points.
    """
    common = [
        n
        for n in before.network.nodes
        if n in after.network.nodes
        and not n.startswith("set-up ")
        and np.isfinite(before.position(n) + after.position(n)).all()
    ]
    if len(common) < LEAST:
        return None
    control = [n for n in common if n in before.control]
    candidates = control if len(control) >= LEAST else common
    names = tuple(common)
    here = np.array([before.position(n) for n in names])
    there = np.array([after.position(n) for n in names])
    covariance = before.covariance(names) + after.covariance(names)
    return congruency(names, here, there - here, covariance, candidates)
