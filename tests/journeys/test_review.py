"""The engineer writes a page, tries packs by hand, and has them planned."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture
def job(tmp_path: Path, small_job_writer: Callable[..., Path]) -> Path:
    return small_job_writer(tmp_path / "small")


def test_a_page_is_written_and_written_again(fitup: Callable, job: Path, tmp_path: Path):
    said = fitup("review", job)
    assert (said.code, said.lines) == (0, [])
    assert said.out.splitlines()[-1] == f"wrote {job / 'review.html'}; open it in a browser"
    first = (job / "review.html").read_bytes()
    assert fitup("review", job).code == 0
    assert (job / "review.html").read_bytes() == first
    assert fitup("review", job, "--to", tmp_path / "night.html").code == 0
    # the page in the job folder is no table of the job
    assert fitup("check", job).code == 0


def test_other_files_are_left_alone(fitup: Callable, job: Path, tmp_path: Path):
    other = tmp_path / "letter.html"
    other.write_text("<p>Dear Sir")
    said = fitup("review", job, "--to", other)
    assert said.code == 2
    assert said.lines == [
        f"fitup: {other}: found a file that fitup did not write; allowed: a new file, or an "
        "earlier page of fitup; name another with --to"
    ]
    assert other.read_text() == "<p>Dear Sir"
    said = fitup("review", job, "--to", tmp_path / "none" / "a.html")
    assert said.lines == [
        f"fitup: {tmp_path / 'none' / 'a.html'}: found no folder {tmp_path / 'none'}; allowed: a "
        "file in a folder; make the folder first"
    ]
    said = fitup("review", job, "--to", job)
    assert said.lines == [
        f"fitup: {job}: found a folder; allowed: a new file, or an earlier page of fitup; name "
        "another with --to"
    ]


def test_given_packs_are_planned(fitup: Callable, job: Path):
    said = fitup("plan", job, "--give", "B-S1=P20+P2+P2", "--give", "B-S2=P20+P2+P2")
    assert said.code in (0, 3)
    rows = [line.split() for line in said.out.splitlines() if line.startswith("B-S")]
    assert [row[5] for row in rows[:2]] == ["P20+P2+P2"] * 2
    assert (
        "Packs given by hand: B-S1=P20+P2+P2, B-S2=P20+P2+P2; the proof holds for the other "
        "4 seats."
    ) in said.out


@pytest.mark.parametrize(
    ("given", "line"),
    [
        ("B-S1", "found 'B-S1'; allowed: SEAT=PACK, e.g. W7-S1=P40+P5; write seat, an equals sign "
         "and the pack"),
        ("X=P20", "found 'X=P20'; allowed: a seat of the job: A-S1, A-S2, A-S3, B-S1, B-S2, B-S3; "
         "mend the name"),
        ("B-S1=P7", "found 'B-S1=P7'; allowed: plate marks joined by +: P20, P10, P5, P2, P1; "
         "mend the marks"),
        ("B-S1=P20+P20+P20", "found B-S1=P20+P20+P20; allowed: a pack or setting that the stock, "
         "the seat and its jacks allow; fitup review shows which there are"),
    ],
)  # fmt: skip
def test_what_cannot_be_given_is_told(fitup: Callable, job: Path, given: str, line: str):
    said = fitup("plan", job, "--give", given)
    assert said.code == 2
    assert said.lines == [f"fitup: command line, --give: {line}"]


def test_a_seat_once_and_none_that_is_to_stay(
    fitup: Callable, tmp_path: Path, small_job_writer: Callable[..., Path]
):
    alone = ("[[survey]]", '[objectives]\nleave_alone = ["B-S1"]\n\n[[survey]]')
    job = small_job_writer(tmp_path / "alone", job=alone)
    said = fitup("plan", job, "--give", "B-S1=P20+P5", "--give", "A-S1=P20+P10",
                 "--give", "A-S1=P20+P5")  # fmt: skip
    assert said.lines == [
        "fitup: command line, --give: found 'B-S1=P20+P5'; allowed: nothing: this seat is to stay "
        "as it is; take hold or leave_alone out of the job first",
        "fitup: command line, --give: found 'A-S1=P20+P5'; allowed: each seat once; leave one of "
        "the two out",
    ]


def test_the_move_of_a_nut_is_given_in_words(
    fitup: Callable, tmp_path: Path, small_job_writer: Callable[..., Path]
):
    nut = ("packs,P20+P10,60,3,100,1400,,8,8\nB-S2", "nut,,,,100,1400,,8,8\nB-S2")
    job = small_job_writer(tmp_path / "nut", seats=nut)
    said = fitup("plan", job, "--give", "B-S1=LOWER 6.0 mm")
    assert said.code in (0, 3)
    assert "B-S1  LOWER 6.0 mm" in said.out
    for wrong in ("B-S1=5.5", "B-S1=LOWER 5.3 mm", "B-S1=LOWER 5.5 in", "B-S1=P20"):
        said = fitup("plan", job, "--give", wrong)
        assert said.lines == [
            f"fitup: command line, --give: found '{wrong}'; allowed: stays, RAISE or LOWER and "
            "whole steps of 0.5 mm, as fitup plan prints it; mend the move"
        ]


def test_sheets_of_given_packs_and_of_a_plan_of_the_record_are_two_things(
    fitup: Callable, job: Path
):
    said = fitup("sheets", job, "--plan", "AAAA-AAAA", "--give", "B-S1=P20+P5")
    assert said.lines == [
        "fitup: command line, --give: found 'B-S1=P20+P5'; allowed: --give without --plan and "
        "--readings; leave one of them out"
    ]
