"""Influence from the engineer's own analysis: a table of rows by seats.

The file has the columns ``row`` and ``unit`` and one column for each seat. A row is named after
a check (``J1/P2/step``, ``J1/twist``, ``level/B-11``) or ``reaction/SEAT``; its unit says what it
holds for a unit move of each seat: mm_per_mm or in_per_in for lengths, mm_per_m_per_mm or
rad_per_in for kinks, kN_per_mm or kip_per_in for reactions.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from fitup import units
from fitup.checks import checks_of
from fitup.errors import InputError, Problem
from fitup.jobfolder.table import parse_number
from fitup.model import Check, Influence, Job
from fitup.plainfile import read_text
from fitup.structure.table_sanity import doubts_of

_KIP_PER_IN = units.to_si(1.0, "stiffness", "kip_per_in")
#: what a row is -> unit -> factor to SI
ROW_UNITS: Final[dict[str, dict[str, float]]] = {
    "length": {"mm_per_mm": 1.0, "in_per_in": 1.0, "m_per_m": 1.0},
    "slope": {"mm_per_m_per_mm": 1.0, "rad_per_m": 1.0, "rad_per_in": 1.0 / 0.0254},
    "reaction": {"kN_per_mm": 1e6, "kip_per_in": _KIP_PER_IN, "N_per_m": 1.0},
}


def influence_from_table(path: Path, shown: str, job: Job) -> Influence:
    """Read an influence table.

    Parameters
    ----------
    path : Path
    shown : str
        Name of the file in messages.
    job : Job
        Gives the checks and seats, and ``reaction_now``, which every seat must have.

    Returns
    -------
    Influence

    Raises
    ------
    InputError
        With every problem of the table, or with what statics and geometry say against it.
    """
    problems: list[Problem] = []
    records = _records(path, shown, problems)
    if not records:
        remarks = Problem(shown, "no header", "row, unit, then the seats", "export the table again")
        raise InputError(problems or [remarks])
    header = records[0][1]
    seats = tuple(job.seats)
    columns = _seat_columns(shown, header, seats, problems)
    if problems:
        # rows under a header that is not understood would only add lines that mean nothing
        raise InputError(problems)
    checks = checks_of(job)
    kinds = {c.id: "reaction" if c.kind == "force" else c.kind for c in checks}
    kinds |= {f"reaction/{s}": "reaction" for s in seats}
    rows: dict[str, np.ndarray] = {}
    for number, cells in records[1:]:
        row = _row(shown, number, header, cells, columns, kinds, problems)
        if row is None:
            continue
        name, values = row
        if name in rows:
            problems.append(
                Problem(
                    shown,
                    f"'{name}' again",
                    "each row once",
                    "delete one",
                    row=number,
                    column="row",
                )
            )
        rows[name] = values
    _missing(shown, checks, seats, rows, job, problems)
    if problems:
        raise InputError(problems)
    table = Influence(
        tuple(c.id for c in checks),
        seats,
        np.array([rows[c.id] for c in checks]),
        np.array([rows[f"reaction/{s}"] for s in seats]),
        np.array([job.seats[s].reaction_now or 0.0 for s in seats]),
        "table",
    )
    problems = doubts_of(shown, job, checks, table)
    if problems:
        raise InputError(problems)
    return table


def _records(path: Path, shown: str, problems: list[Problem]) -> list[tuple[int, list[str]]]:
    text = read_text(path, shown)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        return [
            (reader.line_num, [c.strip() for c in cells])
            for cells in reader
            if any(c.strip() for c in cells) and not cells[0].lstrip().startswith("#")
        ]
    except csv.Error as error:
        problems.append(
            Problem(shown, f"broken CSV ({error})", "one record a line", "export it again")
        )
        return []


def _seat_columns(
    shown: str, header: list[str], seats: Sequence[str], problems: list[Problem]
) -> list[int]:
    if header[:2] != ["row", "unit"]:
        problems.append(
            Problem(
                shown,
                ", ".join(header[:2]) or "no header",
                "row, unit, then one column for each seat",
                "name the columns so",
                row=1,
            )
        )
        return []
    result = []
    for seat in seats:
        if header.count(seat) != 1:
            found = "no such column" if seat not in header else "the column twice"
            problems.append(
                Problem(shown, found, "one column for each seat", "add it", row=1, column=seat)
            )
            continue
        result.append(header.index(seat))
    for title in header[2:]:
        if title not in seats:
            problems.append(
                Problem(
                    shown,
                    f"unknown column '{title}'",
                    "ids of seats.csv",
                    "delete it or add the seat",
                    row=1,
                    column=title,
                )
            )
    return result


def _row(
    shown: str,
    number: int,
    header: list[str],
    cells: list[str],
    columns: list[int],
    kinds: dict[str, str],
    problems: list[Problem],
) -> tuple[str, np.ndarray] | None:
    if len(cells) != len(header):
        problems.append(
            Problem(
                shown,
                f"{len(cells)} cells",
                f"{len(header)} cells as in the header",
                "a comma too many or too few, or a cut-off file",
                row=number,
            )
        )
        return None
    name, unit = cells[0], cells[1]
    if name not in kinds:
        problems.append(
            Problem(
                shown,
                f"'{name}'",
                "a check as 'fitup joints' names it, or reaction/SEAT",
                "correct it or delete the row",
                row=number,
                column="row",
            )
        )
        return None
    factors = ROW_UNITS[kinds[name]]
    if unit not in factors:
        problems.append(
            Problem(
                shown,
                f"'{unit}'",
                "one of: " + ", ".join(factors),
                "name the unit of the row",
                row=number,
                column="unit",
            )
        )
        return None
    values = np.zeros(len(columns))
    for i, at in enumerate(columns):
        try:
            values[i] = parse_number(cells[at]) * factors[unit]
        except ValueError:
            problems.append(
                Problem(
                    shown,
                    f"'{cells[at]}'",
                    f"a number of {unit}",
                    "correct it",
                    row=number,
                    column=header[at],
                )
            )
    return name, values


def _missing(
    shown: str,
    checks: Sequence[Check],
    seats: Sequence[str],
    rows: dict[str, np.ndarray],
    job: Job,
    problems: list[Problem],
) -> None:
    # reported checks too: a zero row would print a wrong reading
    for name in [*(c.id for c in checks), *(f"reaction/{s}" for s in seats)]:
        if name not in rows:
            problems.append(
                Problem(shown, f"no row '{name}'", "a row for each", "export it too", column="row")
            )
    for seat in seats:
        if job.seats[seat].reaction_now is None:
            problems.append(
                Problem(
                    "seats.csv",
                    f"seat {seat} without reaction_now",
                    "a present reaction at every seat when an influence table is used",
                    "fill it in from the analysis or from gauges",
                    column="reaction_now",
                )
            )
