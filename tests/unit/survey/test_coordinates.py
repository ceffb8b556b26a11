"""Coordinate lists as crews send them: every variant read, every ambiguity refused in one line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import InputError
from fitup.model import Epoch
from fitup.survey import CoordinateList, read_coordinates
from fitup.units import US

EPOCH = Epoch("survey.csv", "2031-04-02T04:10", 283.15, 0.0, 0.0015, None, None, None)
KNOWN = ("A1-1", "A1-2", "A1-3", "A1-4", "101")
HEAD = "id,E_m,N_m,H_m\n"


def read(folder: Path, content: str | bytes, **declared: object) -> CoordinateList:
    path = folder / "survey.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_coordinates(path, replace(EPOCH, **declared), 0, KNOWN)


def refusal(folder: Path, content: str | bytes, **declared: object) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(folder, content, **declared)
    return [str(p) for p in caught.value.problems]


ORDER = ("id", "E", "N", "H")
SAME_TWO_POINTS = {
    "comma": (HEAD + "A1-1,101.5,202.25,10.125\nA1-2,111.5,202.25,-0.5\n", {}),
    "comma with blanks": (
        "id, E_m, N_m, H_m\nA1-1, 101.5, 202.25, 10.125\nA1-2,111.5 ,202.25,-.5\n",
        {},
    ),
    "semicolon, decimal comma": (
        "id;E_m;N_m;H_m\nA1-1;101,5;202,25;10,125\nA1-2;111,5;202,25;-0,5\n",
        {},
    ),
    "semicolon, decimal point": (
        "id;E_m;N_m;H_m\nA1-1;101.5;202.25;10.125\nA1-2;111.5;202.25;-0.5\n",
        {},
    ),
    "tab": ("id\tE_m\tN_m\tH_m\nA1-1\t101.5\t202.25\t10.125\nA1-2\t111.5\t202.25\t-0.5\n", {}),
    "spaces": ("id  E_m  N_m  H_m\n A1-1  101.5  202.25  10.125\n A1-2  111.5  202.25  -0.5\n", {}),
    "spaces, decimal comma": (
        "id E_m N_m H_m\nA1-1 101,5 202,25 10,125\nA1-2 111,5 202,25 -0,5\n",
        {},
    ),
    "quoted decimal comma": (
        HEAD + 'A1-1,"101,5","202,25","10,125"\nA1-2,"111,5","202,25","-0,5"\n',
        {},
    ),
    "byte-order mark": ("\ufeff" + HEAD + "A1-1,101.5,202.25,10.125\nA1-2,111.5,202.25,-0.5\n", {}),
    "carriage returns": (HEAD + "A1-1,101.5,202.25,10.125\r\nA1-2,111.5,202.25,-0.5\r\n", {}),
    "old line ends": (
        (HEAD + "A1-1,101.5,202.25,10.125\nA1-2,111.5,202.25,-0.5\n").replace("\n", "\r"),
        {},
    ),
    "no last line end": (HEAD + "A1-1,101.5,202.25,10.125\nA1-2,111.5,202.25,-0.5", {}),
    "trailing delimiter": (
        "id,E_m,N_m,H_m,\nA1-1,101.5,202.25,10.125,\nA1-2,111.5,202.25,-0.5,\n",
        {},
    ),
    "comments and blanks": (
        "# crew 2\n// night\n\n! cold\n; north bank\n" + HEAD + "\nA1-1,101.5,202.25,10.125\n"
        "# repeated\nA1-2,111.5,202.25,-0.5\n\n",
        {},
    ),
    "words": (
        ""
        "Point,Elevation_m,Northing_m,Easting_m\nA1-1,10.125,202.25,101.5\nA1-2,-0.5,202.25,111.5\n",
        {},
    ),
    "brackets": (
        "PT,Height [m],North (m),EAST [m]\nA1-1,10.125,202.25,101.5\nA1-2,-0.5,202.25,111.5\n",
        {},
    ),
    "millimetres": ("name,E_mm,N_mm,Z_mm\nA1-1,101500,202250,10125\nA1-2,111500,202250,-500\n", {}),
    "unit declared": (
        "id,E,N,H\nA1-1,101.5,202.25,10.125\nA1-2,111.5,202.25,-0.5\n",
        {"unit": "m"},
    ),
    "unit twice alike": (
        HEAD + "A1-1,101.5,202.25,10.125\nA1-2,111.5,202.25,-0.5\n",
        {"unit": "m"},
    ),
    "no header": (
        "A1-1,202.25,101.5,10.125\nA1-2,202.25,111.5,-0.5\n",
        {"unit": "m", "order": ("id", "N", "E", "H")},
    ),
    "no header, skip": (
        "1 A1-1 202.25 101.5 10.125 prism\n2 A1-2 202.25 111.5 -0.5 a bent one\n",
        {"unit": "m", "order": ("skip", "id", "N", "E", "H", "skip")},
    ),
    "no header, unit in the order": (
        "A1-1,20225,10150,1012.5\nA1-2,20225,11150,-50\n",
        {"order": ("id", "N_cm", "E_cm", "H_cm")},
    ),
    "X and Y declared": (
        "id,X_m,Y_m,Z_m\nA1-1,202.25,101.5,10.125\nA1-2,202.25,111.5,-0.5\n",
        {"order": ("id", "N", "E", "H")},
    ),
    "code and remark": (
        "id,code,E_m,N_m,H_m,remark\nA1-1,P,101.5,202.25,10.125,\nA1-2,P,111.5,202.25,-0.5,bent\n",
        {},
    ),
    "thousands": (
        ""
        'id,E_mm,N_mm,H_mm\nA1-1,"101,500.0","202,250.0","10,125.0"\nA1-2,"111,500","202,250",-500\n',
        {},
    ),
    "thousands, decimal comma": (
        "id;E_mm;N_mm;H_mm\nA1-1;101.500,0;202.250,0;10.125\nA1-2;111.500;202.250;-500\n",
        {"decimal": ","},
    ),
    "powers": (HEAD + "A1-1,1.015e2,2.0225E+2,10.125\nA1-2,+111.5,202.25,-5e-1\n", {}),
}


@pytest.mark.parametrize("name", SAME_TWO_POINTS)
def test_every_layout_gives_the_same_two_points(name, tmp_path):
    content, declared = SAME_TWO_POINTS[name]
    found = read(tmp_path, content, **declared)
    assert [p.id for p in found.points] == ["A1-1", "A1-2"]
    assert found.points[0].position == pytest.approx([101.5, 202.25, 10.125], abs=1e-12)
    assert found.points[1].position == pytest.approx([111.5, 202.25, -0.5], abs=1e-12)
    assert found.points[0].uncertainty.tolist() == [0.0015] * 3
    assert found.unused == ()


def test_utf_16_as_office_programs_save_it(tmp_path):
    found = read(tmp_path, (HEAD + "A1-1,1.5,2.5,3.5\n").encode("utf-16"))
    assert found.points[0].position.tolist() == [1.5, 2.5, 3.5]


def test_the_two_feet(tmp_path):
    rows = "A1-1,1000000,2000000,500\n"
    us = read(tmp_path, "id,E_ftUS,N_ftUS,H_ftUS\n" + rows).points[0].position
    ft = read(tmp_path, "id,E_ft,N_ft,H_ft\n" + rows).points[0].position
    assert us == pytest.approx([304800.6096012192, 609601.2192024384, 152.4003048006], abs=1e-8)
    assert ft == pytest.approx([304800.0, 609600.0, 152.4], abs=1e-8)


def test_rows_are_those_of_the_file(tmp_path):
    found = read(tmp_path, "# one\n\n" + HEAD + "A1-2,1,2,3\n\nA1-1,1,2,3\n")
    assert [(p.id, p.row, p.epoch) for p in found.points] == [("A1-2", 4, 0), ("A1-1", 6, 0)]


def test_uncertainty_point_by_point(tmp_path):
    text = "id,E_m,N_m,H_m,uE_mm,uN_mm,uH_mm\nA1-1,1,2,3,1.5,2,0.8\n"
    found = read(tmp_path, text, uncertainty=None).points[0]
    assert found.uncertainty == pytest.approx([0.0015, 0.002, 0.0008], abs=1e-15)
    text = "id,E_m,N_m,H_m,u_in\nA1-1,1,2,3,0.1\n"
    assert read(tmp_path, text).points[0].uncertainty == pytest.approx([0.00254] * 3, abs=1e-15)


def test_what_was_understood(tmp_path):
    rows = "".join(f"{i};5,5;6,5;7,5;P\n" for i in (*KNOWN[:4], "CTRL1", "a1-1"))
    found = read(tmp_path, "# night\nid;N_ftUS;E_ftUS;H_ftUS;code\n" + rows)
    assert found.unused == ("CTRL1", "a1-1")
    assert found.understood == (
        "survey.csv: 6 points read, 2 not used (CTRL1, a1-1 are not in points.csv)",
        "not used: 'a1-1' is written 'A1-1' in points.csv; names must be written alike",
        "order: id, N, E, H (from the header)",
        "unit: US survey foot (from the header)",
        "delimiter: semicolon, decimal mark: comma",
        "standard uncertainty: 1.5 mm for every coordinate (job.toml)",
        "columns not used: code",
        "comment lines passed over: 1",
    )


def test_what_was_understood_of_declarations(tmp_path):
    found = read(
        tmp_path,
        "9 A1-1 1,234 2.345,5 3,456 2\n",
        order=("skip", "id", "N", "E", "H", "u_mm"),
        unit="m",
        decimal=",",
    )
    assert found.understood == (
        "survey.csv: 1 point read",
        "order: id, N, E, H, u (declared in job.toml)",
        "unit: metre (declared in job.toml)",
        "delimiter: spaces, decimal mark: comma (declared in job.toml), thousands set apart by "
        "points",
        "standard uncertainty: from the list, point by point; 1.5 mm of job.toml is not used",
        "columns not used: column 1",
    )
    assert found.points[0].position.tolist() == [2345.5, 1.234, 3.456]


def test_uncertainty_is_told_in_the_units_of_the_job(tmp_path):
    path = tmp_path / "survey.csv"
    path.write_text(HEAD + "A1-1,1,2,3\n")
    found = read_coordinates(path, EPOCH, 0, KNOWN, US.move)
    assert "standard uncertainty: 0.059 in for every coordinate (job.toml)" in found.understood


LENGTHS = "m, mm, cm, in, ft, ftUS"
ROW = "A1-1,1,2,3\n"
REFUSED = {
    "no header": (
        "A1-1 1.5 2.5 3.5\n",
        {"unit": "m"},
        "survey.csv, row 1: found no header; allowed: a header, or the order of the columns "
        "declared "
        'in job.toml; write a header, or declare e.g. order = ["id", "E", "N", "H"] (survey 1)',
    ),
    "X and Y": (
        "id,X,Y,Z,code\nA1-1,1.5,2.5,3.5,P\n",
        {"unit": "m"},
        "survey.csv, row 1: found X and Y: which is easting, which northing?; allowed: E and N; "
        'declare the order in job.toml (survey 1): order = ["id", "?", "?", "H", "skip"] with E '
        "and "
        "N for ?",
    ),
    "X and Y in the order": (
        ROW,
        {"unit": "m", "order": ("id", "X", "Y", "H")},
        "survey.csv: found X and Y: which is easting, which northing?; allowed: E and N; declare "
        "the "
        'order in job.toml (survey 1): order = ["id", "?", "?", "H"] with E and N for ?',
    ),
    "header against order": (
        "id,N_m,E_m,H_m\n" + ROW,
        {"order": ORDER},
        "survey.csv, row 1: found the header id, N_m, E_m, H_m, but job.toml declares the order "
        "id, "
        "E, N, H; allowed: one order; correct the one that is wrong (survey 1)",
    ),
    "order too short": (
        HEAD.replace("\n", ",code\n") + "A1-1,1,2,3,P\n",
        {"order": ORDER},
        "survey.csv, row 1: found the header id, E_m, N_m, H_m, code, but job.toml declares the "
        "order "
        "id, E, N, H; allowed: one order; correct the one that is wrong (survey 1)",
    ),
    "odd word in the order": (
        ROW,
        {"unit": "m", "order": ("id", "E", "N", "H", "prism")},
        "job.toml, survey 1.order: found 'prism'; allowed: id, E, N, H, u_mm, uE_mm, uN_mm, uH_mm "
        "or "
        "skip; correct it; call a column that is not needed skip",
    ),
    "comma twice": (
        "id,E_m,N_m,H_m\nA1-1,1,5,2,5,3,5\n",
        {},
        "survey.csv, row 2: found commas both as decimal mark and between the columns; allowed: "
        "one "
        "use of the comma; export the list with semicolons, or with decimal points",
    ),
    "thousands or thousandths": (
        "id;E_m;N_m;H_m\nA1-1;1,234;2,345;3,456\n",
        {},
        "survey.csv, row 2, E_m: found '1,234', which may be 1.234 or 1234; allowed: a decimal "
        "mark "
        'that is declared; declare decimal = "," or decimal = "." in job.toml (survey 1)',
    ),
    "both marks": (
        "id;E_m;N_m;H_m\nA1-1;1,24;2;3\nA1-2;1;2.345;3\n",
        {},
        "survey.csv: found '1,24' (row 2) and '2.345' (row 3); allowed: one decimal mark in the "
        "whole "
        "list; write all numbers alike",
    ),
    "not the declared mark": (
        "id;E_m;N_m;H_m\nA1-1;1,24;2,5;3,5\nA1-2;1;2;3.25\n",
        {"decimal": ","},
        "survey.csv, row 3, H_m: found '3.25'; allowed: a finite number with a decimal comma; give "
        "the height, or delete the row",
    ),
    "nan": (
        HEAD + "A1-1,nan,2,3\n",
        {},
        "survey.csv, row 2, E_m: found 'nan'; allowed: a finite number; give the easting, or "
        "delete "
        "the row",
    ),
    "infinity": (
        HEAD + "A1-1,1,-inf,3\n",
        {},
        "survey.csv, row 2, N_m: found '-inf'; allowed: a finite number; give the northing, or "
        "delete the row",
    ),
    "overflow": (
        HEAD + "A1-1,1,2,1e999\n",
        {},
        "survey.csv, row 2, H_m: found '1e999'; allowed: a finite number; give the height, or "
        "delete "
        "the row",
    ),
    "a word": (
        HEAD + "A1-1,1,2,high\n",
        {},
        "survey.csv, row 2, H_m: found 'high'; allowed: a finite number; give the height, or "
        "delete "
        "the row",
    ),
    "empty cell": (
        HEAD + "A1-1,1,,3\n",
        {},
        "survey.csv, row 2, N_m: found an empty cell; allowed: a number; give the northing, or "
        "delete "
        "the row",
    ),
    "empty name": (
        HEAD + ",1,2,3\n",
        {},
        "survey.csv, row 2, id: found an empty cell; allowed: a point name; give the name of the "
        "point, or delete the row",
    ),
    "empty name before a semicolon": (
        "id;E_m;N_m;H_m\n;1;2;3\nA1-1;1;2;3\n",
        {},
        "survey.csv, row 2, id: found an empty cell; allowed: a point name; give the name of the "
        "point, or delete the row",
    ),
    "one name, two points": (
        HEAD + ROW + "A1-2,1,2,3\n" + ROW.replace("A1-1,", "A1-1,1"),
        {},
        "survey.csv, row 4, id: found 'A1-1' again, 5000.0 mm from its mean with row 2; allowed: "
        "measurements of one point that agree within 4.3 mm, as u allows; keep the row that is "
        "right and delete the other, or correct its name",
    ),
    "cut off in a row": (
        HEAD + ROW + "A1-2,1,2",
        {},
        "survey.csv, row 3: found 3 cells in the last line, which has no line end; allowed: 4 "
        "cells; "
        "the file is cut off: send it again",
    ),
    "cut off in a number": (
        HEAD + "A1-1,1.5,2.5,3.123\nA1-2,1.5,2.5,3.123\nA1-3,1.5,2.5,3.1",
        {},
        "survey.csv, row 4, H_m: found '3.1', with 1 decimals where all rows above have 3, and no "
        "line end; allowed: a whole last line; the file looks cut off: send it again, or end the "
        "line "
        "if it is right",
    ),
    "cell missing": (
        HEAD + "A1-2,1,2\n" + ROW,
        {},
        "survey.csv, row 2: found 3 cells; allowed: 4 cells; a cell is missing or too many",
    ),
    "cell too many": (
        HEAD + "A1-2,1,2,3,x\n" + ROW,
        {},
        "survey.csv, row 2: found 5 cells; allowed: 4 cells; a cell is missing or too many",
    ),
    "open quotation mark": (
        HEAD + ROW + '"A1-2,1,2,3\n',
        {},
        "survey.csv, row 3: found a quotation mark that is not closed; allowed: both or none; "
        "close "
        "it or delete it",
    ),
    "units contradict": (
        HEAD + ROW,
        {"unit": "ft"},
        'survey.csv, row 1: found unit m in the column names, but unit = "ft" in job.toml; '
        "allowed: "
        "one unit; correct the one that is wrong (survey 1)",
    ),
    "order and header units contradict": (
        HEAD + ROW,
        {"order": ("id", "E_ft", "N_m", "H_m")},
        "survey.csv, row 1, E_m: found 'E_m', but job.toml declares E_ft; allowed: one unit; "
        "correct "
        "the one that is wrong (survey 1)",
    ),
    "units mixed": (
        "id,E_m,N_m,H_ft\n" + ROW,
        {},
        "survey.csv, row 1: found E_m, N_m, H_ft: different units; allowed: one unit for easting, "
        "northing and height; write the same unit into all three names",
    ),
    "unit of one only": (
        "id,E_m,N_m,H\n" + ROW,
        {},
        "survey.csv, row 1: found E_m, N_m, H: different units; allowed: one unit for easting, "
        "northing and height; write the same unit into all three names",
    ),
    "no unit": (
        "id,E,N,H\n" + ROW,
        {},
        f"survey.csv, row 1: found no unit for the coordinates; allowed: one of: {LENGTHS}; write "
        "it "
        'into the header (E_m, N_m, H_m), or declare unit = "m" (survey 1)',
    ),
    "odd unit": (
        "id,E_m,N_m,H_chain\n" + ROW,
        {},
        f"survey.csv, row 1, H_chain: found unit 'chain'; allowed: one of: {LENGTHS}; correct it",
    ),
    "column missing": (
        "id,E_m,N_m\nA1-1,1,2\n",
        {},
        "survey.csv, row 1: found no column H; allowed: id, E, N, H in any order (survey 1); name "
        "or "
        "declare it",
    ),
    "column twice": (
        "id,E_m,N_m,H_m,Z_m\nA1-1,1,2,3,4\n",
        {},
        "survey.csv, row 1: found H 2 times; allowed: each column once; delete one",
    ),
    "no uncertainty": (
        HEAD + ROW,
        {"uncertainty": None},
        "survey.csv: found no standard uncertainty; allowed: a column u_mm (or uE_mm, uN_mm, "
        "uH_mm), "
        "or u_mm in job.toml; add u_mm to this survey in job.toml (survey 1)",
    ),
    "uncertainty in the wrong unit": (
        HEAD + ROW,
        {"uncertainty": 1.5},
        "job.toml, survey 1.u: found a standard uncertainty of 1.5 m; allowed: above 0, at most "
        "0.1 "
        "m; check its unit",
    ),
    "uncertainty without unit": (
        "id,E_m,N_m,H_m,u\nA1-1,1,2,3,1.5\n",
        {},
        "survey.csv, row 1, u: found no unit; allowed: u_mm; write its unit into the name",
    ),
    "uncertainty of zero": (
        "id,E_m,N_m,H_m,u_mm\nA1-1,1,2,3,0\n",
        {},
        "survey.csv, row 2, u_mm: found '0'; allowed: above 0, at most 0.1 m; give the standard "
        "uncertainty, or delete the row",
    ),
    "uncertainty of two axes": (
        "id,E_m,N_m,H_m,uE_mm,uN_mm\nA1-1,1,2,3,1,1\n",
        {},
        "survey.csv, row 1: found uncertainties uE, uN; allowed: u_mm alone, or uE_mm with uN_mm "
        "and "
        "uH_mm; give one or all three",
    ),
    "nothing known": (
        HEAD + "B1,1,2,3\n",
        {},
        "survey.csv: found 1 points, none of them in points.csv; allowed: the point names of "
        "points.csv; is this the right file, and the right column for the names?",
    ),
    "header only": (
        HEAD,
        {},
        "survey.csv: found no rows; allowed: a row for every point; was it saved?",
    ),
    "comments only": (
        "# nothing yet\n",
        {},
        "survey.csv: found no rows; allowed: a row for every point; was it saved?",
    ),
    "binary": (
        b"PK\x03\x04\x00\x00",
        {},
        "survey.csv: found binary data; allowed: plain text; export it as CSV, not as a workbook",
    ),
    "empty": (
        b" \n",
        {},
        "survey.csv: found an empty file; allowed: a table with a header; was it saved?",
    ),
    "not UTF-8": (
        # 0x81 has no meaning in the encoding of old spreadsheets either
        b"id,E_m,N_m,H_m\nA1-1,1,2,3\x81\n",
        {},
        "survey.csv, row 2: found byte 0x81, which is not UTF-8; allowed: UTF-8 text; save it "
        "again as "
        "UTF-8 (or plain ASCII)",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_every_doubt_is_refused_in_one_line(name, tmp_path):
    content, declared, message = REFUSED[name]
    assert refusal(tmp_path, content, **declared) == [message]


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError) as caught:
        read_coordinates(tmp_path / "survey.csv", EPOCH, 0, KNOWN)
    assert str(caught.value) == (
        "survey.csv: found no such file; allowed: a text file; create it or correct its name"
    )


def test_a_huge_file(tmp_path):
    with (tmp_path / "survey.csv").open("wb") as file:
        file.truncate(60_000_000)
    with pytest.raises(InputError) as caught:
        read_coordinates(tmp_path / "survey.csv", EPOCH, 0, KNOWN)
    assert str(caught.value) == (
        "survey.csv: found 60 MB; allowed: at most 50 MB; is this the right file?"
    )


def test_all_problems_come_together(tmp_path):
    found = refusal(tmp_path, HEAD + "A1-1,nan,2,\nA1-2,1,2,3\nA1-2,9,2,3\nA1-3,1,2\n")
    assert [line.partition(": found")[0] for line in found] == [
        "survey.csv, row 5",
        "survey.csv, row 2, E_m",
        "survey.csv, row 2, H_m",
        "survey.csv, row 4, id",
    ]


def test_thousands_of_problems_are_counted(tmp_path):
    rows = "".join(f"A1-1,x{i},2,3\n" for i in range(3000))
    found = refusal(tmp_path, HEAD + rows)
    assert len(found) == 21
    assert found[-1] == ("survey.csv: found 2980 more problems; allowed: none; correct these first")


def test_thousands_of_problems_alike_are_one_line(tmp_path):
    assert refusal(tmp_path, HEAD + "A1-1,x,2,3\n" * 3000) == [
        "survey.csv, row 2, E_m: found 'x' in rows 2 to 3001; allowed: a finite number; give the "
        "easting, or delete the row"
    ]


def test_the_declared_mark_decides_between_two_readings(tmp_path):
    text = "id;E_m;N_m;H_m\nA1-1;1,234;2,345;3,456\n"
    assert read(tmp_path, text, decimal=",").points[0].position.tolist() == [1.234, 2.345, 3.456]
    assert read(tmp_path, text, decimal=".").points[0].position.tolist() == [1234.0, 2345.0, 3456.0]


def test_one_plain_number_settles_the_mark_for_all(tmp_path):
    text = "id;E_m;N_m;H_m\nA1-1;1,234;2,345;3,4567\n"
    assert read(tmp_path, text).points[0].position.tolist() == [1.234, 2.345, 3.4567]


def test_a_point_measured_twice_that_is_not_used_is_no_problem(tmp_path):
    found = read(tmp_path, HEAD + "CTRL1,1,2,3\nA1-1,1,2,3\nCTRL1,1,2,3\n")
    assert found.unused == ("CTRL1",)
    assert found.understood[0] == (
        "survey.csv: 3 points read, 2 not used (CTRL1 is not in points.csv)"
    )


def test_whole_millimetres_between_commas_are_not_one_number_with_thousands(tmp_path):
    found = read(tmp_path, "101,500,600,700\n", order=("id", "E_mm", "N_mm", "H_mm"))
    assert found.points[0].id == "101"
    assert found.points[0].position == pytest.approx([0.5, 0.6, 0.7])


def test_a_short_last_number_with_a_line_end_is_whole(tmp_path):
    rows = "A1-1,1.5,2.5,3.123\nA1-2,1.5,2.5,3.123\nA1-3,1.5,2.5,3.1\n"
    assert len(read(tmp_path, HEAD + rows).points) == 3


NAMES = ["id", "E_m", "N_m", "H_m", "X", "u_mm", "A1-1", "A1-2", "CTRL", "é"]
NUMBERS = ["1.5", "1,5", "1,234", "nan", "-3", "1e400"]
MARKS = ["", '"', "#", ";", ",", " ", "\t", "\n", "\r\n", "\ufeff", "\x85"]
WORDS = st.sampled_from([*NAMES, *NUMBERS, *MARKS, "\n", "\n"])


@settings(max_examples=400, deadline=None)
@given(
    st.lists(WORDS, max_size=40),
    st.sampled_from([None, ORDER, ("id", "N", "E", "H", "skip")]),
    st.sampled_from([None, ",", "."]),
)
def test_whatever_a_file_holds_it_is_read_or_refused_in_words(words, order, decimal):
    with TemporaryDirectory() as folder:
        try:
            found = read(Path(folder), "".join(words), order=order, unit="m", decimal=decimal)
        except InputError as error:
            assert error.problems
            assert all("\n" not in p.found + p.allowed + p.do for p in error.problems)
        else:
            assert found.points
            assert all(p.id in KNOWN and np.isfinite(p.position).all() for p in found.points)


TOUCHING = (
    "# night 14\n"
    "target  easting   northing   height\n"
    "A1-1    52345.6789131234.5678 -12.3456\n"
    "A1-2    52345.6789 31234.5678  112.345 knocked?\n"
)


def test_columns_that_touch_are_read_by_their_widths(tmp_path):
    """Every character has its column: 8 for the name, 11 each for E and N, 9 for H."""
    found = read(tmp_path, TOUCHING, widths=(8, 10, 11, 9), unit="m")
    assert [p.id for p in found.points] == ["A1-1", "A1-2"]
    assert found.points[0].position == pytest.approx([52345.6789, 131234.5678, -12.3456])
    assert found.points[1].position == pytest.approx([52345.6789, 31234.5678, 112.345])
    assert any(
        line.startswith("columns of fixed width: 8, 10, 11, 9 characters (job.toml), decimal mark")
        for line in found.understood
    )


def test_rows_of_fixed_width_may_be_without_a_header(tmp_path):
    rows = "".join(TOUCHING.splitlines(keepends=True)[2:])
    found = read(tmp_path, rows, widths=(8, 10, 11, 9), order=ORDER, unit="m")
    assert found.points[0].position == pytest.approx([52345.6789, 131234.5678, -12.3456])


def test_widths_that_cut_a_number_are_refused(tmp_path):
    """A column counted one too long takes a digit of the next; one too short leaves one behind."""
    rows = "".join(TOUCHING.splitlines(keepends=True)[2:])
    (line, *_) = refusal(tmp_path, rows, widths=(8, 10, 13, 7), order=ORDER, unit="m")
    assert line.startswith("survey.csv, row 1, N: found '131234.5678 -'; allowed")
    assert refusal(tmp_path, rows, widths=(8, 10, 11, 8), order=ORDER, unit="m") == [
        "survey.csv, row 1: found '6' right behind the last column; allowed: a blank; count again: "
        "widths in job.toml make 37 characters"
    ]


def test_widths_are_for_plain_text_without_tabs(tmp_path):
    assert refusal(tmp_path, "A1-1\t1 2 3\n", widths=(8, 8), order=ORDER, unit="m") == [
        "survey.csv, row 1: found a tab in a list of fixed width; allowed: blanks alone between "
        "columns; delete widths in job.toml, or export the list without tabs"
    ]
    book = replace(EPOCH, file="list.xlsx", widths=(8, 8))
    with pytest.raises(InputError) as caught:
        read_coordinates(tmp_path / "list.xlsx", book, 0, KNOWN)
    assert str(caught.value) == (
        "job.toml: found widths for list.xlsx; allowed: widths for a list in plain text; delete "
        "widths: the columns of this file are known"
    )


def test_other_names_stand_for_the_ids_they_mean(tmp_path):
    path = tmp_path / "survey.csv"
    path.write_text(HEAD + "P 7,1,2,3\nA1-2,4,5,6\n", encoding="utf-8")
    found = read_coordinates(path, EPOCH, 0, KNOWN, names={"P 7": "A1-1", "P 8": "A1-3"})
    assert [(p.id, p.row) for p in found.points] == [("A1-1", 2), ("A1-2", 3)]
    assert "names of job.toml: P 7 is A1-1" in found.understood
    assert not any("not used" in line for line in found.understood)


def test_a_point_in_several_rows_counts_by_its_mean(tmp_path):
    """By hand: 1 mm and 2 mm weigh 4 to 1; alike errors leave 0.8 x 1 + 0.2 x 2 mm."""
    rows = "A1-1,1.000,2,3,1\nA1-2,4,5,6,1\nA1-1,1.005,2,3,2\n"
    found = read(tmp_path, "id,E_m,N_m,H_m,u_mm\n" + rows)
    first = found.points[0]
    assert [p.id for p in found.points] == ["A1-1", "A1-2"]
    assert first.position == pytest.approx([1.001, 2.0, 3.0], abs=1e-12)
    assert first.uncertainty == pytest.approx(np.full(3, 0.0012), abs=1e-12)
    assert found.understood[-1] == (
        "A1-1: 2 measurements (rows 2, 4), at most 4.0 mm from their mean, which counts with the "
        "uncertainty of one"
    )


@pytest.mark.parametrize(("apart", "fits"), [(0.0084, True), (0.0088, False)])
def test_rows_of_one_point_are_tested_before_they_are_averaged(tmp_path, apart, fits):
    """Two rows with u 1.5 mm, d apart along one axis: chi-square d^2 / (2 u^2) against 16.27.

    The 0.1 % point for three degrees of freedom is 16.266 (any table), so d = 8.56 mm.
    """
    text = HEAD + f"A1-1,1,2,3\nA1-1,{1 + apart},2,3\nA1-2,4,5,6\n"
    if fits:
        assert read(tmp_path, text).points[0].position[0] == pytest.approx(1 + apart / 2)
        return
    assert refusal(tmp_path, text) == [
        "survey.csv, row 3, id: found 'A1-1' again, 4.4 mm from its mean with row 2; allowed: "
        "measurements of one point that agree within 4.3 mm, as u allows; keep the row that is "
        "right and delete the other, or correct its name"
    ]


def test_columns_that_touch_are_one_problem_and_not_one_a_row(tmp_path):
    rows = "".join(f"A1-{i}  8885.150{i}4204.5822  61.7244\n" for i in range(1, 5))
    (line,) = refusal(tmp_path, rows, order=ORDER, unit="m")
    assert line == (
        "survey.csv, row 1: found 3 cells, and too few in every other row too; allowed: 4 cells "
        "set apart by blanks; columns of fixed width touch each other here: declare the characters "
        "of each in job.toml, widths = [8, 12, 12, 9], or export the list with semicolons"
    )
