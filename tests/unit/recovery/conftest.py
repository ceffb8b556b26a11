"""The shipped closure joint, planned and certified once, with what finds ways out of its stages."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitup.openjob import OpenJob, open_job

EXAMPLE = Path(__file__).parents[3] / "examples" / "skerrin-closure"


@pytest.fixture(scope="session")
def closure() -> OpenJob:
    """The job with its plan."""
    return open_job(EXAMPLE)
