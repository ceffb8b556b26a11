"""Write a few files into a folder, each whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from fitup.errors import InputError, Problem


def write_files(folder: Path, content: Mapping[str, bytes]) -> list[str]:
    """Write files by name into a folder, made where it is missing, and return their paths.

    Raises
    ------
    InputError
        If the folder is a file.
    OSError
        If it cannot be written; the file that could not is then as it was.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError([Problem(str(folder), "a file", "a folder", "name another with --out")])
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, data in content.items():
        beside = folder / f".{name}.part"
        try:
            with beside.open("wb") as target:
                target.write(data)
                target.flush()
                os.fsync(target.fileno())
            beside.replace(folder / name)
        finally:
            beside.unlink(missing_ok=True)
        written.append(str(folder / name))
    return written
