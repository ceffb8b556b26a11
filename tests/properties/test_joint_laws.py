"""Laws of joint axes and checks: right-handed, sign follows the move, no preferred direction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.checks import joint_state
from fitup.frames import Array, Motion, joint_axes, rotation
from fitup.model import Job, Quantity
from fitup.survey import Survey, fit_pose

CASES = settings(max_examples=40, deadline=None, derandomize=True)
azimuths = st.floats(-10.0, 10.0)
slopes = st.floats(-0.5, 0.5)
small_turns = st.tuples(*[st.floats(-2e-3, 2e-3)] * 3).map(np.array)
small_shifts = st.tuples(*[st.floats(-0.02, 0.02)] * 3).map(np.array)
PAIR: dict[Quantity, int] = {"gap": 0, "offset": 1, "step": 2}


@CASES
@given(azimuths, slopes, slopes)
def test_axes_are_right_handed_and_orthonormal(azimuth: float, grade: float, fall: float) -> None:
    axes = joint_axes(azimuth, grade, fall)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0, abs=1e-12)
    assert axes[2, 2] > 0.0
    assert axes[0, 2] / np.hypot(*axes[0, :2]) == pytest.approx(grade, abs=1e-12)
    # the deck plane rises by the crossfall along the level direction to the left
    level_left = np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])
    assert axes[2] @ (level_left + np.array([0.0, 0.0, fall])) == pytest.approx(0.0, abs=1e-12)


def poses(job: Job, points: dict[str, Array], survey: Survey) -> Survey:
    """The survey with these positions, every segment fitted again."""
    found = {n: replace(p, position=points[n]) for n, p in survey.points.items()}
    fitted = {}
    for key in job.segments:
        own = [n for n in found if job.points[n].segment == key]
        fitted[key] = fit_pose(
            key,
            own,
            np.array([job.points[n].design for n in own]),
            np.array([points[n] for n in own]),
            np.array([found[n].uncertainty for n in own]),
        )
    return replace(survey, points=found, poses=fitted)


def at_design(job: Job) -> dict[str, Array]:
    return {n: p.design for n, p in job.points.items()}


def tilted(job: Job, grade: float, fall: float) -> Job:
    """The job with its joint axes on a grade and a crossfall."""
    joint = replace(job.joints["J1"], axes_in_grid=joint_axes(np.pi / 2, grade, fall))
    return replace(job, joints={"J1": joint})


@CASES
@given(shift=small_shifts, grade=slopes, fall=slopes)
def test_a_shifted_face_shows_the_planted_amounts_and_their_opposite(
    small_case: tuple[Job, Survey], shift: Array, grade: float, fall: float
) -> None:
    plain, survey = small_case
    job = tilted(plain, grade, fall)
    axes = job.joints["J1"].axes_in_grid
    values = []
    for sign in (0.0, 1.0, -1.0):
        points = at_design(job)
        for name, point in job.points.items():
            if point.segment == "B":
                # the amounts are planted along the axes of the joint
                points[name] = point.design + sign * (axes.T @ shift)
        values.append(joint_state(job, poses(job, points, survey)))
    index = {c.id: i for i, c in enumerate(values[0].checks)}
    for pair in ("P1", "P2"):
        for quantity, row in PAIR.items():
            at = index[f"J1/{pair}/{quantity}"]
            still, ahead, back = (v.values[at] for v in values)
            assert ahead - still == pytest.approx(shift[row], abs=1e-12)
            assert back - still == pytest.approx(-shift[row], abs=1e-12)


@CASES
@given(turn=small_turns, shift=small_shifts)
def test_moving_the_back_face_is_the_opposite_of_moving_the_ahead_face(
    small_case: tuple[Job, Survey], turn: Array, shift: Array
) -> None:
    job, survey = small_case
    centre = np.array([20.0, 0.0, 10.0])
    results = []
    for segment, sign in (("B", 1.0), ("A", -1.0)):
        motion = Motion(rotation(sign * turn), sign * shift, centre)
        points = at_design(job)
        for name, point in job.points.items():
            if point.segment == segment:
                points[name] = motion.apply(point.design)
        results.append(joint_state(job, poses(job, points, survey)))
    n = sum(c.point is None for c in results[0].checks)
    # second order: turn times shift and turn squared times the half width of 4 m
    assert results[0].values[:n] == pytest.approx(results[1].values[:n], abs=2e-4)


@CASES
@given(
    azimuth=st.floats(-np.pi, np.pi),
    shift=st.tuples(*[st.floats(-5000.0, 5000.0)] * 3).map(np.array),
    turn=small_turns,
    move=small_shifts,
)
def test_checks_know_no_preferred_direction(
    small_case: tuple[Job, Survey], azimuth: float, shift: Array, turn: Array, move: Array
) -> None:
    plain, survey = small_case
    job = tilted(plain, 0.02, -0.03)
    own = Motion(rotation(turn), move, np.array([30.0, 0.0, 9.0]))
    points = at_design(job)
    for name, point in job.points.items():
        if point.segment == "B":
            points[name] = own.apply(point.design)
    before = joint_state(job, poses(job, points, survey))
    # the whole grid turned about the vertical: azimuth grows clockwise
    whole = Motion(rotation(np.array([0.0, 0.0, -azimuth])), shift, np.zeros(3))
    elsewhere = replace(
        job,
        points={n: replace(p, design=whole.apply(p.design)) for n, p in job.points.items()},
        joints={
            "J1": replace(
                job.joints["J1"], axes_in_grid=joint_axes(np.pi / 2 + azimuth, 0.02, -0.03)
            )
        },
        segments={
            n: replace(s, azimuth=s.azimuth + azimuth, centre=whole.apply(s.centre))
            for n, s in job.segments.items()
        },
    )
    moved = {n: whole.apply(p) for n, p in points.items()}
    after = joint_state(elsewhere, poses(elsewhere, moved, survey))
    # coordinates of 5 km in doubles: 1e-12 m, times a few operations
    assert after.values == pytest.approx(before.values, abs=1e-9)
    assert after.covariance == pytest.approx(before.covariance, abs=1e-15)
