"""Read the tables of towers, tensions, cables and saddles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.frame_loads import unknown_id
from fitup.jobfolder.table import Row, record_of, unique
from fitup.model import CheckPoint, Job, Seat
from fitup.model.cables import FrameCable, FrameSaddle, Lean, Tension
from fitup.model.frame import FrameModel, Node

#: shorter is no cable [m]
_SHORT = 1e-3


def of_stage(rows: list[Row], stage: str, problems: list[Problem]) -> list[Row]:
    """Return the rows for the stage of the work that is planned, and those for every stage.

    Parameters
    ----------
    rows : list of Row
        Of a table with a column ``stage``.
    stage : str
        The stage that ``job.toml`` names; empty where it names none.
    problems : list of Problem
        What is wrong is added to it.
    """
    stated = next((row for row in rows if row["stage"]), None)
    if stated is not None and not stage:
        problems.append(
            stated.problem(
                "stage",
                f"'{stated['stage']}', but job.toml names no stage",
                "empty, or a stage that job.toml names",
                "say in job.toml which stage is planned now",
            )
        )
    return [row for row in rows if not row["stage"] or row["stage"] == stage]


def lean_of(row: Row, problems: list[Problem]) -> Lean | None:
    """Return a tower's lean, its amount and side put together; ahead is positive.

    Parameters
    ----------
    row : Row
        Of ``leans.csv``.
    problems : list of Problem
        What is wrong is added to it.

    Returns
    -------
    Lean or None
        None where amount and side contradict each other.
    """
    amount, side = row["amount"], row["side"]
    if (amount == 0.0) != (side == "plumb"):
        problems.append(
            row.problem(
                "side",
                f"'{side}' with {'no' if amount == 0.0 else 'an'} amount",
                "plumb with 0, else ahead or back",
                "correct one of them",
            )
        )
        return None
    target = -amount if side == "back" else amount
    return record_of(Lean, row, target=target)


def check_leans(
    rows: list[Row],
    points: Mapping[str, CheckPoint],
    problems: list[Problem],
) -> None:
    """Find what the points of a tower do not allow.

    Parameters
    ----------
    rows : list of Row
        Of ``leans.csv``.
    points : mapping of str to CheckPoint
        By id.
    problems : list of Problem
        What is wrong is added to it.
    """
    for row in rows:
        known = True
        for column in ("head", "foot"):
            if row[column] not in points:
                known = False
                problems.append(
                    row.problem(
                        column,
                        f"'{row[column]}'",
                        "an id of points.csv",
                        "correct it or add it there",
                    )
                )
        if not known:
            continue
        head, foot = points[row["head"]], points[row["foot"]]
        if head.segment != foot.segment:
            problems.append(
                row.problem(
                    "foot",
                    f"'{foot.id}' of segment {foot.segment}",
                    f"a point of {head.segment}, as the head",
                    "name points of one tower",
                )
            )
        elif head.design[2] - foot.design[2] < 1.0:
            problems.append(
                row.problem(
                    "head",
                    f"'{head.id}', not 1 m above '{foot.id}'",
                    "a head above the foot",
                    "exchange them or correct their heights in points.csv",
                )
            )


def cables_of(
    rows: list[Row],
    nodes: Mapping[str, Node],
    tensions: Mapping[str, Tension],
    seats: Mapping[str, Seat],
    problems: list[Problem],
) -> dict[str, FrameCable]:
    """Return the cables of a frame by name.

    Parameters
    ----------
    rows : list of Row
        Of ``frame_cables.csv``.
    nodes : mapping of str to Node
        By id.
    tensions : mapping of str to Tension
        As measured, by cable; taken where a row states neither length nor tension.
    seats : mapping of str to Seat
        Of the job, by id.
    problems : list of Problem
        What is wrong is added to it.
    """
    cables = unique(rows, problems, lambda r: _cable(r, nodes, tensions, seats, problems))
    _one_each(rows, problems)
    return cables


def _cable(
    row: Row,
    nodes: Mapping[str, Node],
    tensions: Mapping[str, Tension],
    seats: Mapping[str, Seat],
    problems: list[Problem],
) -> FrameCable | None:
    before = len(problems)
    for column in ("i", "j"):
        if row[column] not in nodes:
            unknown_id(row, column, "frame_nodes.csv", problems)
    _apart(row, nodes, problems)
    seat = seats.get(row["seat"] or "")
    if row["seat"] is not None and seat is None:
        unknown_id(row, "seat", "seats.csv", problems)
    if seat is not None and seat.pushes != "shorten":
        problems.append(
            row.problem(
                "seat",
                f"'{seat.id}', which pushes {seat.pushes}",
                "a seat that pushes shorten",
                "correct it here or in seats.csv",
            )
        )
    tension = row["tension"]
    if row["length"] is None and tension is None and row["id"] in tensions:
        tension = tensions[row["id"]].value
    if (row["length"] is None) == (tension is None):
        found = "neither length nor tension" if tension is None else "length and tension"
        problems.append(
            row.problem(
                "length",
                found,
                "one of them; or its tension measured in tensions.csv",
                "give how long it is unstressed, or how much it pulls",
            )
        )
    if tension is not None and tension <= 0.0:
        problems.append(
            row.problem(
                "tension",
                f"{tension / 1e3:g} kN, in compression at the start",
                "above zero: a cable only pulls",
                "correct it",
            )
        )
    most = row["tension_most"]
    if most is not None and most <= row["tension_least"]:
        problems.append(
            row.problem(
                "tension_most", "not above tension_least", "above tension_least", "correct one"
            )
        )
    if len(problems) > before:
        return None
    strain = row["expansion"] * row["warmer"]
    return record_of(FrameCable, row, EA=row["E"] * row["area"], tension=tension, strain=strain)


def _apart(row: Row, nodes: Mapping[str, Node], problems: list[Problem]) -> None:
    """Hold the ends of a cable against each other, and its unstressed length against both."""
    if row["i"] not in nodes or row["j"] not in nodes:
        return
    chord = float(np.linalg.norm(nodes[row["j"]].position - nodes[row["i"]].position))
    if chord < _SHORT:
        problems.append(
            row.problem(
                "j",
                f"a cable {chord * 1e3:.3g} mm long between its ends",
                "two ends apart",
                "name another node or correct its place",
            )
        )
    elif row["length"] is not None and not 0.9 * chord <= row["length"] <= 2.0 * chord:
        problems.append(
            row.problem(
                "length",
                f"{row['length']:.4g} m of cable between ends {chord:.4g} m apart",
                f"{0.9 * chord:.4g} to {2.0 * chord:.4g} m",
                "check its unit and the nodes",
            )
        )


def _one_each(rows: list[Row], problems: list[Problem]) -> None:
    """A seat shortens one cable."""
    first: dict[str, str] = {}
    for row in rows:
        seat = row["seat"]
        if seat is not None and first.setdefault(seat, row["id"]) != row["id"]:
            problems.append(
                row.problem(
                    "seat",
                    f"'{seat}', which shortens cable {first[seat]}",
                    "a seat for each cable",
                    "give it its own",
                )
            )


def saddles_of(
    rows: list[Row],
    nodes: Mapping[str, Node],
    cables: Mapping[str, FrameCable],
    seats: Mapping[str, Seat],
    problems: list[Problem],
) -> dict[str, FrameSaddle]:
    """Return the saddles of a frame by name.

    Parameters
    ----------
    rows : list of Row
        Of ``frame_saddles.csv``.
    nodes : mapping of str to Node
        By id.
    cables : mapping of str to FrameCable
        By id.
    seats : mapping of str to Seat
        Of the job, by id.
    problems : list of Problem
        What is wrong is added to it.
    """
    return unique(rows, problems, lambda r: _saddle(r, nodes, cables, seats, problems))


def _saddle(
    row: Row,
    nodes: Mapping[str, Node],
    cables: Mapping[str, FrameCable],
    seats: Mapping[str, Seat],
    problems: list[Problem],
) -> FrameSaddle | None:
    before = len(problems)
    for column in ("node", "on"):
        if row[column] is not None and row[column] not in nodes:
            unknown_id(row, column, "frame_nodes.csv", problems)
    for column in ("back", "ahead"):
        cable = cables.get(row[column])
        if cable is None:
            unknown_id(row, column, "frame_cables.csv", problems)
        elif row["node"] not in (cable.i, cable.j):
            problems.append(
                row.problem(
                    column,
                    f"'{cable.id}', which runs from {cable.i} to {cable.j}",
                    f"a cable that ends at {row['node']}",
                    "correct it here or in frame_cables.csv",
                )
            )
    seat = seats.get(row["seat"] or "")
    if row["seat"] is not None and seat is None:
        unknown_id(row, "seat", "seats.csv", problems)
    if (row["seat"] is None) != (row["on"] is None) or row["on"] == row["node"]:
        problems.append(
            row.problem(
                "on",
                "seat and on do not go together",
                "both, on being another node; or neither, for a saddle that is fixed",
                "say what the saddle slides on",
            )
        )
    if seat is not None and seat.pushes == "shorten":
        problems.append(
            row.problem(
                "seat",
                f"'{seat.id}', which shortens a cable",
                "a seat that pushes",
                "correct it here or in seats.csv",
            )
        )
    if len(problems) > before:
        return None
    return record_of(FrameSaddle, row)


def with_cables(
    frame: FrameModel,
    tables: Mapping[str, list[Row]],
    job: Job,
    seat_rows: list[Row],
    problems: list[Problem],
) -> FrameModel:
    """Return a frame with its cables and saddles.

    Parameters
    ----------
    frame : FrameModel
    tables : mapping of str to list of Row
        Those of the frame, by file name.
    job : Job
    seat_rows : list of Row
        Of ``seats.csv``.
    problems : list of Problem
        What is wrong is added to it.
    """
    rows = tables.get("frame_cables.csv", [])
    cables = cables_of(rows, frame.nodes, job.tensions, job.seats, problems)
    saddles = saddles_of(
        tables.get("frame_saddles.csv", []), frame.nodes, cables, job.seats, problems
    )
    # a cable that failed to read may be the one that serves the seat
    broken = any(p.file == "frame_cables.csv" for p in problems)
    served = {row["seat"] for row in rows}
    for row in () if broken else seat_rows:
        if row["pushes"] == "shorten" and row["id"] not in served and job.influence_by == "frame":
            problems.append(
                row.problem(
                    "pushes",
                    "shorten at a seat that no cable names",
                    "a cable with this seat",
                    "name it in frame_cables.csv, column seat",
                )
            )
    return replace(frame, cables=cables, saddles=saddles)
