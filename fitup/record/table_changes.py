"""What changed in a table of a job, row by row, whatever its units, order or spelling."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from typing import Final

from fitup.jobfolder.schema import TABLES
from fitup.jobfolder.table import parse_number
from fitup.model.column import Column
from fitup.units import METRIC, to_si

#: columns that name a row where it has no id or mark of its own
_NAMES: Final = ("joint", "pair", "quantity")
_DESIGN: Final = ("E", "N", "H")
#: cell as written, and its SI value where it is a number with a unit
_Cell = tuple[str, float | None]
_Rows = dict[str, dict[str, _Cell]]


def table_changes(name: str, old: bytes, new: bytes) -> Iterator[str]:
    """Yield what changed in one table of the job folder.

    Parameters
    ----------
    name : str
        Of the file, such as ``plates.csv``.
    old, new : bytes
        Its content; the same value in another unit is no change.

    Yields
    ------
    str
        One line only, that it was changed, where it cannot be read.
    """
    noun = TABLES[name].row
    try:
        one, other = _rows(name, old), _rows(name, new)
    except (UnicodeDecodeError, csv.Error, ValueError, IndexError):
        yield f"{name} was changed"
        return
    for key in dict.fromkeys([*one, *other]):
        if key not in other:
            yield f"{noun} {key}: taken out"
        elif key not in one:
            yield f"{noun} {key}: is new"
        else:
            yield from (f"{noun} {key}: {said}" for said in _row(name, one[key], other[key]))


def _row(name: str, old: dict[str, _Cell], new: dict[str, _Cell]) -> Iterator[str]:
    wanted = [c for c in dict.fromkeys([*old, *new]) if not _same(old.get(c), new.get(c))]
    if name == "points.csv" and set(wanted) & set(_DESIGN) and _placed(old) and _placed(new):
        yield f"its design moved {METRIC.move.text(_apart(old, new))}"
        wanted = [c for c in wanted if c not in _DESIGN]
    for column in wanted:
        was, now = (_shown(row.get(column)) for row in (old, new))
        yield f"{column.replace('_', ' ')} was {was}, is {now}"


def _same(one: _Cell | None, other: _Cell | None) -> bool:
    a, b = one or ("", None), other or ("", None)
    if a[1] is not None and b[1] is not None:
        return math.isclose(a[1], b[1], rel_tol=1e-12, abs_tol=1e-15)
    return a[0] == b[0]


def _shown(cell: _Cell | None) -> str:
    return "empty" if cell is None or not cell[0] else cell[0]


def _placed(row: dict[str, _Cell]) -> bool:
    return all(row.get(c, ("", None))[1] is not None for c in _DESIGN)


def _apart(old: dict[str, _Cell], new: dict[str, _Cell]) -> float:
    """Return how far a design point moved [m]."""
    return math.dist(*([row[c][1] or 0.0 for c in _DESIGN] for row in (old, new)))


def _rows(name: str, content: bytes) -> _Rows:
    """Return the rows of a table by name."""
    text = content.decode("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    lines = [ln for ln in text.splitlines() if ln.strip() and not ln.lstrip().startswith("#")]
    semicolon = lines[0].count(";") > lines[0].count(",")
    table = csv.reader(io.StringIO("\n".join(lines)), delimiter=";" if semicolon else ",")
    header = [h.strip() for h in next(table)]
    columns = [_column(name, h) for h in header]
    rows: _Rows = {}
    for cells in table:
        row = {
            column: _cell(cell.strip(), kind, suffix, semicolon)
            for (column, kind, suffix), cell in zip(columns, cells, strict=False)
        }
        key = _key(row)
        while key in rows:
            key += " again"
        rows[key] = row
    return rows


def _column(table: str, header: str) -> tuple[str, Column | None, str]:
    """Return name, schema and unit suffix of a column; a column of the user's own has none."""
    for column in TABLES[table].columns:
        if column.has_unit and header in column.names():
            return column.name, column, header.removeprefix(f"{column.name}_")
    return header, None, ""


def _cell(text: str, column: Column | None, suffix: str, semicolon: bool) -> _Cell:
    if column is None:
        return text, None
    try:
        value = to_si(parse_number(text, semicolon), column.kind, suffix)
    except ValueError:
        return text, None
    return f"{text} {suffix.replace('_per_', '/')}", value


def _key(row: dict[str, _Cell]) -> str:
    for name in ("id", "mark"):
        if name in row:
            return row[name][0]
    named = [row[n][0] for n in _NAMES if n in row and row[n][0]]
    return " ".join(named or [cell for cell, _ in list(row.values())[:2]])
