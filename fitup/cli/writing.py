"""Write files, each whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fitup.errors import InputError, Problem
from fitup.plainfile import read_bytes, write_whole


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
        write_whole(folder / name, data)
        written.append(str(folder / name))
    return written


def write_page(file: Path, content: bytes) -> None:
    """Write an HTML page, over an earlier page of fitup but over nothing else.

    Raises
    ------
    InputError
        If something else stands there, or the folder is missing.
    OSError
        If it cannot be written; what was there is then as it was.
    """
    from fitup.pages.document import GENERATOR

    allowed, do = "a new file, or an earlier page of fitup", "name another with --to"
    if file.is_dir():
        raise InputError([Problem(str(file), "a folder", allowed, do)])
    if not file.parent.is_dir():
        found = f"no folder {file.parent}"
        raise InputError([Problem(str(file), found, "a file in a folder", "make the folder first")])
    if file.exists() and GENERATOR.encode() not in read_bytes(file)[:4096]:
        raise InputError([Problem(str(file), "a file that fitup did not write", allowed, do)])
    write_whole(file, content)
