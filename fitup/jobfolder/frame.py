"""The tables of a frame as a frame: names that must exist, lengths, directions, magnitudes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from fitup.errors import Problem
from fitup.frames import Array
from fitup.jobfolder.frame_loads import (
    along_member,
    length_of,
    read_loads,
    read_places,
    unknown_id,
)
from fitup.jobfolder.table import Row, record_of, unique
from fitup.model.frame import (
    MOTIONS,
    RELEASES,
    Body,
    FrameModel,
    FrameSeat,
    Material,
    Member,
    Node,
    PointTie,
    Section,
    Spring,
    Tie,
)
from fitup.model.seats import Seat

Rows = Mapping[str, list[Row]]
#: modulus of anything a bridge is made of, from timber to steel [Pa]
_E_LEAST, _E_MOST = 1e9, 1e12
#: shorter is no member [m]
_SHORT = 1e-3


def read_frame(
    tables: Rows, segments: Mapping[str, object], seats: Mapping[str, Seat], problems: list[Problem]
) -> FrameModel:
    """Return the frame of the rows of its tables.

    Parameters
    ----------
    tables : mapping of str to list of Row
        By file name; tables that may be left out may be missing.
    segments : mapping
        Its keys are the ids of the job's segments.
    seats : mapping of str to Seat
        Of the job, by id.
    problems : list of Problem
        What is wrong is added to it.
    """
    nodes = unique(tables["frame_nodes.csv"], problems, lambda r: _node(r, problems))
    sections = unique(tables["frame_sections.csv"], problems, lambda r: _section(r, problems))
    materials = unique(tables["frame_materials.csv"], problems, lambda r: _material(r, problems))
    known: dict[str, Mapping[str, Any]] = {
        "i": nodes,
        "j": nodes,
        "section": sections,
        "material": materials,
    }
    members = unique(
        tables["frame_members.csv"],
        problems,
        lambda r: _member(r, known, segments, problems),
    )
    bodies = unique(
        tables.get("frame_bodies.csv", []), problems, lambda r: _body(r, nodes, problems)
    )
    _led_once(tables.get("frame_bodies.csv", []), bodies, problems)
    node_loads, member_loads, temperatures = read_loads(
        tables.get("frame_loads.csv", []), nodes, members, problems
    )
    for file, column in (("frame_seats.csv", "seat"), ("frame_ties.csv", "point")):
        _once(tables.get(file, []), column, problems)
    return FrameModel(
        nodes=nodes,
        members=members,
        springs=unique(
            tables.get("frame_springs.csv", []), problems, lambda r: _spring(r, nodes, problems)
        ),
        bodies=bodies,
        node_loads=node_loads,
        member_loads=member_loads,
        temperatures=temperatures,
        places=read_places(tables.get("frame_places.csv", []), nodes, members, problems),
        seats={
            s.seat: s
            for s in _seats(tables.get("frame_seats.csv", []), nodes, members, seats, problems)
        },
        ties={
            t.point: t.tie
            for t in _point_ties(tables.get("frame_ties.csv", []), nodes, members, problems)
        },
    )


def _once(rows: list[Row], column: str, problems: list[Problem]) -> None:
    first: dict[str, int] = {}
    for row in rows:
        if first.setdefault(row[column], row.number) != row.number:
            found = f"'{row[column]}' again (first in row {first[row[column]]})"
            problems.append(row.problem(column, found, f"each {column} once", "delete one"))


def _node(row: Row, problems: list[Problem]) -> Node:
    fixed: set[int] = set()
    for word in row["fixed"]:
        if word == "all":
            fixed |= set(range(6))
        elif word in MOTIONS:
            fixed.add(MOTIONS.index(word))
        else:
            allowed = ", ".join(MOTIONS) + ", or all"
            problems.append(row.problem("fixed", f"'{word}'", allowed, "correct it"))
    return record_of(Node, row, fixed=frozenset(fixed))


def _section(row: Row, problems: list[Problem]) -> Section:
    """Hold each second moment against the depth or width it belongs to."""
    for moment, size in (("bending", "depth"), ("sideways", "width")):
        if row[size] is None:
            continue
        radius = float(np.sqrt(row[moment] / row["area"]))
        if not 0.05 * row[size] <= radius <= 0.5 * row[size]:
            problems.append(
                row.problem(
                    moment,
                    f"a radius of gyration of {radius:.3g} m in a {size} of {row[size]:.3g} m",
                    f"{0.05 * row[size]:.3g} to {0.5 * row[size]:.3g} m",
                    f"check area, {moment} and {size}, and their units",
                )
            )
    return record_of(Section, row)


def _material(row: Row, problems: list[Problem]) -> Material:
    if not _E_LEAST <= row["E"] <= _E_MOST:
        problems.append(
            row.problem(
                "E",
                f"a modulus of {row['E'] / 1e9:.3g} GPa",
                f"{_E_LEAST / 1e9:g} to {_E_MOST / 1e9:g} GPa",
                "check the unit: steel has about 210 GPa, concrete about 35",
            )
        )
    return record_of(Material, row)


_HOMES: Final = {
    "i": "frame_nodes.csv",
    "j": "frame_nodes.csv",
    "section": "frame_sections.csv",
    "material": "frame_materials.csv",
}


def _member(
    row: Row,
    known: Mapping[str, Mapping[str, Any]],
    segments: Mapping[str, object],
    problems: list[Problem],
) -> Member | None:
    missing = [c for c in _HOMES if row[c] not in known[c]]
    for column in missing:
        unknown_id(row, column, _HOMES[column], problems)
    if row["segment"] and row["segment"] not in segments:
        unknown_id(row, "segment", "segments.csv", problems)
    if missing:
        return None
    offsets = [np.array([row[f"offset_{end}_{axis}"] for axis in "ENH"]) for end in "ij"]
    ends = [known[c][row[c]].position + o for c, o in zip("ij", offsets, strict=True)]
    length = float(np.linalg.norm(ends[1] - ends[0]))
    if length < _SHORT:
        problems.append(
            row.problem(
                "j",
                f"a member {length * 1e3:.3g} mm long",
                "two ends apart",
                "name another node, correct its place, or use frame_bodies.csv",
            )
        )
        return None
    up = _up(row, (ends[1] - ends[0]) / length, problems)
    section: Section = known["section"][row["section"]]
    material: Material = known["material"][row["material"]]
    return record_of(
        Member,
        row,
        E=material.E,
        G=material.G,
        A=section.area,
        Iy=section.bending,
        Iz=section.sideways,
        J=section.torsion,
        Asy=section.shear_sideways,
        Asz=section.shear_area,
        up=up,
        releases=frozenset(_releases(row, problems)),
        weight=material.unit_weight * section.area,
        expansion=material.expansion,
        depth=section.depth or 0.0,
        width=section.width or 0.0,
    )


def _up(row: Row, along: Array, problems: list[Problem]) -> Array:
    given = [row["up_E"], row["up_N"], row["up_H"]]
    filled = any(v is not None for v in given)
    up = np.array([v or 0.0 for v in given]) if filled else np.array([0.0, 0.0, 1.0])
    size = float(np.linalg.norm(up))
    if size == 0.0 or float(np.linalg.norm(np.cross(along, up))) < 1e-3 * size:
        problems.append(
            row.problem(
                "up_E",
                "an up direction along the member" if size else "an up direction without length",
                "a direction across it; empty is straight up",
                "give up_E, up_N and up_H",
            )
        )
    return up


def _releases(row: Row, problems: list[Problem]) -> Iterator[int]:
    for first, column in ((0, "release_i"), (6, "release_j")):
        for word in row[column]:
            if word in RELEASES:
                yield first + RELEASES.index(word)
            else:
                allowed = ", ".join(RELEASES)
                problems.append(row.problem(column, f"'{word}'", allowed, "correct it"))


def _spring(row: Row, nodes: Mapping[str, Node], problems: list[Problem]) -> Spring | None:
    before = len(problems)
    for column in ("node", "other"):
        if row[column] is not None and row[column] not in nodes:
            unknown_id(row, column, "frame_nodes.csv", problems)
    axis = np.array([row["axis_E"], row["axis_N"], row["axis_H"]])
    if not np.linalg.norm(axis) > 0.0:
        problems.append(row.problem("axis_E", "no direction", "axis_E, axis_N, axis_H", "give one"))
    if (row["stiffness"] is None) == (row["turning"] is None):
        problems.append(
            row.problem("stiffness", "not one of the two", "stiffness or turning", "give one")
        )
    turns = row["turning"] is not None
    if row["holds"] and (turns or not row["temporary"]):
        problems.append(
            row.problem(
                "holds",
                "a force that nothing releases",
                "for a temporary spring along its axis only",
                "clear it, or say temporary = yes",
            )
        )
    if len(problems) > before:
        return None
    k = row["turning"] if turns else row["stiffness"]
    return record_of(Spring, row, stiffness=k, turns=turns)


def _body(row: Row, nodes: Mapping[str, Node], problems: list[Problem]) -> Body | None:
    names = tuple(row["nodes"])
    before = len(problems)
    for name in names:
        if name not in nodes:
            unknown_id(row, "nodes", "frame_nodes.csv", problems, name)
    if len(set(names)) < 2 or len(set(names)) < len(names):
        problems.append(
            row.problem(
                "nodes",
                f"'{' '.join(names)}'",
                "two or more different nodes",
                "name more, or delete it",
            )
        )
    for name in names[1:]:
        if name in nodes and nodes[name].fixed:
            problems.append(
                row.problem(
                    "nodes",
                    f"'{name}', which the ground holds, but not as the leading node",
                    "held motions at the first node only",
                    "name it first, or hold the body by a spring",
                )
            )
    return record_of(Body, row) if len(problems) == before else None


def _led_once(rows: list[Row], bodies: Mapping[str, Body], problems: list[Problem]) -> None:
    home: dict[str, str] = {}
    for row in rows:
        for name in bodies[row["id"]].nodes if row["id"] in bodies else ():
            if home.setdefault(name, row["id"]) != row["id"]:
                problems.append(
                    row.problem(
                        "nodes",
                        f"'{name}', which is in body {home[name]}",
                        "each node in one body",
                        "join the two",
                    )
                )


def _tie(
    row: Row, nodes: Mapping[str, Node], members: Mapping[str, Member], problems: list[Problem]
) -> Tie:
    if row["node"] is not None and (row["member"] is not None or row["at"] is not None):
        problems.append(row.problem("node", "a node and a member", "one of them", "clear one"))
    if row["node"] is not None and row["node"] not in nodes:
        unknown_id(row, "node", "frame_nodes.csv", problems)
    if row["member"] is not None and row["member"] not in members:
        unknown_id(row, "member", "frame_members.csv", problems)
    if row["at"] is not None and row["member"] in members:
        along_member(row, length_of(nodes, members[row["member"]]), problems)
    if row["at"] is not None and row["member"] is None:
        problems.append(row.problem("at", "a length without a member", "both", "name the member"))
    return record_of(Tie, row)


def _point_ties(
    rows: list[Row],
    nodes: Mapping[str, Node],
    members: Mapping[str, Member],
    problems: list[Problem],
) -> Iterator[PointTie]:
    for row in rows:
        yield record_of(PointTie, row, tie=_tie(row, nodes, members, problems))


def _seats(
    rows: list[Row],
    nodes: Mapping[str, Node],
    members: Mapping[str, Member],
    seats: Mapping[str, Seat],
    problems: list[Problem],
) -> Iterator[FrameSeat]:
    for row in rows:
        tie = _tie(row, nodes, members, problems)
        seat = seats.get(row["seat"])
        if seat is None:
            unknown_id(row, "seat", "seats.csv", problems)
            continue
        if row["gap"] > 0.0 and seat.reaction_now:
            problems.append(
                row.problem(
                    "gap",
                    f"an opening at seat {seat.id}, which carries {seat.reaction_now / 1e3:.0f} kN",
                    "an opening or a load",
                    "clear gap here or reaction_now in seats.csv",
                )
            )
        one_way = seat.only_pushes if row["one_way"] is None else row["one_way"]
        yield record_of(FrameSeat, row, one_way=one_way, tie=tie)
