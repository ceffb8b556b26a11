"""The form for readings: printed empty, filled in as CSV or workbook, read back the same."""

from __future__ import annotations

import csv
import io
import json
import random
from dataclasses import replace

import pytest
from openpyxl import load_workbook

from fitup.errors import FitupError
from fitup.record.asdone import asked_of
from fitup.record.readback import code_of, form_readings, read_form
from fitup.sheets import build_sheets
from fitup.sheets.table_files import json_bytes, xlsx_bytes


@pytest.fixture(scope="module")
def printed(made):
    sheets = build_sheets(made.job, made.survey, made.plan, made.certificate)
    return sheets, json.loads(json_bytes(sheets, ()))


def test_what_is_asked_is_what_stands_on_the_sheet(made, printed):
    sheets, listed = printed
    rows = [r for r in listed["tables"]["as-done"] if r["stage"] == 1]
    asked = asked_of(listed, made.job, 1)
    assert sorted(a.name for a in asked) == sorted(r["name"] for r in rows)
    by_name = {a.name: a for a in asked}
    line = sheets.stages[0].expected[0]
    least, most = sorted((line.low.number.si, line.high.number.si))
    assert (by_name[line.id].least, by_name[line.id].most) == (least, most)
    jack = sheets.stages[0].jacks[0]
    assert by_name[f"load {jack.jack}"].gauge[1] == jack.pressure_stop.si
    reads = [r for p in sheets.crews[0].parts for n in p.lines for c in n.cells for r in c.reads]
    last = [r for r in reads if r.key[2:] == ("ram", jack.jack)][-1]
    ram = by_name[f"ram {jack.jack}"]
    assert (ram.least, ram.most) == (last.low.si, last.high.si)
    assert ram.most - ram.least == pytest.approx(0.002)
    row = next(r for r in rows if r["name"] == ram.name)
    assert row["stop_beyond"] == f"{last.low.size} mm {last.sides[0]}"


def test_the_pack_asked_for_is_the_one_of_the_plan(made, printed):
    by_name = {a.name: a for a in asked_of(printed[1], made.job, 1)}
    assert by_name["pack KD8-BL"].pack == ("P10", "P5", "P2", "P1")
    assert asked_of(printed[1], made.job, 9) == ()


def test_two_crews_of_one_stage_are_asked_once_for_the_joint_between_them(made, printed):
    one, *rest = printed[0].stages
    other = replace(one, jacks=(), cards=())
    both = replace(printed[0], stages=(one, other, *rest))
    listed = json.loads(json_bytes(both, ()))
    assert len(listed["tables"]["expected"]) > len(printed[1]["tables"]["expected"])
    assert listed["tables"]["as-done"] == printed[1]["tables"]["as-done"]
    assert asked_of(listed, made.job, 1) == asked_of(printed[1], made.job, 1)


def form_rows(listed):
    return [dict(r) for r in listed["tables"]["as-done"]]


def write_csv(path, rows, delimiter=",", encoding="utf-8"):
    target = io.StringIO()
    writer = csv.DictWriter(target, rows[0], delimiter=delimiter)
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(target.getvalue(), encoding=encoding)
    return path


def test_csv_and_workbook_say_the_same(made, printed, tmp_path):
    sheets, listed = printed
    asked = asked_of(listed, made.job, 1)
    rows = form_rows(listed)
    for row in rows:
        what = row["name"].split()[0]
        if what == "pack":
            row["pack"] = row["should_read"]
        elif what == "load":
            row["read_kN"] = 12.5
        else:
            row["read_mm"], row["side"] = 1.5, "below START" if what == "ram" else None
            if what != "ram":
                row["side"] = {"gap": "wide", "step": "ahead low", "offset": "ahead right"}[
                    row["name"].rsplit("/")[-1]
                ]
    as_csv = read_form(write_csv(tmp_path / "form.csv", rows))
    book = load_workbook(io.BytesIO(xlsx_bytes(sheets)))
    for cells, row in zip(book["as-done"].iter_rows(min_row=2), rows, strict=True):
        for cell, value in zip(cells, row.values(), strict=True):
            cell.value = value
    book.save(tmp_path / "form.xlsx")
    as_book = read_form(tmp_path / "form.xlsx")
    read = form_readings(as_csv, 1, asked)
    assert read == form_readings(as_book, 1, asked)
    assert len(read) == len(asked)
    assert code_of(as_csv, 1) == code_of(as_book, 1) == sheets.header.check_code
    commas = [{k: str(v).replace(".", ",") if k.startswith("read_") and v else v
               for k, v in r.items()} for r in rows]  # fmt: skip
    german = read_form(write_csv(tmp_path / "komma.csv", commas, ";", "utf-8-sig"))
    assert form_readings(german, 1, asked) == read


def test_spoiled_workbooks_are_refused_or_read(printed, tmp_path):
    raw = xlsx_bytes(printed[0])
    rng = random.Random(5)
    path = tmp_path / "form.xlsx"
    for _ in range(60):
        spoiled = bytearray(raw)
        for _ in range(rng.randrange(1, 40)):
            spoiled[rng.randrange(len(raw))] = rng.randrange(256)
        path.write_bytes(
            bytes(spoiled[: rng.randrange(len(raw))]) if rng.random() < 0.2 else spoiled
        )
        try:
            assert read_form(path).rows
        except FitupError as error:
            assert str(error).startswith("form.xlsx")
