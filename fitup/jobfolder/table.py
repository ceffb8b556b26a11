"""A CSV table whose columns carry their units: header and cells checked, values in SI.

Columns are declared in :mod:`fitup.model` and :mod:`fitup.jobfolder.schema`; this module knows
how to read any of them, how to say what is wrong, and how to make a record of a row.
"""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import io
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from fitup import units
from fitup.errors import InputError, Problem
from fitup.model.column import WIDEST, Column, Declared, declared
from fitup.plainfile import read_text

Bounds = tuple[float | None, float | None]
Item = TypeVar("Item")
_GRID = ("E", "N", "H")
#: a name or remark that stands on a sheet [characters]
_LONGEST = 500
_YES = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Row:
    """One row in SI, with its place in the file."""

    file: str
    number: int
    values: Mapping[str, Any]
    headers: Mapping[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        return self.values[name]

    def problem(self, column: str, found: str, allowed: str, do: str) -> Problem:
        """Return a problem at this row, the column named as the header spells it.

        Parameters
        ----------
        column : str
            Name without its unit.
        found, allowed, do : str
            As in :class:`fitup.errors.Problem`.
        """
        return Problem(
            self.file, found, allowed, do, row=self.number, column=self.headers.get(column, column)
        )


def parse_number(text: str, decimal_comma: bool = False) -> float:
    """Return a finite number.

    Parameters
    ----------
    text : str
    decimal_comma : bool
        Whether a comma divides off the decimals; a point is then refused.

    Raises
    ------
    ValueError
        If the text is not one finite decimal number.
    """
    body = text.strip()
    if decimal_comma:
        if "." in body:
            raise ValueError(text)
        body = body.replace(",", ".")
    if "_" in body:
        raise ValueError(text)
    value = float(body)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def parse_local_time(text: str) -> dt.datetime | None:
    """Return a day with its time, without a zone; None for anything else, a bare day too."""
    try:
        when = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    bare = not any(separator in text for separator in "T ")
    return None if bare or when.tzinfo is not None else when


def _bounds_text(column: Column, suffix: str | None) -> str:
    def show(si: float) -> str:
        value = si if suffix is None else units.from_si(si, column.kind, suffix)
        text = f"{value:g}"
        return f"{value:.10g}" if "e+" in text else text

    unit = "" if suffix is None else f" {suffix}"
    if column.above is not None and column.most is not None:
        return f"a number above {show(column.above)}{unit} and at most {show(column.most)}{unit}"
    if column.above is not None:
        return f"a number above {show(column.above)}{unit}"
    if column.least is not None and column.most is not None:
        return f"a number from {show(column.least)} to {show(column.most)}{unit}"
    if column.least is not None:
        return f"a number not below {show(column.least)}{unit}"
    if column.most is not None:
        return f"a number not above {show(column.most)}{unit}"
    return f"a number{unit}"


def _cell(column: Column, suffix: str | None, text: str, decimal_comma: bool) -> Any:
    """Convert one filled cell; raise ValueError with what is allowed."""
    if column.kind in ("text", "id", "ids") and (
        len(text) > _LONGEST or any(c in text for c in "\n\r")
    ):
        raise ValueError(f"a text of one line and at most {_LONGEST} characters")
    if column.kind == "text":
        return text
    if column.kind == "id":
        if any(c in text for c in " \t+/,;"):
            raise ValueError("an id without spaces, '+', '/', ',' or ';'")
        return text
    if column.kind == "ids":
        return tuple(text.replace("+", " ").split())
    if column.kind == "yesno":
        if text.lower() not in _YES:
            raise ValueError("yes or no")
        return _YES[text.lower()]
    if column.kind == "word":
        if text.lower() not in column.words:
            raise ValueError("one of: " + ", ".join(column.words))
        return text.lower()
    allowed = _bounds_text(column, suffix)
    if suffix == "dms":
        try:
            return units.to_si(units.dms_to_degrees(text), column.kind, suffix)
        except ValueError:
            raise ValueError("degrees, minutes and seconds such as 63-25-48.2") from None
    if column.kind == "count":
        allowed = allowed.replace("a number", "a whole number")
    try:
        value = parse_number(text, decimal_comma)
    except ValueError:
        raise ValueError(allowed) from None
    if column.kind == "count":
        if value != int(value):
            raise ValueError(allowed)
        value = int(value)
    elif suffix is not None:
        value = units.to_si(value, column.kind, suffix)
    if column.least is not None and value < column.least - 1e-12:
        raise ValueError(allowed)
    if column.most is not None and value > column.most + 1e-12:
        raise ValueError(allowed)
    if column.above is not None and value <= column.above:
        raise ValueError(allowed)
    widest = WIDEST.get(column.kind)
    if column.most is None and widest is not None and abs(value) > widest:
        shown = widest if suffix is None else units.from_si(widest, column.kind, suffix)
        raise ValueError(f"at most {shown:.10g}{'' if suffix is None else ' ' + suffix}")
    return value


def _means_a_column(title: str, columns: tuple[Column, ...], spelled: Iterable[str]) -> bool:
    """Tell whether a title is the name of a column, with whatever unit, or nearly so."""
    named = any(title == c.name or title.startswith(f"{c.name}_") for c in columns)
    return named or bool(difflib.get_close_matches(title, spelled, n=1, cutoff=0.6))


def _match_header(
    columns: tuple[Column, ...], header: list[str], row: int, shown: str, problems: list[Problem]
) -> dict[str, tuple[int, str | None]]:
    """Find each declared column in the header: name -> (position, unit suffix)."""
    place: dict[str, tuple[int, str | None]] = {}
    spelled = {name: c for c in columns for name in c.names()}
    if not any(_means_a_column(title, columns, spelled) for title in header):
        start = " ".join(",".join(header).split())
        start = start if len(start) <= 40 else f"{start[:40]}..."
        problems.append(
            Problem(
                shown,
                f"'{start}' where the names of the columns should be",
                ", ".join(c.names()[0] for c in columns),
                "write them in a row above, with commas or semicolons between",
                row=row,
            )
        )
        return place
    # W7_top before W7, where both are columns
    longest = sorted(columns, key=lambda c: -len(c.name))
    for position, title in enumerate(header):
        if title == "":
            continue
        column = spelled.get(title)
        if column is not None:
            if column.name in place:
                problems.append(
                    Problem(
                        shown,
                        f"column {column.name} given twice",
                        "each column once",
                        "delete one of them",
                        row=row,
                        column=title,
                    )
                )
                continue
            suffix = title[len(column.name) + 1 :] if column.has_unit else None
            place[column.name] = (position, suffix)
            continue
        bare = next((c for c in longest if c.name == title or title.startswith(c.name + "_")), None)
        if bare is not None and bare.has_unit:
            found = f"'{title}' without a unit" if bare.name == title else f"'{title}'"
            problems.append(
                Problem(
                    shown,
                    found,
                    "one of: " + ", ".join(bare.names()),
                    "write the unit into the column name",
                    row=row,
                    column=title,
                )
            )
            place[bare.name] = (-1, None)
            continue
        near = difflib.get_close_matches(title, spelled, n=1, cutoff=0.6)
        problems.append(
            Problem(
                shown,
                f"unknown column '{title}'",
                ", ".join(c.names()[0] for c in columns) + ", or a column that starts with 'note'",
                f"did you mean {near[0]}?" if near else "rename it note_... or delete it",
                row=row,
                column=title,
            )
        ) if not title.lower().startswith("note") else None
    for column in columns:
        if column.required and column.name not in place:
            problems.append(
                Problem(
                    shown,
                    "no such column",
                    "one of: " + ", ".join(column.names()),
                    f"add it: {column.meaning}",
                    row=row,
                    column=column.names()[0],
                )
            )
    return place


def read_table(
    path: Path,
    shown: str,
    columns: tuple[Column, ...],
    problems: list[Problem],
) -> list[Row]:
    """Read a table, adding every problem found to ``problems``.

    Parameters
    ----------
    path : Path
    shown : str
        Name of the file in messages.
    columns : tuple of Column
    problems : list of Problem
        Filled with what is wrong; rows that are wrong are left out of the result.

    Returns
    -------
    list of Row
        Values in SI.
    """
    try:
        text = read_text(path, shown)
    except InputError as error:
        problems.extend(error.problems)
        return []
    return parse_table(text, shown, columns, problems)


def parse_table(
    text: str,
    shown: str,
    columns: tuple[Column, ...],
    problems: list[Problem],
) -> list[Row]:
    """Read a table from its text, as :func:`read_table` does from its file.

    Parameters
    ----------
    text : str
        The CSV.
    shown, columns, problems
        As for :func:`read_table`.
    """
    lines = text.splitlines()
    first = next((ln for ln in lines if ln.strip() and not ln.lstrip().startswith("#")), "")
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            stripped = [c.strip() for c in cells]
            if not any(stripped) or stripped[0].startswith("#"):
                continue
            rows.append((reader.line_num, stripped))
    except csv.Error as error:
        problems.append(
            Problem(
                shown,
                f"broken CSV ({error})",
                "one record a line",
                "look for an unclosed quote or a cut-off file",
                row=reader.line_num,
            )
        )
        return []
    if not rows:
        problems.append(Problem(shown, "no header", "a header and rows", "see the template"))
        return []
    number, header = rows[0]
    place = _match_header(columns, header, number, shown, problems)
    convert = _row_converter(columns, place, header, shown, problems, delimiter == ";")
    result = [convert(number, cells) for number, cells in rows[1:]]
    return [row for row in result if row is not None]


def _row_converter(
    columns: tuple[Column, ...],
    place: dict[str, tuple[int, str | None]],
    header: list[str],
    shown: str,
    problems: list[Problem],
    decimal_comma_allowed: bool,
) -> Callable[[int, list[str]], Row | None]:
    headers = {name: header[at] for name, (at, _) in place.items() if at >= 0}

    def convert(number: int, cells: list[str]) -> Row | None:
        if len(cells) != len(header):
            surplus = [c for c in cells[len(header) :] if c]
            if len(cells) < len(header) or surplus:
                problems.append(
                    Problem(
                        shown,
                        f"{len(cells)} cells",
                        f"{len(header)} cells as in the header",
                        "a comma too many or too few, or a cut-off file",
                        row=number,
                    )
                )
                return None
        good = True
        values: dict[str, Any] = {}
        for column in columns:
            position, suffix = place.get(column.name, (-1, None))
            text = cells[position] if position >= 0 else ""
            if text == "":
                if column.required and column.name in place:
                    if position >= 0:
                        problems.append(
                            Problem(
                                shown,
                                "an empty cell",
                                _allowed(column, suffix),
                                f"give {column.meaning}",
                                row=number,
                                column=header[position],
                            )
                        )
                    good = False
                elif column.required:
                    good = False
                values[column.name] = column.default
                continue
            try:
                comma = decimal_comma_allowed and "," in text
                values[column.name] = _cell(column, suffix, text, comma)
            except ValueError as error:
                problems.append(
                    Problem(
                        shown,
                        f"'{text}'",
                        str(error),
                        f"give {column.meaning}",
                        row=number,
                        column=header[position],
                    )
                )
                good = False
        return Row(shown, number, values, headers) if good else None

    return convert


def _allowed(column: Column, suffix: str | None) -> str:
    if column.kind == "word":
        return "one of: " + ", ".join(column.words)
    if column.kind == "yesno":
        return "yes or no"
    if column.kind in ("text", "id", "ids"):
        return "a text"
    return _bounds_text(column, suffix)


def unique(
    rows: list[Row], problems: list[Problem], make: Callable[[Row], Item | None]
) -> dict[str, Item]:
    """Return what each row makes, by id or mark.

    Parameters
    ----------
    rows : list of Row
        With a column ``id`` or ``mark``.
    problems : list of Problem
        A name given twice is added to it; its first row counts.
    make : callable
        Makes the item of a row; None is left out.
    """
    result: dict[str, Item] = {}
    first: dict[str, int] = {}
    for row in rows:
        name = row["id"] if "id" in row.values else row["mark"]
        column = "id" if "id" in row.values else "mark"
        if name in first:
            problems.append(
                row.problem(
                    column,
                    f"'{name}' again (first in row {first[name]})",
                    f"each {column} once",
                    "rename or delete one",
                )
            )
            continue
        first[name] = row.number
        item = make(row)
        if item is not None:
            result[name] = item
    return result


def record_of(record: type[Item], source: Row, /, **given: Any) -> Item:
    """Return the record of a row: each field from its own columns, unless it is given.

    Parameters
    ----------
    record : type
        A dataclass whose fields declare their columns (:func:`fitup.model.column.column`).
    source : Row
    **given
        Fields that are made by a rule of their own.
    """
    values = dict(given)
    for one in declared(record):
        if one.name in given or not one.columns:
            continue
        value = _value(one, source)
        # an empty cell leaves the field its own default, such as infinity
        if value is not None or not one.has_default:
            values[one.name] = value
    return record(**values)


def plain(record: type[Item]) -> Callable[[Row], Item]:
    """Return what makes a record whose every field is read from its own columns."""
    return lambda row: record_of(record, row)


def _value(field: Declared, row: Row) -> Any:
    columns = field.columns
    if len(columns) == 1 or columns[0].name == field.name:
        return row[columns[0].name]
    assert tuple(c.name[-1] for c in columns) == _GRID, field.name
    cells = [row[c.name] for c in columns]
    return None if None in cells else np.array(cells)
