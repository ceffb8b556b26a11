"""What temperature does to a frame, both ways: on frames changed at random, with cables, let go."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.certify.temperature import as_designed, second_thermal_path
from fitup.checks import checks_of
from fitup.checks.thermal import apart_rates, segment_rates, thermal_change
from fitup.errors import CertificateRefused
from fitup.jobfolder import read_job, start_job
from fitup.model import Job, Learned
from fitup.model.frame import FrameSeat, Spring, Tie
from fitup.structure import solve_job, with_thermal_response
from fitup.structure.frame.expansion import thermal_response_of
from fitup.survey import Survey, read_survey
from fitup.survey.steel import thermal_shift

HUNG = Path(__file__).parents[3] / "examples" / "quillgate-hung"


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Survey]:
    folder = tmp_path_factory.mktemp("frame") / "job"
    start_job(folder, frame=True)
    job = read_job(folder)
    return job, read_survey(folder, job)


def deep(job: Job, depth: float = 2.0) -> Job:
    segments = {n: replace(s, depth=depth) for n, s in job.segments.items()}
    return replace(job, segments=segments)


def steel(job: Job, seed: int, size: float) -> tuple[dict[str, float], dict[str, float]]:
    rng = np.random.default_rng(seed)
    even, bent = rng.normal(size=(2, len(job.segments))) * size
    return dict(zip(job.segments, even, strict=True)), dict(zip(job.segments, bent, strict=True))


def both(job: Job, survey: Survey, seed: int, size: float) -> tuple[np.ndarray, np.ndarray]:
    """Changes of all checks by rates, and by the second path."""
    warmer, bent = steel(job, seed, size)
    checks = checks_of(job)
    rates = np.hstack(segment_rates(job, checks))
    stated = rates @ np.array([*warmer.values(), *bent.values()])
    return stated, second_thermal_path(job, survey).change(checks, warmer, bent)


@pytest.mark.parametrize("seed", range(4))
def test_both_paths_agree_on_changed_frames(template: tuple[Job, Survey], seed: int) -> None:
    rng = np.random.default_rng(seed)
    job = deep(template[0], 1.5 + seed)
    assert job.frame is not None
    members = {
        n: replace(
            m,
            offset_i=rng.normal(0.0, 0.2, 3),
            up=np.array([0.05, 0.1, 1.0]),
            expansion=0.0 if rng.random() < 0.5 else m.expansion,
        )
        for n, m in job.frame.members.items()
    }
    springs = {
        **job.frame.springs,
        "along": Spring("along", "A88", None, np.array([1.0, 0.1, 0.0]), 3e8),
        "tie": Spring("tie", "A88", "B112", rng.normal(size=3), 2e7),
    }
    seats = {"B1-S4": FrameSeat("B1-S4", True, gap=0.002, tie=Tie(node="B112"))}
    job = replace(job, frame=replace(job.frame, members=members, springs=springs, seats=seats))
    job = replace(job, thermal=thermal_response_of(job, solve_job(job)))
    stated, again = both(job, template[1], seed, 5.0)
    assert np.abs(stated).max() > 3e-4
    # no rotation is larger than a milliradian: its square in a lever of a few metres
    assert again == pytest.approx(stated, abs=3e-6)


def test_a_frame_that_nothing_holds_back_expands_freely(template: tuple[Job, Survey]) -> None:
    """Each deck on its own four seats at the axis, held at one place: the fixed point."""
    job = template[0]
    assert job.frame is not None
    held = {"P40", "P160"}
    fixed = {n: job.frame.nodes[n].position for n in job.frame.nodes}
    segments = {
        n: replace(s, fixed_point=fixed["A88" if n == "A1" else "B112"])
        for n, s in job.segments.items()
    }
    nodes = {
        n: replace(node, fixed=frozenset({0, 1, 5}) if n in ("A88", "B112") else frozenset())
        for n, node in job.frame.nodes.items()
        if n in {"A88", "A100", "B100", "B112"}
    }
    members = {n: m for n, m in job.frame.members.items() if m.i in nodes and m.j in nodes and held}
    seats = {
        n: replace(s, position=np.array([s.position[0], s.position[1], 29.0]))
        for n, s in job.seats.items()
    }
    frame = replace(job.frame, nodes=nodes, members=members, springs={}, places={}, member_loads=())
    free = replace(job, segments=segments, seats=seats)
    within = with_thermal_response(replace(free, frame=frame, segments={
        n: replace(s, weight=sum(m.weight * 12.0 for m in members.values() if m.segment == n))
        for n, s in segments.items()
    }))  # fmt: skip
    assert within.thermal is not None and free.thermal is None
    warmer = {"A1": 10.0, "B1": -4.0}
    for check in checks_of(job):
        if check.quantity != "tension":
            one, other = thermal_change(within, check, warmer), thermal_change(free, check, warmer)
            assert one == pytest.approx(other, abs=1e-9), check.id


def test_expansion_learned_or_assumed_counts(template: tuple[Job, Survey]) -> None:
    job = with_thermal_response(template[0])
    gap = next(c for c in checks_of(job) if c.quantity == "gap")
    warmer = dict.fromkeys(job.segments, 10.0)
    plain = thermal_change(job, gap, warmer)
    more = {n: replace(s, expansion=1.1 * (s.expansion or 0)) for n, s in job.segments.items()}
    assumed = replace(job, segments=more)
    learned = with_thermal_response(
        replace(
            template[0],
            segments=more,
            learned=(Learned("expansion", "steel", 1.1, 0.02, (), "taught"),),
        )
    )
    for other in (assumed, learned):
        assert thermal_change(other, gap, warmer) == pytest.approx(1.1 * plain, rel=1e-9)
        again = second_thermal_path(other, template[1]).change(
            [gap], warmer, dict.fromkeys(warmer, 0.0)
        )
        assert again == pytest.approx([1.1 * plain], rel=1e-6)


def test_cables_and_deck_together() -> None:
    job = read_job(HUNG)
    assert job.frame is not None
    cables = {n: replace(c, expansion=12e-6) for n, c in job.frame.cables.items()}
    warm = replace(job, frame=replace(job.frame, cables=cables))
    job, warm = with_thermal_response(job), with_thermal_response(warm)
    survey = as_designed(warm)
    checks = [c for c in checks_of(warm) if c.pair is not None or c.quantity == "level"]
    even = {n: dict.fromkeys(warm.segments, by) for n, by in (("none", 0.0), ("two", 2.0))}
    mean, _ = segment_rates(warm, tuple(checks))
    stated = 2.0 * mean.sum(axis=1)
    again = second_thermal_path(warm, survey).change(checks, even["two"], even["none"])
    assert again == pytest.approx(stated, abs=2e-5)
    # warm cables let the deck down: that is not in the frame with cold ones
    cold = 2.0 * segment_rates(job, tuple(checks))[0].sum(axis=1)
    assert np.abs(stated - cold).max() > 1e-3
    assert stated - cold == pytest.approx(2.0 * apart_rates(warm, tuple(checks)), abs=1e-12)
    assert not apart_rates(job, tuple(checks)).any()


def test_steel_of_both_decks_moves_a_point(template: tuple[Job, Survey]) -> None:
    """Tied together, one deck pushes the other: a point goes with the steel of both."""
    job = template[0]
    assert job.frame is not None
    springs = {
        **job.frame.springs,
        "tie": Spring("tie", "A100", "B100", np.array([1.0, 0.0, 0.0]), 1e8),
    }
    tied = with_thermal_response(replace(job, frame=replace(job.frame, springs=springs)))
    steel_now = dict(template[1].steel)
    cold = {n: replace(s, mean=job.reference_temperature) for n, s in steel_now.items()}
    warm = {**cold, "B1": replace(cold["B1"], mean=job.reference_temperature + 10.0)}
    shift = thermal_shift(tied, warm, "A1-C")
    # 60 m that grow 7.2 mm against 60 m of the other deck: half each, less what the tie gives
    assert -3.6e-3 < shift[0] < -0.3e-3
    assert thermal_shift(with_thermal_response(job), warm, "A1-C") == pytest.approx(
        np.zeros(3), abs=1e-12
    )


def test_a_seat_that_lets_go_is_seen(template: tuple[Job, Survey]) -> None:
    """Rates hold while the same seats carry; the second path says where they do not."""
    seats = {n: replace(s, reaction_least=0.0) for n, s in template[0].seats.items()}
    job = with_thermal_response(deep(replace(template[0], seats=seats)))
    stated, again = both(job, template[1], 1, 4.0)
    assert again == pytest.approx(stated, abs=3e-6)
    checks = checks_of(job)
    hot = dict.fromkeys(job.segments, 150.0)
    still = dict.fromkeys(job.segments, 0.0)
    try:
        again = second_thermal_path(job, template[1]).change(checks, still, hot)
    except CertificateRefused:
        pytest.fail("the seats carry on")
    stated = segment_rates(job, checks)[1] @ np.array(list(hot.values()))
    assert np.abs(again - stated).max() > 1e-4


def test_a_segment_without_expansion_takes_no_part(template: tuple[Job, Survey]) -> None:
    """However warm it is: its points do not grow away from their seats."""
    first = next(iter(template[0].segments))
    segments = {
        n: replace(s, expansion=None if n == first else s.expansion)
        for n, s in template[0].segments.items()
    }
    job = replace(template[0], segments=segments)
    checks = [c for c in checks_of(job) if c.quantity != "tension"]
    path = second_thermal_path(job, template[1])
    cold = dict.fromkeys(segments, 0.0)
    warm = path.change(checks, {**cold, first: 10.0}, cold)
    grows = second_thermal_path(*template).change(checks, {**cold, first: 10.0}, cold)
    own = [k for k, c in enumerate(checks) if c.point and job.points[c.point].segment == first]
    assert own
    assert np.abs(grows[own]).max() > 1e-4
    assert 1e-4 < np.abs(warm - grows).max() < 0.05
    # its members still expand; nothing goes by more than steel does
    assert np.abs(warm).max() < 0.05
