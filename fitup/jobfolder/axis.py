"""The alignment a job names, and what its tables leave to it: points, directions, grades."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fitup.alignment import Alignment, AxisPlace, read_design
from fitup.alignment.crossfall import conflict, crossfall_of, in_words, signed
from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.jobfolder.keys import FILE
from fitup.jobfolder.settings import Settings
from fitup.jobfolder.table import Row, record_of
from fitup.model import CheckPoint, Pair
from fitup.model.deck import CrossfallEntry

_NAME = "fill it in, or name an alignment in job.toml [alignment]"
_NAME_FILE = "name its file there"


def inside_folder(name: str) -> bool:
    """Say whether a file that ``job.toml`` names stays in the job folder."""
    return not Path(name).is_absolute() and ".." not in Path(name).parts


def read_axis(
    root: Path, settings: Settings, crossfall: Sequence[Row], problems: list[Problem]
) -> Alignment | None:
    """Return the alignment of a job with its crossfall.

    Parameters
    ----------
    root : Path
        The job folder.
    settings : Settings
    crossfall : sequence of Row
        Of ``crossfall.csv``.
    problems : list of Problem
        What is wrong is added to it.

    Returns
    -------
    Alignment or None
        None where ``job.toml`` names none, or it could not be read.
    """
    name = settings.alignment_file
    if name is None:
        if crossfall:
            problems.append(
                Problem(
                    "crossfall.csv",
                    "a crossfall without an alignment",
                    "an alignment in job.toml [alignment]",
                    "name its file there, or delete the table",
                )
            )
        return None
    if not inside_folder(name) or not (root / name).is_file():
        # told with the other files that job.toml names
        return None
    try:
        found = read_design(
            root / name, name, settings.alignment_name, settings.alignment_surface
        ).alignment
    except InputError as error:
        problems.extend(error.problems)
        return None
    if found is None:
        problems.append(
            Problem(FILE, f"'{name}' without an alignment", "a file with one", "export it")
        )
        return None
    return _with_crossfall(found, name, crossfall, problems)


def only_causes(settings: Settings, axis: Alignment | None, problems: list[Problem]) -> None:
    """Drop what only follows from an alignment that is named and could not be read: that is stated.

    To be called last: until then tables with these problems count as broken.

    Parameters
    ----------
    settings : Settings
    axis : Alignment or None
        As :func:`read_axis` returned it.
    problems : list of Problem
        Changed in place.
    """
    if settings.alignment_file is not None and axis is None:
        problems[:] = [p for p in problems if p.do not in (_NAME, _NAME_FILE)]


def _with_crossfall(
    alignment: Alignment, file: str, rows: Sequence[Row], problems: list[Problem]
) -> Alignment:
    """Return an alignment with the crossfall of the table, which must not contradict its file."""
    entries = []
    for row in rows:
        station = station_of(row, alignment, problems)
        entry = record_of(CrossfallEntry, row)
        slope, side = entry.slope, entry.falls_to
        if (slope == 0.0) != (side == "level"):
            problems.append(
                row.problem(
                    "falls_to",
                    f"'{side}' with {'no' if slope == 0.0 else 'a'} slope",
                    "level with 0, else left or right",
                    "correct one of them",
                )
            )
        if station is not None:
            entries.append((station, entry.side, signed(slope, side)))
    if not rows or problems:
        return alignment
    try:
        table = replace(crossfall_of(entries), source="crossfall.csv")
    except ValueError as error:
        problems.append(
            Problem(
                "crossfall.csv",
                str(error),
                "two or more stations a side, from the same first to the same last",
                "correct the rows",
            )
        )
        return alignment
    differs = None if alignment.crossfall is None else conflict(table, alignment.crossfall)
    if differs is not None:
        assert alignment.crossfall is not None
        problems.append(
            Problem(
                "crossfall.csv",
                f"{in_words(differs.one)} on the {differs.side} at station "
                f"{alignment.stations.text(differs.station)}, but {file} says "
                f"{in_words(differs.other)} there ({alignment.crossfall.source})",
                "one crossfall",
                "ask the design office which is right; correct the table, or delete it",
            )
        )
    return replace(alignment, crossfall=table)


def station_of(row: Row, alignment: Alignment, problems: list[Problem]) -> float | None:
    """Return the station of a row inside [m].

    Parameters
    ----------
    row : Row
        With a column ``station``.
    alignment : Alignment
    problems : list of Problem
        What is wrong is added to it.

    Returns
    -------
    float or None
        None where the text names no station of the alignment.
    """
    try:
        return alignment.stations.inside(row["station"])
    except ValueError as error:
        problems.append(row.problem("station", f"'{row['station']}'", str(error), "correct it"))
        return None


def place_of(row: Row, alignment: Alignment, problems: list[Problem]) -> AxisPlace | None:
    """Return station and offset of a row.

    Parameters
    ----------
    row : Row
        With columns ``station``, ``offset`` and ``side``.
    alignment : Alignment
    problems : list of Problem
        What is wrong is added to it.

    Returns
    -------
    AxisPlace or None
        None where offset and side contradict each other, or the station is none.
    """
    offset, side = row["offset"], row["side"]
    if offset is None or side is None or (offset == 0.0) != (side == "axis"):
        problems.append(
            row.problem(
                "offset",
                f"{'no offset' if offset is None else 'an offset'} with side '{side or ''}'",
                "left or right with an offset above zero, axis with 0",
                "give both",
            )
        )
        return None
    station = station_of(row, alignment, problems)
    return None if station is None else AxisPlace(station, -offset if side == "right" else offset)


def design_point(
    row: Row, alignment: Alignment | None, problems: list[Problem]
) -> CheckPoint | None:
    """Return a check point given by E and N, or by station and offset from the alignment.

    Parameters
    ----------
    row : Row
        Of ``points.csv``.
    alignment : Alignment or None
        None where the job has none: then a station is a problem.
    problems : list of Problem
        What is wrong is added to it.

    Returns
    -------
    CheckPoint or None
        None where its place is stated twice, in part or not at all, or is none of the alignment.
    """
    grid, stated = [row["E"], row["N"]], row["station"]
    if None not in grid and not stated:
        design = np.array([*grid, row["H"]])
        return record_of(CheckPoint, row, design=design)
    if not stated or any(v is not None for v in grid):
        what = "E or N missing" if not stated else "E, N and a station"
        problems.append(
            row.problem("E", what, "E and N, or station, offset and side", "give one of the two")
        )
        return None
    if alignment is None:
        problems.append(
            row.problem(
                "station",
                f"'{stated}', but the job has no alignment",
                "E and N, or an alignment in job.toml [alignment]",
                _NAME_FILE,
            )
        )
        return None
    place = place_of(row, alignment, problems)
    if place is None:
        return None
    design = np.array([*alignment.to_grid(place), row["H"]])
    return record_of(CheckPoint, row, design=design)


def azimuth_at(
    row: Row, alignment: Alignment | None, where: Array | None, problems: list[Problem]
) -> float:
    """Return the azimuth of a row [rad], from the alignment beside ``where`` if it is empty.

    Parameters
    ----------
    row : Row
        Of ``segments.csv`` or ``joints.csv``.
    alignment : Alignment or None
        None where the job has none, so that an empty cell is a problem.
    where : Array (3,) or None
        Where the segment or joint is in the grid [m]; None if that is not known.
    problems : list of Problem
        What is wrong is added to it.
    """
    if row["azimuth"] is not None:
        return float(row["azimuth"])
    station = _beside(row, "azimuth", alignment, where, problems)
    return 0.0 if alignment is None or station is None else alignment.azimuth(station)


def grade_at(
    row: Row, alignment: Alignment | None, where: Array | None, problems: list[Problem]
) -> float:
    """Return the grade of a row, rising ahead, from the profile beside ``where`` if it is empty.

    Parameters
    ----------
    row : Row
        Of ``joints.csv``.
    alignment : Alignment or None
        None where the job has none, so that an empty cell is a problem.
    where : Array (3,) or None
        Where the joint is in the grid [m]; None if that is not known.
    problems : list of Problem
        What is wrong is added to it.
    """
    if row["grade"] is not None:
        return float(row["grade"])
    station = _beside(row, "grade", alignment, where, problems)
    if alignment is None or station is None:
        return 0.0
    grade = alignment.grade(station)
    if grade is None:
        problems.append(
            row.problem("grade", "an empty cell, and no profile there", "a grade", "fill it in")
        )
    return grade or 0.0


def crossfall_at(
    row: Row, alignment: Alignment | None, where: Array | None, problems: list[Problem]
) -> float:
    """Return the crossfall of a row, rising left, from the alignment beside ``where`` if empty.

    Parameters
    ----------
    row : Row
        Of ``joints.csv``.
    alignment : Alignment or None
        None where the job has none, so that an empty cell is a problem.
    where : Array (3,) or None
        Where the joint is in the grid [m]; None if that is not known.
    problems : list of Problem
        What is wrong is added to it.
    """
    size, side = row["crossfall"], row["falls_to"]
    if size is None and side is None:
        return _crossfall_beside(row, alignment, where, problems)
    if side is None:
        allowed, do = "one of: left, right, level", "give the side the crossfall falls to"
        problems.append(row.problem("falls_to", "an empty cell", allowed, do))
    elif size is None:
        do = "give the slope across, or leave falls_to empty too"
        problems.append(row.problem("crossfall", "an empty cell", "a number", do))
    elif (size == 0.0) != (side == "level"):
        found = f"'{side}' with {'no' if size == 0.0 else 'a'} crossfall"
        allowed = "level with 0, else left or right"
        problems.append(row.problem("falls_to", found, allowed, "correct one of them"))
    return signed(size or 0.0, side or "level")


def _crossfall_beside(
    row: Row, alignment: Alignment | None, where: Array | None, problems: list[Problem]
) -> float:
    station = _beside(row, "crossfall", alignment, where, problems)
    if alignment is None or station is None:
        return 0.0
    fall = alignment.crossfall
    slope = None if fall is None else fall.plane(station)
    if slope is None:
        why = "no crossfall told there"
        if fall is not None and fall.at(station) is not None:
            sides = [in_words(fall.at(station, left) or 0.0) for left in (1e-6, -1e-6)]
            why = f"a crown there ({sides[0]} on the left, {sides[1]} on the right)"
        found = f"an empty cell, and {why}"
        problems.append(row.problem("crossfall", found, "a crossfall", "fill it in"))
    return slope or 0.0


def _beside(
    row: Row,
    column: str,
    alignment: Alignment | None,
    where: Array | None,
    problems: list[Problem],
) -> float | None:
    """Return the station beside a point; None, with the problem told, where there is none."""
    if alignment is None:
        problems.append(row.problem(column, "an empty cell", "a number", _NAME))
        return None
    place = None if where is None else alignment.from_grid(float(where[0]), float(where[1]))
    if place is None and where is not None:
        problems.append(
            row.problem(
                column,
                f"an empty cell, and '{row['id']}' lies beside no part of the alignment",
                "a place along it",
                "check its coordinates, or fill the cell in",
            )
        )
    return None if place is None else place.station


def middle(pairs: Sequence[Pair], points: dict[str, CheckPoint]) -> Array | None:
    """Return the middle of the design points of some pairs (3,) [m]; None where there are none.

    Parameters
    ----------
    pairs : sequence of Pair
    points : dict of str to CheckPoint
        By id; points of a pair that it lacks are passed over.
    """
    names = [n for p in pairs for n in (p.back_point, p.ahead_point) if n in points]
    return np.mean([points[n].design for n in names], axis=0) if names else None
