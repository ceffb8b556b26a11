"""Tables of jobs and results as data frames of pandas, and back; units in the column names."""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING, Any, Final

from fitup import units
from fitup.errors import InputError, Problem
from fitup.jobfolder.schema import DONE, TABLES
from fitup.jobfolder.table import Row, parse_table, read_table
from fitup.model.column import Column
from fitup.network.observations import LEVELS, SHOTS
from fitup.openjob import OpenJob
from fitup.sheets.tables import tables

if TYPE_CHECKING:
    import pandas as pd

#: tables of a job that have names of their own choice, by what they are called here
_NAMED: Final = {"done.csv": DONE.columns, "observations": SHOTS, "levelling": LEVELS}


def to_frame(opened: OpenJob, table: str) -> pd.DataFrame:
    """Return a table of a job, or of its certified plan, as a data frame.

    Parameters
    ----------
    opened : OpenJob
        See :func:`fitup.open_job`. A table of the plan makes the plan first.
    table : str
        A file of the job folder such as ``seats.csv``, observations and levelling of its surveys
        among them, or a table of the sheets such as ``checks``, ``moves``, ``jacks`` or ``proof``.

    Returns
    -------
    DataFrame
        Columns of a job are those of the file, in its units; yes and no are booleans, ids that
        stand together a tuple, what is empty is missing. Numbers of a plan are rounded as they
        are printed.

    Raises
    ------
    InputError
        If there is no such table, or it cannot be read.
    """
    import pandas as pd

    columns = _columns_of_job(opened)
    if table in columns:
        return pd.DataFrame(_cells_of_job(opened, table, columns[table]))
    sheets, _ = opened.confirmed
    named = {one.name: one for one in tables(sheets)}
    if table not in named:
        there = [name for name in columns if (opened.folder / name).is_file()]
        allowed = ", ".join([*there, *named])
        problem = Problem("to_frame", f"'{table}'", f"one of: {allowed}", "name another table")
        raise InputError([problem])
    return pd.DataFrame(list(named[table].rows), columns=list(named[table].columns))


def from_frame(frame: pd.DataFrame, table: str) -> str:
    """Return a data frame as the CSV of a table of a job, checked as ``fitup check`` does.

    Parameters
    ----------
    frame : DataFrame
        Column names carry the units, in any of those that the table may have.
    table : str
        File of the job folder, such as ``plates.csv``; ``done.csv`` for readings as done,
        ``observations`` or ``levelling`` for a survey. Names the table in messages.

    Returns
    -------
    str
        To be written into the job folder.

    Raises
    ------
    InputError
        With everything that is wrong, a line each with row and column; the first row of the
        frame is row 2, as in the file.
    """
    known = {**{name: one.columns for name, one in TABLES.items()}, **_NAMED}
    if table not in known:
        allowed = f"one of: {', '.join(known)}"
        raise InputError([Problem("from_frame", f"'{table}'", allowed, "name a table of a job")])
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(str(name) for name in frame.columns)
    for row in frame.itertuples(index=False, name=None):
        writer.writerow(_text(value) for value in row)
    problems: list[Problem] = []
    parse_table(out.getvalue(), table, known[table], problems)
    if problems:
        raise InputError(problems)
    return out.getvalue()


def _columns_of_job(opened: OpenJob) -> dict[str, tuple[Column, ...]]:
    """Return the columns of every table of a job, by its file."""
    known = {name: one.columns for name, one in TABLES.items()}
    for epoch in opened.job.epochs:
        if epoch.observed:
            known[epoch.file] = SHOTS
        if epoch.levelling:
            known[epoch.levelling] = LEVELS
    return known


def _cells_of_job(opened: OpenJob, table: str, columns: tuple[Column, ...]) -> dict[str, list[Any]]:
    """Return the columns of a table of a job folder under the names of its header."""
    problems: list[Problem] = []
    rows = read_table(opened.folder / table, table, columns, problems)
    if problems:
        raise InputError(problems)
    titles = rows[0].headers if rows else {c.name: c.names()[0] for c in columns}
    present = [c for c in columns if c.name in titles]
    return {titles[c.name]: [_cell(c, titles[c.name], row) for row in rows] for c in present}


def _cell(column: Column, title: str, row: Row) -> Any:
    value = row[column.name]
    if not column.has_unit or value is None:
        return value
    suffix = title[len(column.name) + 1 :]
    # twelve digits drop what a change of unit leaves behind
    return float(f"{units.from_si(value, column.kind, suffix):.12g}")


def _text(value: Any) -> str:
    """Return a value of a frame as it stands in a cell."""
    if isinstance(value, tuple | list):
        return " ".join(str(part) for part in value)
    if value is None or str(value) in ("<NA>", "NaT"):
        return ""
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.12g}"
    return {"True": "yes", "False": "no"}.get(str(value), str(value))
