"""Loads whose ends lie beside a cut of the member lose nothing and gain nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.jobfolder import read_job, start_job
from fitup.model import Job
from fitup.model.frame import MemberLoad
from fitup.structure import solve_job
from fitup.structure.frame.sanity import sanity_of

DOWN = np.array([0.0, 0.0, -50e3])


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    folder: Path = tmp_path_factory.mktemp("mesh") / "job"
    start_job(folder, frame=True)
    return read_job(folder)


def loaded(job: Job, *ends: tuple[float, float]) -> Job:
    """The member of 12 m with seats at 1 and 11 m, under even loads."""
    assert job.frame is not None
    loads = tuple(MemberLoad(f"L{k}", "DA3", DOWN, *e) for k, e in enumerate(ends))
    return replace(job, frame=replace(job.frame, member_loads=loads))


@pytest.mark.parametrize("beside", [-9e-4, -5e-4, 0.0, 5e-4, 9e-4, 2e-3])
def test_weight_equals_reactions(job: Job, beside: float) -> None:
    """Nearer than a millimetre to the seat the load has no cut of its own."""
    one = loaded(job, (0.0, 11.0 + beside))
    found = sanity_of(one, solve_job(one))
    assert found.unbalanced == pytest.approx(0.0, abs=0.01)
    assert not [f for f in found.faults if "good enough" in f]


def test_a_load_in_two_parts_is_the_load(job: Job) -> None:
    whole, parts = (
        solve_job(loaded(job, *ends)).reactions()[0]
        for ends in ([(0.0, 12.0)], [(0.0, 11.0005), (11.0005, 12.0)])
    )
    assert parts == pytest.approx(whole, abs=1.0)
