from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job
from fitup.model import Job


@pytest.fixture
def problems_of(small_job_writer: Callable[..., Path], tmp_path: Path) -> Callable[..., list[str]]:
    """The whole text of every problem of the small job, changed; empty when it can be read."""

    def tell(**changes: object) -> list[str]:
        folder = small_job_writer(tmp_path / "job", **changes)
        try:
            read_job(folder)
        except InputError as error:
            return [str(problem) for problem in error.problems]
        return []

    return tell


@pytest.fixture
def job_of(small_job_writer: Callable[..., Path], tmp_path: Path) -> Callable[..., Job]:
    """The small job, changed, as read."""
    return lambda **changes: read_job(small_job_writer(tmp_path / "job", **changes))
