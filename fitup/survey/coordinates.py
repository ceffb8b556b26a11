"""Read a coordinate list as crews send it, say how it was understood, and guess nothing."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np

from fitup.errors import InputError, Problem
from fitup.model import Epoch
from fitup.survey.columns import UNIT_WORDS, Columns, find_columns, whole_rows
from fitup.survey.layout import (
    COORDINATES,
    DELIMITERS,
    UNCERTAINTIES,
    Line,
    cut_lines,
    find_mark,
    read_number,
)
from fitup.survey.listfile import list_text
from fitup.survey.points import CoordinateList, SurveyedPoint
from fitup.survey.repeats import Repeated, once_each
from fitup.units import METRIC, Shown, to_si

#: a stated standard uncertainty above this says that a unit was mixed up [m]
UNCERTAINTY_MOST: Final = 0.1
#: no grid has coordinates beyond this, ten times the size of the earth [m]
COORDINATE_MOST: Final = 1e8
#: after so many problems the rest are only counted
#: so many points that are not in points.csv are named, the rest are only counted
MOST_NAMED: Final = 20
_MEANING: Final = {
    "id": "the name of the point",
    "E": "the easting",
    "N": "the northing",
    "H": "the height",
    "u": "the standard uncertainty",
    "uE": "the standard uncertainty of the easting",
    "uN": "the standard uncertainty of the northing",
    "uH": "the standard uncertainty of the height",
}


@dataclass(frozen=True, slots=True)
class _List:
    """What is needed to read the rows of one list."""

    shown: str
    delimiter: str
    columns: Columns
    mark: str
    declared: bool
    whole: bool
    """The file ends with a line end."""


def read_coordinates(
    path: Path,
    epoch: Epoch,
    epoch_index: int,
    known: Collection[str],
    shown_in: Shown = METRIC.move,
    names: Mapping[str, str] = MappingProxyType({}),
) -> CoordinateList:
    """Read one coordinate list.

    Parameters
    ----------
    path : Path
        The file; messages call it ``epoch.file``.
    epoch : Epoch
        What ``job.toml`` declares of it: unit, order, decimal mark, uncertainty.
    epoch_index : int
        Its place in ``Job.epochs``.
    known : collection of str
        Ids of ``points.csv``; other points are kept aside and named.
    shown_in : Shown
        How an uncertainty is printed.
    names : mapping
        Name that a crew writes -> the id of the point it means.

    Returns
    -------
    CoordinateList
        Positions and standard uncertainties in metres.

    Raises
    ------
    InputError
        With every problem found.
    """
    shown, key = epoch.file, f"survey {epoch_index + 1}"
    whole = list_text(path, shown, epoch.widths)
    text, fixed = whole.text, epoch.decimal or whole.decimal
    problems: list[Problem] = []
    lines, delimiter, comments = cut_lines(text, shown, problems, fixed=epoch.widths is not None)
    columns = find_columns(lines, epoch, key, problems)
    if columns is None:
        raise InputError(problems)
    rows = whole_rows(lines[columns.first_row :], columns, epoch, delimiter, text, problems)
    rows, renamed = _by_id(rows, columns, names)
    mark = _decimal_mark(rows, columns, replace(epoch, decimal=fixed), key, problems)
    if mark is None:
        raise InputError(problems)
    how = _List(shown, delimiter, columns, mark, fixed is not None, text[-1] in "\r\n")
    common = _common_uncertainty(how, epoch, key, problems)
    read = [_point(how, row, common, epoch_index, problems) for row in rows]
    if not how.whole:
        _check_end(how, rows, problems)
    kept = [p for p in read if p is not None and p.id in known]
    points, repeated = once_each(kept, shown_in)
    problems += [_apart(how, one, shown_in) for one in repeated if one.apart]
    if not problems and not points:
        problems.append(
            Problem(
                shown,
                f"{len(rows)} points, none of them in points.csv",
                "the point names of points.csv",
                "is this the right file, and the right column for the names?",
            )
        )
    if problems:
        raise InputError(problems)
    unused = tuple(dict.fromkeys(i for i in (_id(how, row) for row in rows) if i not in known))
    said = _understood(how, rows, comments, unused, known, epoch, shown_in)
    said = (*said, *whole.notes, *renamed, *(one.said for one in repeated))
    return CoordinateList(shown, tuple(points), unused, said, unit=how.columns.unit["E"])


def _by_id(
    rows: list[Line], columns: Columns, names: Mapping[str, str]
) -> tuple[list[Line], tuple[str, ...]]:
    """Put ids in place of the names that ``job.toml`` says mean them, and say which."""
    at = columns.at["id"]
    written = dict.fromkeys(row.cells[at] for row in rows if row.cells[at] in names)
    if not written:
        return rows, ()
    meant = [
        replace(
            row,
            cells=(*row.cells[:at], names.get(row.cells[at], row.cells[at]), *row.cells[at + 1 :]),
        )
        for row in rows
    ]
    return meant, ("names of job.toml: " + ", ".join(f"{n} is {names[n]}" for n in written),)


def _id(how: _List, row: Line) -> str:
    return row.cells[how.columns.at["id"]]


def _decimal_mark(
    rows: list[Line], columns: Columns, epoch: Epoch, key: str, problems: list[Problem]
) -> str | None:
    cells = [
        (row.number, columns.title[name], row.cells[at])
        for row in rows
        for name, at in columns.at.items()
        if name != "id"
    ]
    mark = find_mark(cells, epoch.decimal, epoch.file, key)
    if isinstance(mark, Problem):
        problems.append(mark)
        return None
    return mark


def _common_uncertainty(
    how: _List, epoch: Epoch, key: str, problems: list[Problem]
) -> float | None:
    if how.columns.uncertainties:
        return None
    u = epoch.uncertainty
    if u is None:
        problems.append(
            Problem(
                how.shown,
                "no standard uncertainty",
                "a column u_mm (or uE_mm, uN_mm, uH_mm), or u_mm in job.toml",
                f"add u_mm to this survey in job.toml ({key})",
            )
        )
    elif not 0.0 < u <= UNCERTAINTY_MOST:
        problems.append(
            Problem(
                "job.toml",
                f"a standard uncertainty of {u:g} m",
                f"above 0, at most {UNCERTAINTY_MOST:g} m",
                "check its unit",
                column=f"{key}.u",
            )
        )
    return u


def _point(
    how: _List, row: Line, common: float | None, epoch_index: int, problems: list[Problem]
) -> SurveyedPoint | None:
    name = _id(how, row)
    before = len(problems)
    if not name:
        problems.append(_cell_problem(how, row, "id", "an empty cell", "a point name"))
    values = [_length(how, row, column, problems) for column in COORDINATES]
    if how.columns.uncertainties == ("u",):
        u = [_uncertainty(how, row, "u", problems)] * 3
    elif how.columns.uncertainties:
        u = [_uncertainty(how, row, column, problems) for column in UNCERTAINTIES]
    else:
        u = [common] * 3
    if len(problems) > before or None in u:
        return None
    return SurveyedPoint(
        name, np.array(values, dtype=float), np.array(u, dtype=float), epoch_index, row.number
    )


def _length(how: _List, row: Line, column: str, problems: list[Problem]) -> float | None:
    text = row.cells[how.columns.at[column]]
    if not text:
        problems.append(_cell_problem(how, row, column, "an empty cell", "a number"))
        return None
    value = read_number(text, how.mark, how.declared)
    if value is None:
        allowed = "a finite number"
        if read_number(text, "," if how.mark == "." else ".") is not None:
            allowed += f" with a decimal {'point' if how.mark == '.' else 'comma'}"
        problems.append(_cell_problem(how, row, column, f"'{text}'", allowed))
        return None
    length = to_si(value, "length", how.columns.unit[column])
    if abs(length) > COORDINATE_MOST:
        problems.append(_cell_problem(how, row, column, f"'{text}'", "at most 1e8 m either way"))
        return None
    return length


def _uncertainty(how: _List, row: Line, column: str, problems: list[Problem]) -> float | None:
    value = _length(how, row, column, problems)
    if value is None or 0.0 < value <= UNCERTAINTY_MOST:
        return value
    allowed = f"above 0, at most {UNCERTAINTY_MOST:g} m"
    text = row.cells[how.columns.at[column]]
    problems.append(_cell_problem(how, row, column, f"'{text}'", allowed))
    return None


def _cell_problem(how: _List, row: Line, column: str, found: str, allowed: str) -> Problem:
    return Problem(
        how.shown,
        found,
        allowed,
        f"give {_MEANING[column]}, or delete the row",
        row=row.number,
        column=how.columns.title[column],
    )


def _check_end(how: _List, rows: list[Line], problems: list[Problem]) -> None:
    """Refuse a last number shorter than all above it in a file that ends without a line end."""
    if len(rows) < 3:
        return
    at = len(rows[-1].cells) - 1
    texts = [row.cells[at] for row in rows if len(row.cells) == at + 1]
    names = {position: name for name, position in how.columns.at.items() if name != "id"}
    if at not in names or len(texts) != len(rows):
        return
    decimals = [len(t.partition(how.mark)[2]) for t in texts]
    if decimals[-1] < decimals[0] and set(decimals[:-1]) == {decimals[0]}:
        problems.append(
            Problem(
                how.shown,
                f"'{texts[-1]}', with {decimals[-1]} decimals where all rows above have "
                f"{decimals[0]}, and no line end",
                "a whole last line",
                "the file looks cut off: send it again, or end the line if it is right",
                row=rows[-1].number,
                column=how.columns.title[names[at]],
            )
        )


def _apart(how: _List, one: Repeated, shown_in: Shown) -> Problem:
    """Refuse rows of one point that are farther apart than their uncertainties allow."""
    first, *again = one.rows
    rows = ", ".join(str(row) for row in (first, *again[:-1]))
    return Problem(
        how.shown,
        f"'{one.id}' again, {shown_in.text(one.spread)} from its mean with row {rows}",
        f"measurements of one point that agree within {shown_in.text(one.most)}, as u allows",
        "keep the row that is right and delete the other, or correct its name",
        row=again[-1],
        column=how.columns.title["id"],
    )


def _understood(
    how: _List,
    rows: list[Line],
    comments: int,
    unused: tuple[str, ...],
    known: Collection[str],
    epoch: Epoch,
    shown_in: Shown,
) -> tuple[str, ...]:
    columns = how.columns
    count = sum(_id(how, row) not in known for row in rows)
    aside = ""
    if count:
        verb = "is" if len(unused) == 1 else "are"
        named = ", ".join(unused[:MOST_NAMED])
        if len(unused) > MOST_NAMED:
            named += f" and {len(unused) - MOST_NAMED} more"
        aside = f", {count} not used ({named} {verb} not in points.csv)"
    points = "1 point" if len(rows) == 1 else f"{len(rows)} points"
    lines = [f"{how.shown}: {points} read{aside}"]
    alike = {k.casefold(): k for k in known}
    lines += [
        f"not used: '{name}' is written '{alike[name.casefold()]}' in points.csv; names must be "
        "written alike"
        for name in unused
        if name.casefold() in alike
    ]
    lines.append(f"order: {', '.join(columns.order)} ({columns.source})")
    lines.append(f"unit: {UNIT_WORDS[columns.unit['E']]} ({columns.unit_source})")
    cut = f"delimiter: {DELIMITERS[how.delimiter]}"
    if epoch.widths is not None:
        cut = f"columns of fixed width: {', '.join(map(str, epoch.widths))} characters (job.toml)"
    lines.append(f"{cut}, {_mark_said(how, rows, epoch)}")
    if columns.uncertainties:
        said = "from the list, point by point"
        if epoch.uncertainty is not None:
            said += f"; {shown_in.text(epoch.uncertainty)} of job.toml is not used"
    else:
        said = f"{shown_in.text(epoch.uncertainty or 0.0)} for every coordinate (job.toml)"
    lines.append(f"standard uncertainty: {said}")
    if columns.ignored:
        lines.append(f"columns not used: {', '.join(columns.ignored)}")
    if comments:
        lines.append(f"comment lines passed over: {comments}")
    return tuple(lines)


def _mark_said(how: _List, rows: list[Line], epoch: Epoch) -> str:
    other = "," if how.mark == "." else "."
    used = [row.cells[at] for row in rows for name, at in how.columns.at.items() if name != "id"]
    said = f"decimal mark: {'point' if how.mark == '.' else 'comma'}"
    if epoch.decimal is not None:
        said += " (declared in job.toml)"
    if any(other in text for text in used):
        said += f", thousands set apart by {'commas' if other == ',' else 'points'}"
    return said
