"""Every command line of README and manual runs as it is shown, in the order of its page.

The night of docs/record.md needs keys, filled forms and codes of that night: it is walked through
in test_whole_job.py, and tests/house/test_docs.py holds its options to the program.
"""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from fitup.certify.recompute import equilibrium
from fitup.openjob import open_job

ROOT: Final = Path(__file__).parents[2]
#: their commands need what a crew or another command said: journeys of their own run them
ELSEWHERE: Final = {"docs/record.md", "docs/recovery.md"}
PAGES: Final = sorted(
    p.relative_to(ROOT).as_posix()
    for p in (ROOT / "README.md", ROOT / "examples" / "README.md", *(ROOT / "docs").glob("*.md"))
    if re.search(r"^(\$ )?fitup ", p.read_text("utf-8"), re.MULTILINE)
)
#: commands that answer by their exit code: 3 is "wait" or "cannot be met", as their remark says
ANSWERS_3: Final = (
    r"fitup lockoff ",
    r"fitup (plan|check) +examples/skerrin-short",
    r"fitup recover +examples/skerrin-linked",
)
STEEL: Final = "time,steel_C\n2031-05-14T04:00,14\n2031-05-14T08:00,15\n2031-05-14T16:00,19\n"


def lines_of(page: str) -> list[str]:
    """The command lines of a page, shell variables put in."""
    found: list[str] = []
    text = (ROOT / page).read_text("utf-8")
    # blocks of every kind are read whole, or the end of one would be taken for the next one's start
    for kind, block in re.findall(r"^```(\w*)\n(.*?)^```$", text, re.DOTALL | re.MULTILINE):
        if kind not in ("", "sh"):
            continue
        shown = block
        for name, value in re.findall(r"^(\w+)=(\S+)$", block, re.MULTILINE):
            shown = shown.replace(f"${name}", value)
        found += re.findall(r"^(?:\$ )?(fitup .*)$", shown, re.MULTILINE)
    return found


def started(place: Path, fitup: Callable[..., Any]) -> None:
    """The job that most pages speak of, and the steel of its day."""
    assert fitup("start", "--example", "closure-k1").code == 0
    (place / "forecast.csv").write_text(STEEL, encoding="utf-8")


def lifted_off(place: Path, fitup: Callable[..., Any]) -> None:
    """A crew fills in lift-off.csv beside the sheets."""
    started(place, fitup)
    assert fitup("sheets", "closure-k1").code == 0
    head, *rows = (place / "closure-k1" / "out" / "lift-off.csv").read_text("utf-8").splitlines()
    assert head == "stage,moment,seat,jack,movement_mm,side,pressure_bar,who,time"
    read = [row.replace(",,above,,,", ",1.0,above,236,N. Tarn,2031-05-15T01:10") for row in rows]
    (place / "lift-off.csv").write_text("\n".join([head, *read]) + "\n", encoding="utf-8")


def moved(place: Path, fitup: Callable[..., Any]) -> None:
    """What a crew wrote down that did as it was stated, and the survey after it."""
    started(place, fitup)
    opened = open_job("closure-k1")
    job, plan, noise = opened.job, opened.plan, np.random.default_rng(1)
    rows = ["stage,moment,seat,movement_mm,side,pack,who,time"]
    for seat in plan.seats:
        if seat.disturbed:
            stage = next(s.number for s in plan.stages if seat.seat in s.seats)
            size, side = abs(seat.setting) * 1e3, "above" if seat.setting > 0 else "below"
            pack = "+".join(seat.build_up)
            rows.append(
                f"{stage},end,{seat.seat},{size:.1f},{side},{pack},R. Quay,2031-05-15T03:40"
            )
    (place / "night-14.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    moves, still = dict(zip(job.seats, plan.settings(), strict=True)), dict.fromkeys(job.seats, 0.0)
    points = ["id,E_m,N_m,H_m"]
    for name, segment in job.segments.items():
        motion = equilibrium(job, segment, moves, still).motion
        for point in (p for p in job.points.values() if p.segment == name):
            stood = opened.survey.poses[name].design2site.apply(point.design)
            e, n, h = motion.apply(stood) + noise.normal(0.0, 2e-4, 3)
            points.append(f"{point.id},{e:.5f},{n:.5f},{h:.5f}")
    (place / "night-15.csv").write_text("\n".join(points) + "\n", encoding="utf-8")


def observed(place: Path, fitup: Callable[..., Any]) -> None:
    """Two epochs of raw observations."""
    for name in ("closure-k1", "closure-k1-b"):
        shutil.copytree(place / "examples" / "skerrin-observed", place / name)


BEFORE: Final[dict[str, Callable[[Path, Callable[..., Any]], None]]] = {
    "docs/answers.md": started,
    "docs/field.md": started,
    "docs/loop.md": moved,
    "docs/review.md": started,
    "docs/stages.md": lifted_off,
    "docs/survey.md": observed,
    "docs/trust.md": started,
}


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the examples, as a checkout has them."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    # how near a search comes is not the question here
    hung = tmp_path / "examples" / "quillgate-hung" / "job.toml"
    hung.write_text(hung.read_text("utf-8").replace("search_effort = 4 ", "search_effort = 1 "))
    monkeypatch.chdir(tmp_path)
    return tmp_path


#: lines about the examples alone that ran well on another page
_RAN: Final[set[str]] = set()


@pytest.mark.parametrize("page", [p for p in PAGES if p not in ELSEWHERE])
def test_commands_run_as_shown(page: str, place: Path, fitup: Callable[..., Any]) -> None:
    BEFORE.get(page, lambda place, fitup: None)(place, fitup)
    lines = lines_of(page)
    assert lines
    for line in lines:
        _, *words = shlex.split(line, comments=True)
        if " ".join(words) in _RAN:
            continue
        said = fitup(*words)
        allowed = {0, 3} if any(re.match(one, line) for one in ANSWERS_3) else {0}
        assert said.code in allowed, f"{page}: {line}\n{said.err}"
        if "closure" not in line and "my-" not in line:
            _RAN.add(" ".join(words))


def test_every_page_with_commands_is_walked():
    assert {"README.md", "docs/loop.md", "docs/trust.md", "examples/README.md"} <= set(PAGES)
    assert set(BEFORE) | ELSEWHERE <= set(PAGES)
