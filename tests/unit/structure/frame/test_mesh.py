"""Loads whose ends lie beside a cut of the member lose nothing and gain nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.jobfolder import read_job, start_job
from fitup.model import Job
from fitup.model.actions import MemberLoad
from fitup.model.frame import Tie
from fitup.structure import lifting_of, solve_job
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


@pytest.mark.parametrize("beside", [-0.019, -9e-3, -5e-4, 0.0, 5e-4, 9e-3, 0.019, 0.021])
def test_weight_equals_reactions(job: Job, beside: float) -> None:
    """Nearer than 20 mm to the seat the load has no cut of its own."""
    one = loaded(job, (0.0, 11.0 + beside))
    found = sanity_of(one, solve_job(one))
    assert found.unbalanced == pytest.approx(0.0, abs=0.01)
    assert not [f for f in found.faults if "good enough" in f]


def test_a_load_in_two_parts_is_the_load(job: Job) -> None:
    whole, parts = (
        solve_job(loaded(job, *ends)).reactions()[0]
        for ends in ([(0.0, 12.0)], [(0.0, 11.012), (11.012, 12.0)])
    )
    assert parts == pytest.approx(whole, abs=1.0)


@pytest.mark.parametrize("apart", [1.5e-3, 2e-3, 9e-3, 15e-3, 25e-3])
@pytest.mark.parametrize("shear", [True, False])
def test_a_point_close_to_a_seat_or_a_node_is_no_mechanism(
    job: Job, apart: float, shear: bool
) -> None:
    """Seats at 1 and 11 m of the member; the same frame with the point a metre away."""
    frame = job.frame
    assert frame is not None
    if not shear:
        rigid = {n: replace(m, Asy=np.inf, Asz=np.inf) for n, m in frame.members.items()}
        frame = replace(frame, members=rigid)

    def reactions(at: float) -> np.ndarray:
        ties = {**frame.ties, "A1-L": Tie(member="DA3", at=at)}
        tied = replace(job, frame=replace(frame, ties=ties))
        solved = solve_job(tied)
        assert not sanity_of(tied, solved).faults
        return lifting_of(tied, solved).state(np.zeros(len(job.seats)))[1]

    plain = reactions(5.0)
    for at in (1.0 + apart, 11.0 - apart, apart, 12.0 - apart):
        assert reactions(at) == pytest.approx(plain, rel=2e-4)
