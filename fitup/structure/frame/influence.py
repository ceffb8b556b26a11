"""Influence of the seats from a frame: checks move as the points tied to it do."""

from __future__ import annotations

from dataclasses import replace
from typing import Final, Literal

import numpy as np

from fitup.checks import checks_of, parts_of
from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model import Check, ForceRow, Job
from fitup.model.actions import Place
from fitup.model.frame import FrameModel, FrameSeat, Member, Tie
from fitup.structure.cable.forces import (
    cables_by_id,
    grip_forces,
    grip_now,
    pulled,
    tension_force,
)
from fitup.structure.cable.saddle import require_grip
from fitup.structure.contact import Contact
from fitup.structure.frame.balance import balance_of
from fitup.structure.frame.lifting import Lifting
from fitup.structure.frame.mesh import flexible, nearest
from fitup.structure.frame.solved import SolvedFrame, section_forces, solve_frame, stand
from fitup.structure.settle import settle

#: what is watched -> (kind, words for a positive and a negative value)
FORCES: Final[dict[str, tuple[Literal["force", "moment", "stress"], tuple[str, str]]]] = {
    "axial": ("force", ("tension", "compression")),
    "shear": ("force", ("ahead part pushes up", "ahead part pushes down")),
    "moment": ("moment", ("sagging", "hogging")),
    "torsion": ("moment", ("ahead part turns left edge up", "ahead part turns right edge up")),
    "stress": ("stress", ("tension", "compression")),
}


def frame_of(job: Job) -> FrameModel:
    """Return the frame of a job.

    Raises
    ------
    StructureError
        If it has none.
    """
    if job.frame is None:
        raise StructureError(
            "this job has no frame; give frame_nodes.csv, frame_members.csv, frame_sections.csv "
            "and frame_materials.csv in the job folder"
        )
    return job.frame


def seat_in_frame(job: Job, name: str) -> FrameSeat:
    """Return what the frame knows of a seat; a seat that may not pull is one-way.

    Parameters
    ----------
    job : Job
    name : str
        Id of a seat of the job; it need not be in the frame's own table of seats.

    Raises
    ------
    StructureError
        If the job has no frame.
    """
    own = frame_of(job).seats.get(name)
    if own is not None:
        return own
    return FrameSeat(name, job.seats[name].only_pushes)


def ties_of(job: Job) -> dict[str, tuple[Tie, Array]]:
    """Return where every seat (``seat/ID``) and check point (``point/ID``) is tied."""
    model = frame_of(job)
    ties: dict[str, tuple[Tie, Array]] = {}
    for seat in job.seats.values():
        own = seat_in_frame(job, seat.id).tie
        ties[f"seat/{seat.id}"] = _tie(model, own, seat.segment, seat.position)
    for point in job.points.values():
        own = model.ties.get(point.id, Tie())
        ties[f"point/{point.id}"] = _tie(model, own, point.segment, point.design)
    return ties


def _tie(model: FrameModel, own: Tie, segment: str, position: Array) -> tuple[Tie, Array]:
    if own.node is not None:
        return own, position
    if own.member is None:
        return nearest(model, segment, position), position
    if own.at is not None:
        return own, position
    start, end = flexible(model, model.members[own.member])
    line = end - start
    length = float(np.linalg.norm(line))
    at = float(np.clip((position - start) @ line / length, 0.0, length))
    return Tie(member=own.member, at=at), position


def solve_job(job: Job) -> SolvedFrame:
    """Solve the frame of a job on its seats: linear, or about the state in which its cables hang.

    Raises
    ------
    StructureError
        If it can move by itself, finds no rest, or a cable slips over its saddle already.
    """
    model, seats = frame_of(job), tuple(job.seats.values())
    if not model.cables:
        return solve_frame(model, seats, ties_of(job))
    own = [seat_in_frame(job, seat.id) for seat in seats]
    one_way = np.array([s.one_way for s in own])
    settings = np.array([s.setting for s in own])
    mesh, feet = stand(model, seats, ties_of(job))
    solved = settle(mesh, feet, tuple(job.seats), one_way, settings)
    require_grip([grip_now(solved, saddle) for saddle in model.saddles.values()])
    return solved


def solve_moved(job: Job, first: SolvedFrame, x: Array) -> SolvedFrame:
    """Solve a frame with cables again with its seats moved from the surveyed state.

    Parameters
    ----------
    job : Job
    first : SolvedFrame
        The surveyed state, from which the search for rest begins.
    x : Array (n,)
        Move of every seat from there, in the order of the job [m].

    Raises
    ------
    StructureError
        If it finds no rest, the seats that can only push cannot carry it, or a cable slips over its
        saddle.
    """
    own = [seat_in_frame(job, name) for name in job.seats]
    one_way = np.array([s.one_way for s in own])
    settings = np.array([s.setting for s in own])
    system = first.mesh.system
    bare = replace(system, elements=system.elements[: -len(first.seats)])
    feet = tuple(foot.moved(0.0) for foot in first.seats)
    mesh = replace(first.mesh, system=bare)
    there = settle(mesh, feet, tuple(job.seats), one_way, settings + x, first)
    require_grip([grip_now(there, saddle) for saddle in frame_of(job).saddles.values()])
    return there


def lifting_moved(job: Job, first: SolvedFrame, there: SolvedFrame, x: Array) -> Lifting:
    """Return how a frame with cables answers about a state with its seats moved.

    Present loads that were measured stay what they are: it is the change from the surveyed state
    that is computed.

    Parameters
    ----------
    job : Job
    first : SolvedFrame
        The surveyed state.
    there : SolvedFrame
        The state with the seats moved by ``x``; see :func:`solve_moved`.
    x : Array (n,)
        Move of every seat from the surveyed state [m].

    Raises
    ------
    StructureError
        If the seats that can only push cannot carry the structure in the surveyed state.
    """
    surveyed = lifting_of(job, first)
    names, settings = surveyed.contact.seats, np.array([seat_in_frame(job, n).setting for n in
                                                        job.seats])  # fmt: skip
    (q, R), (q0, R0) = there.reactions(), first.reactions()
    still = surveyed.contact.at(np.zeros(len(x)))
    gained = (q + R @ there.at) - (q0 + R0 @ first.at)
    # openings measured now stand apart from those computed by as much then
    opened = there.at - settings - x + still.openings - (first.at - settings)
    start, loads = x + opened, still.reactions + gained
    checks = checks_of(job)
    A = np.array([_row(job, there, check) for check in checks]).reshape(len(checks), len(names))
    base = np.array([_moved(job, first, there, check) for check in checks])
    built = np.linalg.lstsq(R0, still.reactions - q0, rcond=1e-12)[0] + there.at - first.at
    forces = _forces(job, there, built)
    balance = balance_of(there, frame_of(job), moments=False).since(loads, start)
    contact = Contact(names, surveyed.contact.one_way, loads - R @ start, R, balance)
    return Lifting(surveyed.checks, contact, A, forces, start, base)


def _moved(job: Job, first: SolvedFrame, there: SolvedFrame, check: Check) -> float:
    """Change of a check from one state of a frame with cables to another."""
    if check.quantity == "tension":
        own = frame_of(job).cables.get(check.subject)
        if own is None:
            return 0.0
        ends = [pulled(s, cables_by_id(s)[own.id], own.j).now for s in (first, there)]
        return ends[1] - ends[0]
    return float(follows(job, there, check, there.about - first.about))


def lifting_of(job: Job, solved: SolvedFrame) -> Lifting:
    """Return how the frame of a job answers to its seats, lift-off included.

    Parameters
    ----------
    job : Job
    solved : SolvedFrame
        Its frame in the surveyed state; see :func:`solve_job`.

    Raises
    ------
    StructureError
        If the seats that can only push cannot carry the structure.
    """
    checks = checks_of(job)
    q, R = solved.reactions()
    names = tuple(job.seats)
    own = [seat_in_frame(job, name) for name in names]
    one_way = np.array([s.one_way for s in own])
    balance = balance_of(solved, frame_of(job), moments=not frame_of(job).cables)
    r0, start = _present(job, Contact(names, one_way, q, R, balance), own)
    A = np.array([_row(job, solved, check) for check in checks]).reshape(len(checks), len(names))
    # present loads that were measured stand for how the deck was really built
    contact = Contact(names, one_way, r0 - R @ start, R, balance.since(r0, start))
    # the effective moves that bring the present reactions, measured ones too
    built = np.linalg.lstsq(R, r0 - q, rcond=1e-12)[0]
    forces = _forces(job, solved, built)
    return Lifting(tuple(c.id for c in checks), contact, A, forces, start)


def _forces(job: Job, solved: SolvedFrame, built: Array) -> tuple[ForceRow, ...]:
    """Watched forces, tensions and grips; ``built`` are the effective moves (n,) of the frame."""
    model = frame_of(job)
    return (
        *(_force(solved, place, built) for place in model.places.values()),
        *(tension_force(solved, cable, built) for cable in model.cables.values()),
        *(row for s in model.saddles.values() for row in grip_forces(solved, s, built)),
    )


def _present(job: Job, computed: Contact, own: list[FrameSeat]) -> tuple[Array, Array]:
    """Reactions [N] and openings [m] (n,) in the surveyed state: measured, else computed."""
    touch = computed.at(np.array([s.setting for s in own]))
    r0, openings = touch.reactions.copy(), touch.openings.copy()
    for i, seat in enumerate(own):
        measured = job.seats[seat.seat].reaction_now
        if seat.gap > 0.0:
            r0[i], openings[i] = 0.0, seat.gap
        elif measured is not None:
            r0[i], openings[i] = measured, 0.0
    return r0, openings


def _row(job: Job, solved: SolvedFrame, check: Check) -> Array:
    """Change of a check for a unit move of every seat (n,), all seats two-way."""
    if check.quantity == "tension":
        cables, model = cables_by_id(solved), frame_of(job)
        if check.subject not in cables:
            return np.zeros(len(solved.seats))
        return pulled(solved, cables[check.subject], model.cables[check.subject].j).row
    return follows(job, solved, check, solved.moves)


def follows(job: Job, solved: SolvedFrame, check: Check, motions: Array) -> Array:
    """Return the change of a check whose points go with given motions of the nodes.

    Parameters
    ----------
    job, solved, check
    motions : Array (6 n,) or (6 n, k)
        Of all nodes, one set or k of them [m, rad].

    Returns
    -------
    Array () or (k,)
        In the unit of the check.
    """
    part = parts_of(job, check)
    change = np.zeros(motions.shape[1:])
    for name, along in part.points.items():
        change = change + along @ solved.shift(f"point/{name}", motions)
    for segment, about in part.turns.items():
        change = change + about @ face_turn(job, solved, check.joint, segment, motions)
    return change


def face_turn(job: Job, solved: SolvedFrame, joint: str, segment: str, motions: Array) -> Array:
    """Return the turn of a segment's face at a joint: the mean over its points.

    Parameters
    ----------
    job, solved
    joint, segment : str
        Ids of the joint and of one of its two segments.
    motions : Array (6 n,) or (6 n, k)
        Of all nodes, one set or k of them [m, rad].

    Returns
    -------
    Array (3,) or (3, k)
        About the axes of the grid [rad].
    """
    names = [
        name
        for pair in job.pairs_of(joint)
        for name in (pair.back_point, pair.ahead_point)
        if job.points[name].segment == segment
    ]
    return np.mean([solved.turn(f"point/{n}", motions) for n in names], axis=0)


def _force(solved: SolvedFrame, place: Place, present: Array) -> ForceRow:
    member = solved.mesh.pieces[place.member][0].member
    slopes = [
        watched(section_forces(solved, place, column, loaded=False), place, member)
        for column in solved.moves.T
    ]
    row = np.array(slopes)
    still = watched(section_forces(solved, place, solved.still, loaded=True), place, member)
    kind, words = FORCES[place.quantity]
    now = still + float(row @ present)
    return ForceRow(place.id, kind, words, now, row, place.least, place.most)


def watched(forces: Array, place: Place, member: Member) -> float:
    """Return what is watched at a place: a force [N], a moment [N m] or a stress [Pa].

    Parameters
    ----------
    forces : Array (6,)
        Section forces as :func:`section_forces` orders them [N, N m].
    place : Place
        Says which quantity, and at which fibre a stress.
    member : Member
        Its area and second moments turn forces into a stress.

    Returns
    -------
    float
        Tension and sagging are positive.
    """
    axial, _, shear, torsion, about_y, about_z = (float(f) for f in forces)
    if place.quantity == "stress":
        bending = about_y * place.z / member.Iy - about_z * place.y / member.Iz
        return axial / member.A + bending
    # a moment about y presses the bottom; sagging stretches it
    return {"axial": axial, "shear": shear, "moment": -about_y, "torsion": torsion}[place.quantity]
