"""Read the sheets of a workbook as rows of cells, and no more than a list on site can hold.

A workbook is a packed file: a few kilobytes can unpack to gigabytes, or to more cells than can be
read in a night. What it would unpack to is looked at first.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from fitup.errors import InputError, Problem
from fitup.plainfile import read_whole

#: rows of all sheets, columns of each, that are read
MOST_ROWS: Final = 100_000
MOST_COLUMNS: Final = 60
#: what the parts may unpack to [bytes], cells of the whole workbook and of one row
_MOST_UNPACKED: Final = 50_000_000
MOST_CELLS: Final = 1_000_000
_MOST_TAGS: Final = 6_000_000
_MOST_IN_A_ROW: Final = 16_384
_MOST_SHEETS: Final = 100
_ROW: Final = re.compile(rb"<(?:\w+:)?row[\s/>]")
_CELL: Final = re.compile(rb"<(?:\w+:)?c[\s/>]")

Rows = list[tuple[Any, ...]]


def read_sheets(path: Path, shown: str, only: str = "") -> dict[str, Rows]:
    """Return the rows of every sheet that holds something, each without its empty end.

    Parameters
    ----------
    path : Path
    shown : str
        Its name in messages.
    only : str
        Read the sheet of this name alone, where there is one.

    Raises
    ------
    InputError
        If it cannot be read, is broken, or holds more than can be meant.
    """
    from openpyxl import load_workbook

    raw = read_whole(path, shown)
    try:
        too_much = _too_much(raw)
        if not too_much:
            book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
            names = [s.title for s in book.worksheets if not only or s.title == only]
            left = [MOST_ROWS]
            sheets = {name: _rows(book[name], left) for name in names[:_MOST_SHEETS]}
            book.close()
    except Exception:  # a file that only looks like a workbook fails in any way
        raise InputError(
            [Problem(shown, "a broken workbook", "a workbook (.xlsx)", "save it again, or as CSV")]
        ) from None
    if too_much:
        raise InputError([Problem(shown, too_much, "a list or form", "is this the right file?")])
    return {name: rows for name, rows in sheets.items() if rows}


def _too_much(raw: bytes) -> str:
    """Say what a workbook holds too much of; empty where it does not."""
    with zipfile.ZipFile(io.BytesIO(raw)) as parts:
        # what a part says of its size is all that is ever unpacked of it
        unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > _MOST_UNPACKED:
            return f"a workbook that unpacks to {unpacked / 1e6:.0f} MB"
        rows = cells = 0
        for name in parts.namelist():
            text = parts.read(name) if name.endswith(".xml") else b""
            if text.count(b"<") > _MOST_TAGS:
                return f"a workbook of more than {MOST_CELLS} cells"
            counts = [len(_CELL.findall(row)) for row in _ROW.split(text)]
            rows += len(counts) - 1
            cells += sum(counts)
            if max(counts) > _MOST_IN_A_ROW or cells > MOST_CELLS:
                return f"a workbook of more than {MOST_CELLS} cells"
    return f"a workbook of {rows} rows" if rows > MOST_ROWS else ""


def _rows(sheet: Any, left: list[int]) -> Rows:
    found = sheet.iter_rows(max_row=max(left[0], 1), max_col=MOST_COLUMNS, values_only=True)
    rows = list(_trimmed(found))
    left[0] -= len(rows)
    while rows and not rows[-1]:
        rows.pop()
    return rows


def _trimmed(rows: Iterator[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    for row in rows:
        end = len(row)
        while end and row[end - 1] in (None, ""):
            end -= 1
        yield row[:end]
