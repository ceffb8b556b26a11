"""An engineer's day: check, joints, plan, why not, a change, sheets that are the same each time."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from fitup.checks import checks_of
from fitup.jobfolder import read_job
from fitup.structure import rigid_influence
from fitup.survey import read_survey

NO_TRAVEL = [(",60,3,100,1400,,8,8", ",60,3,100,1400,,2,2")] * 6


@pytest.fixture
def job(tmp_path, small_job_writer):
    return lambda **changes: small_job_writer(tmp_path / "job", **changes)


def hashes(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


def run(*args, **more):
    """A true process of its own, as a shell starts it."""
    return subprocess.run(
        [sys.executable, "-m", "fitup", *(str(a) for a in args)],
        capture_output=True,
        timeout=60,
        check=False,
        **more,
    )


def test_from_check_to_sheets(fitup, job):
    folder = job()
    said = fitup("check", folder)
    assert said.code == 0
    assert said.out.startswith("Small invented joint: nothing wrong found in the tables.\n")

    joints = json.loads(fitup("joints", folder, "--json").out)
    step = next(c for c in joints["checks"] if c["id"] == "J1/P1/step")
    assert step["value_si"] == pytest.approx(0.006, abs=1e-9)
    assert (step["side"], step["inside"]) == ("ahead high", False)

    before = sorted(p.name for p in folder.iterdir())
    plan = fitup("plan", folder, "--json")
    assert plan.code == 0
    result = json.loads(plan.out)
    assert result["plan"]["inside"] is True
    steps = [c for c in result["certificate"]["checks"] if c["quantity"] == "step"]
    assert max(abs(c["after"]) for c in steps) <= 0.002
    assert sorted(p.name for p in folder.iterdir()) == before  # a plan writes nothing

    sheets = fitup("sheets", folder, "--json")
    assert sheets.code == 0
    written = json.loads(sheets.out)
    assert written["plan"]["id"] == result["plan"]["id"]
    assert sorted(written["written"]) == sorted(str(p) for p in (folder / "out").iterdir())


def test_why_not_then_the_smallest_change_frees_it(fitup, job):
    folder = job(seats=NO_TRAVEL)
    said = fitup("plan", folder)
    assert said.code == 3
    assert "TOLERANCE CANNOT BE MET with the job as it stands." in said.out
    obstacles = json.loads(fitup("plan", folder, "--json").out)["plan"]["obstacles"]
    assert all(o["verified"] for o in obstacles)

    said = fitup("sheets", folder)
    assert said.code == 3
    assert "No move sheets: a check is outside its tolerance." in said.out
    names = {p.name for p in (folder / "out").iterdir()}
    assert {"report.pdf", "shim-schedule.pdf", "obstacles.csv"} <= names
    assert not [n for n in names if n.startswith("move-")]

    job()  # the seats may travel again
    assert fitup("sheets", folder).code == 0
    assert "move-J1.pdf" in {p.name for p in (folder / "out").iterdir()}


def test_same_input_same_bytes(fitup, job, tmp_path):
    folder = job()
    assert fitup("sheets", folder, "--to", tmp_path / "one").code == 0
    result = run("sheets", folder, "--to", tmp_path / "two", env={**os.environ, "TZ": "Asia/Tokyo"})
    assert result.returncode == 0
    assert hashes(tmp_path / "one") == hashes(tmp_path / "two")


def influence_file(folder):
    """The rigid influence written as an engineer's table, every other row in another unit."""
    job = read_job(folder)
    effect = rigid_influence(job, read_survey(folder, job))
    rows = ["row,unit," + ",".join(effect.seats)]
    units = {True: ("mm_per_mm", 1.0), False: ("rad_per_in", 0.0254)}
    for check, values in zip(checks_of(job), effect.A, strict=True):
        unit, factor = units[check.is_length]
        rows.append(f"{check.id},{unit}," + ",".join(repr(float(v * factor)) for v in values))
    for seat, values in zip(effect.seats, effect.R, strict=True):
        rows.append(f"reaction/{seat},kN_per_mm," + ",".join(repr(float(v / 1e6)) for v in values))
    loads = dict(zip(effect.seats, effect.r0.tolist(), strict=True))
    return "\n".join(rows) + "\n", loads


def test_influence_table_gives_the_plan_of_rigid_segments(fitup, job):
    folder = job()
    rigid = json.loads(fitup("plan", folder, "--json").out)["plan"]
    table, loads = influence_file(folder)
    given = [(",60,3,100,1400,,8,8", f",60,3,100,1400,{n / 1e3!r},8,8") for n in loads.values()]
    named = ("[[survey]]", '[influence]\ntable = "influence.csv"\n\n[[survey]]')
    job(influence=table, job=named, seats=given)
    again = fitup("plan", folder, "--json")
    assert again.code == 0
    plan = json.loads(again.out)["plan"]
    assert [s["build_up"] for s in plan["seats"]] == [s["build_up"] for s in rigid["seats"]]
    np.testing.assert_allclose(
        [s["setting"] for s in plan["seats"]], [s["setting"] for s in rigid["seats"]], atol=1e-9
    )
    assert plan["stages"] == rigid["stages"]


def test_influence_table_with_rows_missing_names_them(fitup, job):
    folder = job()
    table, _ = influence_file(folder)
    rows = table.splitlines(keepends=True)
    missing = [rows[2].split(",")[0], rows[-1].split(",")[0]]
    named = ("[[survey]]", '[influence]\ntable = "influence.csv"\n\n[[survey]]')
    job(influence="".join(rows[:2] + rows[3:-1]), job=named)
    said = fitup("check", folder)
    assert said.code == 2
    for name in missing:
        assert (
            f"fitup: influence.csv, row: found no row '{name}'; allowed: a row for each; "
            "export it too"
        ) in said.lines


def test_influence_table_of_another_layout_is_one_line(fitup, job):
    folder = job()
    table, _ = influence_file(folder)
    named = ("[[survey]]", '[influence]\ntable = "influence.csv"\n\n[[survey]]')
    job(influence=table.replace(",", ";"), job=named)
    said = fitup("check", folder)
    assert said.code == 2
    assert said.lines[0].startswith("fitup: influence.csv, row 1: found row;unit;A-S1")


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (
            {"jacks": ("J-A1,A-S1,2000", "J-A1,A-S1,300")},
            "fitup: seat A-S1: carries 424 kN now, computed from the weight, on jacks of 300 kN in "
            "all; more or larger jacks at this seat in jacks.csv, or hold = yes in seats.csv",
        ),
        (
            {"seats": ("100,1400", "100,400")},
            "fitup: seat A-S1: carries 424 kN now, computed from the weight, outside its own "
            "limits of 100 kN to 400 kN; check weight and limits, or give reaction_now in "
            "seats.csv",
        ),
        (
            {"seats": ("100,1400,,", "100,1400,2100,")},
            "fitup: seats.csv, row 2, reaction_now_kN: found 2100 kN on jacks of 2000 kN in all; "
            "allowed: a present load below the jacks' capacity; more or larger jacks at this seat",
        ),
    ],
)
def test_present_load_beyond_seat_or_jack_is_found_by_check(fitup, job, change, line):
    said = fitup("check", job(**change))
    assert said.code == 2
    assert line in said.lines


def test_ctrl_c_leaves_the_old_sheets_as_they_were(job):
    folder = job()
    assert run("sheets", folder).returncode == 0
    before = hashes(folder / "out")
    inputs = sorted(p.name for p in folder.iterdir())
    process = subprocess.Popen(
        [sys.executable, "-m", "fitup", "sheets", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    assert process.stderr.readline() == "  ... continuous optimum\n"
    time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    # Python may end itself by the signal; a shell shows 130 for either
    assert process.returncode in (130, -signal.SIGINT)
    assert out == ""
    assert err.splitlines()[-1] == "fitup: stopped; nothing was written"
    assert "Traceback" not in err
    assert hashes(folder / "out") == before
    assert sorted(p.name for p in folder.iterdir()) == inputs


def test_ctrl_c_ends_a_second_opinion_at_once():
    closure = Path(__file__).parents[2] / "examples" / "skerrin-closure"
    process = subprocess.Popen(
        [sys.executable, "-m", "fitup", "plan", str(closure), "--second-opinion", "600"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    while "second opinion by HiGHS" not in process.stderr.readline():
        assert process.poll() is None
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode in (130, -signal.SIGINT)
    assert out == ""
    assert err.splitlines()[-1] == "fitup: stopped; nothing was written"


def test_reader_of_a_pipe_that_goes_away_is_no_error(job):
    process = subprocess.Popen(
        [sys.executable, "-m", "fitup", "joints", str(job())],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait(timeout=30) == 0


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp932"])
def test_terminal_without_the_signs(job, encoding):
    named = [("Small invented joint", "Small joint \u6865 5 m\u00b2"), ("_C = 15.0", "_C = 25.0")]
    for command, code in (("check", 2), ("joints", 2)):
        result = run(
            command,
            job(job=named),
            env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
        )
        lines = result.stderr.splitlines()
        assert (result.returncode, len(lines)) == (code, 3)
        assert lines[0] == b"fitup: survey verdict: do not use"
        assert lines[1].startswith(b"fitup: segment A: surveyed at 15.0 ")
    result = run(
        "check",
        job(job=named[0]),
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
    )
    assert (result.returncode, result.stderr) == (0, b"")
    assert result.stdout.startswith(b"Small joint ")


def test_a_second_opinion_stands_beside_the_plan(fitup, job):
    folder = job()
    before = hashes(folder)
    plain = fitup("plan", folder)
    said = fitup("plan", folder, "--second-opinion", "60")
    assert said.code == plain.code == 0
    stated = [line for line in said.out.splitlines() if "second opinion" in line]
    assert len(stated) == 1
    assert stated[0].startswith("  second opinion, least squares: HiGHS comes to the same, ")
    # the plan is the same with and without
    assert said.out.replace(stated[0] + "\n", "") == plain.out
    assert hashes(folder) == before


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            ["--second-opinion", "nan"],
            "fitup: command line, --second-opinion: found nan; allowed: 1 to 86400 seconds; give "
            "how long it may search",
        ),
        (
            ["--second-opinion", "inf"],
            "fitup: command line, --second-opinion: found inf; allowed: 1 to 86400 seconds; give "
            "how long it may search",
        ),
        (
            ["--by", "highs"],
            "fitup: command line, --by: found 'highs' without --second-opinion; allowed: a solver "
            "with its seconds; add --second-opinion SECONDS, or leave --by out",
        ),
    ],
)
def test_a_second_opinion_that_cannot_be_asked(fitup, job, options, message):
    said = fitup("plan", job(), *options)
    assert (said.code, said.lines) == (2, [message])


def test_a_second_opinion_by_a_solver_that_is_not_there(fitup, job):
    said = fitup("plan", job(), "--second-opinion", "60", "--by", "abacus")
    assert said.code == 2
    assert said.lines[0].startswith(
        "fitup: command line, --by: found 'abacus'; allowed: a general solver that is installed: "
    )
