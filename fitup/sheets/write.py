"""Write a whole sheet set, or nothing: the folder changes in one step."""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Final

from fitup.plainfile import read_bytes
from fitup.sheets.model import SheetSet

#: the file that lists the set; it tells the next run which files are the program's own
LIST: Final = "sheets.json"


def write_sheets(sheets: SheetSet, folder: Path, *, moves: bool = True) -> tuple[Path, ...]:
    """Write every document of a sheet set into a folder and return the paths.

    The set is written beside the folder and renamed into place, so that an interruption or a
    full disk leaves the old set as it was. Files of an earlier set are replaced or removed;
    files the program did not write are kept.

    Parameters
    ----------
    folder : Path
        Made when missing.
    moves : bool
        False withholds the move sheets, and the report says so.

    Raises
    ------
    OSError
        If the folder cannot be written; the old set is then still there.
    """
    return write_documents(documents(sheets, moves=moves), folder)


def documents(sheets: SheetSet, *, moves: bool = True) -> dict[str, bytes]:
    """Return name and content of every file of a sheet set.

    Parameters
    ----------
    sheets : SheetSet
    moves : bool
        As for :func:`write_sheets`.
    """
    return dict(_documents(sheets, moves))


def write_documents(files: Mapping[str, bytes], folder: Path) -> tuple[Path, ...]:
    """Write the files of a sheet set as :func:`write_sheets` does.

    Parameters
    ----------
    files : mapping of str to bytes
        File name -> content; :data:`LIST` among them.
    folder : Path
        Made when missing.

    Returns
    -------
    tuple of Path
        In the order of ``files``.

    Raises
    ------
    OSError
        If the folder cannot be written; the old set is then still there.
    """
    folder = folder.absolute().resolve()
    folder.parent.mkdir(parents=True, exist_ok=True)
    with _beside(folder) as beside:
        new = beside / "new"
        new.mkdir()
        for name, content in files.items():
            _write(new / name, content)
        _keep_others(folder, new)
        _swap(folder, new, beside / "old")
    return tuple(folder / name for name in files)


def set_aside(folder: Path, why: str) -> Path | None:
    """Move the files of a sheet set out of its folder, so that they never pass for new ones.

    Parameters
    ----------
    folder : Path
        Where the set lies; files the program did not write stay there.
    why : str
        Said in a file beside them.

    Returns
    -------
    Path or None
        Where they lie now; None where there were none.
    """
    folder = folder.absolute().resolve()
    there = {entry.name for entry in folder.iterdir()} if folder.is_dir() else set()
    own = (_own(folder) | {LIST}) & there
    if LIST not in own:
        return None
    count = 1
    while (aside := folder.parent / f"{folder.name}-old-{count}").exists():
        count += 1
    aside.mkdir()
    _write(aside / "DO-NOT-USE.txt", f"Do not work by these sheets: {why}.\n".encode())
    # the list goes last: until then whoever comes after a kill knows what is left to move
    for name in (*sorted(own - {LIST}), *(own & {LIST})):
        (folder / name).rename(aside / name)
    return aside


def _documents(sheets: SheetSet, moves: bool) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of every file, the list last."""
    from fitup.sheets.figures import figures
    from fitup.sheets.pdf import move_pdf, pocket_pdf, report_pdf, schedule_pdf, sequence_pdf
    from fitup.sheets.table_files import csv_bytes, json_bytes, xlsx_bytes
    from fitup.sheets.tables import lift_off_table, tables

    if not moves:
        sheets = replace(sheets, stages=())
    listed = [LIST]
    names, pockets = (file_names(kind, sheets.sheets) for kind in ("move-", "pocket-"))
    # the typesetter works beside the figures and tables, which hold the interpreter
    with ThreadPoolExecutor(1) as beside:
        pages = [(f"{names[s]}.pdf", beside.submit(move_pdf, sheets, s)) for s in sheets.sheets]
        pages += [
            (f"{pockets[s]}.pdf", beside.submit(pocket_pdf, sheets, s)) for s in sheets.sheets
        ]
        if sheets.stages:
            pages.append(("sequence.pdf", beside.submit(sequence_pdf, sheets)))
        pages.append(("shim-schedule.pdf", beside.submit(schedule_pdf, sheets)))
        drawn = figures(sheets)
        workbook = xlsx_bytes(sheets)
        documents = [(name, page.result()) for name, page in pages]
    documents.append(("report.pdf", report_pdf(sheets, drawn, moves=moves)))
    titles = file_names("figure-", tuple(drawn))
    documents += [(f"{titles[name]}.svg", svg) for name, svg in drawn.items()]
    documents += [(f"{t.name}.csv", csv_bytes(t)) for t in tables(sheets)]
    if sheets.stages and sheets.lift_offs:
        documents.append(("lift-off.csv", csv_bytes(lift_off_table(sheets))))
    documents.append(("sheets.xlsx", workbook))
    for name, content in documents:
        listed.append(name)
        yield name, content
    yield LIST, json_bytes(sheets, listed)


def file_names(prefix: str, ids: tuple[str, ...]) -> dict[str, str]:
    """Return a file name per id, safe on every system and different for every id.

    Parameters
    ----------
    prefix : str
        What every name begins with.
    ids : tuple of str
        Each once.

    Examples
    --------
    >>> file_names("move-", ("E3", "E/4", "E 4"))
    {'E3': 'move-E3', 'E/4': 'move-E_4', 'E 4': 'move-E_4-2'}
    """
    out: dict[str, str] = {}
    taken: set[str] = set()
    for name in ids:
        plain = prefix + re.sub(r"[^\w.-]", "_", name)
        unique, count = plain, 1
        while unique.casefold() in taken:
            count += 1
            unique = f"{plain}-{count}"
        taken.add(unique.casefold())
        out[name] = unique
    return out


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as target:
        target.write(content)
        target.flush()
        os.fsync(target.fileno())


def _own(folder: Path) -> set[str]:
    """Return the names an earlier run listed as its own."""
    try:
        listed = json.loads(read_bytes(folder / LIST))
        return {str(name) for name in listed["files"]}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return set()


@contextmanager
def _beside(folder: Path) -> Iterator[Path]:
    """Yield an empty folder beside another, held against other writers; gone when it is left.

    What a killed writer left there is taken up: the old set is put back where it was missing.
    """
    place = folder.parent / f".{folder.name}.part"
    while True:
        if place.is_symlink():
            place.unlink()  # its files would be taken for those of a killed writer
        place.mkdir(exist_ok=True)
        try:
            handle = _held(place)
        except FileNotFoundError:
            continue  # another writer, done meanwhile, has taken it away
        if handle is None or _is_at(handle, place):
            break
        os.close(handle)
    try:
        if (place / "old").is_dir() and not folder.exists():
            (place / "old").rename(folder)
        _clear(place, handle)
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)
        if handle is not None:
            os.close(handle)


def _clear(place: Path, handle: int | None) -> None:
    """Empty the folder that is held, whatever lies at its path meanwhile."""
    with os.scandir(place if handle is None else handle) as found:
        entries = list(found)
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry if handle is None else entry.name, dir_fd=handle)
        else:
            os.unlink(entry if handle is None else entry.name, dir_fd=handle)


def _held(place: Path) -> int | None:
    """Wait until nobody else holds a folder, and hold it; None where a system has no such lock."""
    if sys.platform == "win32":
        return None
    import fcntl

    handle = os.open(place, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    fcntl.flock(handle, fcntl.LOCK_EX)
    return handle


def _is_at(handle: int, place: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), place.lstat())
    except FileNotFoundError:
        return False


def _keep_others(folder: Path, new: Path) -> None:
    """Copy what others put into the folder over to the new one."""
    if not folder.exists():
        return
    own = _own(folder)
    for entry in folder.iterdir():
        target = new / entry.name
        if entry.name in own or target.exists():
            continue
        if entry.is_dir() and not entry.is_symlink():
            shutil.copytree(entry, target, symlinks=True)
        else:
            shutil.copy2(entry, target, follow_symlinks=False)


def _swap(folder: Path, new: Path, old: Path) -> None:
    """Put the new folder in place of the old one; put the old one back if that fails."""
    if not folder.exists():
        new.rename(folder)
        return
    shutil.copymode(folder, new)
    folder.rename(old)
    try:
        new.rename(folder)
    except BaseException:
        old.rename(folder)
        raise
