"""Starting a folder: what is written, and every refusal, whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job, start_job


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
