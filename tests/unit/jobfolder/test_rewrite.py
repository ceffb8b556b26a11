"""Single cells changed, all else as its author wrote it; surveys of job.toml put in anew."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder.rewrite import changed_cells, learned_text, moved_text
from fitup.jobfolder.rounds import read_rounds
from fitup.jobfolder.schema import TABLES
from fitup.jobfolder.surveys import survey_entries, with_surveys
from fitup.jobfolder.table import read_table
from fitup.model import Learned, Moved

JACKS, PLATES, SEATS = (TABLES[f"{name}.csv"].columns for name in ("jacks", "plates", "seats"))

JACK = """\
# counted by R. Quay
id,seat,note_where,stroke_mm,capacity_kip

J1,S1,"left, near the pier",150,500
# the spare
J2,S2,"said ""tight"" once",6,500
"""


def test_one_cell_changes_and_nothing_else():
    text = changed_cells(JACK, JACKS, {("J2", "stroke"): 0.0503}, "metric")
    assert text == JACK.replace('once",6,', 'once",50.3,')


def test_a_cell_keeps_the_unit_of_its_column():
    text = changed_cells(JACK, JACKS, {("J1", "capacity"): 1e6}, "metric")
    assert "150,224.808943" in text


def test_a_missing_column_is_added_in_the_units_of_the_job():
    cases = (("metric", "stroke_used_mm", "25.4"), ("US", "stroke_used_in", "1"))
    for display, title, value in cases:
        text = changed_cells(JACK, JACKS, {("J1", "stroke_used"): 0.0254}, display)
        lines = text.splitlines()
        assert lines[1].endswith(f",{title}")
        assert lines[3].endswith(f",500,{value}")
        assert lines[5].endswith(",500,")


def test_semicolons_and_decimal_commas_stay():
    text = "mark;nominal_mm;measured_mm;count;length_mm;width_mm\nP5;5,0;5,02;3;300;300\n"
    assert changed_cells(text, PLATES, {("P5", "count"): 2}, "metric") == text.replace(";3;", ";2;")


def test_what_is_written_is_read_again(tmp_path: Path, small_files):
    changes = {("B-S1", "pack"): "P20+P5", ("B-S1", "reaction_now"): 612345.0}
    (tmp_path / "seats.csv").write_text(
        changed_cells(small_files["seats.csv"], SEATS, changes, "metric"), "utf-8"
    )
    problems: list[object] = []
    rows = read_table(tmp_path / "seats.csv", "seats.csv", SEATS, problems)
    assert problems == []
    row = next(r for r in rows if r["id"] == "B-S1")
    assert (row["pack"], row["reaction_now"]) == (("P20", "P5"), pytest.approx(612345.0))


@pytest.mark.parametrize("display", ["metric", "US"])
def test_moves_and_lessons_are_read_as_written(tmp_path: Path, display: str, small_case):
    job, _ = small_case
    moved = (
        Moved("A-S1", 0.0031234, 2e-5, 5e5, None, "read, by hand"),
        Moved("A-S2", -0.002, 0.0, None, 4e5, "s"),
        Moved("A-S3", 0.0, 0.0, None, None, "left"),
    )
    learned = (
        Learned("stiffness", "A-S1", 0.8, 0.1, (), "s"),
        Learned("bedding", "A-S1", 0.0004, 0.0001, (-0.25,), "s"),
        Learned("expansion", "steel", 1.05, 0.02, (0.5, 0.0), "s"),
    )
    (tmp_path / "moved.csv").write_text(moved_text(moved, display, "why"), "utf-8")
    (tmp_path / "learned.csv").write_text(learned_text(learned, display, "why"), "utf-8")
    problems: list[object] = []
    again = read_rounds(tmp_path, replace(job, moved=(), learned=()), problems)
    assert problems == []
    for one, other in zip(moved, again.moved, strict=True):
        assert (other.seat, other.source) == (one.seat, one.source)
        assert other.setting == pytest.approx(one.setting)
        assert (other.load_before, other.load_after) == (
            one.load_before and pytest.approx(one.load_before),
            one.load_after and pytest.approx(one.load_after),
        )
    for was, now in zip(learned, again.learned, strict=True):
        assert (now.what, now.at, now.correlations) == (was.what, was.at, was.correlations)
        assert (now.value, now.uncertainty) == pytest.approx((was.value, was.uncertainty))
    assert again.seats["A-S1"].stiffness == pytest.approx(0.8 * job.seats["A-S1"].stiffness)
    assert again.seats["A-S1"].bedding == pytest.approx(0.0004)


TOML = """\
name = "x"

# our survey
[[survey]]
file = "a.csv"   # the list
u_mm = 0.5
order = ["id", "N", "E"]

# left out
[exclude]
D1 = "wet"
P1 = "knocked"

[[survey]]
file = "b.csv"
"""


def test_surveys_are_put_in_anew_and_all_else_stays():
    entries = survey_entries(TOML)
    assert [e["file"] for e in entries] == ["a.csv", "b.csv"]
    new = {**entries[0], "file": 'c "\u00fc.csv', "taken": dt.datetime(2031, 4, 3, 4, 10)}
    text = with_surveys(TOML, [new], ["D1"])
    said = tomllib.loads(text)
    assert said == {"name": "x", "survey": [new], "exclude": {"P1": "knocked"}}
    assert "# our survey" in text and "# left out\n[exclude]\nP1" in text
    assert "survey" not in tomllib.loads(with_surveys(TOML, []))


def test_surveys_written_in_one_line_are_refused():
    with pytest.raises(InputError) as refused:
        with_surveys('survey = [{file = "a.csv"}]\n', [{"file": "b.csv"}])
    assert str(refused.value) == (
        "job.toml: found surveys or exclusions that cannot be changed line by line; allowed: "
        "[[survey]] blocks, and one id a line under [exclude]; write them so, or make the next job "
        "by hand"
    )
