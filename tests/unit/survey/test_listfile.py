"""Coordinate lists in the files that offices have: workbooks, LandXML, old encodings, titles."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from fitup.errors import InputError
from fitup.model import Epoch
from fitup.survey.coordinates import read_coordinates
from fitup.survey.listfile import tidy
from fitup.survey.points import CoordinateList

ROWS = [("A1", 412000.25, 5631000.5, 87.125), ("A2", 412010.0, 5631002.0, 86.5)]
KNOWN = {"A1", "A2", "Süd"}


def read(path: Path, **declared: Any) -> CoordinateList:
    given: dict[str, Any] = {"unit": None, "order": None, "decimal": None} | declared
    epoch = Epoch(path.name, "2031-04-02T04:10", 288.15, 0.0, 0.001, **given)
    return read_coordinates(path, epoch, 0, KNOWN)


def places(found: CoordinateList) -> list[tuple[float, ...]]:
    return [(p.id, *p.position.tolist()) for p in found.points]


def workbook(path: Path, *sheets: list[tuple[Any, ...]]) -> Path:
    book = Workbook()
    book.remove(book.active)
    for k, rows in enumerate(sheets):
        sheet = book.create_sheet(f"Sheet{k + 1}")
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def test_a_workbook(tmp_path: Path):
    head = [("Night 14",), (), ("id", "E_m", "N_m", "H_m")]
    found = read(workbook(tmp_path / "night.xlsx", [*head, *ROWS], []))
    assert places(found) == ROWS
    # the row a person sees in the workbook
    assert [p.row for p in found.points] == [4, 5]
    assert "workbook: sheet 'Sheet1', as it was saved" in found.understood
    assert "title rows passed over: 1" in found.understood


def test_a_workbook_with_two_lists_is_not_guessed(tmp_path: Path):
    head = [("id", "E_m", "N_m", "H_m")]
    with pytest.raises(InputError) as caught:
        read(workbook(tmp_path / "night.xlsx", [*head, *ROWS], [*head, *ROWS]))
    (problem,) = caught.value.problems
    assert str(problem) == (
        "night.xlsx: found 2 sheets with content ('Sheet1', 'Sheet2'); allowed: one sheet with the "
        "list; save the sheet of the list as a workbook of its own, or as CSV"
    )


@pytest.mark.parametrize("content", [b"PK\x03\x04 cut off", b"no workbook at all"])
def test_a_broken_workbook(tmp_path: Path, content: bytes):
    path = tmp_path / "night.xlsx"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read(path)
    assert str(caught.value).startswith("night.xlsx: found a broken workbook; allowed: a workbook")


def test_points_of_a_landxml_file(tmp_path: Path):
    points = "".join(f'<CgPoint name="{i}">{n} {e} {h}</CgPoint>' for i, e, n, h in ROWS)
    path = tmp_path / "night.xml"
    path.write_text(
        '<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" '
        'version="1.2" date="2031-04-02" time="04:10:00"><Units><Metric linearUnit="meter" '
        'areaUnit="squareMeter" volumeUnit="cubicMeter" temperatureUnit="celsius" '
        'pressureUnit="HPA" angularUnit="decimal degrees" directionUnit="decimal degrees"/>'
        f"</Units><CgPoints>{points}</CgPoints></LandXML>"
    )
    found = read(path)
    assert places(found) == ROWS
    assert "LandXML: 2 points with a height, counted in their order" in found.understood


def test_the_encoding_of_old_spreadsheets(tmp_path: Path):
    path = tmp_path / "night.csv"
    path.write_bytes("id;E_m;N_m;H_m\nSüd;1,5;2,5;3,5\n".encode("cp1252"))
    found = read(path)
    assert places(found) == [("Süd", 1.5, 2.5, 3.5)]
    assert "encoding: Windows-1252, for the file is not UTF-8" in found.understood


def test_titles_sep_and_units_rows(tmp_path: Path):
    path = tmp_path / "night.csv"
    path.write_text("sep=;\nBridge, night 14\nid;E;N;H\n;[ft];[ft];[ft]\nA1;10;20;30\n")
    found = read(path)
    assert places(found) == [("A1", *(pytest.approx(v * 0.3048) for v in (10, 20, 30)))]
    assert found.points[0].row == 5
    assert "unit: international foot (from the header)" in found.understood
    assert "units from the row under the header" in found.understood


def test_rows_of_numbers_above_a_header_are_never_passed_over():
    text = "A1;1;2;3\nid;E;N;H\nA2;4;5;6\n"
    assert tidy(text) == (text, ())


def test_units_in_header_and_row_are_left_to_the_reader():
    text = "id;E_m;N_m;H_m\n;[ft];[ft];[ft]\nA1;1;2;3\n"
    assert tidy(text) == (text, ())
