"""Observations as one sparse system: which unknowns there are, what was predicted, how it changes.

With q the horizontal ground distance, d the difference of height and g the bending of the sight:

    direction  = azimuth - orientation
    zenith     = atan2(q, d - g q^2)
    distance   = sqrt(q^2 + (d - c q^2)^2)        c: curvature of the earth alone
    levelled   = H(end) - H(start)
    coordinate = itself, for control with a covariance
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy import sparse

from fitup.frames import Array
from fitup.model import ControlPoint
from fitup.network.observations import Kind, Observation

KINDS: Final[tuple[Kind, ...]] = ("hz", "v", "sd", "dh", "E", "N", "H")
_AXES: Final[tuple[tuple[Kind, int], ...]] = (("E", 0), ("N", 1), ("H", 2))
_AXIS: Final[dict[str, int]] = dict(_AXES)


@dataclass(frozen=True, eq=False)
class State:
    """Where everything is: nodes (n, 3) [m] and orientations of set-ups (s,) [rad]."""

    positions: Array
    turns: Array


@dataclass(frozen=True, eq=False)
class Network:
    """All observations over all unknowns, ready to be linearised.

    Parameters
    ----------
    observations : tuple of Observation
        With those of weighted control at the end.
    nodes : tuple of str
        Points and free set-ups.
    setups : tuple of str
        Set-ups with directions, in the order of ``State.turns``.
    columns : Array (n, 3)
        Unknown of every coordinate of a node; -1 where held or nowhere observed.
    turns : Array (s,)
        Unknown of every orientation.
    whiten : sparse (m, m)
        Carries residuals to unit covariance: W' W is the weight matrix.
    scale, bend, earth : float
        Grid over ground distance, and the bending of light and of the earth [1/m].
    """

    observations: tuple[Observation, ...]
    nodes: tuple[str, ...]
    setups: tuple[str, ...]
    columns: Array
    turns: Array
    whiten: Any
    scale: float
    bend: float
    earth: float
    kind: Array
    at: Array
    to: Array
    turn: Array
    value: Array
    height: Array
    """Height of the target over its mark less that of the instrument [m]."""

    @property
    def unknowns(self) -> int:
        """How many unknowns there are."""
        return int(max(self.columns.max(initial=-1), self.turns.max(initial=-1))) + 1

    def index(self, node: str) -> int:
        """Return the place of a node."""
        return self.nodes.index(node)


def control_observations(control: Sequence[ControlPoint]) -> list[Observation]:
    """Return one observation for every coordinate of weighted control."""
    return [
        Observation(
            f"{c.id}/{axis}",
            axis,
            c.id,
            c.id,
            float(c.position[k]),
            float(np.sqrt(c.covariance[k, k])),
        )
        for c in control
        if c.use == "weighted"
        for axis, k in _AXES
        if c.given[k]
    ]


def build_network(
    measured: Sequence[Observation],
    control: Mapping[str, ControlPoint],
    *,
    free: bool = False,
    left_out: Collection[str] = (),
    scale: float = 1.0,
    bend: float = 0.0,
    earth: float = 0.0,
) -> Network:
    """Set up the system over all nodes that are observed.

    Parameters
    ----------
    measured : sequence of Observation
    control : mapping
        Control points by id; those nobody observed are left out.
    free : bool
        Control neither held nor weighted.
    left_out : collection of str
        Ids of observations that shall not count, ``CP3/H`` among them.
    scale, bend, earth : float
        As in :class:`Network`.
    """
    nodes = tuple(dict.fromkeys(n for o in measured for n in (o.at, o.to)))
    place = {name: i for i, name in enumerate(nodes)}
    points = [c for name, c in control.items() if name in place and not free]
    observations = (*measured, *control_observations(points))
    setups = tuple(dict.fromkeys(o.setup for o in measured if o.kind == "hz"))
    turn_of = {name: i for i, name in enumerate(setups)}
    columns = _columns(measured, nodes, place, points, left_out)
    count = int(columns.max(initial=-1)) + 1
    return Network(
        observations=observations,
        nodes=nodes,
        setups=setups,
        columns=columns,
        turns=np.arange(count, count + len(setups)),
        whiten=_whiten(observations, {c.id: c for c in points}),
        scale=scale,
        bend=bend,
        earth=earth,
        kind=np.array([KINDS.index(o.kind) for o in observations], dtype=int),
        at=np.array([place[o.at] for o in observations], dtype=int),
        to=np.array([place[o.to] for o in observations], dtype=int),
        turn=np.array([turn_of.get(o.setup, -1) for o in observations], dtype=int),
        value=np.array([o.value for o in observations]),
        height=np.array([o.h_to - o.h_at for o in observations]),
    )


def _columns(
    measured: Sequence[Observation],
    nodes: tuple[str, ...],
    place: Mapping[str, int],
    control: Sequence[ControlPoint],
    left_out: Collection[str],
) -> Array:
    """Number the coordinates that something observes and nothing holds.

    What only control.csv says of a weighted point is an unknown too: it keeps the uncertainty
    stated there.
    """
    seen = np.zeros((len(nodes), 3), dtype=bool)
    for o in measured:
        for node in (place[o.at], place[o.to]):
            seen[node, :2] |= o.kind in ("hz", "v", "sd")
            seen[node, 2] |= o.kind in ("v", "sd", "dh")
    for c in control:
        if c.use == "held":
            seen[place[c.id]] &= ~c.given
        elif c.use == "weighted":
            counts = np.array([f"{c.id}/{axis}" not in left_out for axis, _ in _AXES])
            seen[place[c.id]] |= c.given & counts
    columns = np.full(seen.shape, -1)
    columns[seen] = np.arange(int(seen.sum()))
    return columns


def _whiten(observations: Sequence[Observation], control: Mapping[str, ControlPoint]) -> Any:
    """One over u on the diagonal; the inverse Cholesky factor for correlated control."""
    whiten = sparse.lil_array((len(observations), len(observations)))
    whiten.setdiag([1.0 / o.u for o in observations])
    groups: dict[str, list[int]] = {}
    for i, o in enumerate(observations):
        if o.kind in _AXIS:
            groups.setdefault(o.at, []).append(i)
    for name, rows in groups.items():
        axes = [_AXIS[observations[i].kind] for i in rows]
        block = control[name].covariance[np.ix_(axes, axes)]
        inverse = np.linalg.inv(np.linalg.cholesky(block))
        for a, i in enumerate(rows):
            for b, j in enumerate(rows[: a + 1]):
                whiten[i, j] = inverse[a, b]
    return sparse.csr_array(whiten)


def whiten_of(network: Network, used: Array) -> Any:
    """Return what whitens the observations that count.

    Of control with correlated coordinates, those that are left keep their own covariance.

    Parameters
    ----------
    network : Network
    used : Array (m,)
    """
    entries = sparse.coo_array(network.whiten)
    linked = np.unique(entries.row[entries.row != entries.col])
    groups = {int(network.to[i]) for i in linked}
    changed = None
    for node in sorted(groups):
        rows = np.flatnonzero((network.to == node) & (network.kind >= KINDS.index("E")))
        kept = rows[used[rows]]
        if not 0 < len(kept) < len(rows):
            continue
        changed = sparse.lil_array(network.whiten) if changed is None else changed
        inverse = np.linalg.inv(np.linalg.cholesky(covariance_of_rows(network, kept)))
        changed[np.ix_(rows, rows)] = np.zeros((len(rows), len(rows)))
        changed[np.ix_(kept, kept)] = inverse
    return network.whiten if changed is None else sparse.csr_array(changed)


def covariance_of_rows(network: Network, rows: Array) -> Array:
    """Return the covariance (r, r) of some observations before the adjustment.

    Parameters
    ----------
    network : Network
    rows : Array (r,)
        Places of the observations in the network.

    Returns
    -------
    Array (r, r)
        [rad2, m2], with the correlations between coordinates of one control point.
    """
    result = np.diag(np.array([network.observations[i].u for i in rows]) ** 2)
    given = network.kind >= KINDS.index("E")
    for node in np.unique(network.to[rows[given[rows]]]):
        whole = np.flatnonzero(given & (network.to == node))
        block = np.linalg.inv(network.whiten[whole][:, whole].toarray())
        own = np.flatnonzero(given[rows] & (network.to[rows] == node))
        inside = np.searchsorted(whole, rows[own])
        result[np.ix_(own, own)] = (block @ block.T)[np.ix_(inside, inside)]
    return result


def linearise(network: Network, state: State) -> tuple[Array, Any]:
    """Return observed less predicted (m,), and how each prediction changes (m, n), sparse.

    Parameters
    ----------
    network : Network
    state : State
    """
    predicted, slopes = _predict(network, state)
    off = network.value - predicted
    hz = network.kind == 0
    off[hz] = np.remainder(off[hz] + np.pi, 2.0 * np.pi) - np.pi
    return off, _matrix(network, slopes)


def _predict(n: Network, state: State) -> tuple[Array, Array]:
    """Return what each observation should read (m,), and its slopes (m, 3) by the far end."""
    start, end = state.positions[n.at], state.positions[n.to]
    step = end - start
    flat = np.hypot(step[:, 0], step[:, 1])
    q = flat / n.scale
    rise = step[:, 2] + n.height
    predicted = np.empty(len(n.value))
    slopes = np.zeros((len(n.value), 3))
    with np.errstate(invalid="ignore", divide="ignore"):
        ahead = step[:, :2] / flat[:, None]
        _direction(n, state, step, flat, predicted, slopes)
        _zenith(n, q, rise, ahead, predicted, slopes)
        _distance(n, q, rise, ahead, predicted, slopes)
    level = n.kind == KINDS.index("dh")
    predicted[level] = step[level, 2]
    slopes[level, 2] = 1.0
    for axis in range(3):
        own = n.kind == KINDS.index("E") + axis
        predicted[own] = end[own, axis]
        slopes[own, axis] = 1.0
    return predicted, slopes


def _direction(
    n: Network, state: State, step: Array, flat: Array, predicted: Array, slopes: Array
) -> None:
    hz = n.kind == 0
    predicted[hz] = np.arctan2(step[hz, 0], step[hz, 1]) - state.turns[n.turn[hz]]
    square = flat[hz] ** 2
    slopes[hz, 0] = step[hz, 1] / square
    slopes[hz, 1] = -step[hz, 0] / square


def _zenith(
    n: Network, q: Array, rise: Array, ahead: Array, predicted: Array, slopes: Array
) -> None:
    v = n.kind == 1
    seen = rise[v] - n.bend * q[v] ** 2
    square = q[v] ** 2 + seen**2
    predicted[v] = np.arctan2(q[v], seen)
    by_q = seen / square + 2.0 * n.bend * q[v] ** 2 / square
    slopes[v, :2] = (by_q / n.scale)[:, None] * ahead[v]
    slopes[v, 2] = -q[v] / square


def _distance(
    n: Network, q: Array, rise: Array, ahead: Array, predicted: Array, slopes: Array
) -> None:
    sd = n.kind == 2
    up = rise[sd] - n.earth * q[sd] ** 2
    length = np.hypot(q[sd], up)
    predicted[sd] = length
    by_q = (q[sd] - 2.0 * n.earth * q[sd] * up) / length
    # a sight straight up has no horizontal direction
    slopes[sd, :2] = np.nan_to_num((by_q / n.scale)[:, None] * ahead[sd])
    slopes[sd, 2] = up / length


def _matrix(n: Network, slopes: Array) -> Any:
    """Spread slopes by the far end over the columns of both ends and of the orientation."""
    m = len(n.value)
    rows = np.arange(m)
    own = n.kind >= KINDS.index("E")
    entries = []
    for axis in range(3):
        entries.append((rows, n.columns[n.to, axis], slopes[:, axis]))
        entries.append((rows, n.columns[n.at, axis], np.where(own, 0.0, -slopes[:, axis])))
    hz = n.kind == 0
    entries.append((rows[hz], n.turns[n.turn[hz]], np.full(int(hz.sum()), -1.0)))
    i, j, x = (np.concatenate(part) for part in zip(*entries, strict=True))
    keep = (j >= 0) & (x != 0.0)
    return sparse.csr_array((x[keep], (i[keep], j[keep])), shape=(m, n.unknowns))


def far_heights(network: Network, state: State) -> Array:
    """Return how each zenith angle and distance changes with the height of its far end.

    Parameters
    ----------
    network, state

    Returns
    -------
    Array (m,)
        [rad/m] for zenith angles, [1] for distances, 0 for all others.
    """
    rise = _predict(network, state)[1][:, 2]
    return np.where(network.kind < KINDS.index("dh"), rise, 0.0)


def moved(network: Network, state: State, step: Array) -> State:
    """Return the state after a step of all unknowns.

    Parameters
    ----------
    network, state
    step : Array (n,)
        Added to free coordinates [m] and orientations [rad].
    """
    positions, turns = state.positions.copy(), state.turns.copy()
    free = network.columns >= 0
    positions[free] += step[network.columns[free]]
    turns += step[network.turns]
    return State(positions, turns)
