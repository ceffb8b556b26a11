"""Every message of a table, whole, and the spellings in which a table may come."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fitup import plainfile
from fitup.jobfolder.table import parse_number
from fitup.model import Job

Tell = Callable[..., list[str]]
LENGTH_UNITS = ("m", "mm", "cm", "in", "ft", "ftUS")


def spelled(name: str, units: tuple[str, ...]) -> str:
    return ", ".join(f"{name}_{unit}" for unit in units)


def test_small_job_is_right(problems_of: Tell) -> None:
    assert problems_of() == []


WEIGHTS = spelled("weight", ("N", "kN", "MN", "lbf", "kip"))
UNIT_ADVICE = "write the unit into the column name"
HEADERS = [
    (
        "segments",
        ("weight_kN", "weight"),
        f"segments.csv, row 1, weight: found 'weight' without a unit; allowed: one of: {WEIGHTS}; "
        + UNIT_ADVICE,
    ),
    (
        "segments",
        ("weight_kN", "weight_tons"),
        f"segments.csv, row 1, weight_tons: found 'weight_tons'; allowed: one of: {WEIGHTS}; "
        + UNIT_ADVICE,
    ),
    (
        "pairs",
        ("ahead_point,opening_mm,place", "ahead_point,opening_mm,place,colour"),
        "pairs.csv, row 1, colour: found unknown column 'colour'; allowed: id, joint, back_point, "
        "ahead_point, opening_m, place, or a column that starts with 'note'; "
        "rename it note_... or delete it",
    ),
]


@pytest.mark.parametrize(("stem", "change", "message"), HEADERS)
def test_header(problems_of: Tell, stem: str, change: tuple[str, str], message: str) -> None:
    wider = [("LEFT", "LEFT,1"), ("RIGHT", "RIGHT,2")] if "colour" in message else []
    assert problems_of(**{stem: [change, *wider]}) == [message]


def test_unknown_column_with_suggestion_and_the_one_it_stands_for(problems_of: Tell) -> None:
    assert problems_of(pairs=("place", "plaze")) == [
        "pairs.csv, row 1, plaze: found unknown column 'plaze'; allowed: id, joint, back_point, "
        "ahead_point, opening_m, place, or a column that starts with 'note'; did you mean place?",
        "pairs.csv, row 1, place: found no such column; allowed: one of: place; "
        "add it: where it is across the deck, e.g. LEFT",
    ]


def test_missing_column(problems_of: Tell, small_files: dict[str, str]) -> None:
    without = "\n".join(
        ",".join(cells[:1] + cells[2:])
        for cells in (line.split(",") for line in small_files["plates.csv"].splitlines())
    )
    assert problems_of(plates=without) == [
        "plates.csv, row 1, nominal_m: found no such column; allowed: one of: "
        + spelled("nominal", LENGTH_UNITS)
        + "; add it: the nominal thickness"
    ]


def test_column_twice(problems_of: Tell, small_files: dict[str, str]) -> None:
    doubled = "\n".join(
        f"{line},{'nominal_in' if i == 0 else '1'}"
        for i, line in enumerate(small_files["plates.csv"].splitlines())
    )
    assert problems_of(plates=doubled) == [
        "plates.csv, row 1, nominal_in: found column nominal given twice; allowed: each column "
        "once; delete one of them"
    ]


def test_note_columns_and_untitled_columns_are_left_alone(
    problems_of: Tell, small_files: dict[str, str]
) -> None:
    lines = small_files["plates.csv"].splitlines()
    noted = "\n".join([lines[0] + ",Note_store,", *(f"{line},x, y" for line in lines[1:])])
    assert problems_of(plates=noted) == []


THICKNESS = "a number above 0 mm and at most 500 mm; give the measured thickness"
STORE = "a whole number from 0 to 10000; give how many are loose in the store"
CELLS = [
    ("plates", "P20,20,20,2", "P20,20,{},2", "measured_mm", THICKNESS, "NaN"),
    ("plates", "P20,20,20,2", "P20,20,{},2", "measured_mm", THICKNESS, "inf"),
    ("plates", "P20,20,20,2", "P20,20,{},2", "measured_mm", THICKNESS, "twenty"),
    ("plates", "P20,20,20,2", "P20,20,{},2", "measured_mm", THICKNESS, "2_0"),
    ("plates", "P20,20,20,2", "P20,20,{},2", "measured_mm", THICKNESS, "0"),
    ("plates", "P20,20,20,2", "P20,20,{},2", "measured_mm", THICKNESS, "500.001"),
    ("plates", "P20,20,20,2", 'P20,20,"{}",2', "measured_mm", THICKNESS, "20,12"),
    ("plates", "P20,20,20,2", "P20,20,20,{}", "count", STORE, "-2"),
    ("plates", "P20,20,20,2", "P20,20,20,{}", "count", STORE, "2.5"),
    ("plates", "P20,20,20,2", "P20,20,20,{}", "count", STORE, "10001"),
    ("plates", "P20,20,20,2", "P20,20,20,{}", "count", STORE, "nan"),
    (
        "jacks",
        "J-A1,A-S1,2000",
        "J-A1,A-S1,{}",
        "capacity_kN",
        "a number above 0 kN and at most 50000 kN; give its rated capacity",
        "-1",
    ),
    (
        "jacks",
        "150,50,0.5,yes",
        "150,50,0.5,{}",
        "lock_nut",
        "yes or no; give whether it has a lock nut",
        "maybe",
    ),
    (
        "jacks",
        "J-A1,",
        "{},",
        "id",
        "an id without spaces, '+', '/', ',' or ';'; give the number painted on the jack",
        "J A1",
    ),
    (
        "seats",
        "8,up,400",
        "8,{},400",
        "pushes",
        "one of: up, ahead, back, left, right, main_span, shorten, axis; "
        "give the direction in which it pushes the segment",
        "down",
    ),
    (
        "seats",
        "P20+P10,60,3",
        "P20+P10,{},3",
        "pack_most_mm",
        "a number from 0 to 5000 mm; give the greatest pack height",
        "-60",
    ),
    (
        "seats",
        "P20+P10,60,3",
        "P20+P10,60,{}",
        "most_plates",
        "a whole number from 1 to 12; give the most plates in a pack",
        "13",
    ),
    (
        "joints",
        "90,0,0",
        "90,{},0",
        "grade_pct",
        "a number from -50 to 50 pct; give the rise going ahead, falling ahead is negative",
        "60",
    ),
    (
        "joints",
        "90,0,0",
        "90,0,{}",
        "crossfall_pct",
        "a number from 0 to 50 pct; give the slope across, without a sign",
        "-1",
    ),
    ("joints", "J1,A,B,90", "J1,A,B,{}", "azimuth_deg", "a number deg; give the direction of "
     "increasing station, clockwise from north", "east"),
]  # fmt: skip


@pytest.mark.parametrize(("stem", "old", "new", "column", "allowed", "found"), CELLS)
def test_cell(
    problems_of: Tell, stem: str, old: str, new: str, column: str, allowed: str, found: str
) -> None:
    assert problems_of(**{stem: (old, new.format(found))}) == [
        f"{stem}.csv, row 2, {column}: found '{found}'; allowed: {allowed}"
    ]


EMPTY = [
    ("plates", "P20,20,20", "P20,,20", "nominal_mm", "a number above 0 mm and at most 500 mm; "
     "give the nominal thickness"),
    ("joints", "0,level", "0,", "falls_to", "one of: left, right, level; give the side the "
     "crossfall falls to"),
    ("jacks", "0.5,yes", "0.5,", "lock_nut", "yes or no; give whether it has a lock nut"),
    ("jacks", "J-A1,A-S1", "J-A1,", "seat", "a text; give the seat it moves"),
    ("pairs", "10,LEFT", "10, ", "place", "a text; give where it is across the deck, e.g. LEFT"),
]  # fmt: skip


@pytest.mark.parametrize(("stem", "old", "new", "column", "allowed"), EMPTY)
def test_empty_cell(
    problems_of: Tell, stem: str, old: str, new: str, column: str, allowed: str
) -> None:
    stated = problems_of(**{stem: (old, new)})
    assert stated == [f"{stem}.csv, row 2, {column}: found an empty cell; allowed: {allowed}"]


@pytest.mark.parametrize(
    ("new", "cells"), [("P20,20,20,2,3", 5), ("P20", 1), ("P20,20,20,2,300,300,7", 7)]
)
def test_cut_off_row(problems_of: Tell, new: str, cells: int) -> None:
    assert problems_of(plates=("P20,20,20,2,300,300", new)) == [
        f"plates.csv, row 2: found {cells} cells; allowed: 6 cells as in the header; "
        "a comma too many or too few, or a cut-off file"
    ]


def test_open_quotation_mark(problems_of: Tell) -> None:
    assert problems_of(plates=("P20,20", '"P20,20')) == [
        "plates.csv, row 6: found broken CSV (unexpected end of data); allowed: one record a line; "
        "look for an unclosed quote or a cut-off file"
    ]


FILES = [
    (
        b"PK\x03\x04\x00\x00",
        "found binary data; allowed: plain text; export it as CSV, not as a workbook",
    ),
    (b" \r\n", "found an empty file; allowed: a table with a header; was it saved?"),
    (b"# only a remark\n", "found no header; allowed: a header and rows; see the template"),
    (
        b"\xff\xfem\x00a\x00r",
        "found broken UTF-16; allowed: UTF-8 text; save it again as UTF-8",
    ),
    (None, "found no such file; allowed: a text file; create it or correct its name"),
]


@pytest.mark.parametrize(("content", "message"), FILES)
def test_file_that_is_no_table(problems_of: Tell, content: bytes | None, message: str) -> None:
    assert problems_of(plates=content) == [f"plates.csv: {message}"]


def test_other_encoding_names_the_row(problems_of: Tell, small_files: dict[str, str]) -> None:
    old = small_files["plates.csv"].replace("P5,5", "P\xe95,5").encode("latin-1")
    assert problems_of(plates=old) == [
        "plates.csv, row 4: found byte 0xe9, which is not UTF-8; allowed: UTF-8 text; "
        "save it again as UTF-8 (or plain ASCII)"
    ]


def test_huge_file(problems_of: Tell, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = "".join(f"X{i},1,1,0,300,300\n" for i in range(100_000))
    monkeypatch.setattr(plainfile, "MOST_BYTES", 1_000_000)
    assert problems_of(plates="mark,nominal_mm,measured_mm,count,length_mm,width_mm\n" + rows) == [
        "plates.csv: found 2 MB; allowed: at most 1 MB; is this the right file?"
    ]


def spelling(files: dict[str, str], way: str) -> bytes:
    text = files["plates.csv"]
    return {
        "BOM": b"\xef\xbb\xbf" + text.encode(),
        "UTF-16 little": b"\xff\xfe" + text.encode("utf-16-le"),
        "UTF-16 big": b"\xfe\xff" + text.encode("utf-16-be"),
        "Windows line ends": text.replace("\n", "\r\n").encode(),
        "old line ends": text.replace("\n", "\r").encode(),
        "semicolons": text.replace(",", ";").encode(),
        "semicolons, decimal commas": (
            text.replace(",", ";").replace(";20;20", ";20,0;20,0").encode()
        ),
        "comments and blank rows": b"# a, b; c\n\n" + text.encode() + b"\n,,,,,\n  # end\n",
        "semicolon in a first remark": b"# a;b" + 200 * b";" + b"\n" + text.encode(),
        "blanks around": text.replace(",", " , ").encode(),
        "commas at the end": text.replace("300\n", "300,,\n").encode(),
        "quoted": text.replace("P20", '"P20"').encode(),
    }[way]  # fmt: skip


WAYS = [
    "BOM", "UTF-16 little", "UTF-16 big", "Windows line ends", "old line ends", "semicolons",
    "semicolons, decimal commas", "comments and blank rows", "semicolon in a first remark",
    "blanks around", "commas at the end", "quoted",
]  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_same_table_in_other_spellings(
    job_of: Callable[..., Job], small_files: dict[str, str], way: str
) -> None:
    plates = job_of(plates=spelling(small_files, way)).plates
    assert [(p.mark, p.nominal, p.measured, p.count) for p in plates.values()] == [
        ("P20", 0.02, 0.02, 2),
        ("P10", 0.01, 0.01, 2),
        ("P5", 0.005, 0.005, 3),
        ("P2", 0.002, 0.002, 4),
        ("P1", 0.001, 0.001, 4),
    ]


def test_rows_are_counted_as_an_editor_counts(
    problems_of: Tell, small_files: dict[str, str]
) -> None:
    text = "# remark\n\n" + small_files["plates.csv"].replace("P5,5,5", "P5,5,x")
    stated = problems_of(plates=text)
    assert stated == [f"plates.csv, row 6, measured_mm: found 'x'; allowed: {THICKNESS}"]


def test_thousands_with_points_are_refused_beside_decimal_commas(
    problems_of: Tell, small_files: dict[str, str]
) -> None:
    text = small_files["plates.csv"].replace(",", ";").replace("P20;20;20", "P20;20;1.020,12")
    assert problems_of(plates=text) == [
        f"plates.csv, row 2, measured_mm: found '1.020,12'; allowed: {THICKNESS}"
    ]


def test_units_of_the_header(job_of: Callable[..., Job], small_files: dict[str, str]) -> None:
    jacks = small_files["jacks.csv"]
    header = jacks.replace("capacity_kN,ram_area_cm2", "capacity_kip,ram_area_in2")
    jack = job_of(jacks=header.replace("stroke_mm", "stroke_in")).jacks["J-A1"]
    assert jack.capacity == pytest.approx(2000 * 4448.2216152605, rel=1e-12)
    assert jack.ram_area == pytest.approx(285 * 0.0254**2, rel=1e-12)
    assert jack.stroke == pytest.approx(150 * 0.0254, rel=1e-12)
    assert jack.stroke_used == pytest.approx(0.05, rel=1e-12)


@pytest.mark.parametrize("text", ["", "1,5", "1_0", "nan", "-inf", "0x10", "1e999", "1 2", "5mm"])
def test_not_a_number(text: str) -> None:
    with pytest.raises(ValueError):
        parse_number(text)


#: values that nobody can mean: (stem, old, new, what is stated)
IMPLAUSIBLE = [
    ("plates", "P1,1,1,4", "P1,1,9.8,4",
     "plates.csv, row 6, measured_mm: found 9.8 mm at a nominal 1 mm; allowed: within 0.5 mm and "
     "10% of the nominal thickness; measure it again; correct the mark, the thickness or the unit"),
    ("jacks", "J-A1,A-S1,2000,", "J-A1,A-S1,2000000,",
     "jacks.csv, row 2, capacity_kN: found '2000000'; allowed: a number above 0 kN and at most "
     "50000 kN; give its rated capacity"),
    ("jacks", "A-S1,2000,285,150,", "A-S1,2000,285,150000,",
     "jacks.csv, row 2, stroke_mm: found '150000'; allowed: a number above 0 mm and at most "
     "5000 mm; give its full stroke"),
    ("jacks", "A-S1,2000,285,", "A-S1,2000,35.7,",
     "jacks.csv, row 2, ram_area_cm2: found 5602 bar at the rated capacity; allowed: 10 to 2000 "
     "bar; correct capacity or ram area, or the unit of one of them"),
    ("jacks", "A-S1,2000,285,", "A-S1,2000,28500,",
     "jacks.csv, row 2, ram_area_cm2: found 7.018 bar at the rated capacity; allowed: 10 to 2000 "
     "bar; correct capacity or ram area, or the unit of one of them"),
    ("seats", "A-S1,A,19,3,8,up", "A-S1,A,19,3,58000,up",
     "seats.csv, row 2, H_m: found '58000'; allowed: a number from -10000 to 10000 m; give the "
     "height of the seat"),
]  # fmt: skip


@pytest.mark.parametrize(("stem", "old", "new", "stated"), IMPLAUSIBLE)
def test_what_nobody_can_mean_is_refused(
    problems_of: Tell, stem: str, old: str, new: str, stated: str
) -> None:
    assert problems_of(**{stem: (old, new)}) == [stated]


@pytest.mark.parametrize(
    ("stem", "old", "new"),
    [
        ("plates", "P1,1,1,4", "P1,1,1.55,4"),
        ("plates", "P20,20,20,", "P20,20,22.5,"),
        ("jacks", "J-A1,A-S1,2000,285,150,50", "J-A1,A-S1,20000,2850,1500,50"),
        ("jacks", "A-S1,2000,285,", "A-S1,2000,101,"),
        ("jacks", "A-S1,2000,285,", "A-S1,2000,19999,"),
    ],
)
def test_what_is_merely_unusual_is_read(problems_of: Tell, stem: str, old: str, new: str) -> None:
    assert problems_of(**{stem: (old, new)}) == []


def test_steel_that_glows_is_refused(problems_of: Tell) -> None:
    table = "id,segment,place,temperature_C,u_C\nT1,A,top,9900,0.5\n"
    assert (
        "temperatures.csv, row 2, temperature_C: found '9900'; allowed: a number from -60 to 90 "
        "C; give the steel temperature during the survey"
    ) in problems_of(temperatures=table)
