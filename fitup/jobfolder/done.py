"""Readings as done: the CSV in which a crew writes down what was really moved, read and built."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

from fitup.errors import InputError, Problem
from fitup.jobfolder.table import Row, read_table, record_of
from fitup.model import Done, Job, Seat
from fitup.model.column import columns_of
from fitup.model.done import SIDE_SIGNS


def read_done(path: Path, shown: str, job: Job) -> tuple[Done, ...]:
    """Read and check the readings as done of one job.

    Parameters
    ----------
    path : Path
    shown : str
        Name of the file in messages.
    job : Job
        Gives seats, jacks with their ram areas, and plates.

    Returns
    -------
    tuple of Done
        In the order of the file, pressures already turned into loads.

    Raises
    ------
    InputError
        With every problem of the file.
    """
    problems: list[Problem] = []
    rows = read_table(path, shown, columns_of(Done), problems)
    found: dict[tuple[object, ...], int] = {}
    result = []
    for row in rows:
        before = len(problems)
        _check(job, row, problems)
        key = (row["stage"], row["moment"], row["seat"], row["jack"])
        if key in found:
            problems.append(
                row.problem(
                    "seat",
                    f"the same stage, moment, seat and jack as row {found[key]}",
                    "each reading once",
                    "delete the one that is wrong",
                )
            )
        found.setdefault(key, row.number)
        if len(problems) == before:
            result.append(_done(job, row))
    if problems:
        raise InputError(problems)
    return tuple(result)


def require_down(rows: Sequence[Done], shown: str) -> None:
    """Refuse readings that leave a seat raised: nothing is planned from the middle of a stage.

    Parameters
    ----------
    rows : sequence of Done
    shown : str
        Name of the file in messages.

    Raises
    ------
    InputError
        If a seat was raised in a stage and has no reading of its end, a line for each.
    """
    down = {(row.stage, row.seat) for row in rows if row.moment == "end"}
    up = {
        (row.stage, row.seat): row.row
        for row in rows
        if row.moment == "raised" and (row.stage, row.seat) not in down
    }
    if up:
        raise InputError(
            [
                Problem(
                    shown,
                    f"seat {seat} raised in stage {stage}, and no end of it",
                    "a row with moment end too",
                    "add it; if work stopped there: fitup recover JOB --line N, the last line done",
                    row=number,
                    column="moment",
                )
                for (stage, seat), number in up.items()
            ]
        )


def _check(job: Job, row: Row, problems: list[Problem]) -> None:
    seat = job.seats.get(row["seat"])
    if seat is None:
        problems.append(row.problem("seat", f"'{row['seat']}'", "an id of seats.csv", "correct it"))
        return
    _check_jack(job, seat, row, problems)
    _check_movement(seat, row, problems)
    _check_pack(job, seat, row, problems)
    try:
        local = dt.datetime.fromisoformat(row["time"]).tzinfo is None
    except ValueError:
        local = False
    if not local:
        problems.append(
            row.problem(
                "time", f"'{row['time']}'", "a local time such as 2031-04-02T05:40", "correct it"
            )
        )
    read = ("movement", "load", "pressure", "pack", "stroke_out")
    if all(row[name] is None for name in read):
        problems.append(
            row.problem(
                "movement", "a row without a reading", "one of: " + ", ".join(read), "fill one in"
            )
        )


def _check_jack(job: Job, seat: Seat, row: Row, problems: list[Problem]) -> None:
    jacks = [j.id for j in job.jacks_at(seat.id)]
    if row["jack"] is not None and row["jack"] not in jacks:
        allowed = "a jack of this seat: " + (", ".join(jacks) or "it has none")
        problems.append(row.problem("jack", f"'{row['jack']}'", allowed, "correct it"))
    if row["load"] is not None and row["pressure"] is not None:
        problems.append(
            row.problem("pressure", "load and pressure both", "one of them", "clear the other")
        )
    elif row["pressure"] is not None and row["jack"] is None and len(jacks) != 1:
        problems.append(
            row.problem(
                "pressure",
                f"a pressure at a seat with {len(jacks)} jacks, but no jack",
                "a pressure with the jack it was read at",
                "name the jack",
            )
        )


def _check_movement(seat: Seat, row: Row, problems: list[Problem]) -> None:
    words = ("above", "below") if seat.pushes == "up" else ("beyond", "short")
    if row["movement"] is None:
        if row["side"] is not None:
            problems.append(
                row.problem("side", "a side without a movement", "both or none", "complete it")
            )
        return
    wanted = f"{words[0]} or {words[1]} (START) at a seat that pushes {seat.pushes}"
    if row["side"] is None and row["movement"] != 0.0:
        problems.append(row.problem("side", "an empty cell", wanted, "say which side of START"))
    elif row["side"] is not None and row["side"] not in words:
        problems.append(row.problem("side", f"'{row['side']}'", wanted, "say which side of START"))


def _check_pack(job: Job, seat: Seat, row: Row, problems: list[Problem]) -> None:
    if row["pack"] is None:
        return
    if seat.held_by == "nut":
        problems.append(
            row.problem("pack", "plates at a seat held by a nut", "an empty cell", "clear it")
        )
    for mark in dict.fromkeys(m for m in row["pack"] if m not in job.plates):
        problems.append(
            row.problem("pack", f"plate '{mark}'", "marks of plates.csv", "correct it or add it")
        )


def _done(job: Job, row: Row) -> Done:
    load = row["load"]
    if row["pressure"] is not None:
        name = row["jack"] or job.jacks_at(row["seat"])[0].id
        load = row["pressure"] * job.jacks[name].ram_area
    movement = row["movement"]
    if movement is not None and row["side"] is not None:
        movement *= SIDE_SIGNS[row["side"]]
    return record_of(Done, row, movement=movement, load=load, row=row.number)
