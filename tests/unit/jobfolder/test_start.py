"""Starting a folder: what is written, and every refusal, whole."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job, start_job
from fitup.network.observations import LEVELS, SHOTS
from fitup.structure import with_thermal_response
from fitup.survey import read_survey


def refusal(folder: Path) -> str:
    with pytest.raises(InputError) as caught:
        start_job(folder)
    return str(caught.value)


def test_template_goes_into_a_new_folder_and_can_be_read(tmp_path: Path) -> None:
    written = start_job(tmp_path / "new" / "closure")
    assert {path.parent for path in written} == {tmp_path / "new" / "closure"}
    assert {"job.toml", "seats.csv", "plates.csv"} <= {path.name for path in written}
    assert all(path.stat().st_size > 0 for path in written)
    assert read_job(tmp_path / "new" / "closure").seats


@pytest.mark.parametrize("frame", [False, True])
def test_template_of_observations_is_a_survey_to_be_used(tmp_path: Path, frame: bool) -> None:
    """What an instrument read stands in place of the coordinate list, control and all."""
    written = start_job(tmp_path / "night", frame=frame, observations=True)
    names = {path.name for path in written}
    assert {"night-1.csv", "night-1-levels.csv"} <= names
    assert "survey.csv" not in names
    job = read_job(tmp_path / "night")
    assert [(e.file, e.observed, e.levelling) for e in job.epochs] == [
        ("night-1.csv", True, "night-1-levels.csv")
    ]
    assert list(job.control) == ["CP1", "CP2", "CP3", "CP4"]
    assert read_survey(tmp_path / "night", with_thermal_response(job)).verdict.word == "use"


def test_observations_tell_of_every_column(tmp_path: Path) -> None:
    start_job(tmp_path / "night", observations=True)
    for file, columns in (("night-1.csv", SHOTS), ("night-1-levels.csv", LEVELS)):
        text = (tmp_path / "night" / file).read_text("utf-8")
        notes = "\n".join(line for line in text.splitlines() if line.startswith("#"))
        assert [c.name for c in columns if not re.search(rf"\b{c.name}\b", notes)] == []


def test_the_night_is_what_its_maker_writes(tmp_path: Path) -> None:
    root = Path(__file__).parents[3]
    maker = root / "examples" / "make_night.py"
    subprocess.run([sys.executable, str(maker), str(tmp_path)], check=True, cwd=maker.parent)
    made = {path.name: path.read_text("utf-8") for path in tmp_path.iterdir()}
    there = root / "fitup" / "jobfolder" / "template_observed"
    assert made == {path.name: path.read_text("utf-8") for path in there.iterdir()}


def test_empty_folder_will_do(tmp_path: Path) -> None:
    assert start_job(tmp_path)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("mine")
    stated = "found files already there; allowed: a new or empty folder; name another"
    assert refusal(tmp_path) == f"{tmp_path}: {stated}"
    assert refusal(tmp_path / "job.toml") == f"{tmp_path / 'job.toml'}: {stated}"
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("job.toml", "mine")]


@pytest.mark.parametrize("call", ["mkdir", "write_bytes"])
def test_folder_that_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    def refuse(self: Path, *args: object, **kwargs: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, call, refuse)
    root = tmp_path / "new"
    assert refusal(root) == (
        f"{root}: found Permission denied; allowed: a writable folder; ask for access"
    )
