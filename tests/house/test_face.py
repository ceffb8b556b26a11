"""``import fitup`` offers a dozen names, loads nothing slow, and opens a job once."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

import fitup
from fitup import openjob

ROOT = Path(__file__).parents[2]


def test_every_name_loads_and_says_what_it_is_for():
    for name in fitup.__all__:
        assert name in dir(fitup)
        assert name == "__version__" or getattr(fitup, name).__doc__
    assert len(fitup.__all__) <= 15


def test_names_for_the_type_checker_are_those_that_load():
    text = (ROOT / "fitup" / "__init__.py").read_text("utf-8")
    block = text.split("if TYPE_CHECKING:\n")[1].split("\n\n")[0]
    typed = {
        name.strip(): module
        for module, names in re.findall(r"from (\S+) import (.+)", block)
        for name in names.split(",")
    }
    assert typed == fitup._HOME
    assert {*typed, "__version__"} == set(fitup.__all__)


def test_the_pages_use_names_of_the_face():
    page = (ROOT / "README.md").read_text("utf-8")
    steps = next(line for line in page.splitlines() if "are the steps by themselves" in line)
    names = [n.removeprefix("fitup.") for n in re.findall(r"`([\w.]+)`", steps)]
    assert len(names) == 7
    assert set(names) <= set(fitup.__all__)


def test_import_loads_nothing_slow():
    code = "import fitup, sys; print([m for m in ('numpy', 'scipy', 'click') if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def test_a_name_that_is_not_there():
    with pytest.raises(AttributeError, match="module 'fitup' has no attribute 'plans'"):
        _ = fitup.plans


def test_each_thing_is_computed_once(
    tmp_path: Path, small_job_writer: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
):
    asked: list[str] = []

    def counted(name: str) -> None:
        real = getattr(openjob, name)

        def ask(*given: object) -> object:
            asked.append(name)
            return real(*given)

        monkeypatch.setattr(openjob, name, ask)

    for name in ("read_job", "read_survey", "joint_state", "influence_of"):
        counted(name)
    opened = fitup.open_job(small_job_writer(tmp_path / "small"))
    assert asked == ["read_job"]
    assert opened.plan is opened.plan
    assert opened.certificate.plan_id == opened.plan.id
    assert asked == ["read_job", "read_survey", "joint_state", "influence_of"]
    again = opened.with_plan(opened.plan)
    assert again.certificate == opened.certificate
    assert again.plan is opened.plan
    assert len(asked) == 4


def test_a_changed_job_keeps_its_survey(tmp_path: Path, small_job_writer: Callable[..., Path]):
    opened = fitup.open_job(str(small_job_writer(tmp_path / "small")))
    seat = opened.job.seats["B-S3"]
    seats = {**opened.job.seats, "B-S3": replace(seat, raise_most=0.0, lower_most=0.0)}
    other = opened.changed(replace(opened.job, seats=seats))
    assert other.survey is opened.survey
    assert other.state is opened.state
    assert next(s for s in other.plan.seats if s.seat == "B-S3").setting == 0.0
    assert other.plan.id != opened.plan.id
