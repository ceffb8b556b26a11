"""What changed, in words: whole lines, and nothing said where only the looks changed."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from fitup.model import Plan, SeatPlan, Stage
from fitup.record.contents import survey_files
from fitup.record.differences import changes
from fitup.record.plans import plan_bytes, read_plan


@pytest.fixture
def files(small_files):
    return {name: text.encode() for name, text in small_files.items()}


def changed(files, name, old, new, count=1):
    text = files[name].decode()
    assert old in text
    return {**files, name: text.replace(old, new, count).encode()}


@pytest.mark.parametrize(
    ("name", "old", "new", "line"),
    [
        ("plates.csv", "P10,10,10,2,", "P10,10,10,1,", "plate P10: count was 2, is 1"),
        ("plates.csv", "P5,5,5,", "P5,5,5.04,", "plate P5: measured was 5 mm, is 5.04 mm"),
        ("plates.csv", "P1,1,1,4,300,300\n", "", "plate P1: taken out"),
        ("plates.csv", "P1,1,", "P3,3,3,1,300,300\nP1,1,", "plate P3: is new"),
        ("seats.csv", "P20+P10", "P20+P5", "seat A-S1: pack was P20+P10, is P20+P5"),
        (
            "jacks.csv",
            "J-A1,A-S1,2000,285,150,",
            "J-A1,A-S1,2000,285,140,",
            "jack J-A1: stroke was 150 mm, is 140 mm",
        ),
        ("points.csv", "A-L,A,20,4,10", "A-L,A,20,4,10.003", "target A-L: its design moved 3.0 mm"),
        ("survey.csv", "10.0060", "10.0100", "target B-L moved 4.0 mm (4.0 higher)"),
        (
            "survey.csv",
            "B-R,20.0100,-4.0000,10.0060",
            "B-R,20.0090,-4.0020,10.0040",
            "target B-R moved 3.0 mm (1.0 west, 2.0 south, 2.0 lower)",
        ),
        ("survey.csv", "A-T2,1.0000,-4.0000,10.0000\n", "", "target A-T2: no longer surveyed"),
        (
            "job.toml",
            "value_mm = 2.0",
            "value_mm = 3.0",
            "job.toml, tolerance.step.value_mm: was 2.0, is 3.0",
        ),
        (
            "job.toml",
            "steel_temperature_C = 15.0",
            "steel_temperature_C = 16.0",
            "job.toml, survey survey.csv, steel_temperature_C: was 15.0, is 16.0",
        ),
        ("jacks.csv", "\nJ-A1", "\n# painted anew\nJ-A1",
         "jacks.csv: only comments, spacing or order were changed"),
        ("survey.csv", "A-L,20.0000", "A-L,20.00000",
         "survey.csv: only comments, spacing or order were changed"),
        ("job.toml", "units", "# of this job\nunits",
         "job.toml: only comments, spacing or order were changed"),
    ],
)  # fmt: skip
def test_one_change_one_line(files, name, old, new, line):
    assert changes(files, changed(files, name, old, new)) == (line,)


def test_nothing_changed_says_nothing(files):
    assert changes(files, dict(files)) == ()


def test_other_units_are_the_same_length(files):
    metres = changed(files, "plates.csv", "measured_mm", "measured_m")
    for mm in (20, 10, 5, 2, 1):
        metres = changed(metres, "plates.csv", f"P{mm},{mm},{mm},", f"P{mm},{mm},{mm / 1000},")
    assert changes(files, metres) == ("plates.csv: only comments, spacing or order were changed",)


def test_files_that_come_and_go(files):
    more = {**files, "limits.csv": b"id,kind,seats,most_mm\nnear,difference,A-S1 A-S2,20\n"}
    assert changes(files, more) == ("limits.csv was added",)
    assert changes(more, files) == ("limits.csv was taken out",)


def test_a_new_list_under_another_name_is_compared_target_by_target(files):
    later = changed(files, "job.toml", 'file = "survey.csv"', 'file = "night-2.csv"')
    later["night-2.csv"] = later.pop("survey.csv").replace(b"B-L,20.0100", b"B-L,20.0110")
    said = changes(files, later)
    assert "night-2.csv was added" in said
    assert "survey.csv was taken out" in said
    assert "target B-L moved 1.0 mm (1.0 east)" in said


def test_many_targets_are_counted(files):
    rows = "".join(f"A-X{i},A,{i},1,10\n" for i in range(20))
    files = changed(files, "points.csv", "B-L,B,", rows + "B-L,B,")
    listed = "".join(f"A-X{i},{i}.0,1.0,10.0\n" for i in range(20))
    before = changed(files, "survey.csv", "B-L,", listed + "B-L,")
    moved = listed.replace(",10.0\n", ",10.005\n")
    said = changes(before, changed(files, "survey.csv", "B-L,", moved + "B-L,"))
    assert len(said) == 13
    assert said[-1] == "8 more targets moved less than those"


def test_spoiled_files_are_only_named(files):
    for name in files:
        for junk in (b"", b"\xff\xfe\x00", b'"', b"\x00" * 40, b"[[[["):
            said = changes(files, {**files, name: junk})
            assert said
            assert all(line for line in said)
            assert changes({**files, name: junk}, files)


def test_random_bytes_never_fail(files):
    rng = random.Random(4)
    for _ in range(300):
        name = rng.choice(sorted(files))
        raw = bytearray(files[name])
        for _ in range(rng.randrange(1, 5)):
            raw[rng.randrange(len(raw))] = rng.randrange(256)
        if bytes(raw) != files[name]:
            assert changes(files, {**files, name: bytes(raw)})


SEAT = SeatPlan("B-S1", ("P10",), ("P5",), ("P20", "P5"), -0.005, True)
PLAN = Plan(
    (SEAT,),
    (Stage(1, "B", ("B-S1",), ((0.005,),), ((-0.005,),), (0.0,), ((),), ((),)),),
    (),
    "m",
    (-0.005,),
    True,
)


@pytest.mark.parametrize(
    ("other", "lines"),
    [
        (
            replace(
                PLAN, seats=(replace(SEAT, setting=-0.004, build_up=("P20", "P2", "P2", "P2")),)
            ),
            (
                "seat B-S1: move was LOWER 5.0 mm, is LOWER 4.0 mm",
                "seat B-S1: finished pack was P20+P5, is P20+P2+P2+P2",
            ),
        ),
        (
            replace(PLAN, seats=(replace(SEAT, setting=0.0),)),
            ("seat B-S1: move was LOWER 5.0 mm, is none",),
        ),
        (replace(PLAN, stages=()), ("order of work was B (B-S1); is nothing moves",)),
        (
            replace(PLAN, stages=(replace(PLAN.stages[0], up=((0.006,),)),)),
            ("readings on the way of the jacks were changed",),
        ),
        (
            replace(PLAN, seats=(replace(SEAT, seat="A-S1"),)),
            ("seat A-S1: is new in the plan", "seat B-S1: no longer in the plan"),
        ),
        (
            replace(PLAN, method="another"),
            ("plan.json: only comments, spacing or order were changed",),
        ),
    ],
)
def test_plans(files, other, lines):
    one = {**files, "plan.json": plan_bytes(PLAN)}
    assert changes(one, {**files, "plan.json": plan_bytes(other)}) == lines


def test_plan_comes_back_as_it_was(files):
    odd = replace(PLAN, ideal=(0.1 + 0.2, 1e-17, float("inf")), id="x")
    assert read_plan(plan_bytes(odd)) == odd


@pytest.mark.parametrize("change", [(b'"method"', b'"way"'), (b'"method":"m",', b"")])
def test_plan_of_another_version_is_not_guessed(change):
    with pytest.raises(ValueError, match="Plan: unknown"):
        read_plan(plan_bytes(PLAN).replace(*change))


def test_engineers_tables_do_not_touch_the_survey(files):
    own = survey_files(files)
    assert set(own) == {"points.csv", "segments.csv", "survey.csv", "job.toml, survey"}
    lent = changed(files, "plates.csv", "P5,5,5,3", "P5,5,5,2")
    looser = changed(lent, "job.toml", "value_mm = 2.0", "value_mm = 3.0")
    assert survey_files(looser) == own
    warmer = changed(files, "job.toml", "steel_temperature_C = 15.0", "steel_temperature_C = 19.0")
    assert changes(own, survey_files(warmer)) == (
        "job.toml, survey survey.csv, steel_temperature_C: was 15, is 19",
    )
