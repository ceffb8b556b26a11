"""A table to be filled in: comments on its columns, a header with units, rows that are laid out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from importlib import resources
from typing import Final

from fitup import units
from fitup.jobfolder.manual import noted
from fitup.jobfolder.rewrite import Cell, cell_text
from fitup.jobfolder.schema import TABLES
from fitup.model.column import Column

#: unit of the commented tables -> unit in which US crews measure the same
_US: Final = {
    "kN_per_mm": "kip_per_in",
    "kN_per_m3": "lbf_per_ft3",
    "kN_per_m": "kip_per_ft",
    "kNm_per_rad": "kip_ft_per_rad",
    "mm_per_m": "in_per_ft",
    "per_C": "per_F",
    "cm2": "in2",
    "cm4": "in4",
    "GPa": "ksi",
    "MPa": "psi",
    "hPa": "inHg",
    "gon": "dms",
    "kNm": "kip_ft",
    "kN": "kip",
    "mm": "in",
    "m": "ft",
    "C": "F",
}
#: where commented tables stand; the first that has one counts
_HOMES: Final = ("template", "template_frame", "template_observed")
#: unit of a column that no commented table has
_USUAL: Final = {"length": "mm", "force": "kN", "angle": "deg", "slope": "pct", "temperature": "C"}
#: tables of a job that only the program writes
_WRITTEN: Final = ("moved.csv", "learned.csv")
#: a place is laid out to this many decimals of its unit
_DECIMALS: Final = 4


def addable() -> tuple[str, ...]:
    """Return the files of all tables that may be added to a job."""
    return tuple(name for name in TABLES if name not in _WRITTEN)


def blank_table(file: str, display: str, rows: Iterable[Mapping[str, Cell]] = ()) -> str:
    """Return a table with its comments, its header and rows; a value nobody gave is an empty cell.

    Parameters
    ----------
    file : str
        One of :func:`addable`.
    display : {'metric', 'US'}
        Units of the header.
    rows : iterable of mapping
        Name of a column to its value in SI. A column that the usual header lacks is added to it.

    Examples
    --------
    >>> print(blank_table("holds.csv", "metric").splitlines()[-1])
    id,what,signed
    """
    columns = TABLES[file].columns
    remarks, titles = _usual(file)
    spelled = {name: c for c in columns for name in c.names()}
    header = [spelled[t] for t in titles] or list(columns)
    filled = list(rows)
    named = {name for row in filled for name, value in row.items() if value is not None}
    header += [c for c in columns if c.name in named and c not in header]
    titles = [_shown(t, display) for t in [*titles, *map(_titled, header[len(titles) :])]]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(titles)
    for row in filled:
        writer.writerow([_cell(c, t, row.get(c.name)) for c, t in zip(header, titles, strict=True)])
    return noted(remarks + out.getvalue(), columns)


def headed(file: str, display: str) -> str:
    """Return the comments and the header of a list from an instrument, without its rows.

    Parameters
    ----------
    file : str
        Its name among the commented tables.
    display : {'metric', 'US'}
    """
    remarks, titles = _usual(file)
    return remarks + ",".join(_shown(t, display) for t in titles) + "\n"


def _cell(column: Column, title: str, value: Cell) -> str:
    unit = title[len(column.name) + 1 :] if column.has_unit else None
    text = cell_text(column, unit, value)
    if column.kind != "length" or not isinstance(value, float):
        return text
    return f"{round(float(text), _DECIMALS) + 0.0:.10g}"


def _usual(file: str) -> tuple[str, list[str]]:
    """Return what stands above the commented table, and the titles of its columns."""
    home = resources.files("fitup.jobfolder")
    for folder in _HOMES:
        source = home / folder / file
        if source.is_file():
            lines = source.read_text("utf-8").splitlines()
            at = next(i for i, line in enumerate(lines) if not line.startswith("#"))
            return "".join(f"{line}\n" for line in lines[:at]), lines[at].split(",")
    return "", []


def _shown(title: str, display: str) -> str:
    """Return a title with its unit as wanted."""
    if display == "US":
        for metric, usual in _US.items():
            if title.endswith(f"_{metric}"):
                return title.removesuffix(metric) + usual
    return title


def _titled(column: Column) -> str:
    """Return the title of a column that no commented table has, in a metric unit."""
    if not column.has_unit:
        return column.name
    return f"{column.name}_{_USUAL.get(column.kind, units.suffixes(column.kind)[0])}"
