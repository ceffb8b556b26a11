"""Documents: complete, the same bytes for the same plan, and written whole or not at all."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from fitup.record.approval import Standing
from fitup.sheets import build_sheets, write_sheets
from fitup.sheets.cautions import STRIP
from fitup.sheets.numbers import rounded
from fitup.sheets.table_files import csv_bytes
from fitup.sheets.tables import Table
from fitup.sheets.write import file_names
from fitup.units import METRIC

PDFS = ("move-E3.pdf", "shim-schedule.pdf", "report.pdf")


def built(made):
    return build_sheets(made.job, made.survey, made.plan, made.certificate)


@pytest.fixture(scope="module")
def written(made, tmp_path_factory):
    folder = tmp_path_factory.mktemp("set") / "sheets"
    write_sheets(built(made), folder)
    return folder


def pages(path):
    """Return the text of each page, with all white space as single blanks."""
    return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


@pytest.mark.parametrize("name", PDFS)
def test_every_page_says_what_it_must(written, made, name):
    sheets = built(made)
    found = pages(written / name)
    for i, text in enumerate(found):
        assert made.plan.id in text
        assert sheets.header.check_code in text
        assert "NOT APPROVED - for review" in text
        assert f"page {i + 1} of {len(found)}" in text
        assert STRIP in text


def test_move_sheet_is_one_a_crew_can_work_from(written, made):
    text = " ".join(pages(written / "move-E3.pdf"))
    assert "LOOKING AHEAD" in text
    for stage in built(made).stages:
        assert f"STAGE {stage.number} of 3" in text
        assert f"HOLD POINT {stage.number}" in text
        for jack in stage.jacks:
            assert jack.pressure_stop.text in text
    assert "STOP all pumps" in text
    for caution in built(made).cautions:
        assert caution in text


@pytest.mark.parametrize("name", PDFS)
def test_no_number_is_parted_from_its_unit(written, name):
    """A unit at the head of a line stands under another number than its own."""
    lines = [
        line.strip()
        for page in PdfReader(written / name).pages
        for line in page.extract_text(extraction_mode="layout").split("\n")
    ]
    assert lines
    parted = re.compile(r"(mm/m|mm|kN|bar|°C|m)($| {3})")
    assert [line for line in lines if parted.match(line)] == []


@pytest.mark.parametrize("name", PDFS)
def test_no_signed_number_on_paper(written, made, name):
    hyphened = re.compile(r"(?<![\w.\-])[+\-\u2212]\s?\d")
    for text in pages(written / name):
        assert not hyphened.search(text), hyphened.search(text)


def test_what_stops_work_is_the_largest_print(written, made):
    """Stops of a part stand in 11 pt and more, those of one line in 10; no reading is larger."""
    sizes = {}

    def visit(text, cm, tm, font, size):
        for word in text.split():
            sizes.setdefault(word, set()).add(round(size * abs(tm[3]) * abs(cm[3]), 1))

    for page in PdfReader(written / "move-E3.pdf").pages[1:]:
        page.extract_text(visitor_text=visit)
    jack = built(made).stages[0].jacks[0]
    assert min(sizes["ABOVE"]) >= 8.0
    assert min(sizes[jack.pressure_stop.text]) >= 10.0
    assert max(sizes[jack.pressure_stop.text]) >= 11.0
    assert max(sizes[jack.up[-1].number.size]) == 11.0


def test_lines_stand_in_the_order_of_time(written, made):
    """Every line once, upwards; a plate never before the load is off the oil."""
    text = " ".join(pages(written / "move-E3.pdf"))
    place = 0
    for crew in built(made).crews:
        for part in crew.parts:
            for line in part.lines:
                found = text.find(f"{line.number} {line.who.upper()}", place)
                assert found >= 0, line
                place = found


def test_every_printed_reading_is_on_paper(written, made):
    text = " ".join(pages(written / "move-E3.pdf"))
    for crew in built(made).crews:
        for row in crew.joint:
            for read in row.reads:
                assert read.expect.number.size in text
                assert read.outside in text
        for part in crew.parts:
            for line in part.lines:
                for cell in line.cells:
                    assert all(r.number.size in text for r in cell.reads)


def test_first_page_holds_eight_stages_and_its_signatures(made, tmp_path):
    sheets = built(made)
    first = sheets.stages[0]
    stages = tuple(replace(first, number=i, of=8) for i in range(1, 9))
    crews = tuple(replace(sheets.crews[0], number=i) for i in range(1, 9))
    write_sheets(replace(sheets, stages=stages, crews=crews), tmp_path / "eight")
    found = pages(tmp_path / "eight" / "move-E3.pdf")
    assert "Received: jacking supervisor" in found[0]
    assert sheets.cautions[-1] in found[0]
    assert "WHERE, AND BEFORE EVERY STAGE" in found[1]
    assert "LIFT-OFF, MEASURED" in found[2]
    assert "STAGE 1 of 8" in " ".join(found[3:5])


def test_a_stage_is_at_most_four_pages(written):
    found = pages(written / "move-E3.pdf")
    starts = [i for i, text in enumerate(found) if re.search(r"STAGE \d of 3", text)]
    assert len(starts) == 3
    assert max(np.diff([*starts, len(found)])) <= 4
    back = [i for i, text in enumerate(found) if "THE WAY BACK to the last hold point" in text]
    assert len(back) == 2  # nobody pushes a deck back


def test_a_seat_that_may_pull_says_so(made, tmp_path):
    sheets = built(made)
    pull = rounded(-250e3, METRIC.force)
    cards = (replace(sheets.seats[0], reaction_least=pull), *sheets.seats[1:])
    write_sheets(replace(sheets, seats=cards), tmp_path / "pull")
    text = " ".join(pages(tmp_path / "pull" / "report.pdf"))
    assert "may pull 250 kN" in text
    assert "minus" not in text


def test_a_point_outside_is_named_with_what_is_outside(made, tmp_path):
    sheets = built(made)
    level = replace(
        sheets.joints[0].lines[0],
        id="level/KD8-L",
        quantity="level",
        what="Level",
        place="KD8-L",
        verdict="OUTSIDE",
    )
    joint = replace(sheets.joints[0], lines=(*sheets.joints[0].lines, level))
    write_sheets(replace(sheets, joints=(joint,), inside=False), tmp_path / "out", moves=False)
    text = " ".join(pages(tmp_path / "out" / "report.pdf"))
    assert "OUTSIDE Level" in text
    assert "1 of the checks end outside" in text


def test_paper_follows_the_units(written, made_us, tmp_path):
    box = PdfReader(written / "move-E3.pdf").pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (595, 842)
    write_sheets(built(made_us), tmp_path / "us")
    box = PdfReader(tmp_path / "us" / "move-E3.pdf").pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == (612, 792)


def test_same_plan_same_bytes(written, made, tmp_path):
    again = tmp_path / "again"
    paths = write_sheets(built(made), again)
    assert {p.name for p in paths} == {p.name for p in written.iterdir()}
    for path in paths:
        assert path.read_bytes() == (written / path.name).read_bytes(), path.name


def test_same_bytes_from_another_process(written, tmp_path):
    """No hash seed, clock or earlier run shows in the bytes."""
    code = (
        "import sys; from pathlib import Path; sys.path.insert(0, sys.argv[1]);"
        "from conftest import make; from fitup.sheets import build_sheets, write_sheets;"
        "m = make(); s = build_sheets(m.job, m.survey, m.plan, m.certificate);"
        "write_sheets(s, Path(sys.argv[2]))"
    )
    here = str(__file__).rsplit("/", 1)[0]
    subprocess.run([sys.executable, "-c", code, here, str(tmp_path / "other")], check=True)
    for path in (tmp_path / "other").iterdir():
        assert path.read_bytes() == (written / path.name).read_bytes(), path.name


def test_sixteen_seats_with_long_ids_fit(made_large, tmp_path):
    """All ids and readings of a stage are on paper, none cut off at an edge."""
    write_sheets(built(made_large), tmp_path / "large")
    reader = PdfReader(tmp_path / "large" / "move-E3.pdf")
    outside = []
    for page in reader.pages:
        width, height = float(page.mediabox.width), float(page.mediabox.height)

        def visit(text, cm, tm, font, size, width=width, height=height):
            # the matrices of this writer flip the page; the place is their product
            x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            if text.strip() and not (0.0 <= x <= width and 0.0 <= y <= height):
                outside.append((text, x, y))

        page.extract_text(visitor_text=visit)
    assert not outside
    squeezed = "".join("".join(pages(tmp_path / "large" / "move-E3.pdf")).split())
    squeezed = squeezed.replace("\u200b", "")
    for seat in made_large.job.seats:
        assert seat in squeezed
    for jack in made_large.job.jacks:
        assert jack in squeezed


def test_ids_of_any_kind_reach_the_paper(made, tmp_path):
    """Markup and mathematics signs, and a long id without a place to break."""
    odd = "#$x_1$*<b>@BEARINGNORTHWEST"
    sheets = built(made)
    first = sheets.crews[0]
    named = (replace(first.jacks[0], jack=odd), *first.jacks[1:])
    crews = (replace(first, jacks=named), *sheets.crews[1:])
    joints = tuple(replace(j, id="E/3 $a$ #[x]") for j in sheets.joints)
    stages = tuple(replace(s, sheet="E/3 $a$ #[x]") for s in sheets.stages)
    write_sheets(replace(sheets, stages=stages, joints=joints, crews=crews), tmp_path / "odd")
    name = next((tmp_path / "odd").glob("move-*.pdf"))
    assert name.name == "move-E_3__a____x_.pdf"
    squeezed = "".join("".join(pages(name)).split()).replace("\u200b", "")
    assert odd in squeezed
    assert "E/3$a$#[x]" in squeezed


def test_status_of_an_approved_plan_is_on_every_page(made, tmp_path):
    stands = Standing("approved", "Ines Calder", "2031-04-02T03:05:07Z", 9)
    sheets = build_sheets(made.job, made.survey, made.plan, made.certificate, stands=stands)
    write_sheets(sheets, tmp_path / "sheets")
    for name in PDFS:
        for text in pages(tmp_path / "sheets" / name):
            assert "APPROVED" in text
            assert "Ines Calder, 2031-04-02 03:05 UTC, entry 9" in text
            assert "NOT APPROVED" not in text


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("open", "NOT APPROVED - for review"),
        ("void", "APPROVAL VOID - do not use"),
        ("rejected", "REJECTED - do not use"),
    ],
)
def test_plan_nobody_may_work_by_says_so_on_every_page(made, tmp_path, state, words):
    why = ("plate P10: count was 6, is 5",) if state != "open" else ()
    stands = Standing(state, "Ines Calder", "2031-04-02T03:05:07Z", 9, why)
    sheets = build_sheets(made.job, made.survey, made.plan, made.certificate, stands=stands)
    write_sheets(sheets, tmp_path / "sheets")
    for name in PDFS:
        listed = pages(tmp_path / "sheets" / name)
        assert all(words in text for text in listed)
        assert all(reason in listed[0] for reason in why)


def test_interruption_half_way_leaves_the_old_set(made, tmp_path, monkeypatch):
    folder = tmp_path / "sheets"
    write_sheets(built(made), folder)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}

    def broken(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("fitup.sheets.pdf.report_pdf", broken)
    changed = replace(built(made), method="another")
    with pytest.raises(KeyboardInterrupt):
        write_sheets(changed, folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["sheets"]


def test_full_disk_leaves_the_old_set(made, tmp_path, monkeypatch):
    folder = tmp_path / "sheets"
    write_sheets(built(made), folder)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}

    def full(path, content):
        if path.name == "sheets.xlsx":
            raise OSError(28, "No space left on device")
        path.write_bytes(content)

    monkeypatch.setattr("fitup.sheets.write._write", full)
    with pytest.raises(OSError, match="No space left"):
        write_sheets(replace(built(made), method="another"), folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["sheets"]


def test_failing_last_rename_puts_the_old_set_back(made, tmp_path, monkeypatch):
    folder = tmp_path / "sheets"
    write_sheets(built(made), folder)
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    rename = type(folder).rename

    def second_fails(self, target):
        if self.name == "new":
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(type(folder), "rename", second_fails)
    with pytest.raises(OSError, match="Input/output"):
        write_sheets(replace(built(made), method="another"), folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_an_old_move_sheet_does_not_survive_and_a_strangers_file_does(made, tmp_path):
    folder = tmp_path / "sheets"
    write_sheets(built(made), folder)
    (folder / "notes.txt").write_text("mine")
    (folder / "photos").mkdir()
    (folder / "photos" / "a.txt").write_text("photo")
    write_sheets(built(made), folder, moves=False)
    assert not (folder / "move-E3.pdf").exists()
    assert not (folder / "readings.csv").exists()
    assert (folder / "notes.txt").read_text() == "mine"
    assert (folder / "photos" / "a.txt").read_text() == "photo"


def test_withheld_move_sheets_are_announced(made, tmp_path):
    outside = replace(built(made), inside=False)
    paths = write_sheets(outside, tmp_path / "sheets", moves=False)
    names = {p.name for p in paths}
    assert not any(n.startswith("move-") for n in names)
    assert not names & {"readings.csv", "jacks.csv", "expected.csv"}
    report = pages(tmp_path / "sheets" / "report.pdf")[0]
    assert "TOLERANCE CANNOT BE MET AS SET. MOVE SHEETS ARE WITHHELD" in report
    schedule = pages(tmp_path / "sheets" / "shim-schedule.pdf")[0]
    assert "for discussion, not for work" in schedule


def test_nothing_to_show_is_still_a_set(made, tmp_path):
    """No stages, obstacles, proof, stock or statements: every document can still be drawn."""
    bare = replace(
        built(made), stages=(), obstacles=(), proof=(), stock=(), statements=(), understood=()
    )
    paths = write_sheets(bare, tmp_path / "sheets")
    assert {"report.pdf", "shim-schedule.pdf", "sheets.xlsx"} <= {p.name for p in paths}
    assert (tmp_path / "sheets" / "obstacles.csv").read_text() == "obstacle,smallest_change,tried\n"


def test_json_says_the_same_as_the_model(written, made):
    sheets = built(made)
    data = json.loads((written / "sheets.json").read_text(encoding="utf-8"))
    assert data["plan_id"] == made.plan.id
    assert sorted(data["files"]) == sorted(p.name for p in written.iterdir())
    assert [(tuple(p["key"]), p["value_si"], p["half_step_si"]) for p in data["printed"]] == [
        (p.key, p.value_si, p.half_step) for p in sheets.printed()
    ]
    move = {row["seat"]: row for row in data["tables"]["moves"]}
    assert (move["KD8-BL"]["move"], move["KD8-BL"]["move_mm"]) == ("LOWER", 17.8)
    check = {row["check"]: row for row in data["tables"]["checks"]}["E3/R/step"]
    assert (check["positive_means"], check["after_mm"]) == ("ahead high", -0.6)
    assert check["after"] == "ahead side low by 0.6 mm"


def test_workbook_and_csv_agree(written):
    book = load_workbook(io.BytesIO((written / "sheets.xlsx").read_bytes()))
    rows = [[("" if c is None else str(c)) for c in row] for row in book["moves"].values]
    text = (written / "moves.csv").read_text(encoding="utf-8").splitlines()
    assert text[0].split(",") == rows[0]
    assert len(text) == len(rows)
    assert "aid to a competent engineer" in book["about"]["B5"].value


def test_a_name_cannot_become_a_formula():
    table = Table("t", ("seat",), (("=1+1",), ("S1",)))
    assert csv_bytes(table).decode() == "seat\n'=1+1\nS1\n"


def test_files_of_odd_ids_stay_apart():
    names = file_names("move-", ("A/B", "A B", "a b", "../x"))
    assert len({n.casefold() for n in names.values()}) == 4
    assert all("/" not in n for n in names.values())


def test_importing_the_package_stays_light():
    code = (
        "import sys, fitup.sheets;"
        "print([m for m in ('matplotlib', 'openpyxl', 'typst') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_inches_stand_with_their_fraction(made_us, tmp_path):
    """1/32 in for the tape beside the decimal for the dial, neither alone."""
    jack = built(made_us).stages[0].jacks[0]
    number = jack.up[-1].number
    assert number.unit == "in"
    assert abs(number.thirty_seconds / 32 - abs(number.value)) <= 1 / 64
    write_sheets(built(made_us), tmp_path / "us")
    text = " ".join(pages(tmp_path / "us" / "move-E3.pdf"))
    assert f"({number.fraction})" in text


def test_the_overview_is_one_page_and_the_cards_are_small(written):
    assert len(pages(written / "sequence.pdf")) == 1
    box = PdfReader(written / "pocket-E3.pdf").pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((297.6, 419.5), abs=1.0)
