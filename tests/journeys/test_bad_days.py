"""What goes wrong with files and folders: one clear line each, nothing written, nothing lost."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from fitup.sheets import write as sheet_writer


@pytest.fixture
def job(tmp_path, small_job_writer):
    return lambda **changes: small_job_writer(tmp_path / "job", **changes)


def everything(folder):
    """Every file below a folder with its bytes."""
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"jacks": ("stroke_mm", "stroke_bar")},
            "fitup: jacks.csv, row 1, stroke_bar: found 'stroke_bar'; allowed: one of: stroke_m, "
            "stroke_mm, stroke_cm, stroke_in, stroke_ft, stroke_ftUS; write the unit into the "
            "column name",
        ),
        (
            {"survey": ("4.0000,10.0060\nB-R", "NaN,10.0060\nB-R")},
            "fitup: survey.csv, row 6, N_m: found 'NaN'; allowed: a finite number; give the "
            "northing, or delete the row",
        ),
        (
            {"survey": ("20.0100,4.0000", "1e9,4.0000")},
            "fitup: survey.csv, row 6, E_m: found '1e9'; allowed: at most 1e8 m either way; give "
            "the easting, or delete the row",
        ),
        (
            {"segments": ("\nB,", "\nA,")},
            "fitup: segments.csv, row 3, id: found 'A' again (first in row 2); allowed: each id "
            "once; rename or delete one",
        ),
        (
            {"pairs": ("A-L,B-L", "A-L,A-L")},
            "fitup: pairs.csv, row 2, ahead_point: found the back point again: a pair with one "
            "point; allowed: a point on the ahead face; name the other point",
        ),
        (
            {"pairs": ("A-L,B-L", "B-L,A-L")},
            "fitup: pairs.csv, row 2, back_point: found a point of B, which is the ahead segment: "
            "faces swapped; allowed: a point of A; exchange back_point and ahead_point, or back "
            "and ahead in joints.csv",
        ),
        (
            {"jacks": ("J-A1,A-S1,2000,285,150,50,0.5,yes\n", "")},
            "fitup: seats.csv, row 2, id: found seat A-S1 without a jack; allowed: a jack in "
            "jacks.csv, or hold = yes; add the jack or hold the seat",
        ),
        (
            {"survey": b"\x00\x01\x02PK"},
            "fitup: survey.csv: found binary data; allowed: plain text; export it as CSV, not as "
            "a workbook",
        ),
        (
            {"survey": "id,E_m,N_m,H_m\nA-L,20.0,4.0,10.0\nA-R,20.0,-4"},
            "fitup: survey.csv, row 3: found 3 cells in the last line, which has no line end; "
            "allowed: 4 cells; the file is cut off: send it again",
        ),
        (
            # 0x81 stands for nothing in Windows-1252 either, as which a list may be read
            {"survey": "Süd\n".encode("cp437")},
            "fitup: survey.csv, row 1: found byte 0x81, which is not UTF-8; allowed: UTF-8 text; "
            "save it again as UTF-8 (or plain ASCII)",
        ),
        (
            {"survey": ("A-T1", '"A-T1')},
            "fitup: survey.csv, row 4: found a quotation mark that is not closed; allowed: both "
            "or none; close it or delete it",
        ),
        (
            {"survey": None},
            "fitup: job.toml, survey 1.file: found 'survey.csv', which is not there; allowed: a "
            "file in the job folder; add it",
        ),
        (
            {"seats": [("A-S2,A,19,-3,8", "A-S2,A,19,3,8"), ("A-S3,A,2,0,8", "A-S3,A,2,3,8")]},
            "fitup: segment A: nothing holds its motion 'roll'; add a seat that resists it in "
            "seats.csv, or say in segments.csv, column held, that friction or guides do",
        ),
        (
            {
                "survey": [
                    ("A-R,20.0000,-4.0000,10.0000\n", ""),
                    ("A-T2,1.0000,-4.0000,10.0000\n", "A-T3,9.0000,4.0000,10.0000\n"),
                ],
                "points": ("B-L,B", "A-T3,A,9,4,10\nB-L,B"),
            },
            "fitup: segment A: the surveyed points (A-L, A-T1, A-T3) lie in a line, so nothing "
            "says how the segment is turned about it; survey a point beside the line",
        ),
        (
            {"survey": ("A-R,20.0000,-4.0000,10.0000\nA-T1,1.0000,4.0000,10.0000\n"
                        "A-T2,1.0000,-4.0000,10.0000\n", "")},
            "fitup: segment A: 1 surveyed point (A-L); its place needs at least 3, not in a line; "
            "survey more of its points",
        ),
    ],
)  # fmt: skip
def test_one_fault_one_line(fitup, job, changes, line):
    said = fitup("sheets", folder := job(**changes))
    assert (said.code, said.out) == (2, "")
    assert said.lines == [line]
    assert not (folder / "out").exists()


@pytest.mark.parametrize("table", ["seats", "jacks", "plates", "pairs", "joints", "survey"])
def test_table_without_rows_is_refused(fitup, job, small_files, table):
    said = fitup("plan", job(**{table: small_files[f"{table}.csv"].splitlines()[0] + "\n"}))
    assert (said.code, said.out) == (2, "")
    assert said.lines
    assert all(line.startswith("fitup: ") for line in said.lines)


def test_line_ends_and_encodings_of_other_systems_change_nothing(fitup, job, small_files):
    expected = fitup("joints", folder := job())
    assert expected.code == 0
    for recode in (
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.encode("utf-16"),
        lambda text: text.encode("utf-8-sig"),
    ):
        for name, text in small_files.items():
            (folder / name).write_bytes(recode(text))
        assert fitup("joints", folder) == expected


def test_folder_in_place_of_a_file_and_file_in_place_of_a_folder(fitup, job):
    folder = job(plates=None)
    (folder / "plates.csv").mkdir()
    assert fitup("check", folder).lines[0] == (
        "fitup: plates.csv: found a folder; allowed: a text file; name the file itself"
    )
    path = folder / "job.toml"
    assert fitup("check", path).lines == [
        f"fitup: {path}: found a file; allowed: a job folder; name the folder"
    ]
    assert fitup("check", folder / "x").code == 2


def test_folder_that_may_not_be_read(fitup, job, monkeypatch):
    def forbidden(self):
        raise PermissionError(errno.EACCES, "Permission denied", str(self))

    folder = job()
    monkeypatch.setattr(Path, "iterdir", forbidden)
    assert fitup("check", folder).lines == [
        f"fitup: {folder}: found no permission to read; allowed: a readable folder; ask for access"
    ]


def test_file_beyond_all_measure(fitup, job):
    folder = job()
    with (folder / "survey.csv").open("r+b") as target:
        target.truncate(60_000_000)
    assert fitup("check", folder).lines == [
        "fitup: survey.csv: found 60 MB; allowed: at most 50 MB; is this the right file?"
    ]


def test_ten_thousand_points_that_are_not_ours(fitup, job, small_files):
    more = "".join(f"X{i},{i}.5,1.5,2.5\n" for i in range(10_000))
    said = fitup("check", job(survey=small_files["survey.csv"] + more))
    assert said.code == 0
    assert "10008 points read, 10000 not used (X0, X1, X2" in said.out
    assert "X19 and 9980 more are not in points.csv)" in said.out


@pytest.mark.parametrize("place", ["other", "job", "job/out/..", "job/out", "file", "file/below"])
def test_sheets_never_take_over_a_place_of_other_things(fitup, job, tmp_path, place):
    job()
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "seats.csv").write_text("mine", encoding="utf-8")
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    if place == "job/out":
        (tmp_path / "job" / "out").mkdir()
        (tmp_path / "job" / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    before = everything(tmp_path)
    said = fitup("sheets", tmp_path / "job", "--to", f"{tmp_path}/{place}")
    assert (said.code, said.out) == (2, "")
    (line,) = said.lines
    assert line.endswith("; name another with --to")
    assert everything(tmp_path) == before


def test_place_that_cannot_be_written_is_told_before_the_long_work(
    fitup, job, tmp_path, monkeypatch
):
    monkeypatch.setattr(os, "access", lambda path, mode: not mode & os.W_OK)
    said = fitup("sheets", job(), "--to", tmp_path / "sheets")
    assert (said.code, said.out) == (2, "")
    assert said.err == (
        f"fitup: {tmp_path}/sheets: found a place below {tmp_path}, which cannot be written to; "
        "allowed: a folder that can be written; name another with --to\n"
    )


def test_full_disk_leaves_the_old_sheets(fitup, job, tmp_path, monkeypatch):
    folder = job()
    assert fitup("sheets", folder).code == 0
    before = everything(tmp_path)
    written = sheet_writer._write

    def full_after_a_while(path, content):
        if path.name == "report.pdf":
            raise OSError(errno.ENOSPC, "No space left on device", str(path))
        written(path, content)

    monkeypatch.setattr(sheet_writer, "_write", full_after_a_while)
    said = fitup("sheets", folder)
    assert (said.code, said.out) == (2, "")
    (line,) = said.lines
    assert line.endswith(
        "report.pdf: No space left on device; check path, permission and free space"
    )
    assert everything(tmp_path) == before


def test_sheets_replace_earlier_ones_and_keep_what_was_added(fitup, job):
    folder = job()
    assert fitup("sheets", folder).code == 0
    (folder / "out" / "signed.txt").write_text("signed copy", encoding="utf-8")
    before = everything(folder)
    assert fitup("sheets", folder).code == 0
    assert everything(folder) == before


@pytest.mark.parametrize(
    "name", ["# $x \\* _y_ <b> @z `c` [t] //n", "=cmd|'/C calc'!A0", "+1", "#panic()", "\\u{0}"]
)
def test_names_that_mean_something_to_a_typesetter_are_printed_as_they_are(fitup, job, name):
    from pypdf import PdfReader

    quoted = name.replace("\\", "\\\\")
    folder = job(job=("Small invented joint", quoted), pairs=("LEFT", f'"{name}"'))
    assert fitup("sheets", folder).code == 0
    text = PdfReader(folder / "out" / "report.pdf").pages[0].extract_text()
    assert "".join(name.split()) in "".join(text.split())
    for table in (folder / "out").glob("*.csv"):
        for row in table.read_text(encoding="utf-8-sig").splitlines():
            assert not any(cell.strip('"').startswith("=") for cell in row.split(",")), row


def test_start_overwrites_nothing(fitup, tmp_path):
    folder = tmp_path / "new"
    assert fitup("start", "--example", folder).code == 0
    before = everything(folder)
    said = fitup("start", "--example", folder)
    assert said.lines == [
        f"fitup: {folder}: found files already there; allowed: a new or empty folder; name another"
    ]
    assert said.code == 2
    assert everything(folder) == before
