"""Which targets moved between two surveys, and which way."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Final

import numpy as np

from fitup.errors import FitupError, InputError
from fitup.frames import Array
from fitup.jobfolder import read_job
from fitup.jobfolder.keys import FILE as SETTINGS
from fitup.model import Job
from fitup.plainfile import parse_toml
from fitup.record.contents import Files, write_files
from fitup.survey.reduce import read_lists
from fitup.units import DISPLAY, DisplayUnits

#: so many targets are named, the rest are counted
_MOST: Final = 12
_WAYS: Final = (("east", "west"), ("north", "south"), ("higher", "lower"))


def survey_lists(files: Files) -> frozenset[str]:
    """Return the coordinate lists and observation files that a job's settings name."""
    try:
        entries = parse_toml(files[SETTINGS].decode("utf-8-sig"), SETTINGS)["survey"]
        names = {e.get(k) for e in entries for k in ("file", "observations", "levelling")}
        return frozenset(names & set(files))
    except (AttributeError, KeyError, TypeError, ValueError, InputError):
        return frozenset()


def survey_changes(before: Files, after: Files) -> list[str] | None:
    """Say which targets moved; None where one of the two cannot be read.

    Parameters
    ----------
    before, after : mapping of str to bytes
        Input files of a job by name, its survey lists among them.

    Returns
    -------
    list of str or None
        A line a target, those that moved farthest first; the units are the later job's.
    """
    try:
        job, old = _surveyed(before)
        job, new = _surveyed(after)
    except FitupError:
        return None
    units = DISPLAY[job.units]
    said = [f"target {i}: no longer surveyed" for i in old if i not in new]
    said += [f"target {i}: surveyed now" for i in new if i not in old]
    shifts = {i: new[i] - old[i] for i in new if i in old}
    moved = sorted(shifts, key=lambda i: -float(np.linalg.norm(shifts[i])))
    seen = [i for i in moved if units.move.number(float(np.linalg.norm(shifts[i])))]
    said += [f"target {i} moved {_words(shifts[i], units)}" for i in seen[:_MOST]]
    if len(seen) > _MOST:
        said.append(f"{len(seen) - _MOST} more targets moved less than those")
    return said


def _surveyed(files: Files) -> tuple[Job, dict[str, Array]]:
    """Return a job and every surveyed position [m] by target."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        write_files(files, root)
        job = read_job(root)
        lists, _ = read_lists(root, job)
    return job, {p.id: p.position for listed in lists for p in listed.points}


def _words(shift: Array, units: DisplayUnits) -> str:
    parts = []
    for value, (with_it, against_it) in zip(shift, _WAYS, strict=True):
        size = units.move.text(abs(float(value)), unit=False)
        if float(size):
            parts.append(f"{size} {with_it if value > 0.0 else against_it}")
    whole = units.move.text(float(np.linalg.norm(shift)))
    return whole if len(parts) < 1 else f"{whole} ({', '.join(parts)})"
