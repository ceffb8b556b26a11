"""From the tables to a system: members cut wherever something bears on them, loads or is watched.

A cut puts a node on the member, so that seats, points and point loads act exactly where they are
and every piece carries only even loads.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model.actions import MemberLoad
from fitup.model.frame import (
    FrameModel,
    Member,
    Node,
    Spring,
    Tie,
)
from fitup.structure.cable.of_frame import cables_without_seat, without_turns
from fitup.structure.frame.assemble import System, stacked
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.elements import Element, SpringElement

#: two places of a member nearer than this are one, the rest a rigid arm [m]: a piece so short is
#: stiffer than its neighbours by more than figures can tell, and bends by next to nothing
NEAR = 0.02
#: a member shorter than this has no length [m]
_LENGTH = 1e-3
#: one member is nearer than another by at least this [m]
_NEARER = 1e-6


@dataclass(frozen=True, eq=False)
class Attached:
    """A place carried by a node at the end of a rigid arm (3,) [m].

    ``hangs`` (3,) is the part of the arm beyond the member's flexible length, which grows with its
    segment; a rigid end of the member does not.
    """

    node: str
    arm: Array
    hangs: Array

    def shift(self, motions: Array) -> Array:
        """Return the shift of the place for motions (..., 6) of its node."""
        return motions[..., :3] + np.cross(motions[..., 3:], self.arm)


@dataclass(frozen=True, eq=False)
class Mesh:
    """A frame cut into pieces.

    Parameters
    ----------
    system : System
        Without seats: they are added by whoever solves it.
    pieces : mapping of str to tuple of Beam
        Member -> its pieces from end i to end j.
    attached : mapping of str to Attached
        What was asked to be tied, by name.
    """

    system: System
    pieces: Mapping[str, tuple[Beam, ...]]
    attached: Mapping[str, Attached]


def flexible(model: FrameModel, member: Member) -> tuple[Array, Array]:
    """Return the two ends of the flexible length of a member.

    Parameters
    ----------
    model : FrameModel
        Has the nodes of the member.
    member : Member

    Returns
    -------
    tuple of two Array (3,)
        At end i and at end j, in the grid [m].
    """
    return (
        model.nodes[member.i].position + member.offset_i,
        model.nodes[member.j].position + member.offset_j,
    )


def nearest(model: FrameModel, segment: str, position: Array) -> Tie:
    """Return the place of a segment's members that is nearest to a position.

    Parameters
    ----------
    model : FrameModel
    segment : str
        Id of the segment whose members are looked at.
    position : Array (3,)
        In the grid [m].

    Raises
    ------
    StructureError
        If no member belongs to the segment.
    """
    best: tuple[float, Tie] | None = None
    for member in model.members.values():
        if member.segment != segment:
            continue
        start, end = flexible(model, member)
        line = end - start
        along = float(np.clip((position - start) @ line / (line @ line), 0.0, 1.0))
        apart = float(np.linalg.norm(position - start - along * line))
        if best is None or apart < best[0] - _NEARER:
            best = apart, Tie(member=member.id, at=along * float(np.linalg.norm(line)))
    if best is None:
        raise StructureError(
            f"segment {segment}: no member of the frame belongs to it; name it in the column "
            "segment of frame_members.csv, or tie its seats and points in frame_ties.csv"
        )
    return best[1]


def make_mesh(model: FrameModel, ties: Mapping[str, tuple[Tie, Array]]) -> Mesh:
    """Cut a frame and return its system.

    Parameters
    ----------
    model : FrameModel
    ties : mapping of str to (Tie, Array)
        Name -> where it is tied, and its position (3,) [m].

    Raises
    ------
    StructureError
        If a member cannot stand as a beam.
    """
    wanted = _wanted(model, ties)
    cuts = {name: _cuts(model, m, wanted.get(name, ())) for name, m in model.members.items()}
    nodes = without_turns(model)
    pieces: dict[str, tuple[Beam, ...]] = {}
    for name, member in model.members.items():
        try:
            pieces[name] = tuple(_pieces(model, member, cuts[name], nodes))
        except StructureError as error:
            raise StructureError(f"member {name}: {error}") from None
    attached = {
        name: _attach(model, tie, position, cuts, nodes) for name, (tie, position) in ties.items()
    }
    elements: list[Element] = [beam for beams in pieces.values() for beam in beams]
    elements += [_spring(model, spring) for spring in model.springs.values()]
    elements += cables_without_seat(model)
    loads = _node_loads(model, cuts, nodes)
    system = System(nodes, tuple(elements), tuple(model.bodies.values()), stacked(nodes, loads))
    return Mesh(system, pieces, attached)


def _spring(model: FrameModel, spring: Spring) -> SpringElement:
    lead = spring.node if spring.other is None else spring.other
    return SpringElement(spring, model.nodes[spring.node].position - model.nodes[lead].position)


def _wanted(model: FrameModel, ties: Mapping[str, tuple[Tie, Array]]) -> Mapping[str, list[float]]:
    """Member -> the places at which it is to be cut, in any order [m]."""
    wanted: dict[str, list[float]] = {}
    for tie, _ in ties.values():
        if tie.member is not None and tie.at is not None:
            wanted.setdefault(tie.member, []).append(tie.at)
    for place in model.places.values():
        wanted.setdefault(place.member, []).append(place.at)
    for load in model.member_loads:
        ends = [load.start] if load.end is None else [load.start, load.end]
        wanted.setdefault(load.member, []).extend(ends)
    return wanted


def _cuts(model: FrameModel, member: Member, wanted: Iterable[float]) -> tuple[float, ...]:
    """Places along the flexible length at which a member is cut, its ends included [m]."""
    start, end = flexible(model, member)
    length = float(np.linalg.norm(end - start))
    if length < _LENGTH:
        raise StructureError(f"member {member.id}: its flexible length is zero")
    result = [0.0]
    for at in sorted(wanted):
        if result[-1] + NEAR < at < length - NEAR:
            result.append(at)
    return (*result, length)


def nearest_cut(cuts: tuple[float, ...], at: float) -> float:
    """Return the cut of a member that is nearest to a place [m].

    Parameters
    ----------
    cuts : tuple of float
        From end i along the flexible length, both ends included [m].
    at : float
        The place, from end i along the flexible length [m].
    """
    return min(cuts, key=lambda cut: abs(cut - at))


def cut_name(member: Member, cuts: tuple[float, ...], at: float) -> str:
    """Return the node at a place of a member: one of its own, or the nearest cut.

    Parameters
    ----------
    member : Member
    cuts : tuple of float
        From end i along the flexible length, ascending, both ends included [m].
    at : float
        The place, from end i along the flexible length [m].
    """
    k = int(np.argmin(np.abs(np.array(cuts) - at)))
    if k == 0:
        return member.i
    return member.j if k == len(cuts) - 1 else f"{member.id}@{cuts[k]:.9g}"


def _pieces(
    model: FrameModel, member: Member, cuts: tuple[float, ...], nodes: dict[str, Node]
) -> Iterator[Beam]:
    start, end = flexible(model, member)
    ahead = (end - start) / cuts[-1]
    warm = [t for t in model.temperatures if t.member == member.id]
    heat = (sum(t.even for t in warm), sum(t.depth for t in warm), sum(t.width for t in warm))
    for a, b in pairwise(cuts):
        for at in (a, b):
            name = cut_name(member, cuts, at)
            nodes.setdefault(name, Node(name, start + at * ahead))
        i, j = cut_name(member, cuts, a), cut_name(member, cuts, b)
        piece = replace(
            member,
            i=i,
            j=j,
            offset_i=member.offset_i if a == 0.0 else np.zeros(3),
            offset_j=member.offset_j if b == cuts[-1] else np.zeros(3),
            releases=frozenset(
                k for k in member.releases if (a == 0.0 if k < 6 else b == cuts[-1])
            ),
        )
        yield Beam(
            piece, nodes[i].position, nodes[j].position, _even(model, member, cuts, a, b), heat, a
        )


def _even(model: FrameModel, member: Member, cuts: tuple[float, ...], a: float, b: float) -> Array:
    """Even load (3,) in the grid on the piece from a to b [N/m], loads ending at their cuts."""
    load = np.array([0.0, 0.0, -member.weight])
    for own in model.member_loads:
        if own.end is None or own.member != member.id:
            continue
        begins, ends = (nearest_cut(cuts, at) for at in (own.start, own.end))
        if begins <= a and b <= ends:
            load = load + own.values
    return load


def _points(model: FrameModel, cuts: Mapping[str, tuple[float, ...]]) -> Iterator[MemberLoad]:
    """Yield point loads on members: also what a line load has beyond its cut, or lacks there."""
    for load in model.member_loads:
        if load.end is None:
            yield load
            continue
        for at, sign in ((load.start, 1.0), (load.end, -1.0)):
            cut = nearest_cut(cuts[load.member], at)
            if cut != at:
                beyond = sign * (cut - at) * load.values
                yield replace(load, values=beyond, start=0.5 * (cut + at), end=None)


def _attach(
    model: FrameModel,
    tie: Tie,
    position: Array,
    cuts: Mapping[str, tuple[float, ...]],
    nodes: Mapping[str, Node],
) -> Attached:
    if tie.member is None:
        assert tie.node is not None
        arm = position - nodes[tie.node].position
        return Attached(tie.node, arm, arm)
    assert tie.at is not None
    member, own = model.members[tie.member], cuts[tie.member]
    name = cut_name(member, own, tie.at)
    start, end = flexible(model, member)
    place = start + nearest_cut(own, tie.at) / own[-1] * (end - start)
    return Attached(name, position - nodes[name].position, position - place)


def _node_loads(
    model: FrameModel, cuts: Mapping[str, tuple[float, ...]], nodes: Mapping[str, Node]
) -> dict[str, Array]:
    """Loads (6,) on nodes: their own, and point loads on members at their cuts."""
    loads: dict[str, Array] = {}
    for load in model.node_loads:
        loads[load.node] = loads.get(load.node, np.zeros(6)) + load.values
    for point in _points(model, cuts):
        member = model.members[point.member]
        name = cut_name(member, cuts[point.member], point.start)
        start, end = flexible(model, member)
        where = start + point.start / cuts[point.member][-1] * (end - start)
        moment = np.cross(where - nodes[name].position, point.values)
        added = np.concatenate([point.values, moment])
        loads[name] = loads.get(name, np.zeros(6)) + added
    return loads
