"""An engineer's frame job: start, look at the structure, plan; and a frame that cannot stand."""

from __future__ import annotations

import json
import re

import pytest


@pytest.fixture
def job(fitup, tmp_path):
    folder = tmp_path / "my-frame"
    assert fitup("start", "--example", "--frame", folder).code == 0
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
            "fitup: node X1: no member, spring, cable, seat or body touches it; delete it from "
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
    fitup("start", "--example", tmp_path / "plain")
    said = fitup("structure", tmp_path / "plain")
    assert (said.code, said.out) == (2, "")
    assert said.lines == [
        "fitup: this job has no frame; give frame_nodes.csv, frame_members.csv, "
        "frame_sections.csv and frame_materials.csv in the job folder"
    ]


def test_figures_are_the_same_bytes_every_time(fitup, job, tmp_path):
    for folder in ("one", "two"):
        said = fitup("structure", job, "--out", tmp_path / folder, "--seat", "B1-S2")
        assert said.code == 0
    one, two = ({p.name: p.read_bytes() for p in (tmp_path / f).iterdir()} for f in ("one", "two"))
    assert sorted(one) == [
        "structure-carries.svg",
        "structure-loads.svg",
        "structure-move-B1-S2.svg",
        "structure-shape.svg",
    ]
    assert one == two


def test_figure_of_no_seat(fitup, job, tmp_path):
    said = fitup("structure", job, "--out", tmp_path / "figures", "--seat", "Z9")
    assert (said.code, (tmp_path / "figures").exists()) == (2, False)
    assert said.lines == [
        "fitup: --seat: found 'Z9'; allowed: A1-S1, A1-S2, A1-S3, A1-S4, B1-S1, B1-S2, B1-S3, "
        "B1-S4; name one of them"
    ]


def table_of(fitup, job, spoil):
    """The frame's own influence as a table of the engineer's, one row spoilt."""
    found = json.loads(fitup("structure", "--json", job).out)["influence"]
    seats = found["seats"]
    rows = [["row", "unit", *seats]]
    for name, values in zip(found["checks"], found["A"], strict=True):
        slope = name.rsplit("/", 1)[1] in ("kink_grade", "kink_plan", "twist")
        factor = spoil if name == "J1/P1/step" else 1.0
        unit = "rad_per_m" if slope else "m_per_m"
        rows.append([name, unit, *(repr(factor * v) for v in values)])
    for name, values in zip(seats, found["R"], strict=True):
        rows.append([f"reaction/{name}", "N_per_m", *(repr(v) for v in values)])
    text = "\n".join(",".join(r) for r in rows) + "\n"
    (job / "influence.csv").write_text(text, encoding="utf-8")
    change(job, "job.toml", 'model = "frame" ', 'table = "influence.csv" #')
    change(job, "seats.csv", ",20,1200,,0", ",20,1200,400,0")


def test_table_is_held_against_the_frame(fitup, job):
    table_of(fitup, job, 1.0)
    said = fitup("structure", job)
    assert (
        "The table influence.csv against the frame\n"
        "  all 50 rows agree within 5% of their largest entry"
    ) in said.out


def test_table_that_disagrees_is_named(fitup, job):
    table_of(fitup, job, -1.0)
    said = fitup("structure", job)
    assert "  1 of 50 rows disagree, the worst first:" in said.out
    # with the other sign a row is off by twice its largest entry
    assert re.search(r"  J1/P1/step: at seat \S+ off by 200% of the row's largest entry", said.out)


def test_plan_presets_what_a_strongback_lets_go(fitup, job):
    with (job / "frame_springs.csv").open("a", encoding="utf-8") as file:
        file.write("strongback,A100,B100,0,0,1,3,,yes,40\n")
    shown = fitup("structure", job).out
    assert "After taking off strongback" in shown
    assert "J1/P1/step  ahead side high by 0.2 mm" in shown
    said = fitup("plan", job)
    assert said.code == 0
    # what goes up by 0.2 mm afterwards is aimed 0.2 mm low before
    assert re.search(r"P1 LEFT edge +Step .*\(aim: ahead side low by 0.2 mm\)", said.out)
    assert (
        "  certificate: taking off strongback moves checks by up to 0.2 mm, which the targets "
        "allow for; with the loads after the moves it is up to 0.0 mm more or less"
    ) in said.out.splitlines()


def test_temperature_goes_through_the_frame(fitup, job):
    """Top warmer than bottom: both decks bend over their bearings, and the joint with them."""
    change(job, "segments.csv", ",fixed_E_m,fixed_N_m,fixed_H_m\n", ",depth_m\n")
    change(job, "segments.csv", "40.0000,200.0000,30.0000", "2.0")
    change(job, "segments.csv", "160.0120,200.0000,30.0000", "2.0")
    said = fitup("structure", job)
    assert said.code == 0
    assert (
        "  top of A1 against its bottom: J1 gap narrow by 0.4 mm; J1 step ahead side high by "
        "0.5 mm; J1 kink in grade dip by 0.38 mm/m; more on A1-S1 by 53 kN, A1-S2 by 53 kN; less "
        "on A1-S3 by 78 kN, A1-S4 by 78 kN"
    ) in said.out.splitlines()
    (job.parent / "day.csv").write_text(
        "time,A1_top_C,A1_bottom_C,B1_top_C,B1_bottom_C\n"
        "2031-05-15T06:00,9,9,9,9\n2031-05-15T12:00,26,16,26,16\n2031-05-15T20:00,14,14,14,14\n",
        encoding="utf-8",
    )
    windows = fitup("windows", job, "--temperatures", job.parent / "day.csv")
    assert windows.code == 0
    assert "2031-05-15 07:47 to 10:10" in windows.out
    assert re.search(
        r"^\d+ values in these windows confirmed by a second path\.$", windows.out, re.M
    )
    assert "brought from 14.0 °C to 15.0 °C as the frame lets it expand" in fitup("check", job).out


def test_steel_that_lifts_the_deck_off_a_seat_is_named(fitup, job):
    """100 kN on a rear seat, 7.75 kN less for each degree of the top: 12.9 of 30 by 08:35."""
    change(job, "segments.csv", ",fixed_E_m,fixed_N_m,fixed_H_m\n", ",depth_m\n")
    change(job, "segments.csv", "40.0000,200.0000,30.0000", "2.0")
    change(job, "segments.csv", "160.0120,200.0000,30.0000", "2.0")
    text = (job / "seats.csv").read_text(encoding="utf-8")
    loads = re.sub(r"(?m)^(A1-S[34],.*),20,1200,,", r"\1,0,1200,100,", text)
    assert loads != text
    (job / "seats.csv").write_text(loads, encoding="utf-8")
    day = job.parent / "day.csv"
    day.write_text(
        "time,A1_top_C,A1_bottom_C,B1_C\n"
        "2031-05-15T06:00,9,9,9\n2031-05-15T12:00,46,16,31\n2031-05-15T20:00,14,14,14\n",
        encoding="utf-8",
    )
    said = fitup("windows", job, "--as-surveyed", "--temperatures", day)
    assert said.code == 0
    assert (
        "wait: the steel would lift the deck off A1-S3 at 2031-05-15 08:35, A1-S4 at 2031-05-15 "
        "08:35; from then on nothing said here holds."
    ) in said.out.splitlines()
    stated = json.loads(fitup("windows", job, "--as-surveyed", "--temperatures", day, "--json").out)
    lifted = stated["options"][0]["lifted"]
    assert [o["seat"] for o in lifted] == ["A1-S3", "A1-S4"]
    assert lifted[0]["from"].startswith("2031-05-15T08:3")


def test_a_frame_of_a_segment_without_expansion_takes_no_fixed_point(fitup, job):
    change(job, "segments.csv", "0.000012,40.0000,200.0000,30.0000", ",40.0000,200.0000,30.0000")
    assert fitup("check", job).err == (
        "fitup: segments.csv, row 15, expansion_per_C: found expansion and fixed point not both "
        "whole; allowed: expansion with fixed_E, fixed_N, fixed_H, or none of them; fill or "
        "clear all four\n"
    )
