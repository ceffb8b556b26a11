"""A frame whose seats may lift off: its slopes touch what contact gives; stiff, it is rigid."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.jobfolder import read_job, start_job
from fitup.model import Job
from fitup.model.actions import NodeLoad
from fitup.model.frame import FrameModel, FrameSeat, Node, Tie
from fitup.structure import lifting_of, rigid_influence, solve_job
from fitup.structure.frame.lifting import Lifting
from fitup.survey import Survey


@pytest.fixture(scope="module")
def lifting(tmp_path_factory: pytest.TempPathFactory) -> Lifting:
    folder: Path = tmp_path_factory.mktemp("lifting") / "job"
    start_job(folder, frame=True)
    job = read_job(folder)
    seats = {n: replace(s, reaction_least=0.0) for n, s in job.seats.items()}
    job = replace(job, seats=seats)
    return lifting_of(job, solve_job(job))


@pytest.mark.parametrize("seed", range(6))
def test_slope_touches_what_contact_gives(lifting: Lifting, seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=8) * 0.01
    here = lifting.about(x)
    for y in (x, x + rng.normal(size=8) * 1e-8):
        change, reactions = here.straight(y)
        true_change, true_reactions = lifting.state(y)
        assert change == pytest.approx(true_change, abs=1e-12)
        assert reactions == pytest.approx(true_reactions, abs=1e-3)
    assert here.state(x)[0] == pytest.approx(here.straight(x)[0], abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_what_keeps_the_same_seats_carrying(lifting: Lifting, seed: int) -> None:
    """Beyond the limits of a piece the straight line is wrong, within them it is not."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=8) * 0.008
    stays, here = lifting.stays(x), lifting.about(x)
    assert all(s.now + s.row @ x >= -1e-6 for s in stays)
    way = rng.normal(size=8)
    ends = [-(s.now + s.row @ x) / (s.row @ way) for s in stays if s.row @ way < 0.0]
    nearest = min(ends)
    for share, same in ((0.99, True), (1.02, False)):
        y = x + share * nearest * way
        apart = np.abs(here.straight(y)[1] - lifting.state(y)[1]).max()
        assert (apart < 1.0) == same


def test_a_stiff_frame_is_the_rigid_segment(small_case: tuple[Job, Survey]) -> None:
    """One node for each segment, held as friction holds it, everything tied to that node."""
    job, survey = small_case
    segments = job.segments.values()
    frame = FrameModel(
        {s.id: Node(s.id, s.centre, frozenset({0, 1, 5})) for s in segments},
        {},
        node_loads=tuple(
            NodeLoad(s.id, s.id, np.array([0.0, 0.0, -s.weight, 0.0, 0.0, 0.0])) for s in segments
        ),
        seats={s.id: FrameSeat(s.id, True, tie=Tie(node=s.segment)) for s in job.seats.values()},
        ties={p.id: Tie(node=p.segment) for p in job.points.values()},
    )
    own = replace(job, frame=frame, influence_by="frame")
    stiff = lifting_of(own, solve_job(own)).about(np.zeros(len(job.seats)))
    rigid = rigid_influence(job, survey)
    # points stand a few millimetres from their design, which is all that differs
    assert pytest.approx(rigid.A, abs=1.5e-3) == stiff.A
    assert pytest.approx(rigid.R, abs=1e-6 * 4e8) == stiff.R
    assert stiff.r0 == pytest.approx(rigid.r0, rel=1e-9)
