"""The files a job was read from, and whether they are still what they were."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

from fitup.errors import InputError, Problem
from fitup.model import Job
from fitup.plainfile import read_whole


def input_files(root: Path, names: Iterable[str]) -> dict[str, bytes]:
    """Return the bytes of those files that lie in a folder, by name.

    Parameters
    ----------
    root : Path
    names : iterable of str
        Of files that may lie there.

    Raises
    ------
    InputError
        If one of them cannot be read.
    """
    present = (name for name in sorted(set(names)) if (root / name).is_file())
    return {name: read_whole(root / name, name) for name in present}


def require_unchanged(folder: Path, job: Job) -> dict[str, bytes]:
    """Return every input file of a job, as it was read.

    Parameters
    ----------
    folder : Path
    job : Job
        As read from there.

    Raises
    ------
    InputError
        If one changed, or grew, since.
    """
    files = input_files(folder, job.files)
    if digest_of(files) != job.digest:
        found, allowed = "files that changed while the job was read", "files that rest"
        do = "wait until they are saved, then try again"
        raise InputError([Problem(str(folder), found, allowed, do)])
    return files


def digest_of(files: Mapping[str, bytes]) -> str:
    """Return the SHA-256 over names and bytes of input files."""
    state = hashlib.sha256()
    for name in sorted(files):
        state.update(f"{name}\0{len(files[name])}\0".encode())
        state.update(files[name])
    return state.hexdigest()
