"""Set-ups that are only planned: their table, and what an exact instrument would read there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Final

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.jobfolder.table import Row, read_table
from fitup.model import Instrument, Job
from fitup.model.column import column, columns_of
from fitup.network.observations import ObservationSet, Setup, Shot

_PLACE: Final = tuple(
    column("length", f"{word} of the instrument's axis", "; empty with `over`", name=axis,
           default=None)
    for axis, word in (("E", "easting"), ("N", "northing"), ("H", "height"))
)  # fmt: skip
#: nearer than this no target is sighted [m]
_NEAR: Final = 0.5


@dataclass(frozen=True, eq=False)
class PlannedSetup:
    """One standing of an instrument, and what is to be sighted from it."""

    id: Annotated[str, column("id", "the name of the set-up")]
    place: Annotated[Array, *_PLACE]
    """Of the instrument's axis (3,) [m]."""
    over: Annotated[
        str | None, column("id", "the point the instrument is to stand over", default=None)
    ]
    height: Annotated[
        float,
        column(
            "length",
            "its height over that point",
            name="instrument_height",
            default=1.6,
            least=0.0,
            most=5.0,
        ),
    ]
    targets: Annotated[
        tuple[str, ...],
        column(
            "ids",
            "the points to be sighted",
            "; empty: every point of the deck and of control.csv with coordinates",
            default=(),
        ),
    ]
    sets: Annotated[int, column("count", "how many sets", default=1, least=1, most=20)]
    faces: Annotated[int, column("count", "1 or 2: faces of each set", default=2, least=1, most=2)]
    instrument: Annotated[
        Instrument, column("id", "the instrument, where instruments.csv has several", default=None)
    ]


SETUPS: Final = columns_of(PlannedSetup)


def places_of(job: Job) -> dict[str, Array]:
    """Return where points can be sighted (3,) [m]: the deck on its design, control as given.

    Parameters
    ----------
    job : Job
    """
    control = {n: c.position for n, c in job.control.items() if c.given.all()}
    return {**control, **{n: p.design for n, p in job.points.items()}}


def read_planned(path: Path, job: Job) -> tuple[PlannedSetup, ...]:
    """Read a table of planned set-ups.

    Parameters
    ----------
    path : Path
    job : Job

    Raises
    ------
    InputError
        With every problem of the table.
    """
    problems: list[Problem] = []
    rows = read_table(path, path.name, SETUPS, problems)
    places = places_of(job)
    planned = [_planned(row, job, places, problems) for row in rows]
    names = [row["id"] for row in rows]
    for row in rows:
        if names.index(row["id"]) != rows.index(row):
            problems.append(
                row.problem("id", f"'{row['id']}' again", "each set-up once", "rename it")
            )
    if not rows and not problems:
        problems.append(Problem(path.name, "no set-up", "a row for each", "write them down"))
    if problems:
        raise InputError(problems)
    return tuple(one for one in planned if one is not None)


def _planned(
    row: Row, job: Job, places: Mapping[str, Array], problems: list[Problem]
) -> PlannedSetup | None:
    before = len(problems)
    over, given = row["over"], [row[axis] for axis in "ENH"]
    if over is not None and over not in places:
        problems.append(_unknown(row, "over", over))
    if over is None and None in given:
        do = "take them from a map, or name the point it stands over"
        problems.append(row.problem("E", "no place", "E, N and H, or over", do))
    for name in row["targets"]:
        if name not in places:
            problems.append(_unknown(row, "targets", name))
    instrument = _instrument(row, job, problems)
    if len(problems) > before or instrument is None:
        return None
    place = np.array(given) if over is None else places[over] + [0.0, 0.0, row["instrument_height"]]
    near = [n for n, p in places.items() if n == over or np.linalg.norm(p - place) < _NEAR]
    targets = tuple(n for n in row["targets"] or places if n not in near)
    return PlannedSetup(
        row["id"], place, over, row["instrument_height"], targets, row["sets"], row["faces"],
        instrument,
    )  # fmt: skip


def _unknown(row: Row, column_: str, name: str) -> Problem:
    allowed = "an id of points.csv, or of control.csv with coordinates"
    return row.problem(column_, f"'{name}'", allowed, "correct it")


def _instrument(row: Row, job: Job, problems: list[Problem]) -> Instrument | None:
    name = row["instrument"]
    if name is None and len(job.instruments) == 1:
        return next(iter(job.instruments.values()))
    if name in job.instruments:
        return job.instruments[name]
    allowed = "one of: " + ", ".join(job.instruments) if job.instruments else "a row of it"
    found = "an empty cell" if name is None else f"'{name}'"
    if not job.instruments:
        problems.append(
            Problem("instruments.csv", "no instrument", allowed, "its uncertainties are needed")
        )
    else:
        problems.append(row.problem("instrument", found, allowed, "name the instrument"))
    return None


def exact_readings(job: Job, planned: Sequence[PlannedSetup]) -> ObservationSet:
    """Return what would be read without any error, nor anything to be corrected.

    Parameters
    ----------
    job : Job
    planned : sequence of PlannedSetup
    """
    places = places_of(job)
    setups: dict[str, Setup] = {}
    shots: list[Shot] = []
    for one in planned:
        # no air to be corrected: exact distances are corrected already
        plain = replace(one.instrument, wavelength=None, reference=None)
        setups[one.id] = Setup(one.id, plain, one.over, one.height if one.over else 0.0, 0)
        for number in range(1, one.sets + 1):
            for face in range(1, one.faces + 1):
                shots += [
                    _exact(one, name, places[name], number, face, len(shots) + i)
                    for i, name in enumerate(one.targets)
                ]
    return ObservationSet("planned", "", setups, tuple(shots), (), ())


def _exact(setup: PlannedSetup, name: str, place: Array, number: int, face: int, row: int) -> Shot:
    step = place - setup.place
    hz = math.atan2(step[0], step[1])
    v = math.atan2(math.hypot(step[0], step[1]), step[2])
    if face == 2:
        hz, v = hz + math.pi, 2.0 * math.pi - v
    length = float(np.linalg.norm(step))
    return Shot(
        setup.id, name, face, number, hz % (2.0 * math.pi), v, length, 0.0, 0.0, None, None, row
    )
