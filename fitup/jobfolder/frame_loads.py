"""Loads on a frame and the places at which its forces are watched, from their rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from fitup.errors import Problem
from fitup.frames import Array
from fitup.jobfolder.table import Row, record_of, unique
from fitup.model.actions import MemberLoad, NodeLoad, Place, Temperature
from fitup.model.frame import Member, Node

#: kind of load -> the columns that say how much
_OF_KIND: Final = {
    "node": ("down", "east", "north"),
    "point": ("down", "east", "north", "at"),
    "line": ("line", "at", "to"),
    "temperature": ("warmer", "top_warmer", "left_warmer"),
}
#: what is watched -> the columns of its limits
_LIMITS: Final = {
    "axial": "force",
    "shear": "force",
    "moment": "moment",
    "torsion": "moment",
    "stress": "stress",
}
#: tables without which a member cannot be made
MEMBERS_NEED: Final = frozenset(
    f"frame_{name}.csv" for name in ("nodes", "members", "sections", "materials")
)
Loads = tuple[tuple[NodeLoad, ...], tuple[MemberLoad, ...], tuple[Temperature, ...]]


def length_of(nodes: Mapping[str, Node], member: Member) -> float:
    """Return the flexible length of a member [m].

    Parameters
    ----------
    nodes : mapping of str to Node
        By id, both ends of the member among them.
    member : Member
    """
    start = nodes[member.i].position + member.offset_i
    return float(np.linalg.norm(nodes[member.j].position + member.offset_j - start))


def unknown_id(
    row: Row, column: str, home: str, problems: list[Problem], name: str | None = None
) -> None:
    """Refuse an id that its home table lacks, unless that table is broken and said so itself.

    Parameters
    ----------
    row : Row
    column : str
        Where the id stands.
    home : str
        File in which it should be.
    problems : list of Problem
        Searched for problems of that file, then added to.
    name : str, optional
        The id, where the cell lists several; None takes the whole cell.
    """
    sources = MEMBERS_NEED if home == "frame_members.csv" else {home}
    if not any(p.file in sources for p in problems):
        found = f"'{row[column] if name is None else name}'"
        problems.append(
            row.problem(column, found, f"an id of {home}", "correct it or add it there")
        )


def along_member(row: Row, length: float, problems: list[Problem], column: str = "at") -> None:
    """Refuse a place beyond the end of a member.

    Parameters
    ----------
    row : Row
    length : float
        Flexible length of the member [m].
    problems : list of Problem
        What is wrong is added to it.
    column : str
        Where the place along the member stands; its cell must be filled.
    """
    if row[column] > length + 1e-6:
        problems.append(
            row.problem(
                column,
                f"{row[column]:g} m on a member of {length:g} m",
                "a place on its flexible length",
                "correct it",
            )
        )


def read_loads(
    rows: list[Row],
    nodes: Mapping[str, Node],
    members: Mapping[str, Member],
    problems: list[Problem],
) -> Loads:
    """Return loads on nodes, loads on members and temperatures.

    Parameters
    ----------
    rows : list of Row
        Of ``frame_loads.csv``.
    nodes : mapping of str to Node
        By id.
    members : mapping of str to Member
        By id.
    problems : list of Problem
        What is wrong is added to it.
    """
    node_loads: list[NodeLoad] = []
    member_loads: list[MemberLoad] = []
    temperatures: list[Temperature] = []
    for row in unique(rows, problems, lambda r: r).values():
        kind, on = row["kind"], row["on"]
        before = len(problems)
        _only(row, problems)
        if on not in (nodes if kind == "node" else members):
            home = "frame_nodes.csv" if kind == "node" else "frame_members.csv"
            unknown_id(row, "on", home, problems)
        elif kind != "node":
            _along(row, length_of(nodes, members[on]), problems)
            _warm(row, members[on], problems)
        if len(problems) > before or on not in (nodes if kind == "node" else members):
            continue
        if kind == "node":
            values = np.concatenate([_force(row), np.zeros(3)])
            node_loads.append(record_of(NodeLoad, row, node=on, values=values))
        elif kind == "point":
            member_loads.append(record_of(MemberLoad, row, member=on, values=_force(row)))
        elif kind == "line":
            end = length_of(nodes, members[on]) if row["to"] is None else row["to"]
            down = np.array([0.0, 0.0, -row["line"]])
            member_loads.append(
                record_of(MemberLoad, row, member=on, values=down, start=row["at"] or 0.0, end=end)
            )
        else:
            temperatures.append(record_of(Temperature, row, member=on))
    return tuple(node_loads), tuple(member_loads), tuple(temperatures)


def _force(row: Row) -> Array:
    return np.array([row["east"], row["north"], -row["down"]])


def _only(row: Row, problems: list[Problem]) -> None:
    """Refuse amounts that do not belong to the kind of load, and a load without any."""
    own = _OF_KIND[row["kind"]]
    for column in sorted({c for columns in _OF_KIND.values() for c in columns} - set(own)):
        if row[column]:
            problems.append(
                row.problem(
                    column,
                    f"a value for a load of kind {row['kind']}",
                    f"only {', '.join(own)} for this kind",
                    "clear it or correct the kind",
                )
            )
    needed = {"point": "at", "line": "line"}.get(row["kind"])
    if needed and row[needed] is None:
        problems.append(row.problem(needed, "an empty cell", "a number", "fill it in"))
    elif not any(row[c] for c in own if c not in ("at", "to")):
        problems.append(row.problem(own[0], "a load of nothing", "an amount", "give how much"))


def _along(row: Row, length: float, problems: list[Problem]) -> None:
    end = row["to"]
    for column in ("at", "to"):
        if row[column] is not None:
            along_member(row, length, problems, column)
    if end is not None and end <= (row["at"] or 0.0):
        problems.append(row.problem("to", f"{end:g} m, not beyond at", "beyond at", "correct one"))


def _warm(row: Row, member: Member, problems: list[Problem]) -> None:
    for column, size in (("top_warmer", "depth"), ("left_warmer", "width")):
        if row[column] and getattr(member, size) == 0.0:
            problems.append(
                row.problem(
                    column,
                    f"a difference through a section without {size}",
                    f"a section with {size}",
                    f"give {size} in frame_sections.csv",
                )
            )
    if row["kind"] == "temperature" and member.expansion == 0.0:
        problems.append(
            row.problem(
                "on",
                f"member {member.id}, whose material does not expand",
                "a material with expansion",
                "give expansion in frame_materials.csv",
            )
        )


def read_places(
    rows: list[Row],
    nodes: Mapping[str, Node],
    members: Mapping[str, Member],
    problems: list[Problem],
) -> dict[str, Place]:
    """Return the places at which forces, moments or stresses are watched.

    Parameters
    ----------
    rows : list of Row
        Of ``frame_places.csv``.
    nodes : mapping of str to Node
        By id.
    members : mapping of str to Member
        By id.
    problems : list of Problem
        What is wrong is added to it.

    Returns
    -------
    dict of str to Place
        By id.
    """
    return unique(rows, problems, lambda r: _place(r, nodes, members, problems))


def _place(
    row: Row,
    nodes: Mapping[str, Node],
    members: Mapping[str, Member],
    problems: list[Problem],
) -> Place | None:
    before = len(problems)
    quantity = row["quantity"]
    kind = _LIMITS[quantity]
    if row["member"] not in members:
        unknown_id(row, "member", "frame_members.csv", problems)
    else:
        along_member(row, length_of(nodes, members[row["member"]]), problems)
    others = {f"{k}_{side}" for k in set(_LIMITS.values()) - {kind} for side in ("least", "most")}
    others |= set() if quantity == "stress" else {"left", "up"}
    for column in sorted(c for c in others if row[c] is not None):
        problems.append(
            row.problem(
                column,
                f"a value for {quantity}",
                f"limits of {quantity}: {kind}_least, {kind}_most",
                "move the number",
            )
        )
    least, most = row[f"{kind}_least"], row[f"{kind}_most"]
    least = -np.inf if least is None else least
    most = np.inf if most is None else most
    if most <= least:
        problems.append(
            row.problem(f"{kind}_most", f"not above {kind}_least", "above it", "correct one")
        )
    if len(problems) > before or row["member"] not in members:
        return None
    return record_of(Place, row, least=least, most=most)
