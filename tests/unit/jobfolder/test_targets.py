"""The geometry wanted at a stage of the work: read, refused, and what checks make of it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fitup.checks import checks_of, joint_state
from fitup.model import Job
from fitup.survey import read_survey

Tell = Callable[..., list[str]]
STAGE = ("units = ", 'stage = "s2"\nunits = ')
HEADER = "stage,point,E_m,N_m,H_m\n"
#: at s2 segment A is wanted 10 mm lower at its end, B 6 mm higher throughout
S2 = """\
s2,A-L,,,9.99
s2,A-R,,,9.99
s2,A-T1,,,10
s2,A-T2,,,10
s2,B-L,20.012,,10.006
s2,B-R,20.012,,10.006
s2,B-T1,39.002,,10.006
s2,B-T2,39.002,,10.006
"""


def test_points_are_those_of_the_stage(job_of: Callable[..., Job]) -> None:
    job = job_of(job=STAGE, targets=HEADER + S2 + "s1,A-L,,,9.9\n")
    assert job.stage == "s2"
    assert job.points["A-L"].design.tolist() == [20.0, 4.0, 9.99]
    assert job.points["B-T1"].design.tolist() == [39.002, 4.0, 10.006]


def test_joint_aims_at_what_the_stage_has_there(job_of: Callable[..., Job]) -> None:
    job = job_of(job=STAGE, targets=HEADER + S2)
    target = {c.id: c.target for c in checks_of(job)}
    assert target["J1/P1/step"] == pytest.approx(0.016)
    assert target["J1/P1/gap"] == pytest.approx(0.002)
    assert target["J1/P1/offset"] == pytest.approx(0.0)
    assert target["J1/kink_grade"] == 0.0
    assert target["level/B-L"] == 0.0


def test_survey_is_held_against_the_stage(job_of: Callable[..., Job], tmp_path) -> None:
    job = job_of(job=STAGE, targets=HEADER + S2)
    survey = read_survey(tmp_path / "job", job)
    assert "geometry wanted: stage s2 of targets.csv" in survey.understood
    state = joint_state(job, survey)
    value = {c.id: v for c, v in zip(state.checks, state.values, strict=True)}
    # B was found 6 mm above the final design, which is where the stage wants it
    assert value["level/B-L"] == pytest.approx(0.0, abs=1e-9)
    assert value["level/A-L"] == pytest.approx(0.010)


def test_an_aim_goes_before_the_stage(job_of: Callable[..., Job]) -> None:
    aims = (
        "joint,pair,quantity,treat,amount_mm,angle_mm_per_m,side,reason\n"
        "J1,P1,step,preset,3,,ahead high,spring\n"
    )
    job = job_of(job=STAGE, targets=HEADER + S2, aims=aims)
    target = {c.id: c.target for c in checks_of(job)}
    assert target["J1/P1/step"] == pytest.approx(0.003)
    assert target["J1/P2/step"] == pytest.approx(0.016)


@pytest.mark.parametrize(
    ("job", "rows", "messages"),
    [
        (
            ("units = ", "units = "),
            S2,
            [
                "job.toml, stage: found no stage, but targets for s2; allowed: one of the stages "
                "of targets.csv; say which geometry is wanted now"
            ],
        ),
        (
            ("units = ", 'stage = "s3"\nunits = '),
            S2,
            ["job.toml, stage: found 's3'; allowed: s2; correct it or add its rows"],
        ),
        (
            STAGE,
            "",
            [
                "job.toml, stage: found 's2'; allowed: a stage of targets.csv, which has none; "
                "correct it or add its rows"
            ],
        ),
        (
            STAGE,
            S2 + "s2,B-L,,,10.006\n",
            [
                "targets.csv, row 10, point: found 'B-L' at stage s2 again (first in row 6); "
                "allowed: each point once a stage; delete one",
            ],
        ),
        (
            STAGE,
            S2.replace("s2,A-T2,,,10\n", ""),
            [
                "targets.csv, point: found stage s2 without A-T2; allowed: a row for every point "
                "of points.csv; add them, with the final height where it is wanted already"
            ],
        ),
        (
            STAGE,
            S2 + "s2,X9,,,1\n",
            [
                "targets.csv, row 10, point: found 'X9'; allowed: an id of points.csv; correct it "
                "or add it there"
            ],
        ),
    ],
)
def test_messages(problems_of: Tell, job: tuple[str, str], rows: str, messages: list[str]) -> None:
    assert problems_of(job=job, targets=HEADER + rows) == messages
