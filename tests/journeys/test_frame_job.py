"""An engineer's frame job: start, look at the structure, plan; and a frame that cannot stand."""

from __future__ import annotations

import pytest


@pytest.fixture
def job(fitup, tmp_path):
    folder = tmp_path / "my-frame"
    assert fitup("start", "--frame", folder).code == 0
    return folder


def change(job, file, old, new):
    path = job / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_structure_is_shown(fitup, job):
    said = fitup("structure", job)
    assert (said.code, said.err) == (0, "")
    for line in (
        "  weighs 9800 kN; seats carry 4092 kN, the ground 5708 kN: nothing is left over",
        "  segment A1: 1300 kN in the frame, 1300 kN in segments.csv",
        "A1-S1  carries  326 kN  computed  pushes only          3.1623 m",
        "  RAISE at A1-S1: more on A1-S1 by 47 kN, A1-S3 by 22 kN; less on A1-S4 by 44 kN, "
        "A1-S2 by 33 kN",
        "  segment A1 warped by 1.0 mm: more on A1-S3 by 43 kN, A1-S1 by 37 kN; less on A1-S4 by "
        "43 kN, A1-S2 by 37 kN",
    ):
        assert line in said.out.splitlines()


def test_frame_is_planned_and_certified(fitup, job):
    said = fitup("plan", job)
    assert said.code == 0
    assert "OUTSIDE" not in said.out
    assert (
        "  certificate: checks and reactions by a second path: the frame solved again from "
        "flexibilities with constraints, seats free to lift off, and points moved by true rotations"
    ) in said.out.splitlines()


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        (
            "frame_nodes.csv",
            "E N H turn_E",
            "E H",
            "fitup: the frame is a mechanism: node A100 can shift to the north or south, and 9 "
            "more nodes with it; nothing resists it. Hold it in frame_nodes.csv, add a spring or a "
            "seat, or take a release away",
        ),
        (
            "frame_nodes.csv",
            "A88,",
            "X1,30.0,200.0,29.0,\nA88,",
            "fitup: node X1: no member, spring, seat or body touches it; delete it from "
            "frame_nodes.csv or connect it",
        ),
        (
            "frame_members.csv",
            "DA3,A88,A100,box,steel,A1,,",
            "DA3,A88,A100,box,steel,A1,torsion,torsion",
            "fitup: the frame is a mechanism: node A100 can turn about an east-west line; nothing "
            "resists it. Hold it in frame_nodes.csv, add a spring or a seat, or take a release "
            "away",
        ),
        (
            "segments.csv",
            "A1,90,1300",
            "A1,90,1500",
            "fitup: segment A1: its members and loads weigh 1300 kN in the frame, 1500 kN in "
            "segments.csv; correct one of them (they may differ by 10%)",
        ),
    ],
)
def test_frame_that_may_not_be_used(fitup, job, file, old, new, message):
    change(job, file, old, new)
    for command in ("structure", "check"):
        said = fitup(command, job)
        assert (said.code, said.out) == (2, "")
        assert said.lines == [message]


def test_no_frame_to_look_at(fitup, tmp_path):
    fitup("start", tmp_path / "plain")
    said = fitup("structure", tmp_path / "plain")
    assert (said.code, said.out) == (2, "")
    assert said.lines == [
        "fitup: this job has no frame; give frame_nodes.csv, frame_members.csv, "
        "frame_sections.csv and frame_materials.csv in the job folder"
    ]
