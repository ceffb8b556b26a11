"""Tables as files: CSV, a workbook, and JSON with every printed number.

``sheets.json`` holds the header, the same tables as lists of rows under ``tables``, the
cautions, and under ``printed`` every number a person acts on: ``key``, ``value_si`` (m, m/m, N,
Pa or K, after rounding) and ``half_step_si``.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

from fitup.record.readback import FORM
from fitup.sheets.as_done import box_blanks
from fitup.sheets.model import Cell, SheetSet, Table
from fitup.sheets.tables import tables

#: office files carry dates; a fixed one keeps the bytes the same
_DATE: Final = datetime(2000, 1, 1)
_ZIP_DATE: Final = (2000, 1, 1, 0, 0, 0)
#: characters a spreadsheet would read as the start of a formula
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def _safe(cell: Cell) -> Cell:
    """Keep a spreadsheet from reading a name as a formula."""
    if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell


def csv_bytes(table: Table) -> bytes:
    """Return a table as CSV: comma, decimal point, UTF-8, one header row."""
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows([_safe(cell) for cell in row] for row in table.rows)
    return target.getvalue().encode("utf-8")


def xlsx_bytes(sheets: SheetSet) -> bytes:
    """Return all tables as one workbook, the same bytes for the same plan."""
    return book_bytes(_about(sheets), tables(sheets))


def book_bytes(about: Iterable[tuple[str, str]], content: Iterable[Table]) -> bytes:
    """Return tables as one workbook, the same bytes for the same content.

    Parameters
    ----------
    about : iterable of (str, str)
        What its first page says: name and text.
    content : iterable of Table
        A page each; the form has a box round every cell to be filled in.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font

    book = Workbook()
    book.properties.created = book.properties.modified = _DATE
    book.properties.creator = "fitup"
    first = book.active
    first.title = "about"
    for row in about:
        first.append([_safe(cell) for cell in row])
    first.column_dimensions["A"].width = 18
    first.column_dimensions["B"].width = 110
    for table in content:
        page = book.create_sheet(table.name)
        page.append(table.columns)
        for cell in page[1]:
            cell.font = Font(bold=True)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        for cells in table.rows:
            page.append([_safe(cell) for cell in cells])
        page.freeze_panes = "D2" if table.name == FORM else "B2"
        if table.name == FORM:
            box_blanks(page)
        for column in page.columns:
            longest = max(len(str(c.value)) for c in column if c.value is not None)
            page.column_dimensions[column[0].column_letter].width = min(max(9, longest + 2), 44)
    target = io.BytesIO()
    book.save(target)
    return _fixed_zip(target.getvalue())


def _about(sheets: SheetSet) -> Iterable[tuple[str, str]]:
    head = sheets.header
    yield ("job", head.job)
    yield ("status", head.status)
    yield ("check code", head.check_code)
    yield ("plan", head.plan_id)
    for i, caution in enumerate(sheets.cautions):
        yield (f"caution {i + 1}", caution)
    yield ("decided by", head.decided)
    yield ("record", head.record)
    for line in head.since:
        yield ("since then", line)


def _fixed_zip(data: bytes) -> bytes:
    """Return a zip with the same members, but fixed dates inside and outside them."""
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out,
    ):
        for item in source.infolist():
            content = source.read(item)
            if item.filename == "docProps/core.xml":
                content = _fixed_core(content)
            out.writestr(zipfile.ZipInfo(item.filename, _ZIP_DATE), content, zipfile.ZIP_DEFLATED)
    return target.getvalue()


def _fixed_core(content: bytes) -> bytes:
    """Replace the date of saving, which the writer sets itself, by the fixed one."""
    start, end = b'<dcterms:modified xsi:type="dcterms:W3CDTF">', b"</dcterms:modified>"
    before, found, rest = content.partition(start)
    if not found:
        return content
    _, _, after = rest.partition(end)
    return before + start + _DATE.strftime("%Y-%m-%dT%H:%M:%SZ").encode() + end + after


def json_bytes(sheets: SheetSet, files: Iterable[str]) -> bytes:
    """Return header, tables, cautions and printed numbers as JSON; ``files`` lists the set."""
    head = sheets.header
    data: dict[str, Any] = {
        "about": "fitup sheet set; numbers as printed, units in the names; printed: SI",
        "job": head.job,
        "plan_id": head.plan_id,
        "check_code": head.check_code,
        "status": head.status,
        "decided": head.decided,
        "record": head.record,
        "since": list(head.since),
        "inputs_sha256": head.inputs,
        "inside": sheets.inside,
        "tables": {
            t.name: [dict(zip(t.columns, row, strict=True)) for row in t.rows]
            for t in tables(sheets)
        },
        "cautions": list(sheets.cautions),
        "understood": list(sheets.understood),
        "statements": list(sheets.statements),
        "printed": [
            {"key": list(p.key), "value_si": p.value_si, "half_step_si": p.half_step}
            for p in sheets.printed()
        ],
        "files": sorted(files),
    }
    return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")
