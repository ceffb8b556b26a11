"""Temperatures against time, logged or forecast: a CSV with a column for each segment, or for all.

Columns besides ``time``: ``W7_C`` for a segment, ``W7_top_C`` and ``W7_bottom_C`` where its top
and bottom are told apart, ``steel_C`` for all segments that have no column of their own, or
``air_C``, which the steel follows by the lag stated in the job.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.jobfolder.table import Row, parse_local_time, read_table
from fitup.model import Job
from fitup.model.column import Column
from fitup.model.trust import COLDEST_STEEL, HOTTEST_STEEL
from fitup.units import from_si

#: steel on a bridge is neither colder nor warmer than this [K]
_ALL: Final = ("steel", "air")


@dataclass(frozen=True, eq=False)
class SteelSeries:
    """Steel temperatures of all segments against time, straight between the rows.

    Parameters
    ----------
    file : str
    start : datetime
        Local time of the first row.
    seconds : Array (t,)
        Since the start.
    mean, difference : Array (t, s)
        Mean temperature of every segment [K], and top less bottom [K].
    shared : tuple of str
        Per segment: the file where its temperature is stated for several, else empty.
    stated : str
        What it was read from, in words.
    """

    file: str
    start: dt.datetime
    seconds: Array
    mean: Array
    difference: Array
    shared: tuple[str, ...]
    stated: str

    def clock(self, seconds: float) -> dt.datetime:
        """Return the local time so many seconds after the start, to the second."""
        return self.start + dt.timedelta(seconds=round(float(seconds)))

    def since_start(self, when: dt.datetime) -> float:
        """Return the seconds from the start to a local time."""
        return (when - self.start).total_seconds()

    def at(self, seconds: float) -> tuple[Array, Array]:
        """Return mean temperatures and differences (s,) at a time within the series."""
        mean = [np.interp(seconds, self.seconds, column) for column in self.mean.T]
        difference = [np.interp(seconds, self.seconds, column) for column in self.difference.T]
        return np.array(mean), np.array(difference)


def read_series(path: Path, shown: str, job: Job) -> SteelSeries:
    """Read and check temperatures against time for the segments of a job.

    Parameters
    ----------
    path : Path
    shown : str
        Name of the file in messages.
    job : Job
        Gives segments, and the lag of the steel behind the air.

    Raises
    ------
    InputError
        With every problem of the file.
    """
    problems: list[Problem] = []
    rows = read_table(path, shown, _columns(job), problems)
    if problems:
        raise InputError(problems)
    source = _source(job, shown, rows, problems)
    times = [_time(row, problems) for row in rows]
    if len(rows) < 2:
        problems.append(
            Problem(shown, f"{len(rows)} rows", "two or more", "give a beginning and an end")
        )
    known = [(t, row) for t, row in zip(times, rows, strict=True) if t is not None]
    for (before, _), (after, row) in itertools.pairwise(known):
        if after <= before:
            problems.append(
                row.problem("time", f"'{row['time']}'", "later than the row above", "sort the rows")
            )
    if problems:
        raise InputError(problems)
    return _built(job, shown, [t for t, _ in known], rows, source)


def _columns(job: Job) -> tuple[Column, ...]:
    names = [*_ALL, *(n for s in job.segments for n in (s, f"{s}_top", f"{s}_bottom"))]
    return (
        Column("time", "text", "the local time, e.g. 2031-04-03T06:00"),
        *(
            Column(
                n, "temperature", "the temperature", False, least=COLDEST_STEEL, most=HOTTEST_STEEL
            )
            for n in names
        ),
    )


def _time(row: Row, problems: list[Problem]) -> dt.datetime | None:
    when = parse_local_time(row["time"])
    if when is None:
        problems.append(
            row.problem(
                "time", f"'{row['time']}'", "a local time such as 2031-04-03T06:00", "correct it"
            )
        )
    return when


def _source(job: Job, shown: str, rows: Sequence[Row], problems: list[Problem]) -> dict[str, str]:
    """Return where each segment's temperature stands: its own columns, steel, or air."""
    given = set(rows[0].headers) if rows else set()
    if "air" in given and len(given) > 2:
        problems.append(
            Problem(shown, "air beside steel", "one of them", "delete the air where steel is known")
        )
    if "air" in given and job.lockoff.air_lag is None:
        problems.append(
            Problem(
                shown,
                "temperatures of the air",
                "steel, or air with air_lag in [lockoff] of job.toml",
                "say how much later the steel is at the temperature of the air",
                column=rows[0].headers["air"],
            )
        )
    result = {}
    for name in job.segments:
        halves = {f"{name}_top", f"{name}_bottom"} & given
        if len(halves) == 1:
            problems.append(
                Problem(
                    shown,
                    f"{halves.pop()} alone",
                    f"{name}_top and {name}_bottom, or {name}",
                    "add the other",
                )
            )
        elif halves and job.segments[name].depth is None:
            problems.append(
                Problem(
                    shown,
                    f"top and bottom of {name}, which has no depth",
                    "a segment with depth",
                    "give the depth between the thermometers in segments.csv",
                )
            )
        found = "halves" if halves else next((n for n in (name, *_ALL) if n in given), "")
        if not found and rows and job.segments[name].expansion is not None:
            problems.append(
                Problem(
                    shown,
                    f"no temperature of {name}",
                    f"{name}_C, {name}_top_C and {name}_bottom_C, steel_C or air_C",
                    "add a column",
                )
            )
        result[name] = found
    for row in rows:
        problems += _gaps(row, given, set(job.segments))
    return result


def _gaps(row: Row, given: set[str], segments: set[str]) -> Iterator[Problem]:
    for name in row.headers:
        if name != "time" and row[name] is None:
            yield row.problem(name, "an empty cell", "a temperature", "fill it in or drop the row")


def _built(
    job: Job, shown: str, times: Sequence[dt.datetime], rows: Sequence[Row], source: dict[str, str]
) -> SteelSeries:
    mean = np.full((len(rows), len(job.segments)), job.reference_temperature)
    difference = np.zeros_like(mean)
    shared = []
    for k, name in enumerate(job.segments):
        found = source[name]
        if found == "halves":
            top = np.array([row[f"{name}_top"] for row in rows])
            bottom = np.array([row[f"{name}_bottom"] for row in rows])
            mean[:, k], difference[:, k] = 0.5 * (top + bottom), top - bottom
        elif found:
            mean[:, k] = [row[found] for row in rows]
        shared.append(shown if found in _ALL and found != name else "")
    air = "air" in source.values()
    lag = job.lockoff.air_lag if air and job.lockoff.air_lag is not None else 0.0
    start = times[0] + dt.timedelta(seconds=lag)
    seconds = np.array([(t - times[0]).total_seconds() for t in times])
    hours = from_si(lag, "time", "h")
    name = Path(shown).name
    stated = f"air in {name}, the steel {hours:.1f} h behind it" if air else f"steel in {name}"
    return SteelSeries(shown, start, seconds, mean, difference, tuple(shared), stated)
