"""The certificate's own solution of a frame against the other one, on frames changed at random."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.carry import carry
from fitup.certify.frame import FrameStates
from fitup.checks import checks_of
from fitup.errors import CertificateRefused
from fitup.frames import Array
from fitup.jobfolder import read_job, start_job
from fitup.model import Job
from fitup.model.actions import MemberLoad, NodeLoad, Temperature
from fitup.model.frame import Body, FrameSeat, Spring, Tie
from fitup.structure import lifting_of, solve_job
from fitup.survey import Survey, read_survey


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Survey]:
    folder = tmp_path_factory.mktemp("frame") / "job"
    start_job(folder, frame=True)
    job = read_job(folder)
    return job, read_survey(folder, job)


def changed(job: Job, seed: int) -> Job:
    """Offsets, a release, a body, springs, heat, odd loads, a gap, ties of its own."""
    rng = np.random.default_rng(seed)
    model = job.frame
    assert model is not None
    members = {
        name: replace(
            m,
            offset_i=rng.normal(0.0, 0.3, 3),
            offset_j=rng.normal(0.0, 0.3, 3),
            Asz=np.inf if rng.random() < 0.3 else m.Asz,
            up=np.array([0.05, 0.1, 1.0]),
        )
        for name, m in model.members.items()
    }
    members["DA2"] = replace(members["DA2"], releases=frozenset({4}))
    nodes = dict(model.nodes)
    nodes["X"] = replace(
        nodes["A100"], id="X", position=nodes["A100"].position + rng.normal(size=3)
    )
    springs = {
        **model.springs,
        "turn": Spring("turn", "A88", None, rng.normal(size=3), 3e8, turns=True),
        "tie": Spring("tie", "A88", "P64", rng.normal(size=3), 2e7),
        "twist": Spring("twist", "B100", "B112", rng.normal(size=3), 2e8, turns=True),
    }
    frame = replace(
        model,
        nodes=nodes,
        members=members,
        springs=springs,
        bodies={"b": Body("b", ("A100", "X"))},
        node_loads=(NodeLoad("n", "X", rng.normal(size=6) * 5e4),),
        member_loads=(
            *model.member_loads,
            MemberLoad("p", "DB2", rng.normal(size=3) * 1e5, 7.0),
            MemberLoad("w", "DB3", rng.normal(size=3) * 1e4, 2.0, 5.0),
        ),
        temperatures=(Temperature("t", "DA3", 8.0, 6.0, -4.0),),
        seats={"B1-S4": FrameSeat("B1-S4", True, gap=0.002, tie=Tie(node="B112"))},
        ties={"A1-L": Tie(node="X"), "A1-T1": Tie(member="DA3", at=2.5), "A1-R": Tie(member="DA3")},
    )
    seats = {n: replace(s, reaction_least=0.0) for n, s in job.seats.items()}
    seats["A1-S1"] = replace(seats["A1-S1"], reaction_now=300e3)
    return replace(job, frame=frame, seats=seats)


def moves(job: Job, seed: int) -> Iterator[Array]:
    rng = np.random.default_rng(seed)
    for size in (0.0, 0.002, 0.01, 0.02):
        yield rng.normal(size=len(job.seats)) * size


@pytest.mark.parametrize("seed", range(5))
def test_both_solutions_agree(template: tuple[Job, Survey], seed: int) -> None:
    job, survey = changed(template[0], seed), template[1]
    lifting = lifting_of(job, solve_job(job))
    states = FrameStates(job, survey)
    checks = checks_of(job)
    lifted = 0
    for x in moves(job, seed):
        change, reactions = lifting.state(x)
        there = lifting.about(x)
        again = states.at(dict(zip(job.seats, x.tolist(), strict=True)), checks)
        assert list(again.reactions.values()) == pytest.approx(reactions, abs=5.0)
        # a true rotation goes beyond the small turn by its square
        square = float(np.abs(x).max()) ** 2
        assert again.change == pytest.approx(change, abs=1e-6 + 0.15 * square)
        for force in there.forces:
            now = force.now + float(force.row @ x)
            scale = max(abs(f.now) for f in there.forces if f.kind == force.kind)
            assert again.forces[force.id] == pytest.approx(now, rel=1e-6, abs=1e-6 * scale)
        lifted += int((reactions <= 0.0).sum())
    assert lifted > 1


def test_least_index_ends_or_refuses() -> None:
    q, R = np.array([-1.0, 2.0]), np.zeros((2, 2))
    with pytest.raises(CertificateRefused) as caught:
        carry(q, R, np.ones(2, bool))
    assert str(caught.value) == "which seats carry was not found a second time"
