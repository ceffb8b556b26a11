"""An engineer asks what holds a plan back, and draws what fewer seats cost."""

from __future__ import annotations

import json

import pytest


@pytest.fixture
def job(tmp_path, small_job_writer):
    return lambda **changes: small_job_writer(tmp_path / "job", **changes)


def test_what_a_step_more_would_buy(fitup, job):
    folder = job(seats=[(",60,3,100,1400,,8,8", ",60,3,100,1400,,4,4")] * 6)
    said = fitup("more", folder)
    stated = json.loads(fitup("more", folder, "--json").out)
    assert said.code == (0 if stated["inside"] else 3)
    assert stated["inside"]
    lines = said.out.splitlines()
    assert lines[0].startswith("The sum of squares is ")
    assert len(stated["more"]["gains"]) == len(lines) - 5
    for gain, line in zip(stated["more"]["gains"], lines[5:], strict=True):
        assert line.startswith(gain["what"])
        assert gain["change"] in line


def test_what_stands_in_the_way_is_told_instead(fitup, job):
    folder = job(seats=[(",60,3,100,1400,,8,8", ",60,3,100,1400,,1,1")] * 6)
    said = fitup("more", folder)
    assert said.code == 3
    assert said.out.startswith("TOLERANCE CANNOT BE MET with the job as it stands.\n")
    stated = json.loads(fitup("more", folder, "--json").out)
    assert stated["more"] is None
    assert not stated["inside"]
    for conflict in stated["conflicts"]:
        for part in conflict["parts"]:
            assert f"  {part}\n" in said.out


@pytest.mark.parametrize(
    ("kind", "start"), [("pdf", b"%PDF"), ("png", b"\x89PNG"), ("svg", b"<?xml")]
)
def test_fewer_seats_drawn(fitup, job, tmp_path, kind, start):
    folder, first, second = job(), tmp_path / f"a.{kind}", tmp_path / f"b.{kind}"
    said = fitup("fewer", folder, "--figure", first)
    assert said.code == 0
    assert said.out.endswith(f"\nwrote {first}\n")
    assert first.read_bytes().startswith(start)
    assert fitup("fewer", folder, "--figure", second).code == 0
    assert first.read_bytes() == second.read_bytes()


def test_a_figure_of_no_known_kind_is_refused_before_the_work(fitup, job, tmp_path):
    said = fitup("fewer", job(), "--figure", tmp_path / "a.gif")
    assert said.code == 2
    assert said.lines == [
        "fitup: command line, --figure: found 'a.gif'; allowed: a file that ends in .pdf, .png or "
        ".svg; give the ending of the kind you want"
    ]
    assert not (tmp_path / "a.gif").exists()


def test_a_figure_that_is_a_folder_is_refused_before_the_work(fitup, job, tmp_path):
    (tmp_path / "a.pdf").mkdir()
    said = fitup("fewer", job(), "--figure", tmp_path / "a.pdf")
    assert (said.code, said.lines) == (
        2,
        [
            "fitup: command line, --figure: found 'a.pdf', which is a folder; allowed: a file; "
            "name a file, in it or beside it"
        ],
    )


def test_the_miss_of_fewer_seats_is_that_of_the_joint(fitup, job):
    rows = json.loads(fitup("fewer", job(), "--json").out)["fewer"]
    assert rows
    for row in rows:
        assert row["miss"] >= 0.0
        assert len(row["disturbed"]) == row["seats"]
