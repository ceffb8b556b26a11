"""Whether forces and moments on every part, and on the whole, add up to nothing.

A part is what members and rigid bodies join. On it act its loads, the reactions of its seats as
they will be printed, springs and cables to other parts, and what the ground holds. Their sum is
linear in the effective moves, so that every state is held against it at little cost. What does not
balance is not used: the error says which part, and by how much.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.sparse import coo_array, csc_array, diags_array

from fitup.errors import StructureError
from fitup.frames import Array, skew
from fitup.model.frame import FrameModel
from fitup.structure.cable.pair import PairSpring
from fitup.structure.frame.assemble import System
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.elements import ArmSpring, Element
from fitup.structure.frame.solved import SolvedFrame

#: share of all forces on a part by which they may fail to add up; of moments, with its size
BALANCED: Final = 1e-6
#: loads below this are nothing to take a share of [N]
_LEAST: Final = 1.0
_WAYS: Final = ("east-west", "north-south", "up-down")


@dataclass(frozen=True, eq=False)
class Balance:
    """Sums of forces and moments on p parts, the last of them the whole structure.

    Parameters
    ----------
    parts : tuple of str
        What to call each part in messages.
    base : Array (p, 6)
        Sums without reactions, no seat moved: force [N], moment about its middle [N m].
    slope : Array (p, 6, s)
        Their change for a unit effective move of every seat.
    by_reaction : Array (p, 6, s)
        Their change for a unit reaction of every seat; a cable's nut counts in ``slope``.
    loads : Array (p,)
        Sizes of the loads added up [N].
    size : Array (p,)
        Half the length of each part [m].
    moments : bool
        False where only forces are linear: with cables, about a state that moves.
    """

    parts: tuple[str, ...]
    base: Array
    slope: Array
    by_reaction: Array
    loads: Array
    size: Array
    moments: bool = True

    def since(self, reactions: Array, effective: Array, loaded: bool = False) -> Balance:
        """Return the balance of the changes from a state.

        Parameters
        ----------
        reactions : Array (s,)
            In that state [N].
        effective : Array (s,)
            Moves with openings in that state [m].
        loaded : bool
            True where the loads come on after that state; else they are on in it already.
        """
        at = self.slope @ effective + self.by_reaction @ reactions
        return replace(self, base=(self.base if loaded else 0.0) - at)

    def require(self, reactions: Array, effective: Array) -> None:
        """Refuse a state that is not in balance.

        Parameters
        ----------
        reactions : Array (s,)
            [N].
        effective : Array (s,)
            Moves with openings [m].

        Raises
        ------
        StructureError
            With one line for every part that is not.
        """
        carried = self.by_reaction @ reactions
        off = self.base + self.slope @ effective + carried
        on = np.abs(self.by_reaction[:, :3]).max(axis=1) @ np.abs(reactions)
        forces = self.loads + on + _LEAST
        share = np.abs(off) / forces[:, None]
        share[:, 3:] /= self.size[:, None]
        if not self.moments:
            share[:, 3:] = 0.0
        wrong = np.flatnonzero(~(share <= BALANCED).all(axis=1))
        if len(wrong):
            raise StructureError("\n".join(self._unbalanced(int(p), off[p]) for p in wrong))

    def _unbalanced(self, p: int, off: Array) -> str:
        force = int(np.abs(off[:3]).argmax())
        turn = int(np.abs(off[3:]).argmax())
        return (
            f"{self.parts[p]}: loads and reactions do not balance: {abs(off[force]) / 1e3:.4g} kN "
            f"{_WAYS[force]} and {abs(off[3 + turn]) / 1e3:.4g} kN m about its "
            f"{_WAYS[turn]} line are left over, so nothing computed is used; look there for "
            "members very short or very stiff beside their neighbours, and for seats very stiff"
        )


def balance_of(solved: SolvedFrame, model: FrameModel, moments: bool = True) -> Balance:
    """Return the balance of a solved frame.

    Parameters
    ----------
    solved : SolvedFrame
    model : FrameModel
        Names the parts by their segments and members.
    moments : bool
        False: only forces are held against it, as a frame with cables needs.
    """
    system = solved.mesh.system
    groups = parts_of(system)
    sums, size = _sums(system, groups)
    beams, packs, others = _split(solved)
    loads = system.loads - replace(system, elements=beams).assemble()[0]
    force, tangent = replace(system, elements=others).assemble(solved.about)
    # a pack's force turns with what it stands on
    tangent = tangent + replace(system, elements=packs).strains(solved.about)[2]
    bearing, hung = _feet(solved)
    ground = _ground(system)
    still = (
        loads
        - (force + tangent @ (solved.still - solved.about) - hung @ solved.at)
        + ground @ (solved.rest + solved.tangent @ solved.still)
    )
    moved = ground @ (solved.tangent @ solved.moves + solved.by_moving)
    moved = np.asarray(moved - tangent @ solved.moves - hung)
    count = len(groups) + 1
    shape = (count, 6, len(solved.seats))
    applied = np.linalg.norm(loads.reshape(-1, 6)[:, :3], axis=1)
    names = list(system.nodes)
    numbers = {name: i for i, name in enumerate(names)}
    return Balance(
        (*(_name(model, group) for group in groups), "the whole structure"),
        (sums @ still).reshape(count, 6),
        (sums @ moved).reshape(shape),
        np.asarray((sums @ bearing).todense()).reshape(shape),
        np.array([applied[[numbers[n] for n in g]].sum() for g in (*groups, names)]),
        size,
        moments,
    )


def parts_of(system: System) -> tuple[tuple[str, ...], ...]:
    """Return the nodes of every part: what members and rigid bodies join."""
    lead = {name: name for name in system.nodes}

    def first(name: str) -> str:
        while lead[name] != name:
            lead[name] = lead[lead[name]]
            name = lead[name]
        return name

    joined = [(e.member.i, e.member.j) for e in system.elements if isinstance(e, Beam)]
    joined += [(b.nodes[0], n) for b in system.bodies for n in b.nodes[1:]]
    for i, j in joined:
        lead[first(j)] = first(i)
    groups: dict[str, list[str]] = {}
    for name in sorted({n for pair in joined for n in pair}, key=list(system.nodes).index):
        groups.setdefault(first(name), []).append(name)
    return tuple(tuple(group) for group in groups.values())


def _name(model: FrameModel, group: tuple[str, ...]) -> str:
    """What to call a part: by its segments, else by its first member or node."""
    inside = set(group)
    members = [m for m in model.members.values() if m.i in inside]
    segments = sorted({m.segment for m in members if m.segment})
    if segments:
        return f"segment{'s' if len(segments) > 1 else ''} {', '.join(segments)}"
    return f"member {members[0].id}" if members else f"node {group[0]}"


def _sums(system: System, groups: tuple[tuple[str, ...], ...]) -> tuple[csc_array, Array]:
    """Return what adds up forces on nodes (6 n) by part (6 p, 6 n), and half the parts' lengths."""
    rows, columns, values, size = [], [], [], []
    for p, group in enumerate((*groups, tuple(system.nodes))):
        places = np.array([system.nodes[n].position for n in group])
        middle = 0.5 * (places.max(axis=0) + places.min(axis=0))
        size.append(max(1.0, 0.5 * float(np.linalg.norm(np.ptp(places, axis=0)))))
        for name, place in zip(group, places, strict=True):
            block = np.eye(6)
            block[3:, :3] = skew(place - middle)
            i, k = np.nonzero(block)
            rows.append(6 * p + i)
            columns.append(system.place[name] + k)
            values.append(block[i, k])
    shape = (6 * len(size), system.size)
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return csc_array(coo_array(entries, shape=shape)), np.array(size)


def _split(solved: SolvedFrame) -> tuple[tuple[Element, ...], ...]:
    """Return the beams, the packs, and what is neither: springs, cables, guides."""
    packs = {id(foot) for foot in solved.seats if isinstance(foot, ArmSpring | PairSpring)}
    elements = solved.mesh.system.elements
    return (
        tuple(e for e in elements if isinstance(e, Beam)),
        tuple(e for e in elements if id(e) in packs),
        tuple(e for e in elements if not isinstance(e, Beam) and id(e) not in packs),
    )


def _feet(solved: SolvedFrame) -> tuple[csc_array, csc_array]:
    """Forces (6 n, s) on nodes for a unit reaction of packs, and of elements for a drawn nut."""
    system = solved.mesh.system
    packs = [isinstance(foot, ArmSpring | PairSpring) for foot in solved.seats]
    carried = np.where(packs, -1.0 / solved.own, 0.0)
    drawn = np.where(packs, 0.0, 1.0)
    shape = (system.size, len(packs))
    if not packs:
        return csc_array(shape), csc_array(shape)
    return (
        csc_array(solved.by_moving @ diags_array(carried)),
        csc_array(solved.by_moving @ diags_array(drawn)),
    )


def _ground(system: System) -> csc_array:
    """Return what the ground puts on nodes (6 n, 6 n), of what elements leave unbalanced there."""
    free = {name: replace(node, fixed=frozenset()) for name, node in system.nodes.items()}
    loose = replace(system, nodes=free)
    numbers = np.array([system.place[n] + k for n, k in loose.free], dtype=np.int64)
    held = np.array([float(k in system.nodes[n].fixed) for n, k in loose.free])
    at = (held, (numbers, np.arange(len(numbers))))
    onto = csc_array(coo_array(at, shape=(system.size, len(numbers))))
    return csc_array(onto @ loose.spread.T)
