"""The second path's own way to rest: one system with multipliers, where everything now stands.

Sticks turn truly, rigid arms swing truly, packs and saddles bear where they now are, seats that
can only push do nothing while they are open. Newton's steps are judged by the next step they lead
to, with the same factor (P. Deuflhard, Newton Methods for Nonlinear Problems, Springer 2004, the
natural monotonicity test of section 3.3; cited from memory). Where they do not get there the
structure is let down from where it stands, a share of what is out of balance at a time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.sparse import block_array, coo_array, csc_array
from scipy.sparse.linalg import splu

from fitup.certify.lines import Lines, Pulls
from fitup.certify.turned import Bent, Sticks, crosses, rotations
from fitup.errors import CertificateRefused
from fitup.frames import Array

_STEPS, _TURNS = 60, 200
#: motions that change by less are at rest [m, rad]
_REST, _NEAR = 1e-10, 1e-7
#: a seat that would pull by less than this stands there idle, and goes on to touch [N]
_IDLE = 1e-3
#: steps are cut to this share at least; a way down to this share of the whole
_LEAST, _FINEST = 1e-3, 1e-4


@dataclass(frozen=True, eq=False)
class Bearing:
    """A pack: a spring along a direction, at an arm from a node or between two nodes.

    Parameters
    ----------
    node : int
        Its first motion.
    base : int or None
        That of the node it stands on, whose turns its direction follows; None: the ground, and
        the arm is from ``node``.
    arm, way : Array (3,)
        From base (or node) to where it bears [m]; unit direction.
    stiffness : float
        [N/m].
    one_way : bool
    """

    node: int
    base: int | None
    arm: Array
    way: Array
    stiffness: float
    one_way: bool = False

    def gone(self, u: Array) -> tuple[float, Array, Array]:
        """Return how far what it pushes has gone [m], the motions' numbers (k,) and slopes (k,)."""
        own = np.arange(self.node, self.node + 3)
        if self.base is None:
            turns = np.arange(self.node + 3, self.node + 6)
            arm = rotations(u[None, turns])[0] @ self.arm
            far = float(self.way @ (u[own] + arm - self.arm))
            return far, np.r_[own, turns], np.r_[self.way, np.cross(arm, self.way)]
        base, turns = np.arange(self.base, self.base + 3), np.arange(self.base + 3, self.base + 6)
        way = rotations(u[None, turns])[0] @ self.way
        apart = u[own] - u[base]
        arm = self.arm + apart
        far = float(way @ apart + (way - self.way) @ self.arm)
        return far, np.r_[own, base, turns], np.r_[way, -way, -np.cross(arm, way)]


@dataclass(frozen=True, eq=False)
class Link:
    """A row of constraints that a rigid arm makes: it swings with its leading node."""

    row: int
    lead: int
    follow: int
    axis: Array
    arm: Array


@dataclass(frozen=True, eq=False)
class State:
    """What acts at some motions.

    ``forces`` (6 n,) hold the nodes, loads taken off; ``material`` and ``turning`` are the two
    parts of its slope; ``carried`` (b,) are the bearings' reactions.
    """

    forces: Array
    material: csc_array
    turning: csc_array
    rows: csc_array
    off: Array
    carried: Array
    pulls: Pulls
    bent: Bent


class _At(Protocol):
    def __call__(self, u: Array, m: Array, soon: bool = False) -> State:
        """Return what acts at motions and multipliers; see ``Lines.pulls`` for ``soon``."""


class Standing:
    """Everything that acts on a frame with cables.

    Parameters
    ----------
    size : int
        Motions of all nodes, 6 n.
    sticks : Sticks
    ends : Array (c, 6)
        Numbers of the shifts of the cables' ends.
    bearings : list of Bearing
    springs : list of (numbers, row, stiffness)
    rows : list of dict
        Constraints as drawn, unknown -> coefficient.
    links : list of Link
        Those that swing.
    loads : Array (6 n,)
    """

    def __init__(
        self,
        size: int,
        sticks: Sticks,
        ends: Array,
        bearings: list[Bearing],
        springs: Iterable[tuple[list[int], Array, float]],
        rows: list[dict[int, float]],
        links: list[Link],
        loads: Array,
    ) -> None:
        self.size, self.sticks, self.ends = size, sticks, ends
        self.bearings, self.links, self.loads = bearings, links, loads
        blocks = [(np.array(at), k * np.outer(row, row)) for at, row, k in springs]
        self.springs = gathered(blocks, size)
        at = [(i, j, v) for i, row in enumerate(rows) for j, v in row.items()]
        i, j, v = np.array(at).T if at else np.zeros((3, 0))
        self.count = len(rows)
        shape = (self.count, size)
        self.rows = csc_array(coo_array((v, (i.astype(int), j.astype(int))), shape=shape))

    def state(
        self, u: Array, set_: Array, pulls: Pulls, m: Array, touching: Array | None = None
    ) -> State:
        """Return what acts at motions u (6 n,) with packs set (b,) [m] and multipliers m (c,).

        ``touching`` (b,) of bool: packs that push or pull, the others doing nothing; where not
        given, those that push.
        """
        bent = self.sticks.bent(u)
        forces = self.springs @ u - self.loads
        np.add.at(forces, self.sticks.numbers, bent.forces)
        np.add.at(forces, self.ends, np.concatenate([-pulls.at_i, pulls.at_j], axis=1))
        stiff = bent.slope.transpose(0, 2, 1) @ self.sticks.inner @ bent.slope
        k = pulls.stiffness
        blocks = [*zip(self.sticks.numbers, stiff, strict=True)]
        blocks += [*zip(self.ends, np.block([[k, -k], [-k, k]]), strict=True)]
        carried = np.zeros(len(self.bearings))
        for b, own in enumerate(self.bearings):
            far, at, row = own.gone(u)
            carried[b] = own.stiffness * (set_[b] - far)
            if not (touching[b] if touching is not None else self.bears(b, carried[b])):
                carried[b] = 0.0
                continue
            np.add.at(forces, at, -carried[b] * row)
            blocks.append((at, own.stiffness * np.outer(row, row)))
        rows, off, swings = self._linked(u, m)
        s = bent.string
        lines = self.sticks.numbers[:, [0, 1, 2, 6, 7, 8]]
        turning = [*zip(lines, np.block([[s, -s], [-s, s]]), strict=True), *swings]
        material = csc_array(self.springs + gathered(blocks, self.size))
        return State(
            forces, material, gathered(turning, self.size), rows, off, carried, pulls, bent
        )

    def bears(self, b: int, load: float) -> bool:
        """Whether a pack that would carry a load [N] does: pushing, or where it can pull too."""
        return load >= -_IDLE or not self.bearings[b].one_way

    def touching(self, carried: Array) -> Array:
        """Return which packs bear (b,) of those loads (b,) that they would carry [N]."""
        return np.array([self.bears(b, load) for b, load in enumerate(carried)], dtype=bool)

    def would_carry(self, u: Array, set_: Array) -> Array:
        """Return what packs set (b,) would carry at motions u (6 n,), pulls among them (b,) [N]."""
        far = np.array([b.gone(u)[0] for b in self.bearings]).reshape(len(set_))
        stiffness = np.array([b.stiffness for b in self.bearings]).reshape(len(set_))
        return stiffness * (set_ - far)

    def _linked(self, u: Array, m: Array) -> tuple[csc_array, Array, list[tuple[Array, Array]]]:
        """Return constraints where their arms now are, what they miss, and how arms turn forces."""
        off = self.rows @ u
        if not self.links:
            return self.rows, off, []
        lead = np.array([link.lead for link in self.links])
        arms, axes = (np.array([getattr(k, n) for k in self.links]) for n in ("arm", "axis"))
        turns = u[lead[:, None] + np.arange(3, 6)]
        now = np.einsum("nij,nj->ni", rotations(turns), arms)
        number = np.array([link.row for link in self.links])
        change = np.cross(axes, now - arms)
        at = (np.repeat(number, 3), (lead[:, None] + np.arange(3, 6)).ravel())
        rows = self.rows + csc_array(coo_array((change.ravel(), at), shape=self.rows.shape))
        # axis.(follower - leader - swing of the arm), the swing as drawn taken out again
        drawn = np.einsum("ni,ni->n", np.cross(axes, arms), turns)
        off[number] -= drawn + np.einsum("ni,ni->n", axes, now - arms)
        swings = -m[number, None, None] * (crosses(axes) @ crosses(now))
        own = lead[:, None] + np.arange(3, 6)
        return csc_array(rows), off, list(zip(own, swings, strict=True))


class Factor:
    """Stiffness and constraints as one system, factorised."""

    def __init__(self, state: State) -> None:
        self.size = len(state.forces)
        K = csc_array(state.material + state.turning)
        self.scale = float(abs(K).max())
        C = self.scale * state.rows
        self.lu = splu(csc_array(block_array([[K, C.T], [C, None]])))

    def solve(self, forces: Array, off: Array) -> tuple[Array, Array]:
        """Return changes of motions (6 n, k) and multipliers (c, k) for what is out of balance."""
        answer = self.lu.solve(np.concatenate([forces, self.scale * off]))
        return answer[: self.size], self.scale * answer[self.size :]


@dataclass(frozen=True, eq=False)
class Found:
    """A structure at rest: motions (6 n,), multipliers (c,), and what acts there."""

    u: Array
    m: Array
    state: State


def come_to_rest(
    standing: Standing, lines: Lines, apart: Array, set_: Array, begin: tuple[Array, Array],
    left: Array,
) -> Found:  # fmt: skip
    """Find the rest of a structure.

    Parameters
    ----------
    standing : Standing
    lines : Lines
    apart : Array (c, 3)
        How far the ends of each cable are apart as drawn, and drawn out by its nut [m].
    set_ : Array (b,)
        Settings of the bearings [m].
    begin : tuple of Array (6 n,) and Array (c,)
        Motions and multipliers from which to begin.
    left : Array (6 n,)
        Forces that are left over in the state as measured, and go on to be [N].

    Raises
    ------
    CertificateRefused
        If none is found.
    """
    (u, m), seen = begin, set()
    touching = standing.touching(standing.would_carry(u, set_))
    for _ in range(_TURNS):

        def at(u: Array, m: Array, soon: bool = False, touching: Array = touching) -> State:
            own = u[standing.ends]
            pulls = lines.pulls(apart + own[:, 3:] - own[:, :3], soon)
            return standing.state(u, set_, pulls, m, touching)

        u, m = _let_down(at, u, m, left)
        now = standing.touching(standing.would_carry(u, set_))
        wrong = np.flatnonzero(now != touching)
        if len(wrong) == 0:
            return Found(u, m, at(u, m))
        seen.add(touching.tobytes())
        if now.tobytes() in seen:
            # one at a time where all at once comes back: Murty's least index
            now = touching.copy()
            now[wrong[0]] = not now[wrong[0]]
        touching = now
    raise CertificateRefused(["which seats carry was not found a second time"])


def _let_down(at: _At, u: Array, m: Array, left: Array) -> tuple[Array, Array]:
    """Return motions and multipliers at rest, in as many shares of the way as it takes."""
    done, stride = 0.0, 1.0
    state = at(u, m)
    held, missed = state.forces + state.rows.T @ m - left, state.off
    while done < 1.0:
        to = min(1.0, done + stride)
        target = left + (1.0 - to) * held, (1.0 - to) * missed
        found = _newton(at, u, m, target) or _newton(at, u, m, target, soon=True)
        if found is not None:
            u, m, done, stride = found.u, found.m, to, 2.0 * stride
        else:
            stride *= 0.3
            if stride < _FINEST:
                raise CertificateRefused(["a state of the cables was not found a second time"])
    return u, m


def _newton(
    at: _At, u: Array, m: Array, target: tuple[Array, Array], soon: bool = False
) -> Found | None:
    """Return the rest by Newton's steps, or None where they do not get there."""
    left, missed = target
    state = at(u, m, soon)
    for _ in range(_STEPS):
        try:
            factor = Factor(state)
        except RuntimeError:
            return None
        off = left - state.forces - state.rows.T @ m, missed - state.off
        du, dm = factor.solve(*off)
        size = float(np.linalg.norm(du))
        if np.abs(du).max() <= _REST:
            return Found(u + du, m + dm, at(u + du, m + dm))
        share = 1.0
        while True:
            try:
                there = at(u + share * du, m + share * dm, soon)
                then = left - there.forces - there.rows.T @ (m + share * dm), missed - there.off
                again = float(np.linalg.norm(factor.solve(*then)[0]))
            except CertificateRefused:
                again = np.inf
            if again <= (1.0 - 0.25 * share) * size:
                break
            share *= 0.5
            if share < _LEAST:
                # nearer than figures can tell
                return Found(u, m, state) if np.abs(du).max() <= _NEAR else None
        u, m, state = u + share * du, m + share * dm, there
    return None


def gathered(blocks: Iterable[tuple[Array, Array]], size: int) -> csc_array:
    """Add square blocks (k, k) at numbers (k,) into one sparse matrix."""
    rows, columns, values = [], [], []
    for at, block in blocks:
        rows.append(np.repeat(at, len(at)))
        columns.append(np.tile(at, len(at)))
        values.append(np.asarray(block).ravel())
    if not values:
        return csc_array((size, size))
    places = (np.concatenate(rows), np.concatenate(columns))
    return csc_array(coo_array((np.concatenate(values), places), shape=(size, size)))
