"""Free expansion at the joint: tapes read what is there, plans hold at the reference."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.recompute import expansion_of
from fitup.checks import checks_of, joint_state
from fitup.checks.thermal import per_kelvin, thermal_change
from fitup.errors import CertificateRefused
from fitup.model import Job, Reading
from fitup.plan import make_plan
from fitup.problem import build_problem
from fitup.structure import rigid_influence
from fitup.survey import Survey

Case = tuple[Job, Survey]


@pytest.fixture
def warm(small_case: Case) -> Case:
    """The small job on steel 10 K warmer than the reference, its fixed points 100 m away."""
    job, survey = small_case
    sign = {j.back: -1.0 for j in job.joints.values()} | {j.ahead: 1.0 for j in job.joints.values()}
    axes = next(iter(job.joints.values())).axes_in_grid
    segments = {
        n: replace(s, expansion=12e-6, fixed_point=s.centre + sign[n] * 100.0 * axes[0])
        for n, s in job.segments.items()
    }
    warmer = replace(job.epochs[0], temperature=job.reference_temperature + 10.0)
    epochs = dict.fromkeys(survey.epoch_of, warmer)
    return replace(job, segments=segments, epochs=(warmer,)), replace(survey, epoch_of=epochs)


def gaps(job: Job) -> list[int]:
    return [i for i, c in enumerate(checks_of(job)) if c.quantity == "gap"]


def test_warm_steel_closes_the_gap_by_alpha_length_kelvin(warm: Case) -> None:
    job, _ = warm
    for i in gaps(job):
        check = checks_of(job)[i]
        pair = job.pairs[check.pair or ""]
        reach = 0.0
        for name in (pair.back_point, pair.ahead_point):
            point = job.points[name]
            fixed = job.segments[point.segment].fixed_point
            assert fixed is not None
            reach += abs(float(job.joints[check.joint].axes_in_grid[0] @ (point.design - fixed)))
        change = thermal_change(job, check, dict.fromkeys(job.segments, 10.0))
        assert change == pytest.approx(-12e-6 * 10.0 * reach, rel=1e-9)


def test_both_paths_agree_on_expansion(warm: Case) -> None:
    job, _ = warm
    uneven = {n: 3.0 + 4.0 * i for i, n in enumerate(job.segments)}
    for check in checks_of(job):
        first, second = thermal_change(job, check, uneven), expansion_of(job, check, uneven)
        assert first == pytest.approx(second, abs=1e-12)


def test_a_tape_reading_at_the_steel_of_the_survey_agrees_with_the_coordinates(warm: Case) -> None:
    job, survey = warm
    bare = joint_state(job, survey)
    i = gaps(job)[0]
    pair = bare.checks[i].pair or ""
    assert bare.at_survey is not None
    there = float(bare.values[i] + bare.at_survey[i])
    read = Reading("D1", pair, "gap", there, 0.0005, "tape")
    state = joint_state(replace(job, readings=(read,)), survey)
    assert state.values[i] == pytest.approx(bare.values[i], abs=1e-9)
    assert state.uncertainties[i] < bare.uncertainties[i]


def test_clear_openings_hold_over_the_steel_temperatures_allowed(warm: Case) -> None:
    job, survey = warm
    state = joint_state(job, survey)
    influence = rigid_influence(job, survey)
    swing = float(np.abs(per_kelvin(job, state.checks)).max()) * job.gates.temperature_apart
    i = gaps(job)[0]
    assert state.at_survey is not None
    opening = job.pairs[state.checks[i].pair or ""].opening + float(state.values[i])
    closest = opening + float(state.at_survey[i]) - swing
    rows = {}
    for least in (closest - 0.001, closest + 0.001):
        joints = {n: replace(j, least_opening=least) for n, j in job.joints.items()}
        problem = build_problem(replace(job, joints=joints), state, influence)
        pair = state.checks[i].pair
        rows[least] = [
            b
            for b, lab in zip(problem.b, problem.limits, strict=True)
            if lab.kind == "opening" and lab.subject == pair
        ]
    assert all(b > 0.0 for b in rows[closest - 0.001])
    assert any(b < 0.0 for b in rows[closest + 0.001])


def test_the_certificate_refuses_faces_that_touch_when_warm(warm: Case) -> None:
    job, survey = warm
    state, influence = joint_state(job, survey), rigid_influence(job, survey)
    tight = replace(job, objectives=replace(job.objectives, worst_ratio_goal=1e6))
    plan = make_plan(tight, state, influence)
    from fitup.certify import certify

    assert plan.stages == ()
    joints = {n: replace(j, least_opening=1.0) for n, j in job.joints.items()}
    asked = replace(job, joints=joints, objectives=replace(job.objectives, worst_ratio_goal=0.01))
    moved = make_plan(replace(job, objectives=asked.objectives), state, influence)
    with pytest.raises(CertificateRefused, match="at the least over the steel temperatures"):
        certify(asked, survey, state, influence, moved)
