"""Wheel paths: the straightedge by hand, the checks against it, and the certificate's own way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.certify import ride as second
from fitup.checks import checks_of, joint_state, parts_of
from fitup.checks.quartercar import joint_roughness, straightedge_gap
from fitup.checks.ride import ride_as_surveyed
from fitup.errors import InputError
from fitup.frames import joint_axes
from fitup.jobfolder import read_job
from fitup.model import CheckPoint, Job, RidePath
from fitup.survey import read_survey

Write = Callable[..., Path]
PATH = "id,joint,points,place\nR1,J1,A-T1 A-L B-L B-T1,LEFT lane\n"


@pytest.mark.parametrize(
    ("heights", "gap"),
    [
        # two planes, 6 mm step: the edge rests on the step and on the low deck 1.5 m behind
        ([0.0, 0.0, 6.0, 6.0], 6.0),
        # a crest of 2 x 2 mm/m: the edge rocks on its top, an end is 2 mm/m x 2 x 1.5 m lower
        ([-20.0, 0.0, 0.0, -20.0], 6.0),
        # a hollow as deep: it bridges from end to end
        ([20.0, 0.0, 0.0, 20.0], 3.0),
        ([5.0, 5.0, 5.0, 5.0], 0.0),
    ],
)
def test_straightedge_by_hand(heights: list[float], gap: float):
    """Laid down every 50 mm: on a kink of 4 mm/m that is 0.2 mm of gap."""
    x = np.array([-10.0, -1e-9, 1e-9, 10.0])
    found = straightedge_gap(x, np.array(heights) * 1e-3, 3.0)
    assert found == pytest.approx(gap * 1e-3, abs=0.21e-3)


def test_points_found_nearer_than_the_straightedge_is_long():
    """Far enough by design, found 5 mm nearer: the step is still found, by both ways."""
    x, z = np.array([-1.4975, -0.002, 0.002, 1.4975]), np.array([0.0, 0.0, 6.0, 6.0]) * 1e-3
    found = straightedge_gap(x, z, 3.0)
    assert found == pytest.approx(0.006, rel=0.01)
    assert second._worst_gap(x, z, 3.0) == pytest.approx(found, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.4, 9.0), st.floats(-0.02, 0.02)), min_size=4, max_size=8),
    st.floats(-0.03, 0.03),
)
def test_two_ways_agree_and_a_slope_changes_nothing(steps, slope):
    half = len(steps) // 2
    x = np.cumsum([s for s, _ in steps])
    x = x - 0.5 * (x[half - 1] + x[half])
    z = np.array([h for _, h in steps])
    gap = straightedge_gap(x, z, 3.0)
    assert second._worst_gap(x, z, 3.0) == pytest.approx(gap, abs=1e-9)
    assert straightedge_gap(x, z + slope * x, 3.0) == pytest.approx(gap, abs=1e-9)
    assert straightedge_gap(-x[::-1], z[::-1], 3.0) == pytest.approx(gap, rel=0.3, abs=1e-3)
    rough = joint_roughness(x, z)
    assert joint_roughness(-x[::-1], z[::-1]) == pytest.approx(rough)
    assert joint_roughness(x, 2.0 * z) == pytest.approx(2.0 * rough)


def test_quarter_car_by_two_ways():
    rng = np.random.default_rng(3)
    for _ in range(4):
        x = np.array([-20.0, -9.0, -3.0, -0.005, 0.005, 4.0, 11.0, 19.0])
        z = np.cumsum(rng.normal(0.0, 0.003, 8))
        twice = max(second._driven(x, z), second._driven(-x[::-1], z[::-1]))
        assert twice == pytest.approx(joint_roughness(x, z), rel=1e-6)


def sloped_job(rng: np.random.Generator) -> Job:
    """A path over a joint on a grade with crossfall, points off the line sideways."""
    axes = joint_axes(1.2, 0.03, 0.02)
    along = {"B4": -9.0, "B3": -4.0, "B2": -1.0, "B1": -0.02, "A1": 0.02, "A2": 1.3, "A3": 6.0}
    points = {
        n: CheckPoint(n, "B" if n[0] == "B" else "A", axes[0] * x + axes[1] * rng.normal(0.0, 0.4))
        for n, x in along.items()
    }
    path = RidePath("R", "K", tuple(along), "LEFT lane")
    job = read_small()
    joint = replace(job.joints["J1"], id="K", back="B", ahead="A", axes_in_grid=axes)
    return replace(job, points=points, joints={"K": joint}, pairs={}, ride_paths={"R": path})


_SMALL: list[Job] = []


def read_small() -> Job:
    return _SMALL[0]


@pytest.fixture(autouse=True)
def _small(small_case) -> None:
    _SMALL[:] = [small_case[0]]


@pytest.mark.parametrize("seed", range(4))
def test_checks_are_what_the_certificate_measures(seed: int):
    rng = np.random.default_rng(seed)
    job = sloped_job(rng)
    moved = {n: p.design + rng.normal(0.0, 0.004, 3) for n, p in job.points.items()}
    checks = [c for c in checks_of(job) if c.item == "R"]
    assert [c.id for c in checks] == [
        "K/R/back/straightedge",
        "K/R/ahead/straightedge",
        "K/R/slope_change",
    ]
    for check in checks:
        part = parts_of(job, check)
        linear = part.constant + sum(float(row @ moved[n]) for n, row in part.points.items())
        measured = second.measure_path(job, check, moved.__getitem__)
        assert measured == pytest.approx(linear, abs=2e-5 if check.is_length else 3e-6), check.id


def test_step_and_kink_by_hand(small_job_writer: Write, tmp_path: Path):
    """B stands 6 mm high: the line under the faces rises by 6 mm over 3 m."""
    folder = small_job_writer(tmp_path, ride=PATH)
    job = read_job(folder)
    state = joint_state(job, read_survey(folder, job))
    value = {c.id: v for c, v in zip(state.checks, state.values, strict=True)}
    share = 0.005 / 3.0
    assert value["J1/R1/back/straightedge"] == pytest.approx(-0.006 * (0.5 - share), abs=1e-6)
    assert value["J1/R1/ahead/straightedge"] == pytest.approx(0.006 * (0.5 - share), abs=1e-6)
    assert value["J1/R1/slope_change"] == pytest.approx(0.0, abs=1e-9)
    (ride,) = ride_as_surveyed(job, read_survey(folder, job))
    assert ride.gap == pytest.approx(0.006, abs=1e-4)
    assert ride.roughness == pytest.approx(0.6 * 0.34368e-3, rel=0.01)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "A-T1 A-L B-L B-T1",
            "B-T1 B-L A-L A-T1",
            "ride.csv, row 2, points: found 2 of A and 2 of B, or not in this order; allowed: two "
            "or more of A, then two or more of B; list them from back to ahead",
        ),
        (
            "A-T1 A-L",
            "A-L A-T1",
            "ride.csv, row 2, points: found points that do not go ahead one after the other; "
            "allowed: from back to ahead, 50 mm or more between two of a segment; sort them, or "
            "leave one out",
        ),
        (
            "A-T1",
            "A-X",
            "ride.csv, row 2, points: found 'A-X'; allowed: ids of points.csv; correct it or add "
            "it there",
        ),
        (
            "J1",
            "J9",
            "ride.csv, row 2, joint: found 'J9'; allowed: an id of joints.csv; correct it or add "
            "it there",
        ),
    ],
)
def test_message(small_job_writer: Write, tmp_path: Path, old: str, new: str, message: str):
    folder = small_job_writer(tmp_path, ride=PATH.replace(old, new))
    with pytest.raises(InputError) as refused:
        read_job(folder)
    assert str(refused.value) == message


def test_a_path_shorter_than_the_straightedge(small_job_writer: Write, tmp_path: Path):
    points = ("A-T1,A,1,4,10", "A-T1,A,19,4,10")
    folder = small_job_writer(tmp_path, ride=PATH, points=points)
    with pytest.raises(InputError) as refused:
        read_job(folder)
    assert str(refused.value) == (
        "ride.csv, row 2, points: found a path that reaches 1.01 m from the joint; allowed: 1.50 m "
        "or more either way, half the straightedge; add a point further off, or name a shorter "
        "straightedge in job.toml [ride]"
    )
    ride = ("[[survey]]", "[ride]\nstraightedge_ft = 5\n\n[[survey]]")
    assert read_job(
        small_job_writer(tmp_path, ride=PATH, points=points, job=ride)
    ).straightedge == (pytest.approx(1.524))


def test_straightedge_of_no_length(small_job_writer: Write, tmp_path: Path):
    ride = ("[[survey]]", "[ride]\nstraightedge_m = 30\n\n[[survey]]")
    with pytest.raises(InputError) as refused:
        read_job(small_job_writer(tmp_path, job=ride))
    assert str(refused.value) == (
        "job.toml, ride.straightedge_m: found 30; allowed: from 0.5 to 10 m; give its length"
    )
