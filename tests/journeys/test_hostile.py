"""Files made to hang, to fill the memory, to fill the screen, or to forge a line: one line each."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from fitup.errors import MOST_PROBLEMS, InputError
from fitup.jobfolder import read_job
from fitup.jobfolder.workbook import MOST_CELLS, read_sheets
from fitup.openjob import open_job
from fitup.plainfile import hidden_in, read_bytes, read_once, seen_text
from fitup.record.people import read_people

#: an escape, a right-to-left mark, line ends of every kind, and what shows nothing
HIDDEN = {
    "escape": "\x1b[2J",
    "bell": "\x07",
    "right to left": "\u202e",
    "isolate": "\u2066",
    "line separator": "\u2028",
    "next line": "\x85",
    "vertical tab": "\x0b",
    "no width": "\u200b",
    "tag": "\U000e0041",
}
TOML = "job.toml"


@pytest.fixture
def files(small_files):
    return small_files


@pytest.fixture
def job(tmp_path, small_job_writer):
    """Write the small job, with some of its files changed."""

    def write(changes=None):
        stems = {Path(name).stem: text.encode() for name, text in (changes or {}).items()}
        return small_job_writer(tmp_path / "job", **stems)

    return write


def refusal(fitup, folder: Path) -> str:
    """Return the one line by which a job is refused."""
    said = fitup("check", folder)
    assert said.code == 2, said
    assert said.out == ""
    (line,) = said.lines
    assert line.isprintable()
    return line


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ((TOML, "[x]\ny = " + "[" * 50_000 + "]" * 50_000), "values nested without end"),
        ((TOML, "[x]\ny = " + "{a=" * 50_000 + "1" + "}" * 50_000), "values nested without end"),
        ((TOML, "[x" + ".a" * 50_000 + "]"), "keys of thousands of parts"),
        ((TOML, "[x]\na" + ".a" * 50_000 + " = 1"), "keys of thousands of parts"),
        ((TOML, "[x]\n" + "y = 1\n" * 300_000), "at most 1000000"),
        ((TOML, "[x]\ny = " + "9" * 6000), "a number of thousands of figures"),
        ((TOML, "[x]\ny = 0x" + "f" * 60_000), "x.y: a whole number of more than 64 bits"),
        ((TOML, "[x]\ny = 9223372036854775808"), "x.y: a whole number of more than 64 bits"),
    ],
)
def test_settings_made_to_hang_are_refused(fitup, job, files, change, found):
    name, more = change
    line = refusal(fitup, job({name: files[name] + "\n" + more + "\n"}))
    assert found in line
    assert len(line) < 400


@pytest.mark.parametrize("sign", HIDDEN.values(), ids=HIDDEN)
@pytest.mark.parametrize(
    ("name", "old"),
    [("pairs.csv", "LEFT"), ("pairs.csv", "P1,J1"), ("survey.csv", "A-T1"), (TOML, "clause 1")],
)
def test_what_does_not_show_is_named_and_stands_nowhere(fitup, job, files, name, old, sign):
    line = refusal(fitup, job({name: files[name].replace(old, f"{old[0]}{sign}{old[1:]}")}))
    assert name in line
    code = f"U+{ord(sign[0]):04X}"
    # TOML itself knows no controls
    assert f"{code}, which does not show" in line or (name == TOML and "TOML" in line)


@pytest.mark.parametrize("sign", [*HIDDEN.values(), "\n", "\r"], ids=[*HIDDEN, "lf", "cr"])
def test_escape_of_toml_forges_no_line(fitup, job, files, sign):
    escaped = "".join(f"\\U{ord(c):08x}" for c in sign)
    line = refusal(fitup, job({TOML: files[TOML].replace("Small", f"S{escaped}mall")}))
    assert line.startswith(f"fitup: job.toml: found name: a character U+{ord(sign[0]):04X}")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(("old", "column"), [("10,LEFT", "place"), ("P1,J1", "id")])
def test_line_break_in_a_name_forges_no_line(fitup, job, files, end, old, column):
    quoted = f'10,"LEFT{end}nothing wrong found"' if column == "place" else f'"P{end}1",J1'
    line = refusal(fitup, job({"pairs.csv": files["pairs.csv"].replace(old, quoted)}))
    assert f"{column}: found" in line
    assert "allowed: a text of one line" in line


def test_letters_of_every_script_and_old_ends_of_files_are_text():
    for text in ("Brückenlager", "Şanlı\u0131", "می\u200cخواهم", "桥梁", "5\u00a0mm", "a\tb\n"):
        assert seen_text(text, "a.csv") == text
    assert seen_text("a,b\n1,2\n\x1a", "a.csv") == "a,b\n1,2\n"
    assert hidden_in("\u200e") == "U+200E, which does not show"


def test_hidden_sign_is_placed_whatever_ends_the_lines():
    for end in ("\n", "\r\n", "\r"):
        with pytest.raises(InputError) as refused:
            seen_text(f"a{end}b{end}c\u202e{end}", "a.csv")
        assert refused.value.problems[0].row == 3


def test_people_hide_nothing():
    with pytest.raises(InputError, match=r"a\.name: a character U\+202E"):
        read_people(b'[a]\nname = "In\\u202ees"\nmay = ["name people"]\nkey = ""\n')


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("pairs.csv", "P{0},J9,zz,yy,abc{0},LEFT\n"),
        ("points.csv", "Q{0},A,abc{0},2,3\n"),
        ("survey.csv", "Q{0},abc{0},1,2\n"),
    ],
)
def test_file_that_is_wrong_from_end_to_end_fills_no_screen(fitup, job, files, name, more):
    rows = "".join(more.format(i) for i in range(5000))
    said = fitup("check", job({name: files[name] + rows}))
    assert said.code == 2
    own = [line for line in said.lines if line.startswith(f"fitup: {name}")]
    assert len(own) == MOST_PROBLEMS + 1
    assert own[-1].endswith(
        f"found {5000 - MOST_PROBLEMS} more problems; allowed: none; correct these first"
    )


def test_rows_that_are_wrong_alike_are_one_line(fitup, job, files):
    first = len(files["pairs.csv"].splitlines()) + 1
    said = fitup("check", job({"pairs.csv": files["pairs.csv"] + "P9,J9,zz,yy,abc,LEFT\n" * 5000}))
    own = [line for line in said.lines if line.startswith("fitup: pairs.csv")]
    assert len(own) == 1
    assert f"row {first}, opening_mm: found 'abc' in rows {first} to {first + 4999}" in own[0]


def test_cell_that_runs_for_pages_is_cut(fitup, job, files):
    long = "x" * 40_000
    line = refusal(fitup, job({"pairs.csv": files["pairs.csv"].replace("10,LEFT", f"{long},LEFT")}))
    assert "... (40002 characters)" in line
    assert len(line) < 1000


def put(path: Path, kind: str) -> None:
    path.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to({"itself": path, "device": Path("/dev/zero"), "nothing": "gone"}[kind])


@pytest.mark.parametrize("kind", ["pipe", "folder", "itself", "device", "nothing"])
@pytest.mark.parametrize("name", [TOML, "limits.csv", "survey.csv", "axis.xml", "axis.ifc"])
def test_what_is_no_file_holds_nobody_up(fitup, job, files, name, kind):
    axis = f'[alignment]\nfile = "{name}"\n\n' if name.startswith("axis") else ""
    folder = job({TOML: files[TOML].replace("[tolerance.step]", f"{axis}[tolerance.step]", 1)})
    put(folder / name, kind)
    assert refusal(fitup, folder).startswith(("fitup: job.toml", f"fitup: {name}"))


@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_trap_in_the_place_of_what_the_program_wrote_holds_nobody_up(fitup, job, tmp_path, kind):
    folder = job()
    (folder / "out").mkdir()
    put(folder / "out" / "sheets.json", kind)
    said = fitup("sheets", folder)
    assert said.code == 2
    assert said.lines[-1].startswith(f"fitup: {folder}/out: found a folder with files in it")
    put(tmp_path / "page.html", kind)
    said = fitup("review", folder, "--to", tmp_path / "page.html")
    assert said.code == 2
    assert "a pipe or a device, not a file" in said.lines[-1]


def workbook(path: Path, sheet: bytes) -> Path:
    """Write a workbook with one sheet of so much XML."""
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "as-done"
    book.save(path)
    with zipfile.ZipFile(path) as parts:
        kept = {name: parts.read(name) for name in parts.namelist()}
    kept["xl/worksheets/sheet1.xml"] = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        b"<sheetData>" + sheet + b"</sheetData></worksheet>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as parts:
        for name, content in kept.items():
            parts.writestr(name, content)
    return path


@pytest.mark.parametrize(
    ("sheet", "found"),
    [
        (b" " * 60_000_000, "a workbook that unpacks to 60 MB"),
        (b"<row>" + b"<c/>" * 20_000 + b"</row>", f"a workbook of more than {MOST_CELLS} cells"),
        (b"<row>" + b"<c/>" * 7_000_000 + b"</row>", f"a workbook of more than {MOST_CELLS} cells"),
        (b"<row/>" * 100_001, "a workbook of 100001 rows"),
        (b"<row>" + b"<" * 50, "a broken workbook"),
        (b'<row r="x">' + b"<c/></row>", "a broken workbook"),
    ],
    ids=["spaces", "wide", "cells", "rows", "cut", "no number"],
)
def test_workbook_made_to_fill_the_memory_is_refused(tmp_path, sheet, found):
    path = workbook(tmp_path / "a.xlsx", sheet)
    assert path.stat().st_size < 200_000
    with pytest.raises(InputError) as refused:
        read_sheets(path, "a.xlsx")
    (problem,) = refused.value.problems
    assert problem.found == found


def test_cell_at_the_far_end_of_a_sheet_is_nothing(tmp_path):
    far = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    assert read_sheets(workbook(tmp_path / "a.xlsx", far), "a.xlsx") == {}


def test_all_of_a_job_is_read_from_the_same_bytes(job, monkeypatch):
    """A file that grows between two readings: what was checked is what the digest is of."""
    folder = job()
    first = read_job(folder).digest
    with read_once():
        before = read_bytes(folder / "points.csv")
        with (folder / "points.csv").open("a") as growing:
            growing.write("A-T3,A,2,4,10\n")
        assert read_bytes(folder / "points.csv") == before
    assert read_bytes(folder / "points.csv") != before
    assert read_job(folder).digest != first


def test_survey_that_grows_while_the_job_is_read_is_refused(job):
    folder = job()
    opened = open_job(folder)
    with (folder / "survey.csv").open("a") as growing:
        growing.write("Z1,5,5,10\n")
    with pytest.raises(InputError, match="files that changed while the job was read"):
        _ = opened.survey


def test_file_over_fifty_megabytes_is_refused_without_reading_all(fitup, job):
    folder = job()
    with (folder / "limits.csv").open("wb") as huge:
        huge.truncate(3_000_000_000)
    assert "found 3000 MB; allowed: at most 50 MB" in refusal(fitup, folder)


def test_stream_shows_what_came_past_every_reader(job):
    """A terminal gets no escape, whatever stood in a record that another program wrote."""
    code = (
        "import sys; from fitup.cli import _print_what_can_be; _print_what_can_be(); "
        "print('x\\x1b[2J\\u202e\\ty'); print('\\x07', file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=True,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )
    assert done.stdout == b"x\\x1b[2J\\u202e\ty\n"
    assert done.stderr == b"\\x07\n"
