"""Read an observation file and a levelling file, listing all problems at once."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Final

from fitup.errors import InputError, Problem
from fitup.jobfolder.table import Row, parse_table, read_table, record_of
from fitup.model import Epoch, Instrument, Job
from fitup.network.landxml import observation_rows
from fitup.network.observations import (
    LEVELS,
    SHOTS,
    LevelledDifference,
    ObservationSet,
    Setup,
    Shot,
)

#: humidity that is assumed where the file has none; it moves a distance by 0.4 ppm at most
HUMIDITY: Final = 0.6
_DAY: Final = 86400.0
#: so many further rows with the same fault are counted, not listed
MANY: Final = 3


def read_observations(folder: Path, job: Job, epoch: Epoch) -> ObservationSet:
    """Read the observations of one epoch.

    Parameters
    ----------
    folder : Path
        Of the job; the files of the epoch are named from here.
    job, epoch

    Raises
    ------
    InputError
        With every problem of both files.
    """
    problems: list[Problem] = []
    rows = _by_id(_sights(folder / epoch.file, epoch.file, job, problems), job)
    known = set(job.points) | set(job.control)
    setups = _setups(rows, job, known, problems)
    shots = [s for s in (_shot(r, known, problems) for r in rows) if s is not None]
    _not_itself(rows, setups, problems)
    shots = _numbered(shots, rows, epoch.file, problems)
    _in_order(shots, epoch.file, problems)
    _air_given(shots, setups, job, epoch.file, problems)
    if not rows and not problems:
        problems.append(
            Problem(epoch.file, "no observation", "at least one row", "is the file cut off?")
        )
    levels: list[LevelledDifference] = []
    if epoch.levelling:
        read = _by_id(read_table(folder / epoch.levelling, epoch.levelling, LEVELS, problems), job)
        levels = _levels(read, known, problems)
    if problems:
        raise InputError(_each_once(problems))
    return ObservationSet(
        epoch.file,
        epoch.levelling or "",
        setups,
        tuple(shots),
        tuple(levels),
        tuple(_understood(epoch, setups, shots, levels)),
    )


def _sights(path: Path, shown: str, job: Job, problems: list[Problem]) -> list[Row]:
    """Rows of an observation file, or of the raw observations of a LandXML file."""
    if path.suffix.casefold() != ".xml":
        return read_table(path, shown, SHOTS, problems)
    try:
        text = observation_rows(path, shown, {*job.points, *job.control, *job.names})
    except InputError as error:
        problems.extend(error.problems)
        return []
    return parse_table(text, shown, SHOTS, problems)


def _by_id(rows: list[Row], job: Job) -> list[Row]:
    """Put ids in place of the names that ``job.toml`` says mean them."""
    if not job.names:
        return rows
    points = ("target", "over", "from", "to")

    def meant(row: Row) -> Row:
        own = {c: job.names.get(row[c], row[c]) for c in points if row.values.get(c) is not None}
        return replace(row, values={**row.values, **own})

    return [meant(row) for row in rows]


def off_deck(read: ObservationSet, job: Job) -> list[Problem]:
    """Say where an epoch sights no point of the deck: another job's file, or tie points alone.

    A levelled run may reach the deck where no sight does, so a levelling file settles it.

    Parameters
    ----------
    read, job
    """
    seen = {s.target for s in read.shots}
    if read.levels or seen & set(job.points):
        return []
    return [
        Problem(
            read.file,
            f"{len(seen)} targets, none of them in points.csv",
            "sights to targets on the deck",
            "is this the right file? Name the targets of the deck as points.csv does",
            column="target",
        )
    ]


def _each_once(problems: list[Problem]) -> list[Problem]:
    """Tell what is wrong alike in many rows once: a unit in the header spoils hundreds."""
    alike: dict[Problem, list[Problem]] = {}
    for p in problems:
        alike.setdefault(replace(p, row=None), []).append(p)
    result = []
    for same in alike.values():
        first, more = same[0], len(same) - 1
        if more < MANY:
            result += same
        else:
            result.append(replace(first, found=f"{first.found}, and in {more} more rows"))
    return result


def _setups(
    rows: list[Row], job: Job, known: set[str], problems: list[Problem]
) -> dict[str, Setup]:
    setups: dict[str, Setup] = {}
    for row in rows:
        name, over, height = row["setup"], row["over"], row["instrument_height"]
        earlier = setups.get(name)
        if earlier is not None:
            _same_standing(earlier, row, problems)
            continue
        instrument = _instrument(row, job, problems)
        if over is not None and over not in known:
            problems.append(_unknown(row, "over", over))
        if over is not None and height is None:
            problems.append(
                row.problem(
                    "instrument_height",
                    "an empty cell",
                    "a height, for the instrument stands over a point",
                    "measure it, or leave over empty: a free set-up needs no height",
                )
            )
        if instrument is not None:
            given = {"instrument": instrument, "height": height or 0.0, "row": row.number}
            setups[name] = record_of(Setup, row, **given)
    return setups


def _same_standing(setup: Setup, row: Row, problems: list[Problem]) -> None:
    """Say where a later row of a set-up contradicts its first one."""
    found = {"over": row["over"], "instrument": row["instrument"]}
    first = {"over": setup.over, "instrument": setup.instrument.id}
    for column, value in found.items():
        if value is not None and value != first[column]:
            problems.append(
                row.problem(
                    column,
                    f"'{value}', but {first[column] or 'free'} in row {setup.row}",
                    "one standing for each set-up",
                    "give the new standing a name of its own",
                )
            )
    height = row["instrument_height"]
    if height is not None and setup.over is not None and abs(height - setup.height) > 5e-5:
        problems.append(
            row.problem(
                "instrument_height",
                f"{height:.4f} m, but {setup.height:.4f} m in row {setup.row}",
                "one height for each set-up",
                "correct it, or give the new standing a name of its own",
            )
        )


def _instrument(row: Row, job: Job, problems: list[Problem]) -> Instrument | None:
    name = row["instrument"]
    if name is None and len(job.instruments) == 1:
        return next(iter(job.instruments.values()))
    if name in job.instruments:
        return job.instruments[name]
    if job.instruments:
        problems.append(
            row.problem(
                "instrument",
                "an empty cell" if name is None else f"'{name}'",
                "one of: " + ", ".join(job.instruments),
                "name the instrument of the set-up",
            )
        )
    return None


def _unknown(row: Row, column: str, name: str) -> Problem:
    return row.problem(
        column,
        f"'{name}', an unknown point",
        "an id of points.csv or control.csv",
        "correct the name, or add it to control.csv as a tie",
    )


def _shot(row: Row, known: set[str], problems: list[Problem]) -> Shot | None:
    if row["target"] not in known:
        problems.append(_unknown(row, "target", row["target"]))
        return None
    if row["hz"] is None and row["v"] is None and row["sd"] is None:
        problems.append(
            row.problem("hz", "no reading in the row", "hz, v or sd", "fill it or delete the row")
        )
        return None
    for column, start in (("hz", "a circle"), ("v", "the vertical circle")):
        angle = row[column]
        if angle is not None and not 0.0 <= angle < 2.0 * math.pi + 1e-9:
            problems.append(
                row.problem(
                    column,
                    "a reading beyond a full circle",
                    f"from 0 to {start} of 400 gon or 360 degrees",
                    "gon under a column of degrees? Correct the unit in the header",
                )
            )
            return None
    if row["v"] is not None and (row["v"] > math.pi) != (row["face"] == 2):
        side = "beyond" if row["v"] > math.pi else "below"
        problems.append(
            row.problem(
                "v",
                f"a zenith angle {side} half the circle on face {row['face']}",
                "below half the circle on face 1, beyond it on face 2",
                "correct face or the angle",
            )
        )
        return None
    return _as_read(row, problems)


def _not_itself(rows: list[Row], setups: dict[str, Setup], problems: list[Problem]) -> None:
    """Refuse sights to the point under the instrument: one of the two names is wrong."""
    for row in rows:
        setup = setups.get(row["setup"])
        if setup is not None and setup.over is not None and row["target"] == setup.over:
            problems.append(
                row.problem(
                    "target",
                    f"'{setup.over}', the point that set-up {setup.id} stands over",
                    "another point than the one under the instrument",
                    "correct the target, or column over",
                )
            )


def _as_read(row: Row, problems: list[Problem]) -> Shot:
    air = None
    if row["temperature"] is not None and row["pressure"] is not None:
        humidity = row["humidity_pct"]
        share = HUMIDITY if humidity is None else humidity / 100.0
        air = (row["temperature"], row["pressure"], share)
    seconds = _seconds(row, problems)
    return record_of(Shot, row, set=row["set"] or 0, air=air, seconds=seconds, row=row.number)


def _seconds(row: Row, problems: list[Problem]) -> float | None:
    text = row["time"]
    if text is None:
        return None
    try:
        if "T" in text or " " in text:
            return (dt.datetime.fromisoformat(text) - dt.datetime(2000, 1, 1)).total_seconds()
        clock = dt.time.fromisoformat(text if text[1:2] != ":" else f"0{text}")
    except (ValueError, TypeError):
        problems.append(
            row.problem(
                "time", f"'{text}'", "04:10:35 or 2031-04-02T04:10:35, local time", "correct it"
            )
        )
        return None
    return clock.hour * 3600.0 + clock.minute * 60.0 + clock.second


def _numbered(shots: list[Shot], rows: list[Row], file: str, problems: list[Problem]) -> list[Shot]:
    """Number the sets where the file does not: the n-th reading in a face belongs to set n."""
    count: Counter[tuple[str, str, int]] = Counter()
    taken: dict[tuple[str, str, int, int], int] = {}
    result = []
    for shot in shots:
        face = (shot.setup, shot.target, shot.face)
        count[face] += 1
        numbered = shot if shot.set else replace(shot, set=count[face])
        key = (*face, numbered.set)
        if key in taken:
            problems.append(
                Problem(
                    file,
                    f"set {numbered.set} of {shot.target} in face {shot.face} again "
                    f"(first in row {taken[key]})",
                    "each set once in each face",
                    "number the sets, or leave the column out",
                    row=shot.row,
                    column="set",
                )
            )
        taken[key] = shot.row
        result.append(numbered)
    return result


def _in_order(shots: list[Shot], file: str, problems: list[Problem]) -> None:
    """Times of a set-up run forward; past midnight a clock may start again."""
    last: dict[str, Shot] = {}
    for shot in shots:
        if shot.seconds is None:
            continue
        before = last.get(shot.setup)
        last[shot.setup] = shot
        if before is None or before.seconds is None or shot.seconds >= before.seconds:
            continue
        if max(shot.seconds, before.seconds) < _DAY and before.seconds - shot.seconds > _DAY / 2:
            continue
        problems.append(
            Problem(
                file,
                f"a time before that of row {before.row}, in one set-up",
                "times in order within a set-up",
                "correct the time, or put the rows in the order they were read",
                row=shot.row,
                column="time",
            )
        )


def _air_given(
    shots: list[Shot], setups: dict[str, Setup], job: Job, file: str, problems: list[Problem]
) -> None:
    """An instrument that shows uncorrected distances needs the air of every one of them."""
    stated = set()
    for shot in shots:
        setup = setups.get(shot.setup)
        if setup is None or shot.sd is None or shot.air is not None or not job.network.air:
            continue
        if setup.instrument.reference is None or shot.setup in stated:
            continue
        stated.add(shot.setup)
        problems.append(
            Problem(
                file,
                "a distance without temperature or pressure of the air",
                f"both, for {setup.instrument.id} shows uncorrected distances",
                "give them, or set air = false in job.toml [network]",
                row=shot.row,
                column="temperature",
            )
        )


def _levels(rows: list[Row], known: set[str], problems: list[Problem]) -> list[LevelledDifference]:
    count: Counter[tuple[str, str]] = Counter()
    levels = []
    for row in rows:
        ends = (row["from"], row["to"])
        unknown = [(c, n) for c, n in zip(("from", "to"), ends, strict=True) if n not in known]
        problems += [_unknown(row, column, name) for column, name in unknown]
        if ends[0] == ends[1]:
            problems.append(
                row.problem("to", "the start again", "another point", "correct one of them")
            )
        count[ends] += 1
        numbers = {"number": count[ends], "row": row.number}
        levels.append(record_of(LevelledDifference, row, **numbers))
    return levels


def _understood(
    epoch: Epoch, setups: dict[str, Setup], shots: list[Shot], levels: list[LevelledDifference]
) -> list[str]:
    targets = {s.target for s in shots}
    lines = [
        f"{epoch.file}: {len(shots)} pointings from {len(setups)} set-ups to {len(targets)} targets"
    ]
    if Path(epoch.file).suffix.casefold() == ".xml":
        lines.append(
            f"{epoch.file}: LandXML, raw observations counted in their order, the first as row 2; "
            "distances as displayed, with the prism constants that the instrument applied"
        )
    faces: dict[tuple[str, str, int], set[int]] = {}
    for shot in shots:
        faces.setdefault((shot.setup, shot.target, shot.set), set()).add(shot.face)
    single = sum(1 for seen in faces.values() if len(seen) == 1)
    both = len(faces) - single
    lines.append(f"{epoch.file}: {both} sets in both faces, {single} in one face only")
    if levels:
        lines.append(f"{epoch.levelling}: {len(levels)} levelled differences")
    return lines
