"""What a night brought: files and folders told apart by what stands in their first row."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fitup.errors import InputError, Problem
from fitup.plainfile import read_text

READINGS_FILE: Final = "readings.csv"
STEEL_FILE: Final = "temperatures.csv"
TENSIONS_FILE: Final = "tensions.csv"
CONTROL_FILE: Final = "control.csv"
INSTRUMENTS_FILE: Final = "instruments.csv"
#: tables of a job that a night may bring anew, by their names
TABLES: Final = (READINGS_FILE, STEEL_FILE, TENSIONS_FILE, CONTROL_FILE, INSTRUMENTS_FILE)
_ENDINGS: Final = (".csv", ".txt")


@dataclass(frozen=True, slots=True)
class Incoming:
    """New surveys and tables.

    Parameters
    ----------
    surveys : tuple of (Path, bool)
        Each with whether it is what an instrument read, not coordinates.
    levelling : Path or None
        Levelled with the observations.
    tables : mapping
        Name of a table of the job -> the file with the new one.
    """

    surveys: tuple[tuple[Path, bool], ...]
    levelling: Path | None = None
    tables: Mapping[str, Path] = field(default_factory=dict)


def incoming(paths: Sequence[Path], levelling: Path | None = None) -> Incoming:
    """Tell new files apart: coordinates, observations, levelling, tables; folders file by file.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders. A table of a job is found in a folder only, by its name; a file that is
        named itself is a survey or a levelling.
    levelling : Path, optional
        A file known to be levelling; ``paths`` may then hold no other.

    Raises
    ------
    InputError
        With every file that is none of these, stands twice, or cannot be read, and where levelling
        does not come with exactly one file of observations.
    """
    problems: list[Problem] = []
    surveys: list[tuple[Path, bool]] = []
    levels = [] if levelling is None else [levelling]
    tables: dict[str, Path] = {}
    for path in paths:
        for file in _files(path, problems):
            # a file that is named is a survey, whatever its name
            if path.is_dir() and file.name.lower() in TABLES:
                _put(tables, file, problems)
                continue
            kind = _kind(file, problems)
            if kind == "levelling":
                levels.append(file)
            elif kind:
                surveys.append((file, kind == "observations"))
    if len(levels) > 1:
        names = ", ".join(str(p) for p in levels)
        problems.append(Problem("--survey", names, "one levelling file", "put them into one"))
    observed = sum(o for _, o in surveys)
    if levels and observed != 1:
        problems.append(
            Problem(
                str(levels[0]),
                f"levelling beside {observed or 'no'} observation files",
                "levelling beside one",
                "name the observations it was measured with",
            )
        )
    if problems:
        raise InputError(problems)
    return Incoming(tuple(surveys), levels[0] if levels else None, tables)


def _files(path: Path, problems: list[Problem]) -> list[Path]:
    """Return a file, or the files of a folder by name."""
    if not path.is_dir():
        return [path]
    inside = sorted(p for p in path.iterdir() if not p.name.startswith("."))
    found = [p for p in inside if p.is_file() and p.suffix.lower() in _ENDINGS]
    for other in inside:
        if other not in found:
            problems.append(
                Problem(
                    str(other),
                    "neither .csv nor .txt",
                    "files of one night, as text",
                    "export it as CSV, or move it out of the folder",
                )
            )
    if not inside:
        problems.append(Problem(str(path), "an empty folder", "files of one night", "name another"))
    return found


def _put(tables: dict[str, Path], file: Path, problems: list[Problem]) -> None:
    name = file.name.lower()
    if name in tables:
        found = f"{name} again (first {tables[name]})"
        problems.append(Problem(str(file), found, "each table once", "leave one out"))
    tables[name] = file


def _kind(path: Path, problems: list[Problem]) -> str:
    """Return what a file is by the names of its columns; empty, with a reason, if unread."""
    try:
        lines = read_text(path, str(path)).splitlines()
    except InputError as error:
        problems.extend(error.problems)
        return ""
    first = next((ln for ln in lines if ln.strip() and not ln.lstrip().startswith("#")), "")
    names = {name.strip().lower() for name in re.split(r"[;,\t]", first)}
    if {"setup", "target"} <= names:
        return "observations"
    if {"from", "to"} <= names and any(n.startswith("difference") for n in names):
        return "levelling"
    return "coordinates"
