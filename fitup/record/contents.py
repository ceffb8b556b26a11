"""The files an entry rests on: read as one, told apart by what they say, written out again."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time
from pathlib import Path, PurePosixPath
from typing import Any, Final

from fitup.errors import InputError, Problem
from fitup.jobfolder.inputs import input_files, require_unchanged
from fitup.jobfolder.keys import FILE as SETTINGS
from fitup.jobfolder.schema import INPUT_TABLES, TABLES
from fitup.model import Job
from fitup.record.canonical import canonical

Files = Mapping[str, bytes]
#: tables that are the engineer's and say nothing of the survey
_ENGINEERS: Final = frozenset(name for name, table in TABLES.items() if not table.survey)
_ENGINEERS_KEYS: Final = frozenset(
    {"name", "tolerance", "working", "staging", "objectives", "influence", "uncertainty", "lockoff"}
)
#: what of job.toml belongs to the survey, kept under a name of its own
SURVEY_SETTINGS: Final = "job.toml, survey"


def job_files(folder: Path, job: Job) -> dict[str, bytes]:
    """Return every input file of a job that was read from a folder.

    Parameters
    ----------
    folder : Path
    job : Job
        As it was read; its digest must still be that of the files.

    Raises
    ------
    InputError
        If a file changed while the job was being worked on.
    """
    return require_unchanged(folder, job)


def files_now(folder: Path, known: Iterable[str]) -> dict[str, bytes]:
    """Return what lies in a folder of the files an entry knows, and of the tables of a job.

    Unlike :func:`job_files` it reads a job that is spoiled, too.

    Parameters
    ----------
    folder : Path
    known : iterable of str
        Paths in the folder; those that are no longer there are left out.

    Raises
    ------
    InputError
        If one of them cannot be read.
    """
    return input_files(folder, {*known, SETTINGS, *INPUT_TABLES})


def survey_files(files: Files) -> dict[str, bytes]:
    """Return what of a job's files the survey rests on; what is unknown belongs to it."""
    kept = {n: c for n, c in files.items() if n not in _ENGINEERS and n != SETTINGS}
    settings = tomllib.loads(files[SETTINGS].decode("utf-8-sig"))
    table = settings.get("influence")
    if isinstance(table, dict):
        kept.pop(str(table.get("table")), None)
    own = {key: _plain(v) for key, v in settings.items() if key not in _ENGINEERS_KEYS}
    kept[SURVEY_SETTINGS] = canonical(own)
    return kept


def write_files(files: Files, folder: Path) -> tuple[Path, ...]:
    """Write files below a new or empty folder.

    Parameters
    ----------
    files : mapping of str to bytes
        By path relative to the folder, with forward slashes.
    folder : Path
        Made with its parents where it is not there.

    Returns
    -------
    tuple of Path
        What was written, in the order of the files.

    Raises
    ------
    InputError
        If the folder holds anything, or a path leads out of it.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            [Problem(str(folder), "files already there", "a new or empty folder", "name another")]
        )
    written = []
    for name, content in files.items():
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts:
            raise InputError(
                [Problem(name, "a path that leads out of the folder", "a file name", "beware")]
            )
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
        written.append(target)
    return tuple(written)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(v) for key, v in value.items()}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return value.isoformat() if isinstance(value, datetime | date | time) else value
