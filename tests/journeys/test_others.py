"""An engineer who would rather work elsewhere, and one who stops a search by hand."""

from __future__ import annotations

import json
import signal
import subprocess
import sys

import pytest

from fitup.cli.text import heed_ctrl_c, progress, stop_asked


@pytest.fixture
def job(tmp_path, small_job_writer):
    return small_job_writer(tmp_path / "job")


def everything(folder):
    """Every file below a folder with its bytes."""
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_another_plan_is_chosen_by_its_line_in_job_toml(fitup, job):
    before = everything(job)
    said = fitup("others", job, "--plans", "3")
    assert said.code == 0
    assert everything(job) == before
    lines = said.out.splitlines()
    assert lines[0].split()[:2] == ["plan", "worst"]
    line = next(x for x in lines if x.startswith("  plan 2: leave_alone = "))
    objective = line.split(": ", 1)[1]
    stated = json.loads(fitup("others", job, "--plans", "3", "--json").out)
    assert [p["inside"] for p in stated["plans"]] == [True] * 3
    assert stated["plans"][0]["leave_alone"] == []
    second = stated["plans"][1]
    assert objective == "leave_alone = [" + ", ".join(f'"{s}"' for s in second["leave_alone"]) + "]"
    assert set(second["leave_alone"]) <= set(stated["plans"][0]["seats"])
    assert not set(second["leave_alone"]) & set(second["seats"])
    assert second["squares_least"] <= second["squares"]
    settings = job / "job.toml"
    text = settings.read_text(encoding="utf-8")
    assert "[objectives]" not in text
    settings.write_text(f"{text}\n[objectives]\n{objective}\n", encoding="utf-8")
    plan = json.loads(fitup("plan", job, "--json").out)["plan"]
    assert [s["seat"] for s in plan["seats"] if s["disturbed"]] == second["seats"]
    seen = fitup("whatif", job)
    assert seen.code == 0


def test_what_if_a_seat_were_left_alone(fitup, job):
    plan = json.loads(fitup("plan", job, "--json").out)["plan"]
    moved = next(s["seat"] for s in plan["seats"] if s["disturbed"])
    said = fitup("whatif", job, "--leave", moved)
    assert said.code in (0, 3)
    rows = said.out.split("Packs that would differ, bottom to top\n")[1].splitlines()
    assert any(row.startswith(moved) for row in rows)
    wrong = fitup("whatif", job, "--leave", "nowhere")
    assert wrong.code == 2
    assert "command line, --leave: found 'nowhere'; allowed: a seat of the job: " in wrong.err


@pytest.mark.parametrize(
    ("objective", "stated"),
    [
        (
            'leave_alone = ["A-S9"]',
            "fitup: job.toml, objectives.leave_alone: found 'A-S9'; allowed: an id of seats.csv; "
            "correct it, or take it out",
        ),
        (
            "leave_alone = 3",
            "fitup: job.toml, objectives.leave_alone: found 3; allowed: a list of seats such as "
            '["A-S1", "A-S2"]; correct it',
        ),
    ],
)
def test_a_line_that_names_no_seat(fitup, job, objective, stated):
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n[objectives]\n{objective}\n")
    said = fitup("check", job)
    assert said.code == 2
    assert said.lines == [stated]


#: the search of the small job is over too soon to be stopped by hand: the order takes its time
SLOW = """
import time
from fitup.cli import main
from fitup.plan import plan
order_stages = plan.order_stages
plan.order_stages = lambda *given: (time.sleep(1.0), order_stages(*given))[1]
main()
"""


def started(job, *more):
    """Start ``fitup plan`` and wait until it looks for the least squares."""
    process = subprocess.Popen(
        [sys.executable, "-c", SLOW, "plan", str(job), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    for line in process.stderr:
        if line == "  ... second objective: least squares\n":
            break
    return process


def test_ctrl_c_shows_the_best_plan_so_far(job):
    before = everything(job)
    process = started(job)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "  ... Ctrl-C: finishing with the best plan so far; once more drops it\n" in err
    assert out.splitlines()[-2:] == [
        "",
        "STOPPED BY HAND: the best plan so far, certified like any other. What was proven of it "
        "until then stands under How good it is. Nothing was written.",
    ]
    assert "; stopped by hand\n" in out
    assert "certificate: stock counted" in out
    assert everything(job) == before


def test_ctrl_c_is_told_in_json(job):
    process = started(job, "--json")
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=60)
    assert process.returncode == 130
    assert json.loads(out)["stopped"] is True


def test_ctrl_c_twice_drops_the_plan(job):
    process = started(job)
    process.send_signal(signal.SIGINT)
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith("  ... Ctrl-C: finishing"):
            break
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode in (130, -signal.SIGINT)
    assert "Traceback" not in err
    assert out == ""
    assert err.splitlines()[-1] == "fitup: stopped; nothing was written"


def test_ctrl_c_within_the_compiler_stops_at_the_next_line():
    """What compiles the search calls back into Python, where an exception would only be printed."""
    before = signal.getsignal(signal.SIGINT)
    inside = compile("signal.raise_signal(signal.SIGINT)", "/lib/llvmlite/binding/x.py", "exec")
    try:
        heed_ctrl_c()
        exec(inside, {"signal": signal})
        assert stop_asked()
        with pytest.raises(KeyboardInterrupt):
            progress("next")
    finally:
        heed_ctrl_c()
        signal.signal(signal.SIGINT, before)
