"""Leans and tensions: what they are worth, how they are read, planned and printed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

from fitup.checks import joint_state
from fitup.errors import InputError
from fitup.jobfolder import read_job
from fitup.survey import read_survey

#: a mast that leans as a whole, its head 12 m up and 40 mm ahead of its foot
MAST = {
    "segments": ("B,90,1800,30,0,9,along across turn\n",
                 "B,90,1800,30,0,9,along across turn\nM,90,300,60,0,15,along across turn\n"),
    "points": ("B-T2,B,39,-4,10\n",
               "B-T2,B,39,-4,10\nHEAD,M,60,0,22\nFOOT,M,60,0,10\n"
               "M-L,M,60,1,10\nM-R,M,60,-1,10\n"),
    "seats": ("B-S1,", "".join(
        f"M-S{i},M,{e},{n},9,up,400,nut,,,,-500,900,,5,5\n"
        for i, (e, n) in enumerate([(61, 1), (61, -1), (59, 0)], 1)) + "B-S1,"),
    "jacks": ("J-A1,", "".join(
        f"J-M{i},M-S{i},500,71,100,40,0.5,yes\n" for i in (1, 2, 3)) + "J-A1,"),
    "survey": ("B-T2,39.0000,-4.0000,10.0060\n",
               "B-T2,39.0000,-4.0000,10.0060\nHEAD,60.0400,0.0000,22.0000\n"
               "FOOT,60.0000,0.0000,10.0000\nM-L,60.0000,1.0000,10.0000\n"
               "M-R,60.0000,-1.0000,10.0000\n"),
}  # fmt: skip
LEANS = "id,head,foot,amount_mm,side,source\nM1,HEAD,FOOT,30,ahead,manual sheet 4\n"
TENSIONS = (
    "id,tension_kN,u_kN,target_kN,how\nH1,412,4,420,load cell\nH2,398,8,,frequency of the hanger\n"
)
JOB = (
    "[[survey]]",
    """[tolerance.lean]
value_mm = 12.0
source = "invented specification, clause 8"

[tolerance.tension]
value_kN = 10.0
source = "invented specification, clause 9"

[[survey]]""",
)


@pytest.fixture
def folder(small_job_writer: Callable[..., Path], tmp_path: Path) -> Path:
    return small_job_writer(tmp_path, job=JOB, leans=LEANS, tensions=TENSIONS, **MAST)


def test_values_and_uncertainties(folder: Path):
    job = read_job(folder)
    state = joint_state(job, read_survey(folder, job))
    at = {c.id: i for i, c in enumerate(state.checks)}
    lean, firm, shown = (at[name] for name in ("lean/M1", "tension/H1", "tension/H2"))
    assert state.values[lean] == pytest.approx(0.040)
    assert state.checks[lean].target == pytest.approx(0.030)
    # head and foot of 0.5 mm each
    assert state.uncertainties[lean] == pytest.approx(0.0005 * np.sqrt(2.0))
    assert state.values[firm] == pytest.approx(412e3)
    assert state.uncertainties[firm] == pytest.approx(4e3)
    assert state.checks[firm].tolerance == pytest.approx(10e3)
    assert state.checks[shown].tolerance is None


def test_joints_shows_them_in_words(folder: Path, fitup: Callable[..., Any]):
    own = fitup("joints", folder).out.split("Towers and cables")[1]
    assert "leans ahead by 40.0 mm (aim: leans ahead by 30.0 mm)" in own
    assert "412 kN (aim: 420 kN)" in own
    assert "398 kN" in own
    assert own.count("inside") == 2


def test_sheets_print_them_as_certified(folder: Path, fitup: Callable[..., Any]):
    said = fitup("sheets", folder)
    assert said.code == 0, said.err
    text = "\n".join(p.read_text(encoding="utf-8-sig") for p in (folder / "out").rglob("*.csv"))
    assert "lean/M1" in text
    assert "412" in text
    report = PdfReader(next((folder / "out").rglob("*report*.pdf")))
    printed = " ".join(page.extract_text() for page in report.pages)
    assert "Towers and cables" in printed
    # beside its aim, and never as a push or pull by sign
    assert "412 kN" in printed.replace("\u00a0", " ")
    assert "420 kN" in printed.replace("\u00a0", " ")


def test_tower_leans_back_where_the_amount_says_so(
    small_job_writer: Callable[..., Path], tmp_path: Path
):
    back = LEANS.replace("ahead", "back")
    folder = small_job_writer(tmp_path, job=JOB, leans=back, **MAST)
    assert read_job(folder).leans["M1"].target == pytest.approx(-0.030)


MESSAGES = [
    (
        LEANS.replace("30", "0"),
        "leans.csv, row 2, side: found 'ahead' with no amount; allowed: plumb with 0, else ahead "
        "or back; correct one of them",
    ),
    (
        LEANS.replace("FOOT", "A-L"),
        "leans.csv, row 2, foot: found 'A-L' of segment A; allowed: a point of M, as the head; "
        "name points of one tower",
    ),
    (
        LEANS.replace("HEAD,FOOT", "FOOT,HEAD"),
        "leans.csv, row 2, head: found 'FOOT', not 1 m above 'HEAD'; allowed: a head above the "
        "foot; exchange them or correct their heights in points.csv",
    ),
    (
        LEANS.replace("HEAD", "TOP"),
        "leans.csv, row 2, head: found 'TOP'; allowed: an id of points.csv; correct it or add it "
        "there",
    ),
]


@pytest.mark.parametrize(("leans", "message"), MESSAGES)
def test_message(leans: str, message: str, small_job_writer: Callable[..., Path], tmp_path: Path):
    folder = small_job_writer(tmp_path, job=JOB, leans=leans, **MAST)
    with pytest.raises(InputError) as caught:
        read_job(folder)
    assert str(caught.value) == message


STAGED = (
    "id,head,foot,amount_mm,side,source,stage\n"
    "M1,HEAD,FOOT,30,ahead,manual sheet 4,hangers 1 to 4\n"
    "M1,HEAD,FOOT,0,plumb,manual sheet 9,all hangers\n"
)


def test_the_lean_wanted_is_that_of_the_stage_of_today(
    small_job_writer: Callable[..., Path], tmp_path: Path
):
    for stage, target in (("hangers 1 to 4", 0.030), ("all hangers", 0.0)):
        today = ("units =", f'stage = "{stage}"\nunits =')
        folder = small_job_writer(tmp_path / stage, job=[JOB, today], leans=STAGED, **MAST)
        assert read_job(folder).leans["M1"].target == pytest.approx(target)


def test_rows_for_stages_need_a_stage(small_job_writer: Callable[..., Path], tmp_path: Path):
    folder = small_job_writer(tmp_path, job=JOB, leans=STAGED, **MAST)
    with pytest.raises(InputError) as caught:
        read_job(folder)
    assert str(caught.value) == (
        "leans.csv, row 2, stage: found 'hangers 1 to 4', but job.toml names no stage; allowed: "
        "empty, or a stage that job.toml names; say in job.toml which stage is planned now"
    )
