"""Read a whole job folder and check it, listing all problems at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from fitup.alignment import Alignment
from fitup.errors import InputError, Problem
from fitup.frames import Array, heading, joint_axes, left_of
from fitup.jobfolder import passage
from fitup.jobfolder.axis import (
    azimuth_at,
    crossfall_at,
    design_point,
    grade_at,
    inside_folder,
    middle,
    only_causes,
    read_axis,
)
from fitup.jobfolder.control import control, instrument
from fitup.jobfolder.cross import cross_check
from fitup.jobfolder.frame import read_frame
from fitup.jobfolder.frame_cross import frame_check
from fitup.jobfolder.inputs import digest_of, input_files
from fitup.jobfolder.keys import FILE
from fitup.jobfolder.plausible import judged
from fitup.jobfolder.read_cables import check_leans, lean_of, of_stage, with_cables
from fitup.jobfolder.rounds import read_rounds
from fitup.jobfolder.schema import INPUT_TABLES, tables_of
from fitup.jobfolder.settings import Settings, read_settings
from fitup.jobfolder.staging import rated
from fitup.jobfolder.table import Row, plain, read_table, record_of, unique
from fitup.jobfolder.targets import at_stage
from fitup.model import (
    LENGTHS,
    SIDES,
    Aim,
    BoltGroup,
    GroupRule,
    Hold,
    Jack,
    Job,
    Joint,
    Limit,
    Pair,
    Plate,
    Pump,
    Reading,
    RidePath,
    Seat,
    Segment,
    SteelReading,
)
from fitup.model.cables import Tension
from fitup.model.rules import PLATE_CLASSES, plate_limits
from fitup.plainfile import read_once

_UP = np.array([0.0, 0.0, 1.0])
#: a measured plate is off its nominal thickness by so much and such a share at most; rolling
#: tolerances are well inside [m] (common practice, no source)
_PLATE_OFF, _PLATE_SHARE = 0.5e-3, 0.1
#: gauge pressure at the rated capacity of any jack, flat jacks included [Pa] (common practice,
#: no source: most are rated at 700 bar)
_GAUGE_LEAST, _GAUGE_MOST = 10e5, 2000e5


def read_job(folder: Path | str) -> Job:
    """Read, check and return the job in a folder.

    Parameters
    ----------
    folder : path
        Folder with ``job.toml`` and the tables (docs/job-folder.md).

    Returns
    -------
    Job
        In SI units.

    Raises
    ------
    InputError
        With every problem found in any file, each with file, row, column, what was found, what
        is allowed and what to do.
    """
    with read_once():
        return _read_job(Path(folder))


def _read_job(root: Path) -> Job:
    try:
        present = {entry.name for entry in root.iterdir()}
    except NotADirectoryError:
        raise InputError(
            [Problem(str(root), "a file", "a job folder", "name the folder")]
        ) from None
    except FileNotFoundError:
        raise InputError(
            [
                Problem(
                    str(root), "no such folder", "a job folder", "make one with: fitup start FOLDER"
                )
            ]
        ) from None
    except PermissionError:
        raise InputError(
            [Problem(str(root), "no permission to read", "a readable folder", "ask for access")]
        ) from None
    problems: list[Problem] = []
    settings = read_settings(root, problems)
    tables = {
        name: read_table(root / name, name, table.columns, problems)
        for name, table in tables_of("job").items()
        if table.needed or name in present
    }
    axis = read_axis(root, settings, tables.get("crossfall.csv", []), problems)
    job = _build(settings, tables, axis, problems)
    cross_check(job, tables, problems)
    job = judged(job, settings.waived, tables, problems)
    targets = tables.get("targets.csv", [])
    # a stage may be named for leans and tensions alone
    hung = ("leans.csv", "tensions.csv")
    own = (row["stage"] for name in hung for row in tables.get(name, []))
    elsewhere = not targets and settings.stage in own
    job = at_stage(job, "" if elsewhere else settings.stage, targets, problems)
    check_leans(tables.get("leans.csv", []), job.points, problems)
    job = read_rounds(root, job, problems)
    job = _with_frame(root, present, job, tables["seats.csv"], problems)
    _check_files(root, job, settings.alignment_file, problems)
    only_causes(settings, axis, problems)
    if problems:
        raise InputError(problems)
    files = input_files(root, _input_names(job, settings.alignment_file))
    return replace(job, files=tuple(files), digest=digest_of(files))


def _build(
    settings: Settings,
    tables: dict[str, list[Row]],
    axis: Alignment | None,
    problems: list[Problem],
) -> Job:
    by_frame = settings.influence_by == "frame"
    segments = unique(
        tables["segments.csv"], problems, lambda r: _segment(r, axis, by_frame, problems)
    )
    pairs = unique(tables["pairs.csv"], problems, plain(Pair))
    points = unique(tables["points.csv"], problems, lambda r: design_point(r, axis, problems))

    def joint(row: Row) -> Joint:
        own = [p for p in pairs.values() if p.joint == row["id"]]
        return _joint(row, axis, middle(own, points), problems)

    return Job(
        name=settings.name,
        units="US" if settings.units == "US" else "metric",
        grid=settings.grid,
        reference_temperature=settings.reference_temperature,
        segments=segments,
        points=points,
        joints=unique(tables["joints.csv"], problems, joint),
        pairs=pairs,
        seats=unique(tables["seats.csv"], problems, lambda r: _seat(r, segments, problems)),
        jacks=rated(
            unique(tables["jacks.csv"], problems, lambda r: _jack(r, problems)),
            tables.get("pumps.csv", []),
        ),
        plates=unique(tables["plates.csv"], problems, lambda r: _plate(r, problems)),
        limits=unique(tables.get("limits.csv", []), problems, plain(Limit)),
        tolerances=settings.tolerances,
        aims=tuple(
            a for a in (_aim(r, problems) for r in tables.get("aims.csv", [])) if a is not None
        ),
        epochs=settings.epochs,
        readings=tuple(
            unique(
                tables.get("readings.csv", []), problems, lambda r: _reading(r, pairs, problems)
            ).values()
        ),
        excluded=settings.excluded,
        names=settings.names,
        leans=unique(
            of_stage(tables.get("leans.csv", []), settings.stage, problems),
            problems,
            lambda r: lean_of(r, problems),
        ),
        tensions=unique(
            of_stage(tables.get("tensions.csv", []), settings.stage, problems),
            problems,
            plain(Tension),
        ),
        influence_table=settings.influence_table,
        influence_by=settings.influence_by,
        alignment=axis,
        control=unique(tables.get("control.csv", []), problems, lambda r: control(r, problems)),
        instruments=unique(
            tables.get("instruments.csv", []), problems, lambda r: instrument(r, problems)
        ),
        network=settings.network,
        bores=unique(tables.get("bores.csv", []), problems, passage.bore),
        bolts=unique(tables.get("bolts.csv", []), problems, plain(BoltGroup)),
        ride_paths=unique(tables.get("ride.csv", []), problems, plain(RidePath)),
        straightedge=settings.straightedge,
        gates=settings.gates,
        working=settings.working,
        objectives=settings.objectives,
        uncertainties=settings.uncertainties,
        lockoff=settings.lockoff,
        thermometers=tuple(
            unique(tables.get("temperatures.csv", []), problems, plain(SteelReading)).values()
        ),
        holds=tuple(unique(tables.get("holds.csv", []), problems, plain(Hold)).values()),
        learning=settings.learning,
        staging=settings.staging,
        pumps=unique(tables.get("pumps.csv", []), problems, plain(Pump)),
        groups=unique(tables.get("groups.csv", []), problems, plain(GroupRule)),
    )


def _with_frame(
    root: Path, present: set[str], job: Job, seat_rows: list[Row], problems: list[Problem]
) -> Job:
    """Read the frame if the folder holds its tables."""
    wanted = job.influence_by == "frame"
    known = tables_of("frame")
    if not wanted and not present & set(known):
        return job
    tables = {
        name: read_table(root / name, name, table.columns, problems)
        for name, table in known.items()
        if table.needed or name in present
    }
    frame = read_frame(tables, job.segments, job.seats, problems)
    frame = with_cables(frame, tables, job, seat_rows, problems)
    frame_check(job, frame, tables, problems)
    return replace(job, frame=frame)


def _segment(row: Row, axis: Alignment | None, by_frame: bool, problems: list[Problem]) -> Segment:
    centre = np.array([row["centre_E"], row["centre_N"], row["centre_H"]])
    fixed = [row["fixed_E"], row["fixed_N"], row["fixed_H"]]
    given = [f for f in fixed if f is not None]
    # in a frame its supports say what stays put
    whole = (0, 3) if by_frame or row["expansion"] is None else (3,)
    if len(given) not in whole or (row["expansion"] is None and given):
        problems.append(
            row.problem(
                "expansion",
                "expansion and fixed point not both whole",
                "expansion with fixed_E, fixed_N, fixed_H, or none of them",
                "fill or clear all four",
            )
        )
    odd = set(row["held"]) - {"along", "across", "turn"}
    if odd:
        problems.append(
            row.problem("held", f"'{' '.join(sorted(odd))}'", "along, across, turn", "correct it")
        )
    azimuth = azimuth_at(row, axis, centre, problems)
    return record_of(Segment, row, azimuth=azimuth, held=frozenset(row["held"]))


def _joint(row: Row, axis: Alignment | None, where: Array | None, problems: list[Problem]) -> Joint:
    azimuth = azimuth_at(row, axis, where, problems)
    grade = grade_at(row, axis, where, problems)
    axes = joint_axes(azimuth, grade, crossfall_at(row, axis, where, problems))
    return record_of(Joint, row, axes_in_grid=axes)


def _direction(row: Row, segment: Segment | None, problems: list[Problem]) -> Any:
    word = row["pushes"]
    axis = [row["axis_E"], row["axis_N"], row["axis_H"]]
    if word in {"axis", "main_span"}:
        if any(a is None for a in axis) or not np.linalg.norm(np.array(axis, dtype=float)) > 0.0:
            problems.append(
                row.problem(
                    "pushes", f"{word} without axis_E, axis_N, axis_H", "all three", "fill them in"
                )
            )
            return _UP
        vector = np.array(axis, dtype=float)
        return vector / np.linalg.norm(vector)
    azimuth = 0.0 if segment is None else segment.azimuth
    return {
        "up": _UP,
        # the cable itself gives the way of its nut
        "shorten": _UP,
        "ahead": heading(azimuth),
        "back": -heading(azimuth),
        "left": left_of(azimuth),
        "right": -left_of(azimuth),
    }[word]


def _seat(row: Row, segments: dict[str, Segment], problems: list[Problem]) -> Seat:
    nut = row["held_by"] == "nut"
    most = row["pack_most"]
    if nut and row["pack"]:
        problems.append(
            row.problem("pack", "plates at a seat held by a nut", "empty", "clear it or use packs")
        )
    for column in ("thinnest", "thickest"):
        if nut and row[column]:
            problems.append(
                row.problem(column, "a plate at a seat held by a nut", "empty", "clear it")
            )
    if not nut and most is None:
        problems.append(
            row.problem("pack_most", "an empty cell", "a height", "give the greatest pack height")
        )
    if nut and (row["raise_most"] is None or row["lower_most"] is None):
        problems.append(
            row.problem(
                "raise_most", "a nut seat without travel", "raise_most and lower_most", "give both"
            )
        )
    if most is not None and most < row["pack_least"]:
        problems.append(
            row.problem("pack_most", f"{most:g} m, below pack_least", "not below it", "correct one")
        )
    if row["reaction_most"] <= row["reaction_least"]:
        problems.append(
            row.problem(
                "reaction_most", "not above reaction_least", "above reaction_least", "correct one"
            )
        )
    word = row["pushes"]
    side = {"up": "lift", "ahead": "along", "back": "along", "left": "across", "right": "across"}
    return record_of(
        Seat,
        row,
        direction=_direction(row, segments.get(row["segment"]), problems),
        # a missing one has been reported: no pack is too high then
        pack_most=(0.0 if nut else np.inf) if most is None else most,
        group=row["group"] or f"{row['segment']}-{side.get(word, row['id'])}",
    )


def _jack(row: Row, problems: list[Problem]) -> Jack:
    pressure = row["capacity"] / row["ram_area"]
    if not _GAUGE_LEAST <= pressure <= _GAUGE_MOST:
        problems.append(
            row.problem(
                "ram_area",
                f"{pressure / 1e5:.4g} bar at the rated capacity",
                f"{_GAUGE_LEAST / 1e5:g} to {_GAUGE_MOST / 1e5:g} bar",
                "correct capacity or ram area, or the unit of one of them",
            )
        )
    most = row["base"] if row["base_most"] is None else row["base_most"]
    return record_of(Jack, row, base_most=most)


def _plate(row: Row, problems: list[Problem]) -> Plate:
    off = abs(row["measured"] - row["nominal"])
    if off > _PLATE_OFF + _PLATE_SHARE * row["nominal"] + 1e-9:
        problems.append(
            row.problem(
                "measured",
                f"{row['measured'] * 1e3:.6g} mm at a nominal {row['nominal'] * 1e3:.6g} mm",
                f"within {_PLATE_OFF * 1e3:g} mm and {_PLATE_SHARE:.0%} of the nominal thickness",
                "measure it again; correct the mark, the thickness or the unit",
            )
        )
    plate = record_of(Plate, row, count=row["count"] - row["kept_back"], alike=False)
    if row["spread_by"] == "measured" or row["made_to"] not in PLATE_CLASSES:
        return plate
    limits = plate_limits(row["made_to"], row["nominal"])
    if limits is None:
        return plate
    return replace(plate, spread=limits.spread_about(row["measured"]), alike=True)


def _aim(row: Row, problems: list[Problem]) -> Aim | None:
    quantity, treat = row["quantity"], row["treat"]
    length = quantity in LENGTHS
    amount, other = (row["amount"], row["angle"]) if length else (row["angle"], row["amount"])
    column = "amount" if length else "angle"
    if amount is None or other is not None:
        problems.append(
            row.problem(
                column,
                "amount and angle do not fit the quantity",
                f"{column} alone for {quantity}",
                "move the number",
            )
        )
        return None
    sign = 1.0
    if treat == "preset":
        words = SIDES[quantity]
        if row["side"] not in words:
            problems.append(
                row.problem("side", f"'{row['side'] or ''}'", " or ".join(words), "say which way")
            )
            return None
        sign = 1.0 if row["side"] == words[0] else -1.0
    return record_of(Aim, row, amount=sign * amount)


def _reading(row: Row, pairs: dict[str, Pair], problems: list[Problem]) -> Reading | None:
    quantity = row["quantity"]
    words: tuple[str, ...] = ("opening",) if quantity == "gap" else SIDES[quantity]
    if row["side"] not in words:
        problems.append(
            row.problem("side", f"'{row['side']}'", " or ".join(words), "say which way")
        )
        return None
    pair = pairs.get(row["pair"])
    value = row["value"]
    if quantity == "gap":
        value -= 0.0 if pair is None else pair.opening
    elif row["side"] == words[-1]:
        value = -value
    return record_of(Reading, row, value=value)


def _check_files(root: Path, job: Job, axis: str | None, problems: list[Problem]) -> None:
    named = [
        (e.file, f"survey {i}.{'observations' if e.observed else 'file'}")
        for i, e in enumerate(job.epochs, 1)
    ]
    named += [
        (e.levelling, f"survey {i}.levelling") for i, e in enumerate(job.epochs, 1) if e.levelling
    ]
    if job.influence_table:
        named.append((job.influence_table, "influence.table"))
    if axis:
        named.append((axis, "alignment.file"))
    for name, key in named:
        if not inside_folder(name):
            problems.append(
                Problem(FILE, f"'{name}'", "a file inside the job folder", "copy it in", column=key)
            )
        elif not (root / name).is_file():
            problems.append(
                Problem(
                    FILE,
                    f"'{name}', which is not there",
                    "a file in the job folder",
                    "add it",
                    column=key,
                )
            )


def _input_names(job: Job, axis: str | None) -> list[str]:
    others = (job.influence_table, axis, *(e.levelling for e in job.epochs))
    return [FILE, *INPUT_TABLES, *(e.file for e in job.epochs), *(name for name in others if name)]
