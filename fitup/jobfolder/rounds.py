"""The tables one round leaves for the next: ``moved.csv`` and ``learned.csv``.

Both may be left out. ``fitup next`` writes the first and ``fitup learn`` the second; an engineer
may write or strike rows by hand. Learned corrections are put into the values of the job as it is
read, so that everything that computes uses them, and stay listed in ``Job.learned``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.table import Row, parse_number, read_table, record_of
from fitup.model import STEEL, Job, Learned, Moved, Seat
from fitup.model.column import columns_of

MOVED_FILE: Final = "moved.csv"
LEARNED_FILE: Final = "learned.csv"


def read_rounds(root: Path, job: Job, problems: list[Problem]) -> Job:
    """Return the job with its moves and its learned corrections, both read and checked.

    Parameters
    ----------
    root : Path
        The job folder.
    job : Job
        With its values as they are written down.
    problems : list of Problem
        What is wrong is added to it.
    """
    if (root / MOVED_FILE).exists():
        rows = read_table(root / MOVED_FILE, MOVED_FILE, columns_of(Moved), problems)
        job = replace(job, moved=_moved(job, rows, problems))
    if (root / LEARNED_FILE).exists():
        rows = read_table(root / LEARNED_FILE, LEARNED_FILE, columns_of(Learned), problems)
        job = with_learned(job, _learned(job, rows, problems))
    return job


def with_learned(job: Job, learned: Iterable[Learned]) -> Job:
    """Return the job with corrections put into its stiffnesses, beddings and expansions.

    A movement factor changes no value here: it belongs to the influence of its seat.

    Parameters
    ----------
    job : Job
        With its values as they are written down: factors multiply them.
    learned : iterable of Learned
    """
    stated = tuple(learned)
    seats, segments = dict(job.seats), dict(job.segments)
    for one in stated:
        if one.what == "stiffness":
            seat = seats[one.at]
            seats[one.at] = replace(seat, stiffness=seat.stiffness * one.value)
        elif one.what == "bedding":
            seats[one.at] = replace(seats[one.at], bedding=one.value)
        elif one.what == "expansion":
            segments = {
                name: segment
                if segment.expansion is None
                else replace(segment, expansion=segment.expansion * one.value)
                for name, segment in segments.items()
            }
    return replace(job, seats=seats, segments=segments, learned=stated)


def _moved(job: Job, rows: list[Row], problems: list[Problem]) -> tuple[Moved, ...]:
    result: dict[str, Moved] = {}
    for row in rows:
        name, size, way = row["seat"], row["move"], row["way"]
        if name not in job.seats:
            problems.append(
                row.problem("seat", f"'{name}'", "an id of seats.csv", "correct it or add it there")
            )
        elif name in result:
            problems.append(row.problem("seat", f"'{name}' again", "each seat once", "delete one"))
        elif (way == "stays") != (size == 0.0):
            problems.append(
                row.problem(
                    "way",
                    f"'{way}' with a move of {size * 1e3:g} mm",
                    "stays with 0, else with or against",
                    "correct one of them",
                )
            )
        else:
            setting = -size if way == "against" else size
            result[name] = record_of(Moved, row, setting=setting)
    return tuple(result.values())


def _learned(job: Job, rows: list[Row], problems: list[Problem]) -> tuple[Learned, ...]:
    result: list[Learned] = []
    for row in rows:
        before = len(problems)
        what, at = row["what"], row["at"]
        if any((one.what, one.at) == (what, at) for one in result):
            problems.append(
                row.problem("at", f"{what} of {at} again", "each correction once", "delete one")
            )
        _check_place(job, row, problems)
        value, u = _check_value(row, problems)
        correlations = _correlations(row, len(result), problems)
        if len(problems) == before:
            given = {"value": value, "uncertainty": u, "correlations": correlations}
            result.append(record_of(Learned, row, **given))
    if not _possible(result):
        problems.append(
            Problem(
                LEARNED_FILE,
                "correlations that cannot be",
                "those of one covariance matrix",
                "write the table again with: fitup learn --write",
                column="correlations",
            )
        )
        return ()
    return tuple(result)


def _check_place(job: Job, row: Row, problems: list[Problem]) -> None:
    what, at = row["what"], row["at"]
    if what == "expansion":
        if at != STEEL:
            problems.append(
                row.problem("at", f"'{at}'", f"{STEEL}, for all of it", f"write {STEEL}")
            )
        return
    seat = job.seats.get(at)
    if seat is None:
        problems.append(
            row.problem("at", f"'{at}'", "an id of seats.csv", "correct it or delete the row")
        )
    elif not _has(seat, what):
        held = "packs" if what == "bedding" else "a nut"
        problems.append(
            row.problem(
                "at", f"{what} of seat {at}, which is not held by {held}", f"a seat held by {held}",
                "delete the row",
            )
        )  # fmt: skip


def _has(seat: Seat, what: str) -> bool:
    return {"bedding": seat.held_by == "packs", "movement": seat.held_by == "nut"}.get(what, True)


def _check_value(row: Row, problems: list[Problem]) -> tuple[float, float]:
    """Return value and uncertainty of one correction, zeros where they are not whole."""
    pairs = {"factor": ("factor", "u_factor"), "amount": ("amount", "u_amount")}
    mine = "amount" if row["what"] == "bedding" else "factor"
    other = "factor" if mine == "amount" else "amount"
    value, u = (row[name] for name in pairs[mine])
    if value is None or u is None or any(row[name] is not None for name in pairs[other]):
        problems.append(
            row.problem(
                mine,
                f"{' and '.join(pairs[mine])} not both given, or more",
                f"{' and '.join(pairs[mine])} alone for {row['what']}",
                "move the numbers",
            )
        )
        return 0.0, 0.0
    return value, u


def _correlations(row: Row, above: int, problems: list[Problem]) -> tuple[float, ...]:
    """Return the correlations with the rows above; none told means zeros."""
    text = row["correlations"]
    try:
        values = tuple(parse_number(part) for part in text.split())
    except ValueError:
        values = (2.0,)
    if any(abs(v) > 1.0 for v in values) or len(values) not in (0, above):
        problems.append(
            row.problem(
                "correlations",
                f"'{text}'",
                f"{above} numbers from -1 to 1, one for each row above, or none",
                "complete or clear it",
            )
        )
    return values or (0.0,) * above


def _possible(learned: list[Learned]) -> bool:
    size = len(learned)
    if any(len(one.correlations) != i for i, one in enumerate(learned)):
        return True  # rows that were wrong are stated already
    matrix = np.eye(size)
    for i, one in enumerate(learned):
        matrix[i, :i] = matrix[:i, i] = one.correlations
    return bool(size == 0 or np.linalg.eigvalsh(matrix)[0] > -1e-3)
