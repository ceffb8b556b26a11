"""The text of a coordinate list, whatever file it came in, with what was done to get at it.

Workbooks and LandXML points become rows of text; a list in the encoding of old spreadsheets is
decoded; title rows, ``sep=`` lines and a row of units become comments, so that every row keeps its
number.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from fitup.alignment import read_landxml
from fitup.errors import InputError, Problem
from fitup.jobfolder.workbook import read_sheets
from fitup.plainfile import read_text, read_whole, seen_text
from fitup.survey.layout import COMMENTS, DELIMITERS, is_number, parse_title
from fitup.units import suffixes

#: a header is looked for among so many first rows
TITLES: Final = 12
_SEP: Final = re.compile(r"\s*\"?sep=(.)\"?\s*")
_UNIT: Final = re.compile(r"[\[(]?\s*([A-Za-z]+)\s*[\])]?")
_COMMA: Final = re.compile(r"[+-]?[0-9.]*,[0-9]+")
_COORDINATES: Final = ("E", "N", "H", "X", "Y", "u", "uE", "uN", "uH")


@dataclass(frozen=True, slots=True)
class ListText:
    """A list as text: what was done to get it, and its decimal mark where the file fixes it."""

    text: str
    notes: tuple[str, ...]
    decimal: str | None = None


def list_text(path: Path, shown: str, widths: Sequence[int] | None = None) -> ListText:
    """Return the text of a coordinate list.

    Parameters
    ----------
    path : Path
        A text file, a workbook (.xlsx, .xlsm) or a LandXML file with points (.xml).
    shown : str
        Its name in messages.
    widths : sequence of int, optional
        Characters of each column, where columns of fixed width may touch.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    suffix = path.suffix.casefold()
    if widths is not None and suffix in (".xlsx", ".xlsm", ".xml"):
        raise InputError(
            [
                Problem(
                    "job.toml",
                    f"widths for {shown}",
                    "widths for a list in plain text",
                    "delete widths: the columns of this file are known",
                )
            ]
        )
    if suffix in (".xlsx", ".xlsm"):
        whole = _workbook(path, shown)
    elif suffix == ".xml":
        whole = _landxml(path, shown)
    else:
        whole = _decoded(path, shown)
    text = whole.text if widths is None else cut_columns(whole.text, widths, shown)
    tidied, notes = tidy(text)
    return ListText(tidied, (*whole.notes, *notes), whole.decimal)


def cut_columns(text: str, widths: Sequence[int], shown: str) -> str:
    r"""Return rows of fixed width with tabs between their cells; comments stay as they are.

    Parameters
    ----------
    text : str
    widths : sequence of int
        Characters of each column; what stands behind the last, after a blank, is a remark.
    shown : str
        Name of the file in messages.

    Raises
    ------
    InputError
        If a row holds a tab, so that its columns cannot be counted in characters, or goes on behind
        its last column without a blank.

    Examples
    --------
    >>> cut_columns("A1  1234.51234.6\n", [4, 6, 6], "list.txt")
    'A1\t1234.5\t1234.6\n'
    """
    ends = list(itertools.accumulate(widths))
    starts, width = [0, *ends[:-1]], ends[-1]
    rows = []
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1):
        if not line.strip() or _is_comment(line):
            rows.append(line)
            continue
        found = ""
        if "\t" in line:
            found, allowed = "a tab in a list of fixed width", "blanks alone between columns"
            do = "delete widths in job.toml, or export the list without tabs"
        elif line[width : width + 1].strip():
            found, allowed = f"'{line[width:].strip()}' right behind the last column", "a blank"
            do = f"count again: widths in job.toml make {width} characters"
        if found:
            raise InputError([Problem(shown, found, allowed, do, row=number)])
        rows.append("\t".join(line[a:b].strip() for a, b in zip(starts, ends, strict=True)))
    return "\n".join(rows)


def _decoded(path: Path, shown: str) -> ListText:
    try:
        return ListText(read_text(path, shown), ())
    except InputError as error:
        if not any("which is not UTF-8" in p.found for p in error.problems):
            raise
        try:
            text = seen_text(read_whole(path, shown).decode("cp1252"), shown)
        except UnicodeDecodeError:
            raise error from None
    return ListText(text, ("encoding: Windows-1252, for the file is not UTF-8",))


def _landxml(path: Path, shown: str) -> ListText:
    points = [p for p in read_landxml(path, shown).points if np.isfinite(p.position).all()]
    rows = ["id,E_m,N_m,H_m"]
    for point in points:
        rows.append(",".join([_quoted(point.id), *(repr(float(v)) for v in point.position)]))
    text = seen_text("\n".join(rows) + "\n", shown)
    return ListText(
        text, (f"LandXML: {len(points)} points with a height, counted in their order",), "."
    )


def _quoted(cell: str) -> str:
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow([cell])
    return line.getvalue()


def _workbook(path: Path, shown: str) -> ListText:
    """Return the one sheet of a workbook that holds something, row by row."""
    sheets = {
        title: [[_cell(v) for v in row] for row in rows]
        for title, rows in read_sheets(path, shown).items()
    }
    if len(sheets) != 1:
        names = ", ".join(f"'{n}'" for n in sheets) or "none"
        raise InputError(
            [
                Problem(
                    shown,
                    f"{len(sheets)} sheets with content ({names})",
                    "one sheet with the list",
                    "save the sheet of the list as a workbook of its own, or as CSV",
                )
            ]
        )
    ((name, rows),) = sheets.items()
    # numbers typed as text keep their own decimal mark
    plain = not any(_COMMA.fullmatch(cell) for row in rows for cell in row)
    text = seen_text("\n".join("\t".join(row) for row in rows) + "\n", shown)
    return ListText(text, (f"workbook: sheet '{name}', as it was saved",), "." if plain else None)


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | int | float):
        return repr(value)
    return re.sub(r"[\t\r\n]+", " ", str(value)).strip()


def tidy(text: str) -> tuple[str, tuple[str, ...]]:
    r"""Turn ``sep=`` lines, title rows and a row of units into comments.

    Examples
    --------
    >>> tidied, notes = tidy("sep=;\nNight 14\nid;E;N;H\n;[m];[m];[m]\nA1;1;2;3\n")
    >>> tidied.splitlines()[2], notes
    ('id;E_m;N_m;H_m', ('title rows passed over: 2', 'units from the row under the header'))
    """
    lines = re.split(r"(?<=\n)|(?<=\r)(?!\n)", text)
    header = _header(lines)
    if header is None:
        sep = bool(lines) and _SEP.fullmatch(lines[0].rstrip("\r\n")) is not None
        if not sep:
            return text, ()
        return "#" + text, ("title rows passed over: 1",)
    at, mark = header
    titles = [i for i in range(at) if lines[i].strip() and not _is_comment(lines[i])]
    if any(sum(is_number(c) for c in _split(lines[i], mark)) >= 2 for i in titles):
        # rows of numbers above a header are points, not titles
        return text, ()
    for i in titles:
        lines[i] = "#" + lines[i]
    notes = [f"title rows passed over: {len(titles)}"] if titles else []
    following = next((i for i in range(at + 1, len(lines)) if lines[i].strip()), None)
    if following is not None:
        named = _with_units(_split(lines[at], mark), _split(lines[following], mark))
        if named is not None:
            end = lines[at][len(lines[at].rstrip("\r\n")) :]
            lines[at] = mark.join(named) + end
            lines[following] = "#" + lines[following]
            notes.append("units from the row under the header")
    return "".join(lines), tuple(notes)


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith(COMMENTS)


def _split(line: str, mark: str) -> list[str]:
    text = line.strip("\r\n")
    if mark == " ":
        return text.split()
    return [cell.strip().strip('"') for cell in text.split(mark)]


def _header(lines: list[str]) -> tuple[int, str] | None:
    """Return the row of the header and its delimiter: the first with a name and coordinates."""
    seen = 0
    for i, line in enumerate(lines):
        if not line.strip() or _is_comment(line):
            continue
        seen += 1
        if seen > TITLES:
            return None
        for mark in DELIMITERS:
            names = [parse_title(cell).name for cell in _split(line, mark)]
            if "id" in names and sum(n in _COORDINATES for n in names) >= 2:
                return i, mark
    return None


def _with_units(titles: list[str], units: list[str]) -> list[str] | None:
    """Return titles with the units of the row below; None where that is no row of units."""
    known = {u.casefold(): u for u in suffixes("length")}
    if len(units) > len(titles):
        return None
    units = [*units, *([""] * (len(titles) - len(units)))]
    named, count = [], 0
    for title, cell in zip(titles, units, strict=True):
        match = _UNIT.fullmatch(cell) if cell else None
        unit = known.get(match[1].casefold()) if match else None
        stated = parse_title(title)
        if stated.name in _COORDINATES:
            if unit is None or stated.unit is not None:
                return None
            named.append(f"{title}_{unit}")
            count += 1
        else:
            named.append(title)
    return named if count >= 2 else None
