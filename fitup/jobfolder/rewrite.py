"""Write tables of a job folder, and change single cells of one as its author laid it out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from fitup import units
from fitup.model import Learned, Moved
from fitup.model.column import Column, columns_of

Cell = str | float | int | None
#: unit of a new column, by the units a job is printed in
_SUFFIX: Final = {
    "metric": {"length": "mm", "force": "kN"},
    "US": {"length": "in", "force": "kip"},
}


def cell_text(column: Column, suffix: str | None, value: Cell) -> str:
    """Return a value as it stands in a cell.

    Parameters
    ----------
    column : Column
    suffix : str or None
        Unit of the cell; None where the column has none.
    value : str, float, int or None
        Numbers in SI; ids and texts stay as they are, None is an empty cell.

    Examples
    --------
    >>> cell_text(Column("stroke", "length", "how far"), "mm", 0.0505)
    '50.5'
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    number = value if suffix is None else units.from_si(value, column.kind, suffix)
    # twelve digits drop what a change of unit leaves behind
    return f"{number:.12g}"


def changed_cells(
    text: str,
    columns: Sequence[Column],
    changes: Mapping[tuple[str, str], Cell],
    display: str,
) -> str:
    """Return a table with some cells changed; comments, order, units and other cells stay.

    Parameters
    ----------
    text : str
        The table as read, known to be right.
    columns : sequence of Column
        Of this table; the first names its rows.
    changes : mapping
        (row id, column name) to the new value in SI. A column that is missing is added, in a unit
        of ``display``.
    display : {'metric', 'US'}
    """
    first = next(ln for ln in text.splitlines() if ln.strip() and not ln.lstrip().startswith("#"))
    delimiter = ";" if first.count(";") > first.count(",") else ","
    wanted = [c for c in columns if any(name == c.name for _, name in changes)]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    place: dict[str, tuple[int, str | None]] = {}
    for cells, raw in _records(text, delimiter):
        if cells is None:
            out.write(raw)
            continue
        if not place:
            header = list(cells)
            place = _places(wanted, columns, header, display)
            writer.writerow(header)
            continue
        row = [*cells, *[""] * (max(at for at, _ in place.values()) + 1 - len(cells))]
        name = row[place[columns[0].name][0]]
        for column in wanted:
            if (name, column.name) in changes:
                at, suffix = place[column.name]
                row[at] = cell_text(column, suffix, changes[name, column.name])
        writer.writerow(row)
    return out.getvalue()


def _records(text: str, delimiter: str) -> Iterable[tuple[list[str] | None, str]]:
    """Yield the cells of every record, or None with the raw text of a comment or blank line."""
    lines = io.StringIO(text, newline="").readlines()
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    before = 0
    for cells in reader:
        raw = "".join(lines[before : reader.line_num])
        before = reader.line_num
        stripped = [c.strip() for c in cells]
        stated = any(stripped) and not stripped[0].startswith("#")
        yield (stripped if stated else None), raw.rstrip("\r\n") + "\n"


def _places(
    wanted: Sequence[Column], columns: Sequence[Column], header: list[str], display: str
) -> dict[str, tuple[int, str | None]]:
    """Find columns in a header; one that is missing is added to it."""
    place: dict[str, tuple[int, str | None]] = {}
    for column in (columns[0], *wanted):
        title = next((t for t in header if t in column.names()), None)
        if title is None:
            unit = _SUFFIX[display].get(column.kind)
            title = column.name if unit is None else f"{column.name}_{unit}"
            header.append(title)
        suffix = title[len(column.name) + 1 :] if column.has_unit else None
        place[column.name] = (header.index(title), suffix)
    return place


def table_text(
    columns: Sequence[Column], rows: Iterable[Mapping[str, Cell]], display: str, remark: str = ""
) -> str:
    """Return a new table with a remark above it.

    Parameters
    ----------
    columns : sequence of Column
    rows : iterable of mapping
        Name of a column to its value in SI; a missing one is an empty cell.
    display : {'metric', 'US'}
        Units of the columns: those a job is printed in.
    remark : str
        One line; none where it is empty.
    """
    out = io.StringIO()
    if remark:
        out.write(f"# {remark}\n")
    suffixes = [_SUFFIX[display].get(c.kind) for c in columns]
    writer = csv.writer(out, lineterminator="\n")
    pairs = list(zip(columns, suffixes, strict=True))
    writer.writerow([c.name if s is None else f"{c.name}_{s}" for c, s in pairs])
    for row in rows:
        writer.writerow([cell_text(c, s, row.get(c.name)) for c, s in pairs])
    return out.getvalue()


def moved_text(moved: Iterable[Moved], display: str, remark: str) -> str:
    """Return ``moved.csv``.

    Parameters
    ----------
    moved : iterable of Moved
    display : {'metric', 'US'}
        Units of the columns.
    remark : str
        Comment in the first line.
    """
    rows = (
        {
            "seat": m.seat,
            "move": abs(m.setting),
            "way": "stays" if m.setting == 0.0 else "with" if m.setting > 0.0 else "against",
            "u": m.uncertainty,
            "load_before": m.load_before,
            "load_after": m.load_after,
            "source": m.source,
        }
        for m in moved
    )
    return table_text(columns_of(Moved), rows, display, remark)


def learned_text(learned: Iterable[Learned], display: str, remark: str) -> str:
    """Return ``learned.csv``.

    Parameters
    ----------
    learned : iterable of Learned
    display : {'metric', 'US'}
        Units of the columns.
    remark : str
        Comment in the first line.
    """
    rows: list[dict[str, Cell]] = []
    for one in learned:
        names = ("amount", "u_amount") if one.what == "bedding" else ("factor", "u_factor")
        rows.append(
            {
                "what": one.what,
                "at": one.at,
                names[0]: float(f"{one.value:.6g}"),
                names[1]: float(f"{one.uncertainty:.6g}"),
                "correlations": " ".join(f"{r:.4f}" for r in one.correlations),
                "source": one.source,
            }
        )
    return table_text(columns_of(Learned), rows, display, remark)
