"""What the steel does to a frame as it warms: expansion and bending held by whatever bears on it.

One kelvin more in a segment, or at its top against its bottom, are forces on the ends of its
members, as if these were held; let go, the frame goes where continuity over its supports lets it.
A member of no segment is as warm as the segments it is built together with, cables as all of them.
Seats that carry as surveyed go on to carry, the others stay open. The arms on which points and
seats hang on members grow with their segment; rigid bodies and rigid ends keep their size.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.model import Job, ThermalResponse
from fitup.model.frame import FrameModel
from fitup.structure.cable.element import CableElement
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.elements import ArmSpring
from fitup.structure.frame.influence import face_turn, frame_of, lifting_of, solve_job
from fitup.structure.frame.sanity import require_sane
from fitup.structure.frame.solve import factorise
from fitup.structure.frame.solved import SolvedFrame

#: cables are tried so much warmer and colder to find what one kelvin does [K]
_TRIED: Final = 1.0


def with_thermal_response(job: Job) -> Job:
    """Return a job that knows how its frame answers to temperature, where it has one that does.

    Raises
    ------
    StructureError
        If the frame may not be used.
    """
    if not expands(job):
        return job
    solved = solve_job(job)
    require_sane(job, solved)
    return replace(job, thermal=thermal_response_of(job, solved))


def expands(job: Job) -> bool:
    """Whether a job is about a frame whose segments say how they expand."""
    stated = any(s.expansion is not None for s in job.segments.values())
    return job.influence_by == "frame" and stated


def thermal_response_of(job: Job, solved: SolvedFrame) -> ThermalResponse:
    """Return how a solved frame answers to one kelvin in each of its segments.

    Parameters
    ----------
    job : Job
    solved : SolvedFrame
        Its frame in the surveyed state.

    Raises
    ------
    StructureError
        If the seats that can only push cannot carry the structure.
    """
    even, bent = _owned(job, solved)
    stray, slackened = _stray(job, solved)
    grown = [_arms(job, solved, name) for name in job.segments]
    expand = np.array([s.expansion is not None for s in job.segments.values()])
    count = len(grown)
    # the last column is what no segment is built together with, alone
    loads = np.column_stack([even, bent, stray])
    moves = np.column_stack([*grown, *(0.0 * g for g in grown), np.zeros(len(job.seats))])
    pulled = np.column_stack([np.zeros((len(job.seats), 2 * count)), slackened])
    motions, reactions = _answer(job, solved, loads, moves, pulled)
    expansion = np.array([s.expansion or 0.0 for s in job.segments.values()])
    whole = _response(job, solved, expansion, motions, reactions)
    return _shared(whole, expand / max(1, expand.sum()))


def _answer(
    job: Job, solved: SolvedFrame, loads: Array, moves: Array, pulled: Array
) -> tuple[Array, Array]:
    """Motions (6 n, k) and changes of reactions (s, k), the same seats carrying as surveyed."""
    system = solved.mesh.system
    factor = factorise(system.reduced(solved.tangent))
    motions = system.spread @ factor.solve(system.spread.T @ -loads) + solved.moves @ moves
    _, R = solved.reactions()
    gained = solved.by_moving.T @ (motions - solved.moves @ moves) + pulled + R @ moves
    lifting = lifting_of(job, solved)
    still = lifting.contact.at(np.zeros(len(job.seats)))
    off = np.flatnonzero(~still.carries)
    if len(off):
        opened = -np.linalg.lstsq(R[np.ix_(off, off)], gained[off], rcond=1e-12)[0]
        motions = motions + solved.moves[:, off] @ opened
        gained = gained + R[:, off] @ opened
    return motions, gained


def _owned(job: Job, solved: SolvedFrame) -> tuple[Array, Array]:
    """Forces (6 n, s) of members at rest for one kelvin of each segment: mean, and difference.

    A member without expansion of its own takes that of its segment.
    """
    system = solved.mesh.system
    learned = float(np.prod([one.value for one in job.learned if one.what == "expansion"]))
    even = np.zeros((system.size, len(job.segments)))
    bent = np.zeros_like(even)
    for name, share in members_of_segments(job).items():
        member = frame_of(job).members[name]
        segment = job.segments.get(member.segment)
        rate = learned * member.expansion
        if segment is not None:
            rate = rate or segment.expansion or 0.0
        depth = None if segment is None else segment.depth
        for beam in solved.mesh.pieces[name]:
            own = system.numbers(beam)
            even[own] += np.outer(_heated(solved, beam, (1.0, 0.0, 0.0), rate), share)
            if depth is not None:
                bent[own] += np.outer(_heated(solved, beam, (0.0, 1.0, 0.0), rate, depth), share)
    return even, bent


def members_of_segments(job: Job) -> dict[str, Array]:
    """Return by member the share (s,) of each segment's steel in its own.

    Those that are built together with no segment that expands are left out.
    """
    expand = [s.expansion is not None for s in job.segments.values()]
    number = {name: k for k, name in enumerate(job.segments)}
    together = _together(frame_of(job))
    within: dict[str, set[int]] = {}
    for member in frame_of(job).members.values():
        if member.segment and expand[number[member.segment]]:
            within.setdefault(together[member.i], set()).add(number[member.segment])
    shares = {}
    for member in frame_of(job).members.values():
        if member.segment and not expand[number[member.segment]]:
            continue
        own = {number[member.segment]} if member.segment else within.get(together[member.i], set())
        if own:
            share = np.zeros(len(number))
            share[sorted(own)] = 1.0 / len(own)
            shares[member.id] = share
    return shares


def _together(model: FrameModel) -> dict[str, str]:
    """Return for every node the first of those that members and rigid bodies join it to."""
    lead = {name: name for name in model.nodes}

    def first(name: str) -> str:
        while lead[name] != name:
            lead[name] = lead[lead[name]]
            name = lead[name]
        return name

    joined = [(m.i, m.j) for m in model.members.values()]
    joined += [(b.nodes[0], n) for b in model.bodies.values() for n in b.nodes[1:]]
    for i, j in joined:
        lead[first(j)] = first(i)
    return {name: first(name) for name in model.nodes}


def _heated(
    solved: SolvedFrame,
    beam: Beam,
    warm: tuple[float, float, float],
    rate: float,
    depth: float | None = None,
) -> Array:
    """Forces (12,) on its nodes of a beam that is held at both ends, where it now stands."""
    member = replace(beam.member, expansion=rate, depth=depth or beam.member.depth)
    held = replace(beam, member=member, load=np.zeros(3), warm=warm)
    return held.heated_at(solved.about[solved.mesh.system.numbers(beam)])


def _stray(job: Job, solved: SolvedFrame) -> tuple[Array, Array]:
    """Forces (6 n,) of what no segment is built together with, cables first of all.

    And changes of reactions (s,) with nothing moved.
    """
    system, model = solved.mesh.system, frame_of(job)
    forces, reactions = np.zeros(system.size), np.zeros(len(job.seats))
    known = members_of_segments(job)
    for name, member in model.members.items():
        for beam in solved.mesh.pieces[name] if not member.segment and name not in known else ():
            forces[system.numbers(beam)] += _heated(solved, beam, (1.0, 0.0, 0.0), member.expansion)
    for element in system.elements:
        if not isinstance(element, CableElement):
            continue
        own = system.numbers(element)
        low, high = _tried(model, element)
        u = solved.about[own]
        change = high.forces_and_tangent(u)[0] - low.forces_and_tangent(u)[0]
        forces[own] += change / (2.0 * _TRIED)
        for i, foot in enumerate(solved.seats):
            if foot is element:
                reactions[i] = (high.reaction(u) - low.reaction(u)) / (2.0 * _TRIED)
    return forces, reactions


def _tried(model: FrameModel, element: CableElement) -> tuple[CableElement, CableElement]:
    """Return a cable colder and warmer by the same, its anchorage as it is."""
    rate = model.cables[element.id].expansion
    fixed = replace(element, axis=element.anchorage)

    def warmer(by: float) -> CableElement:
        return replace(fixed, cable=replace(fixed.cable, strain=fixed.cable.strain + rate * by))

    return warmer(-_TRIED), warmer(_TRIED)


def _arms(job: Job, solved: SolvedFrame, name: str) -> Array:
    """Moves (s,) of the seats to which the growth of their arms comes, for one kelvin [m/K]."""
    segment = job.segments[name]
    moves = np.zeros(len(job.seats))
    for i, (seat, foot) in enumerate(zip(job.seats.values(), solved.seats, strict=True)):
        if seat.segment == name and segment.expansion and isinstance(foot, ArmSpring):
            arm = solved.mesh.attached[f"seat/{seat.id}"].hangs
            moves[i] = -segment.expansion * float(foot.direction @ arm)
    return moves


def _response(
    job: Job, solved: SolvedFrame, expansion: Array, motions: Array, reactions: Array
) -> ThermalResponse:
    """Say where motions (6 n, k) take points and faces, the arms of points grown."""
    number = {name: k for k, name in enumerate(job.segments)}
    points = {}
    for point in job.points.values():
        shift = solved.shift(f"point/{point.id}", motions)
        k = number[point.segment]
        shift[:, k] += expansion[k] * solved.mesh.attached[f"point/{point.id}"].hangs
        points[point.id] = shift
    faces = {
        (joint.id, segment): face_turn(job, solved, joint.id, segment, motions)
        for joint in job.joints.values()
        for segment in (joint.back, joint.ahead)
    }
    return ThermalResponse(expansion, points, faces, reactions)


def _shared(whole: ThermalResponse, share: Array) -> ThermalResponse:
    """Give the last column, of what belongs to no segment, to the means by their shares (s,)."""
    s = len(share)

    def given(rows: Array) -> Array:
        result = rows[:, :-1].copy()
        result[:, :s] += np.outer(rows[:, -1], share)
        return result

    def alone(rows: Array) -> Array:
        return rows[:, -1:]

    stated = [
        ThermalResponse(
            whole.expansion,
            {name: how(rows) for name, rows in whole.points.items()},
            {name: how(rows) for name, rows in whole.faces.items()},
            how(whole.reactions),
        )
        for how in (given, alone)
    ]
    return replace(stated[0], apart=stated[1])
