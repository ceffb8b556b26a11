"""What nothing observes: motions of a whole network, and free networks by inner constraints.

A free network is computed with the fewest coordinates pinned, which bends nothing; the result is
then laid onto the datum points so that their changes are least, and the covariance with it
(Baarda's S-transformation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from scipy import sparse

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.network.equations import Network, State, moved
from fitup.network.sparse import SparseFactor

#: a motion of 1 m that changes no observation by more than this many standard uncertainties is
#: not observed
UNSEEN: Final = 1e-3
MOTIONS: Final = ("its place east-west", "its place north-south", "its height", "its turn in plan")
SCALE: Final = "its scale"


@dataclass(frozen=True, eq=False)
class Gauge:
    """The motions (n, d) that nothing observes, the pins that stop them, and the datum."""

    motions: Array
    pins: Any
    weights: Array
    """(d, n): lay ``x`` onto the datum by ``x - motions (weights x)``."""
    spread: Array | None = None
    """N^-1 weights' (n, d)."""

    def laid_onto(self, network: Network, start: State, state: State) -> State:
        """Move a state so that the changes of the datum points from the start are least.

        Parameters
        ----------
        network : Network
        start : State
            From which the changes count.
        state : State
            What is moved.
        """
        change = np.zeros(self.motions.shape[0])
        free = network.columns >= 0
        change[network.columns[free]] = (state.positions - start.positions)[free]
        return moved(network, state, -(self.motions @ (self.weights @ change)))

    def with_factor(self, factor: SparseFactor) -> Gauge:
        """Return the gauge with what its covariance change needs."""
        return replace(self, spread=factor.solve(np.ascontiguousarray(self.weights.T)))

    def change(self, inverse: Array, columns: Array) -> Array:
        """Return the columns of S Q S' that belong to some unknowns, from those of Q = N^-1.

        Parameters
        ----------
        inverse : Array (n, k)
            Columns of Q, with the pins in N.
        columns : Array (k,)
            The unknowns they belong to.

        Returns
        -------
        Array (n, k)
        """
        spread = np.asarray(self.spread)
        middle = self.weights @ spread
        own = self.motions[columns]
        return (
            inverse
            - self.motions @ spread[columns].T
            - spread @ own.T
            + self.motions @ middle @ own.T
        )

    def laid_functions(self, answer: Array, functions: Array) -> Array:
        """Return Q S' F: how laid coordinates answer to observations.

        Observations do not see the motions, so S acts on the side of the functions alone.

        Parameters
        ----------
        answer : Array (n, q)
            Q F.
        functions : Array (n, q)
            F, one linear function of the unknowns a column.

        Returns
        -------
        Array (n, q)
        """
        return answer - np.asarray(self.spread) @ (self.motions.T @ functions)

    def change_block(self, block: Array, columns: Array) -> Array:
        """Return the block (k, k) of S Q S' from that of Q.

        Parameters
        ----------
        block : Array (k, k)
            Of Q, between the unknowns of ``columns``.
        columns : Array (k,)
        """
        spread = np.asarray(self.spread)[columns]
        own = self.motions[columns]
        middle = self.weights @ np.asarray(self.spread)
        return block - own @ spread.T - spread @ own.T + own @ middle @ own.T


def motions_of(network: Network, state: State) -> Array:
    """Return the motions of the network as a whole, each by 1 m at its size.

    Parameters
    ----------
    network : Network
    state : State
        Places that the turn and the scale go by.

    Returns
    -------
    Array (n, 5)
        Change of every unknown by shifts to east, north and up, turn in plan and scale.
    """
    columns, count = network.columns, network.unknowns
    placed = columns[:, 0] >= 0
    positions = np.nan_to_num(state.positions)
    arms = positions - (positions[placed].mean(axis=0) if placed.any() else 0.0)
    size = max(1.0, float(np.abs(arms[placed]).max(initial=0.0)))
    out = np.zeros((count, 5))
    for axis in range(3):
        free = columns[:, axis] >= 0
        out[columns[free, axis], axis] = 1.0
        if axis < 2:
            other, sign = 1 - axis, 1.0 if axis == 0 else -1.0
            out[columns[free, axis], 3] = sign * arms[free, other] / size
        out[columns[free, axis], 4] = arms[free, axis] / size
    out[network.turns, 3] = 1.0 / size
    return out


def gauge_of(network: Network, state: State, design: Any, datum: Sequence[str]) -> Gauge | None:
    """Return the gauge of a free network, or None where control holds everything.

    Parameters
    ----------
    network, state
    design : sparse (m, n + e)
        Whitened slopes of the observations that count, extra parameters at the end.
    datum : sequence of str
        Points a free network is laid onto; empty where the control has to hold it.

    Raises
    ------
    SurveyRefused
        If the control leaves a motion of the whole network open and no datum was asked for, or if
        the datum points do not stop every open motion.
    """
    motions = motions_of(network, state)
    left, size, _ = np.linalg.svd(motions, full_matrices=False)
    basis = left[:, size > 1e-9 * max(1.0, float(size.max(initial=0.0)))]
    effect = np.asarray(design[:, : network.unknowns] @ basis)
    values, vectors = np.linalg.eigh(effect.T @ effect)
    unseen = basis @ vectors[:, values <= UNSEEN**2]
    if unseen.shape[1] == 0:
        return None
    if not datum:
        raise SurveyRefused(_open(network, motions, unseen))
    full = np.zeros((design.shape[1], unseen.shape[1]))
    full[: network.unknowns] = unseen
    return _gauge(network, state, full, datum, design)


def _gauge(
    network: Network, state: State, motions: Array, datum: Sequence[str], design: Any
) -> Gauge:
    inside = np.zeros(motions.shape[0], dtype=bool)
    for name in datum:
        columns = network.columns[network.index(name)]
        inside[columns[columns >= 0]] = True
    chosen = np.where(inside[:, None], motions, 0.0)
    square = chosen.T @ chosen
    if np.linalg.matrix_rank(square) < square.shape[0]:
        raise SurveyRefused(
            ["the datum points do not fix the free network; measure to more control points"]
        )
    weights = np.linalg.solve(square, chosen.T)
    pins = _pins(motions, float(np.sqrt(np.median(design.power(2).sum(axis=0)))))
    return Gauge(motions, pins, weights)


def _pins(motions: Array, weight: float) -> Any:
    """Pin as many coordinates as there are motions, those that stop them best."""
    left = motions.copy()
    rows = []
    for _ in range(motions.shape[1]):
        worst = int(np.abs(left).max(axis=1).argmax())
        k = int(np.abs(left[worst]).argmax())
        rows.append(worst)
        left = left - np.outer(left[:, k] / left[worst, k], left[worst])
    data = np.full(len(rows), weight)
    return sparse.csr_array(
        (data, (np.arange(len(rows)), rows)), shape=(len(rows), motions.shape[0])
    )


def _open(network: Network, motions: Array, unseen: Array) -> list[str]:
    """Say which motions of the whole network nothing fixes."""
    names = (*MOTIONS, SCALE)
    norms = np.linalg.norm(motions, axis=0)
    inside = np.linalg.norm(unseen.T @ motions, axis=0)
    # a turn about any point turns every set-up; its shift hangs on where the point is
    turns = np.abs(unseen[network.turns]).max(initial=0.0) > 1e-6
    open_ = (norms > 0.0) & (inside > 0.99 * norms)
    open_[3] = turns or (open_[3] and not len(network.turns))
    loose = [name for name, is_open in zip(names, open_, strict=True) if is_open]
    what = ", ".join(loose) if loose else "a motion of it as a whole"
    return [
        f"nothing fixes the network as a whole: {what}; measure to more control points, give "
        'their coordinates in control.csv, or set datum = "free" in job.toml [network]'
    ]


def free_motions(network: Network, state: State, factor: SparseFactor) -> list[str]:
    """Say which unknowns nothing determines, by the names of their points and set-ups.

    Parameters
    ----------
    network, state
    factor : SparseFactor
        Of the normal equations, with its weak unknowns.
    """
    named: dict[str, list[str]] = {}
    words = ("easting", "northing", "height")
    for column in factor.weak.tolist():
        found = np.argwhere(network.columns == column)
        if len(found):
            node, axis = found[0]
            named.setdefault(network.nodes[node], []).append(words[axis])
        elif column < network.unknowns:
            setup = network.setups[int(np.flatnonzero(network.turns == column)[0])]
            named.setdefault(f"set-up {setup}", []).append("orientation")
    return [
        f"nothing determines the {' and '.join(what)} of {name}; measure to it from another "
        "set-up, or with distance"
        for name, what in named.items()
    ]
