"""Is this frame to be believed? Asked before anything is made of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model import Job
from fitup.model.frame import FrameModel, Member
from fitup.structure.equilibrium import cables_of
from fitup.structure.frame.elements import SpringElement
from fitup.structure.frame.influence import frame_of, ties_of
from fitup.structure.frame.mesh import flexible
from fitup.structure.frame.solved import SolvedFrame
from fitup.structure.rigid import WEIGHT_FIT

#: loads and reactions may differ by this share of the weight, as rounding
_BALANCE = 1e-6
#: a stiffness and its transpose may differ by this share
_SYMMETRY = 1e-9
#: less than this and figures have few good digits
_POOR = 1e-10
#: deflection under its own loads, as a share of its size, that no bridge has
_SAG_MOST = 0.05


@dataclass(frozen=True, slots=True)
class SegmentWeight:
    """Weight of one segment in the frame and in segments.csv [N]."""

    segment: str
    frame: float
    stated: float


@dataclass(frozen=True, eq=False)
class Sanity:
    """What a frame says of itself, all seats two-way.

    Parameters
    ----------
    motions : int
        How many motions are free.
    weight, seats, ground : float
        Loads down; what seats carry up; what held nodes and springs to the ground carry up [N].
    asymmetry : float
        Greatest difference of the stiffness and its transpose, as a share of the greatest entry.
    softness : float
        Least eigenvalue of the scaled stiffness.
    sag : float
        Greatest movement under the loads [m], at which node, and which way most of it goes.
    sag_at : str
    sag_way : str
    segments : tuple of SegmentWeight
    faults : tuple of str
        Why it may not be used; empty when it may.
    warnings : tuple of str
    """

    motions: int
    weight: float
    seats: float
    ground: float
    asymmetry: float
    softness: float
    sag: float
    sag_at: str
    sag_way: str
    segments: tuple[SegmentWeight, ...]
    faults: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def unbalanced(self) -> float:
        """Loads less reactions [N]."""
        return self.weight - self.seats - self.ground


def sanity_of(job: Job, solved: SolvedFrame) -> Sanity:
    """Return what the frame of a job says of itself.

    Parameters
    ----------
    job : Job
    solved : SolvedFrame
        Its frame in the surveyed state.
    """
    model = frame_of(job)
    system = solved.mesh.system
    q, _ = solved.reactions()
    # what a seat takes from the ground; one between two parts of the structure takes nothing
    up = -solved.by_moving[2::6].sum(axis=0) / solved.own
    seats = float(q @ up)
    weight = -_vertical_load(model) + sum(
        c.cable.weight * c.cable.length for c in cables_of(system)
    )
    # whatever the elements leave at the nodes, seats taken out, the ground holds
    left = solved.tangent @ solved.still + solved.rest
    ground = float(left[2::6].sum()) + _ground_springs(solved)
    # with cables, what no seat moved would be is only the tangent's word
    motions = solved.about if solved.about.any() else solved.still
    moved = motions.reshape(-1, 6)[:, :3]
    shifts = np.linalg.norm(moved, axis=1)
    at = int(shifts.argmax())
    skew = abs(solved.tangent - solved.tangent.T).max() / abs(solved.tangent).max()
    result = Sanity(
        motions=len(system.free),
        weight=weight,
        seats=seats,
        ground=ground,
        asymmetry=float(skew),
        softness=solved.softness,
        sag=float(shifts[at]),
        sag_at=list(system.nodes)[at],
        sag_way=_way(moved[at]),
        segments=tuple(_segment_weights(job, model)),
        faults=(),
        warnings=(),
    )
    faults = tuple(_faults(result, _size(model)))
    return replace(result, faults=faults, warnings=tuple(_warnings(result)))


def require_sane(job: Job, solved: SolvedFrame) -> Sanity:
    """Return what a frame says of itself, or refuse it.

    Parameters
    ----------
    job : Job
    solved : SolvedFrame
        Its frame in the surveyed state.

    Raises
    ------
    StructureError
        With one line for every fault.
    """
    result = sanity_of(job, solved)
    if result.faults:
        raise StructureError("\n".join(result.faults))
    return result


def _way(shift: Array) -> str:
    """Which way most of a shift (3,) goes, in words."""
    most = int(np.abs(shift).argmax())
    if most == 2:
        return "down" if shift[2] < 0.0 else "up"
    return "to the east or west" if most == 0 else "to the north or south"


def _vertical_load(model: FrameModel) -> float:
    """All loads of the tables added up, upwards [N]."""
    total = sum(float(load.values[2]) for load in model.node_loads)
    for load in model.member_loads:
        over = 1.0 if load.end is None else load.end - load.start
        total += over * float(load.values[2])
    return total - sum(m.weight * _length(model, m) for m in model.members.values())


def _length(model: FrameModel, member: Member) -> float:
    start, end = flexible(model, member)
    return float(np.linalg.norm(end - start))


def _size(model: FrameModel) -> float:
    places = np.array([n.position for n in model.nodes.values()])
    return float(np.linalg.norm(places.max(axis=0) - places.min(axis=0)))


def _ground_springs(solved: SolvedFrame) -> float:
    """What springs to the ground carry up [N]."""
    total = 0.0
    for element in solved.mesh.system.elements:
        if isinstance(element, SpringElement) and element.spring.other is None:
            own = solved.mesh.system.numbers(element)
            total -= float((element.stiffness @ solved.still[own])[2])
    return total


def _segment_weights(job: Job, model: FrameModel) -> Iterator[SegmentWeight]:
    """Loads on members of each segment, and on nodes that they or its seats and points touch."""
    home = {name: m.segment for m in model.members.values() for name in (m.i, m.j) if m.segment}
    for name, (tie, _) in ties_of(job).items():
        if tie.node is not None:
            kind, own = name.split("/", 1)
            place = job.seats[own] if kind == "seat" else job.points[own]
            home.setdefault(tie.node, place.segment)
    for segment in job.segments.values():
        part = FrameModel(
            model.nodes,
            {n: m for n, m in model.members.items() if m.segment == segment.id},
            node_loads=tuple(p for p in model.node_loads if home.get(p.node) == segment.id),
            member_loads=tuple(
                p for p in model.member_loads if model.members[p.member].segment == segment.id
            ),
        )
        yield SegmentWeight(segment.id, -_vertical_load(part), segment.weight)


def _faults(result: Sanity, size: float) -> Iterator[str]:
    if abs(result.unbalanced) > _BALANCE * max(abs(result.weight), 1.0):
        yield (
            f"the frame weighs {result.weight / 1e3:.1f} kN but its reactions carry "
            f"{(result.seats + result.ground) / 1e3:.1f} kN: its figures are not good enough"
        )
    if result.asymmetry > _SYMMETRY:
        yield (
            f"the stiffness of the frame is not symmetric ({result.asymmetry:.1e} of its "
            "greatest entry): its figures are not good enough"
        )
    if result.sag > _SAG_MOST * size:
        yield (
            f"the frame moves by {result.sag:.3g} m at {result.sag_at} under its own loads, in a "
            f"structure {size:.3g} m across: check the units of E, of second moments and of loads"
        )
    for own in result.segments:
        if abs(own.frame - own.stated) > WEIGHT_FIT * own.stated:
            yield (
                f"segment {own.segment}: its members and loads weigh {own.frame / 1e3:.0f} kN in "
                f"the frame, {own.stated / 1e3:.0f} kN in segments.csv; correct one of them (they "
                f"may differ by {WEIGHT_FIT:.0%})"
            )


def _warnings(result: Sanity) -> Iterator[str]:
    if result.softness < _POOR:
        yield (
            f"badly conditioned (least eigenvalue {result.softness:.1e} of the scaled "
            "stiffness): a few digits are lost; look for members very short or very stiff beside "
            "their neighbours"
        )
