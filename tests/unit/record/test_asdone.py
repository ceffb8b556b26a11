"""Readings as people give them, held against the bands as printed."""

from __future__ import annotations

import csv
import io
import os
import zipfile

import pytest
from openpyxl import Workbook

from fitup.errors import FitupError, InputError
from fitup.record.asdone import GO_ON, HOLD, STOP, Asked, Read, judge
from fitup.record.readback import code_of, form_readings, lost_heads, read_form, read_words

STEP = Asked("E3/L/step", "check", least=-0.0016, most=0.0024, sides=("ahead high", "ahead low"))
GAP = Asked("E3/L/gap", "check", least=-0.001, most=0.003, sides=("wide", "narrow"), opening=0.6)
RAM = Asked("ram J1", "ram", least=0.014, most=0.018, sides=("above START", "below START"))
LOAD = Asked("load J1", "load", "force", most=652e3)
PACK = Asked("pack S1", "pack", pack=("P20", "P5"))
PULL = Asked("tension/C7", "check", "force", 1.1e6, 1.3e6, sides=("pulls", "pushes"))
BAND = "1.6 mm ahead low to 2.4 mm ahead high"
UP = "14.0 mm above START to 18.0 mm above START"
#: a load with a band on both sides, read from a gauge: 0.02 m2 of ram
BOTH = Asked("load J2", "load", "force", 838e3, 900e3, area=0.02, gauge=(419e5, 450e5))
MARKS = ("P40", "P20", "P10")
STACK = Asked("pack S2", "pack", pack=("P40", "P20", "P20"), marks=MARKS)
NARROW = Asked(
    "E3/L/gap", "check", least=-0.001, most=0.003, sides=("wide", "narrow"), opening=0.04
)
ALL = (STEP, GAP, RAM, LOAD, PACK, PULL)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("E3/L/step = 0.4 mm ahead high", 0.0004),
        ("E3/L/step=0.4mm ahead side low", -0.0004),
        ("E3/L/step = 0.04 cm Ahead LOW", -0.0004),
        ("E3/L/step = 0 mm", 0.0),
        ("E3/L/gap = 2.0 mm too wide", 0.002),
        ("E3/L/gap = 598.5 mm opening", -0.0015),
        ("ram J1 = 16.5 mm above START", 0.0165),
        ("ram J1 = 16.5 mm below", -0.0165),
        ("load J1 = 612 kN", 612e3),
        ("tension/C7 = 1200 kN", 1.2e6),
        ("tension/C7 = 1.2 MN pulls", 1.2e6),
    ],
)
def test_words_of_the_command_line(text, value):
    (read,) = read_words([text], ALL).values()
    assert read.value == pytest.approx(value, abs=1e-12)


def judged_as(job, asked, text):
    read = read_words([f"{asked.name} = {text}"], [asked])
    return judge([asked], read, job, 1).readings[0]


@pytest.mark.parametrize(
    ("text", "verdict", "words"),
    [
        ("870 kN", GO_ON, "870 kN"),
        ("500 kN", STOP, "500 kN, below 838 kN"),
        ("435 bar", GO_ON, "870 kN (435 bar)"),
        ("450 bar", GO_ON, "900 kN (450 bar)"),
        ("451 bar", STOP, "902 kN (451 bar), above 450 bar"),
        ("418 bar", STOP, "836 kN (418 bar), below 419 bar"),
        ("43.5 MPa", GO_ON, "870 kN (43.5 MPa)"),
        ("6309 psi", GO_ON, "870 kN (6309 psi)"),
    ],
)
def test_gauge_is_judged_by_the_band_printed_for_it(job, text, verdict, words):
    judged = judged_as(job, BOTH, text)
    assert (judged.verdict, judged.words) == (verdict, words)


@pytest.mark.parametrize(
    ("text", "built"),
    [
        ("P40+P20+P20", ("P40", "P20", "P20")),
        ("P40, P20, P20", ("P40", "P20", "P20")),
        ("p40+p20+p20", ("P40", "P20", "P20")),
        ("P40; P20 ;P20", ("P40", "P20", "P20")),
        ("P40 + 2 x P20", ("P40", "P20", "P20")),
        ("P40 / 2xp20", ("P40", "P20", "P20")),
        ("P40 P99", ("P40", "P99")),
    ],
)
def test_plates_as_people_write_them(job, text, built):
    read = read_words([f"pack S2 = {text}"], [STACK])["pack S2"]
    assert read.pack == built
    judged = judge([STACK], {"pack S2": read}, job, 1).readings[0]
    assert judged.verdict == (GO_ON if built == STACK.pack else STOP)
    assert judged.words.startswith("+".join(built))
    # what was understood is said back where it was written otherwise
    assert (f"written {text}" in judged.words) == (text != "P40+P20+P20")


@pytest.mark.parametrize(
    ("text", "verdict", "words"),
    [
        ("42.9 mm", GO_ON, "2.9 mm wide (42.9 mm on the tape)"),
        ("42.9 mm wide", GO_ON, "2.9 mm wide (42.9 mm on the tape)"),
        ("42.9 mm opening", GO_ON, "2.9 mm wide (42.9 mm on the tape)"),
        (
            "37.0 mm",
            STOP,
            "3.0 mm narrow (37.0 mm on the tape), outside 1.0 mm narrow to 3.0 mm wide",
        ),
        ("2.9 mm wide", GO_ON, "2.9 mm wide"),
        # the word contradicts the tape: it is taken as written, and stops the work
        ("42.9 mm narrow", STOP, "42.9 mm narrow, outside 1.0 mm narrow to 3.0 mm wide"),
    ],
)
def test_whole_opening_on_the_tape_is_understood_and_said_back(job, text, verdict, words):
    judged = judged_as(job, NARROW, text)
    assert (judged.verdict, judged.words) == (verdict, words)


def test_small_size_of_a_gap_still_needs_its_side():
    with pytest.raises(InputError, match="side ''; allowed: wide or narrow, or opening"):
        read_words(["E3/L/gap = 2.9 mm"], [NARROW])


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            "E3/L/stp = 1 mm",
            "found 'E3/L/stp'; allowed: one of: E3/L/step, E3/L/gap, ram J1, load J1, pack S1, "
            'tension/C7; write e.g. "NAME = 0.4 mm ahead high"',
        ),
        (
            "E3/L/step 1 mm",
            "found 'E3/L/step 1 mm'; allowed: one of: E3/L/step, E3/L/gap, ram J1, load J1, pack "
            'S1, tension/C7; write e.g. "NAME = 0.4 mm ahead high"',
        ),
        (
            "E3/L/step = 0.4 mm",
            "found side ''; allowed: ahead high or ahead low; say which way",
        ),
        (
            "E3/L/gap = 2 mm ahead",
            "found side 'ahead'; allowed: wide or narrow, or opening for the whole of it; say "
            "which way",
        ),
        (
            "E3/L/step = -0.4 mm ahead high",
            "found -0.4; allowed: a size, without a sign; say the side in a word",
        ),
        (
            "E3/L/step = 0.4 ahead high",
            "found 0.4 in 'ahead'; allowed: a unit: m, mm, cm, in, ft, ftUS; write the unit",
        ),
        (
            "load J1 = 612 mm",
            "found 612 in 'mm'; allowed: a unit: N, kN, MN, lbf, kip; write the unit",
        ),
        (
            "load J1 = much",
            "found 'much'; allowed: a number, a unit and, where it is not 0, a side; write what "
            "was read",
        ),
        (
            "ram J1 = nan mm above",
            "found 'nan'; allowed: a number, a unit and, where it is not 0, a side; write what was "
            "read",
        ),
    ],
)
def test_words_that_are_not_clear(text, line):
    with pytest.raises(InputError) as refused:
        read_words([text], ALL)
    assert str(refused.value) == f"--read '{text}': {line}"


def test_a_reading_given_twice_is_not_chosen_between():
    with pytest.raises(InputError, match="ram J1 again; allowed: each reading once"):
        read_words(["ram J1 = 16 mm above", "ram J1 = 17 mm above"], ALL)


@pytest.fixture
def job(small_case):
    return small_case[0]


@pytest.mark.parametrize(
    ("asked", "read", "verdict", "words"),
    [
        (STEP, Read(0.0024), GO_ON, "2.4 mm ahead high"),
        (STEP, Read(-0.0016), GO_ON, "1.6 mm ahead low"),
        (STEP, Read(0.0025), STOP, f"2.5 mm ahead high, outside {BAND}"),
        (STEP, Read(-0.0017), STOP, f"1.7 mm ahead low, outside {BAND}"),
        (STEP, None, HOLD, "not read"),
        (RAM, Read(0.014), GO_ON, "14.0 mm above START"),
        (RAM, Read(-0.016), STOP, f"16.0 mm below START, outside {UP}"),
        (LOAD, Read(652e3), GO_ON, "652 kN"),
        (LOAD, Read(653e3), STOP, "653 kN, above 652 kN"),
        (LOAD, Read(0.0), GO_ON, "0 kN"),
        (PACK, Read(pack=("P20", "P5")), GO_ON, "P20+P5"),
        (PACK, Read(pack=("P5", "P20")), HOLD, "P5+P20, in another order than P20+P5"),
        (PACK, Read(pack=("P20", "P2")), STOP, "P20+P2 was built, not P20+P5"),
        (PACK, Read(pack=()), STOP, "no plates was built, not P20+P5"),
        (PULL, Read(1.35e6), STOP, "1350 kN pulls, outside 1100 kN pulls to 1300 kN pulls"),
    ],
)  # fmt: skip
def test_verdict(job, asked, read, verdict, words):
    judged = judge([asked], {} if read is None else {asked.name: read}, job, 1)
    assert (judged.verdict, judged.readings[0].words) == (verdict, words)


@pytest.mark.parametrize("text", ["no plates", "No plates"])
def test_no_plates_is_an_empty_pack(job, text):
    """As the form says it; not two plates of that name."""
    bare = Asked("temporary S2", "pack", marks=MARKS)
    read = read_words([f"temporary S2 = {text}"], [bare])
    assert read["temporary S2"].pack == ()
    assert judge([bare], read, job, 1).verdict == GO_ON


def test_gravest_verdict_counts_and_missing_ones_are_gathered(job):
    read = {"E3/L/step": Read(0.009), "pack S1": Read(pack=("P5", "P20"))}
    judged = judge(ALL, read, job, 3)
    assert judged.verdict == STOP
    assert judged.reasons == (
        "E3/L/step: 9.0 mm ahead high, outside 1.6 mm ahead low to 2.4 mm ahead high",
        "pack S1: P5+P20, in another order than P20+P5",
        "not read: E3/L/gap, ram J1, load J1, tension/C7",
    )
    assert judge([LOAD], {"load J1": Read(1.0)}, job, 3).stopped(("old print",)).verdict == STOP


def write_csv(path, rows, delimiter=",", encoding="utf-8"):
    target = io.StringIO()
    writer = csv.DictWriter(target, rows[0], delimiter=delimiter)
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(target.getvalue(), encoding=encoding)
    return path


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (
            {"read_mm": "0.4"},
            "form.csv, row 2, E3/L/step: found side ''; allowed: ahead high or ahead low; say "
            "which way",
        ),
        (
            {"name": "E3/M/step", "read_mm": "0.4", "side": "ahead high"},
            "form.csv, row 2, E3/M/step: found 'E3/M/step'; allowed: a name of the form; leave the "
            "names as they were printed",
        ),
        (
            {"read_mm": "0,4", "side": "ahead high"},
            "form.csv, row 2, E3/L/step: found '0,4'; allowed: a number, a unit and, where it is "
            "not 0, a side; write what was read",
        ),
        (
            {"read_mm": "0.4", "read_in": "0.02", "side": "ahead high"},
            "form.csv, row 2, E3/L/step: found a value under read_mm and read_in; allowed: one "
            "value, under read_m or read_mm or read_cm or read_in or read_ft or read_ftUS; write "
            "it under its own unit",
        ),
        (
            {"name": "load J1", "read_mm": "612"},
            "form.csv, row 2, load J1: found a value under read_mm; allowed: one value, under "
            "read_N or read_kN or read_MN or read_lbf or read_kip; write it under its own unit",
        ),
        (
            {"side": "ahead high"},
            "form.csv, row 2, E3/L/step: found ''; allowed: a number, a unit and, where it is not "
            "0, a side; write what was read",
        ),
    ],
)
def test_what_is_wrong_in_a_form(tmp_path, change, line):
    row = {"plan": "AAAA-AAAA-AAAAA", "stage": 1, "name": "E3/L/step", "read_mm": "", "side": ""}
    form = read_form(write_csv(tmp_path / "form.csv", [{**row, **change}]))
    with pytest.raises(InputError) as refused:
        form_readings(form, 1, ALL)
    assert str(refused.value) == line


def test_gauge_has_a_column_of_its_own_in_the_form(tmp_path):
    row = {
        "plan": "AAAA-AAAA-AAAAA",
        "stage": 1,
        "name": "load J2",
        "read_kN": "",
        "read_bar": "435",
    }
    form = read_form(write_csv(tmp_path / "form.csv", [row]))
    read = form_readings(form, 1, [BOTH])["load J2"]
    assert (read.value, read.pressure) == (pytest.approx(870e3), 435e5)
    form = read_form(write_csv(tmp_path / "form.csv", [{**row, "read_kN": "870"}]))
    with pytest.raises(InputError, match="a value under read_kN and read_bar; allowed: one value"):
        form_readings(form, 1, [BOTH])


def test_form_of_another_stage_of_two_plans_and_with_a_wrong_code(tmp_path):
    row = {"plan": "AAAA-AAAA-AAAAA", "stage": 1, "name": "E3/L/step", "read_mm": "", "side": ""}
    form = read_form(write_csv(tmp_path / "form.csv", [row, {**row, "plan": "CAAA-AAAA-AAAAY"}]))
    with pytest.raises(InputError, match=r"no row of stage 2; allowed: rows of the stage"):
        code_of(form, 2)
    with pytest.raises(
        InputError, match="rows of more than one plan: AAAA-AAAA-AAAAA, CAAA-AAAA-AAAAY"
    ):
        code_of(form, 1)
    form = read_form(write_csv(tmp_path / "form.csv", [{**row, "plan": "AAAA-AAAA-AAAAC"}]))
    with pytest.raises(InputError, match="in which a letter is wrong"):
        code_of(form, 1)


def test_file_that_is_no_form(tmp_path):
    other = tmp_path / "seats.csv"
    other.write_text("id,segment\nA,B\n")
    with pytest.raises(InputError) as refused:
        read_form(other)
    assert str(refused.value).splitlines()[0] == (
        "seats.csv, row 1, plan: found no such column; allowed: the form as-done; fill that"
    )
    book = Workbook()
    book.save(tmp_path / "other.xlsx")
    (tmp_path / "text.xlsx").write_text("not a workbook")
    for name in ("other.xlsx", "text.xlsx", "missing.xlsx", "missing.csv"):
        with pytest.raises(FitupError, match=name):
            read_form(tmp_path / name)


def test_workbook_that_unpacks_to_gigabytes_is_refused_before_it_is_unpacked(tmp_path):
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", b"0" * 60_000_000)
    assert path.stat().st_size < 100_000
    with pytest.raises(InputError, match=r"bomb\.xlsx: found a workbook that unpacks to 60 MB"):
        read_form(path)


@pytest.mark.parametrize("name", ["form.csv", "form.xlsx"])
def test_pipe_in_the_place_of_a_form_holds_nobody_up(tmp_path, name):
    os.mkfifo(tmp_path / name)
    with pytest.raises(InputError, match="a pipe or a device, not a file"):
        read_form(tmp_path / name)
    (tmp_path / name).unlink()
    (tmp_path / name).symlink_to("/dev/zero")
    with pytest.raises(InputError, match="a pipe or a device, not a file"):
        read_form(tmp_path / name)


HEAD = "plan,record,stage,name,read_mm\n"


@pytest.mark.parametrize(
    ("quoted", "found"),
    [
        ("", ()),
        ('"entry 7, AAAA-BBBB-CCCCC"', ()),
        (
            '"entry 8, AAAA-BBBB-CCCCC"',
            (
                "the form was printed when the record had entry 8, AAAA-BBBB-CCCCC, which it no "
                "longer has: it was cut or put back to an earlier one",
            ),
        ),
        (
            '"entry 7, DDDD-BBBB-CCCCC"',
            (
                "the form was printed when the record had entry 7, DDDD-BBBB-CCCCC, which it no "
                "longer has: it was cut or put back to an earlier one",
            ),
        ),
        ("7", ("the form quotes '7', which is no entry of a record",)),
    ],
)
def test_form_whose_record_was_cut_since_is_noticed(tmp_path, quoted, found):
    (tmp_path / "form.csv").write_text(f"{HEAD}P,{quoted},1,ram J1,\nP,{quoted},1,ram J2,\n")
    form = read_form(tmp_path / "form.csv")
    assert lost_heads(form, lambda n: "AAAA-BBBB-CCCCC" if n == 7 else "") == found
