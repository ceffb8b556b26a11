"""The second path's own way to rest: one system with multipliers, where everything now stands.

Sticks turn truly, rigid arms swing truly, packs and saddles bear where they now are, seats that
can only push do nothing while they are open. Newton's steps are judged by the next step they lead
to, with the same factor (P. Deuflhard, Newton Methods for Nonlinear Problems, Springer 2004, the
natural monotonicity test of section 3.3; cited from memory). Where they do not get there the
structure is let down from where it stands, a share of what is out of balance at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
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
#: a factor is kept while a step is at most this share of the one before
_LEADS_ON = 0.05

#: numbers (n, k) and square blocks (n, k, k)
Block = tuple[Array, Array]


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


@dataclass(frozen=True, eq=False)
class Gone:
    """How far (b,) [m] what bearings push has gone, motions' numbers (b, 9), slopes (b, 9)."""

    far: Array
    at: Array
    rows: Array


class Bearings:
    """All packs and guides, stacked.

    Parameters
    ----------
    bearings : sequence of Bearing
    """

    def __init__(self, bearings: Sequence[Bearing]) -> None:
        count, steps = len(bearings), np.arange(3)
        node = np.array([b.node for b in bearings], dtype=int)
        ground = np.array([b.base is None for b in bearings], dtype=bool)
        base = np.array([b.node if b.base is None else b.base for b in bearings], dtype=int)
        self.own = node[:, None] + steps
        self.base, self.turns = base[:, None] + steps, base[:, None] + 3 + steps
        self.at = np.hstack([self.own, self.base, self.turns]).reshape(count, 9)
        self.ground = ground[:, None]
        self.arm = np.array([b.arm for b in bearings]).reshape(count, 3)
        self.way = np.array([b.way for b in bearings]).reshape(count, 3)
        self.stiffness = np.array([b.stiffness for b in bearings])
        self.one_way = np.array([b.one_way for b in bearings], dtype=bool)

    def __len__(self) -> int:
        return len(self.stiffness)

    def gone(self, u: Array) -> Gone:
        """Return how far what they push has gone at motions u (6 n,).

        On the ground the arm swings with the node; on another node the direction turns with that.
        """
        ground, turned = self.ground, rotations(u[self.turns])
        swung = np.where(ground, self.arm, self.way)
        swung = np.einsum("bij,bj->bi", turned, swung)
        way = np.where(ground, self.way, swung)
        apart = u[self.own] - np.where(ground, 0.0, u[self.base])
        arm = np.where(ground, swung, self.arm + apart)
        aside = np.where(ground, arm - self.arm, 0.0)
        far = (way * (apart + aside)).sum(axis=1) + ((way - self.way) * self.arm).sum(axis=1)
        turn = np.where(ground, 1.0, -1.0) * np.cross(arm, way)
        return Gone(far, self.at, np.hstack([way, np.where(ground, 0.0, -way), turn]))


@dataclass(frozen=True, eq=False)
class ArmLink:
    """A row of constraints that a rigid arm makes: it swings with its leading node."""

    row: int
    lead: int
    follow: int
    axis: Array
    arm: Array


@dataclass(frozen=True, eq=False)
class FrameState:
    """What acts at some motions.

    ``forces`` (6 n,) hold the nodes, loads taken off; ``swings`` are blocks by which rigid arms
    turn forces; ``carried`` (b,) are the bearings' reactions, of those that ``bear`` (b,).
    """

    standing: CableActions
    forces: Array
    swings: list[Block]
    rows: csc_array
    off: Array
    carried: Array
    bear: Array
    gone: Gone
    pulls: Pulls
    bent: Bent

    @property
    def material(self) -> csc_array:
        """Part of the slope (6 n, 6 n) of the forces that stretching and bending make."""
        standing, bent, bear = self.standing, self.bent, self.bear
        stiff = bent.slope.transpose(0, 2, 1) @ standing.sticks.inner @ bent.slope
        k, own = self.pulls.stiffness, self.gone.rows[bear]
        firm = standing.bearings.stiffness[bear, None, None]
        blocks = [
            (standing.sticks.numbers, stiff),
            (standing.ends, np.block([[k, -k], [-k, k]])),
            (self.gone.at[bear], firm * own[:, :, None] * own[:, None, :]),
        ]
        return csc_array(standing.springs + gathered(blocks, standing.size))

    @property
    def turning(self) -> csc_array:
        """Part of the slope (6 n, 6 n) that forces make as they turn with their parts."""
        s, lines = self.bent.string, self.standing.sticks.numbers[:, [0, 1, 2, 6, 7, 8]]
        blocks = [(lines, np.block([[s, -s], [-s, s]])), *self.swings]
        return gathered(blocks, self.standing.size)


class _At(Protocol):
    def __call__(self, u: Array, m: Array, soon: bool = False) -> FrameState:
        """Return what acts at motions and multipliers; see ``Lines.pulls`` for ``soon``."""


class CableActions:
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
    links : list of ArmLink
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
        links: list[ArmLink],
        loads: Array,
    ) -> None:
        self.size, self.sticks, self.ends = size, sticks, ends
        self.bearings, self.links, self.loads = Bearings(bearings), links, loads
        blocks = [(np.array(at)[None], k * np.outer(row, row)[None]) for at, row, k in springs]
        self.springs = gathered(blocks, size)
        self.lead = np.array([link.lead for link in links], dtype=int)
        self.arms = np.array([link.arm for link in links]).reshape(len(links), 3)
        self.swing_axes = np.array([link.axis for link in links]).reshape(len(links), 3)
        self.link_rows = np.array([link.row for link in links], dtype=int)
        at = [(i, j, v) for i, row in enumerate(rows) for j, v in row.items()]
        i, j, v = np.array(at).T if at else np.zeros((3, 0))
        self.count = len(rows)
        shape = (self.count, size)
        self.rows = csc_array(coo_array((v, (i.astype(int), j.astype(int))), shape=shape))

    def state(
        self, u: Array, set_: Array, pulls: Pulls, m: Array, touching: Array | None = None
    ) -> FrameState:
        """Return what acts at some motions, with packs set and multipliers given.

        Parameters
        ----------
        u : Array (6 n,)
            Motions of all nodes [m, rad].
        set_ : Array (b,)
            Settings of the bearings [m].
        pulls : Pulls
            Of the cables with their ends at those motions.
        m : Array (c,)
            Multipliers of the constraints.
        touching : Array (b,) of bool, optional
            Packs that push or pull, the others doing nothing; where not given, those that push.
        """
        bent, gone = self.sticks.bent(u), self.bearings.gone(u)
        forces = self.springs @ u - self.loads
        np.add.at(forces, self.sticks.numbers, bent.forces)
        np.add.at(forces, self.ends, np.concatenate([-pulls.at_i, pulls.at_j], axis=1))
        would = self.bearings.stiffness * (set_ - gone.far)
        bear = self.touching(would) if touching is None else touching
        carried = np.where(bear, would, 0.0)
        np.add.at(forces, gone.at, -carried[:, None] * gone.rows)
        rows, off, swings = self._linked(u, m)
        return FrameState(self, forces, swings, rows, off, carried, bear, gone, pulls, bent)

    def touching(self, carried: Array) -> Array:
        """Return which packs bear (b,): those that push, or can pull too.

        ``carried`` (b,) are the loads that they would carry [N].
        """
        bear: Array = (carried >= -_IDLE) | ~self.bearings.one_way
        return bear

    def would_carry(self, u: Array, set_: Array) -> Array:
        """Return what packs would carry (b,), pulls among them [N].

        Parameters
        ----------
        u : Array (6 n,)
            Motions of all nodes [m, rad].
        set_ : Array (b,)
            Settings of the bearings [m].
        """
        result: Array = self.bearings.stiffness * (set_ - self.bearings.gone(u).far)
        return result

    def _linked(self, u: Array, m: Array) -> tuple[csc_array, Array, list[Block]]:
        """Return constraints where their arms now are, what they miss, and how arms turn forces."""
        off = self.rows @ u
        if not self.links:
            return self.rows, off, []
        own, number = self.lead[:, None] + np.arange(3, 6), self.link_rows
        arms, axes, turns = self.arms, self.swing_axes, u[own]
        now = np.einsum("nij,nj->ni", rotations(turns), arms)
        change = np.cross(axes, now - arms)
        at = (np.repeat(number, 3), own.ravel())
        rows = self.rows + csc_array(coo_array((change.ravel(), at), shape=self.rows.shape))
        # axis.(follower - leader - swing of the arm), the swing as drawn taken out again
        drawn = np.einsum("ni,ni->n", np.cross(axes, arms), turns)
        off[number] -= drawn + np.einsum("ni,ni->n", axes, now - arms)
        swings = -m[number, None, None] * (crosses(axes) @ crosses(now))
        return csc_array(rows), off, [(own, swings)]


class StandingFactor:
    """Stiffness and constraints as one system, factorised."""

    def __init__(self, state: FrameState) -> None:
        self.size, self.bear = len(state.forces), state.bear
        K = csc_array(state.material + state.turning)
        self.scale = float(abs(K).max())
        C = self.scale * state.rows
        self.lu = splu(csc_array(block_array([[K, C.T], [C, None]])))

    def solve(self, forces: Array, off: Array) -> tuple[Array, Array]:
        """Return changes of motions (6 n, k) and multipliers (c, k) for what is out of balance.

        Parameters
        ----------
        forces : Array (6 n, k) or (6 n,)
            Left out of balance on the nodes [N, N m].
        off : Array (c, k) or (c,)
            By how much the constraints are missed.
        """
        answer = self.lu.solve(np.concatenate([forces, self.scale * off]))
        return answer[: self.size], self.scale * answer[self.size :]


@dataclass(frozen=True, eq=False)
class FrameAtRest:
    """A structure at rest: motions (6 n,), multipliers (c,), what acts there, and its factor."""

    u: Array
    m: Array
    state: FrameState
    factor: StandingFactor


def come_to_rest(
    standing: CableActions, lines: Lines, apart: Array, set_: Array, begin: tuple[Array, Array],
    left: Array, factor: StandingFactor | None = None,
) -> FrameAtRest:  # fmt: skip
    """Find the rest of a structure.

    Parameters
    ----------
    standing : CableActions
    lines : Lines
    apart : Array (c, 3)
        How far the ends of each cable are apart as drawn, and drawn out by its nut [m].
    set_ : Array (b,)
        Settings of the bearings [m].
    begin : tuple of Array (6 n,) and Array (c,)
        Motions and multipliers from which to begin.
    left : Array (6 n,)
        Forces that are left over in the state as measured, and go on to be [N].
    factor : StandingFactor, optional
        Of a state nearby with the same seats carrying: it serves as long as it leads on.

    Raises
    ------
    CertificateRefused
        If none is found.
    """
    (u, m), seen = begin, set()
    touching = standing.touching(standing.would_carry(u, set_))
    for _ in range(_TURNS):

        def at(u: Array, m: Array, soon: bool = False, touching: Array = touching) -> FrameState:
            own = u[standing.ends]
            pulls = lines.pulls(apart + own[:, 3:] - own[:, :3], soon)
            return standing.state(u, set_, pulls, m, touching)

        known = factor if factor is not None and (factor.bear == touching).all() else None
        found = _let_down(at, u, m, left, known)
        u, m, factor = found.u, found.m, found.factor
        now = standing.touching(standing.would_carry(u, set_))
        wrong = np.flatnonzero(now != touching)
        if len(wrong) == 0:
            return found
        seen.add(touching.tobytes())
        if now.tobytes() in seen:
            # one at a time where all at once comes back: Murty's least index
            now = touching.copy()
            now[wrong[0]] = not now[wrong[0]]
        touching = now
    raise CertificateRefused(["which seats carry was not found a second time"])


def _let_down(
    at: _At, u: Array, m: Array, left: Array, factor: StandingFactor | None
) -> FrameAtRest:
    """Return the structure at rest, in as many shares of the way as it takes."""
    if factor is not None:
        found = _newton(at, u, m, (left, np.zeros(len(m))), factor=factor)
        if found is not None:
            return found
    done, stride = 0.0, 1.0
    state = at(u, m)
    held, missed = state.forces + state.rows.T @ m - left, state.off
    while True:
        to = min(1.0, done + stride)
        target = left + (1.0 - to) * held, (1.0 - to) * missed
        found = _newton(at, u, m, target) or _newton(at, u, m, target, soon=True)
        if found is not None:
            u, m, done, stride = found.u, found.m, to, 2.0 * stride
            if done >= 1.0:
                return found
        else:
            stride *= 0.3
            if stride < _FINEST:
                raise CertificateRefused(["a state of the cables was not found a second time"])


def _newton(
    at: _At, u: Array, m: Array, target: tuple[Array, Array], soon: bool = False,
    factor: StandingFactor | None = None,
) -> FrameAtRest | None:  # fmt: skip
    """Return the rest by Newton's steps, or None where they do not get there.

    A factor serves on while each step with it is but a small share of the one before.
    """
    left, missed = target

    def out(state: FrameState, m: Array) -> tuple[Array, Array]:
        return left - state.forces - state.rows.T @ m, missed - state.off

    state = at(u, m, soon)
    try:
        factor = factor or StandingFactor(state)
        du, dm = factor.solve(*out(state, m))
        for _ in range(_STEPS):
            size = float(np.linalg.norm(du))
            if np.abs(du).max() <= _REST:
                return FrameAtRest(u + du, m + dm, at(u + du, m + dm), factor)
            step = _shorter(at, u, m, (du, dm), factor, out, soon)
            if step is None:
                # nearer than figures can tell
                near = np.abs(du).max() <= _NEAR
                return FrameAtRest(u, m, state, factor) if near else None
            u, m, state, (du, dm) = step
            if np.linalg.norm(du) > _LEADS_ON * size:
                factor = StandingFactor(state)
                du, dm = factor.solve(*out(state, m))
    except RuntimeError:
        return None
    return None


def _shorter(
    at: _At, u: Array, m: Array, step: tuple[Array, Array], factor: StandingFactor,
    out: Callable[[FrameState, Array], tuple[Array, Array]], soon: bool,
) -> tuple[Array, Array, FrameState, tuple[Array, Array]] | None:  # fmt: skip
    """Go as much of a step as leads to a shorter one, and return that too; None: nowhere."""
    (du, dm), share = step, 1.0
    size = float(np.linalg.norm(du))
    while share >= _LEAST:
        try:
            there = at(u + share * du, m + share * dm, soon)
            next_ = factor.solve(*out(there, m + share * dm))
            if np.linalg.norm(next_[0]) <= (1.0 - 0.25 * share) * size:
                return u + share * du, m + share * dm, there, next_
        except CertificateRefused:
            pass
        share *= 0.5
    return None


def gathered(blocks: Iterable[Block], size: int) -> csc_array:
    """Add square blocks, stack by stack, into one sparse matrix.

    Parameters
    ----------
    blocks : iterable of (Array (n, k), Array (n, k, k))
        Numbers of the rows and columns of each block, and the blocks.
    size : int

    Returns
    -------
    csc_array (size, size)
    """
    rows, columns, values = [], [], []
    for at, stack in blocks:
        rows.append(np.broadcast_to(at[:, :, None], stack.shape).ravel())
        columns.append(np.broadcast_to(at[:, None, :], stack.shape).ravel())
        values.append(stack.ravel())
    if not values:
        return csc_array((size, size))
    places = (np.concatenate(rows), np.concatenate(columns))
    return csc_array(coo_array((np.concatenate(values), places), shape=(size, size)))
