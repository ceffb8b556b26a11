"""Taking off what is temporary: against closed forms, against the certificate's own path."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.frame import FrameStates
from fitup.certify.release import release_change, released_targets
from fitup.checks import checks_of, joint_state
from fitup.errors import StructureError
from fitup.jobfolder import read_job, start_job
from fitup.model import Job
from fitup.model.cables import FrameCable
from fitup.model.frame import FrameSeat, Spring
from fitup.structure import preset_for_release, release_of
from fitup.survey import Survey, read_survey

UP = np.array([0.0, 0.0, 1.0])


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Survey]:
    folder = tmp_path_factory.mktemp("release") / "job"
    start_job(folder, frame=True)
    job = read_job(folder)
    return job, read_survey(folder, job)


def with_springs(job: Job, *springs: Spring, **seats: FrameSeat) -> Job:
    model = job.frame
    assert model is not None
    own = {n.replace("_", "-"): s for n, s in seats.items()}
    added = {s.id: s for s in springs}
    return replace(job, frame=replace(model, springs={**model.springs, **added}, seats=own))


def strongback(holds: float = 40e3) -> Spring:
    return Spring("strongback", "A100", "B100", UP, 5e6, temporary=True, holds=holds)


def test_nothing_temporary_is_nothing_to_release(template: tuple[Job, Survey]) -> None:
    assert release_of(template[0]) is None
    state = joint_state(*template)
    assert preset_for_release(template[0], state) is state


def test_strongback_lets_the_two_sides_go(template: tuple[Job, Survey]) -> None:
    """It held the back side up and the ahead side down by 40 kN; both ends are alike."""
    job = with_springs(template[0], strongback())
    release = release_of(job)
    assert release is not None
    change = dict(zip((c.id for c in checks_of(job)), release.change.tolist(), strict=True))
    assert change["level/A1-C"] == pytest.approx(-change["level/B1-C"], rel=0.005)
    assert change["level/A1-C"] < 0.0 < change["J1/P2/step"]
    assert change["J1/P2/step"] == pytest.approx(change["level/B1-C"] - change["level/A1-C"])
    # the back side now bears on its own seats with what the strongback carried, and more
    assert release.reactions["A1-S1"] > release.reactions["B1-S1"]
    twice = release_of(with_springs(template[0], strongback(80e3)))
    assert twice is not None
    assert twice.change == pytest.approx(2.0 * release.change, abs=1e-12)


def test_a_seat_taken_off_gives_its_load_to_the_others(template: tuple[Job, Survey]) -> None:
    job = with_springs(template[0], A1_S3=FrameSeat("A1-S3", True, temporary=True))
    release = release_of(job)
    assert release is not None
    assert "A1-S3" not in release.reactions
    change = dict(zip((c.id for c in checks_of(job)), release.change.tolist(), strict=True))
    # the right side, where it stood, goes down more than the left
    assert change["level/A1-T2"] < change["level/A1-T1"]


@pytest.mark.parametrize("seed", range(3))
def test_certificate_finds_the_same(template: tuple[Job, Survey], seed: int) -> None:
    rng = np.random.default_rng(seed)
    tie = Spring("tie", "A88", "B112", rng.normal(size=3), 4e6, temporary=True, holds=9e4)
    gone = FrameSeat("B1-S4", True, temporary=True)
    job = with_springs(template[0], strongback(), tie, B1_S4=gone)
    job = replace(job, seats={n: replace(s, reaction_least=0.0) for n, s in job.seats.items()})
    release = release_of(job)
    assert release is not None
    states = FrameStates(job, template[1])
    still = dict.fromkeys(job.seats, 0.0)
    again = release_change(job, template[1], checks_of(job), *states.stands(still))
    largest = float(np.abs(release.change).max())
    assert again == pytest.approx(release.change, abs=1e-3 * largest)


def test_targets_allow_for_it_and_are_certified(template: tuple[Job, Survey]) -> None:
    job, survey = with_springs(template[0], strongback()), template[1]
    plain = joint_state(job, survey)
    state = preset_for_release(job, plain)
    release = release_of(job)
    assert release is not None
    for before, after, change in zip(plain.checks, state.checks, release.change, strict=True):
        assert after.target + change == pytest.approx(before.target, abs=1e-15)
    step = next(c for c in state.checks if c.id == "J1/P1/step")
    assert step.reason == "springs back without strongback"
    states = FrameStates(job, survey)
    moves = {n: 0.002 * (n == "A1-S1") for n in job.seats}
    wrong, sure = released_targets(job, survey, states, state.checks, moves)
    assert wrong == []
    assert len(sure) == 1
    assert sure[0].startswith("taking off strongback moves checks by up to 0.2 mm")
    wrong, _ = released_targets(job, survey, states, plain.checks, moves)
    assert any(
        w.startswith("J1/P1/step: taking off what is temporary moves it by 0.1")
        and w.endswith("its target allows for 0.000 (mm or mm/m)")
        for w in wrong
    )


def test_structure_that_cannot_stand_without_it(template: tuple[Job, Survey]) -> None:
    seats = {
        n.replace("-", "_"): FrameSeat(n, True, temporary=True)
        for n in template[0].seats
        if n.startswith("A1")
    }
    job = with_springs(template[0], **seats)
    model = job.frame
    assert model is not None
    nodes = {**model.nodes, "P40": replace(model.nodes["P40"], fixed=frozenset({0, 1, 2}))}
    nodes["P64"] = replace(nodes["P64"], fixed=frozenset({1}))
    with pytest.raises(StructureError) as caught:
        release_of(replace(job, frame=replace(model, nodes=nodes)))
    assert str(caught.value).startswith(
        "without A1-S1, A1-S2, A1-S3, A1-S4, which are taken off: the frame is a mechanism: node "
    )


def test_with_cables_it_is_refused(template: tuple[Job, Survey]) -> None:
    job = with_springs(template[0], strongback())
    model = job.frame
    assert model is not None
    cable = FrameCable("C", "P64", "A100", "catenary", 1e9, 1e3, 40.0, None)
    with pytest.raises(StructureError) as caught:
        release_of(replace(job, frame=replace(model, cables={"C": cable})))
    assert str(caught.value) == (
        "what is temporary, strongback, stands in a frame with cables: what springs back there is "
        "not computed; say temporary = no and preset the joint in aims.csv"
    )
