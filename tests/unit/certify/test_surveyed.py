"""Checks as surveyed by the second path: by hand, with readings, and against what is planted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.certify import certify
from fitup.certify.surveyed import surveyed_again, surveyed_otherwise
from fitup.checks import joint_state
from fitup.checks.definitions import checks_of
from fitup.errors import CertificateRefused
from fitup.frames import Motion, rotation
from fitup.model import Job, Reading
from fitup.plan import make_plan
from fitup.survey import Survey
from fitup.survey.hypotheses import Observed
from fitup.survey.points import Scatter, SurveyedPoint
from fitup.survey.pose import fit_pose
from fitup.survey.shape import with_scatter

Case = tuple[Job, Survey]


def moved(survey: Survey, **by: tuple[float, float, float]) -> Survey:
    """Move surveyed points [m]: ``B_L=(0, 0, 0.001)``."""
    points = dict(survey.points)
    for name, step in by.items():
        point = points[name.replace("_", "-")]
        points[point.id] = SurveyedPoint(
            point.id, point.position + np.array(step), point.uncertainty, 0, 0
        )
    return replace(survey, points=points)


def again(job: Job, survey: Survey, warm: float = 0.0) -> dict[str, float]:
    checks = checks_of(job)
    values = surveyed_again(job, survey, checks, np.eye(len(checks)), np.full(len(checks), warm))
    return dict(zip([c.id for c in checks], values.tolist(), strict=True))


def test_what_a_moved_point_does_by_hand(small_case: Case) -> None:
    """The deck goes east: ahead is east, left is north. B was found 6 mm high."""
    job, survey = small_case
    found = again(job, moved(survey, B_L=(0.002, 0.003, 0.001)))
    assert found["J1/P1/gap"] == pytest.approx(0.002, abs=1e-9)
    assert found["J1/P1/offset"] == pytest.approx(0.003, abs=1e-9)
    assert found["J1/P1/step"] == pytest.approx(0.007, abs=1e-9)
    assert found["J1/P2/step"] == pytest.approx(0.006, abs=1e-9)
    assert found["level/B-L"] == pytest.approx(0.007, abs=1e-9)
    assert found["line/B-L"] == pytest.approx(0.003, abs=1e-9)
    assert found["station/B-L"] == pytest.approx(0.002, abs=1e-9)
    assert found["level/A-L"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("turn", "check", "value"),
    [
        # ahead end up is a turn about the axis to the right (south): minus left
        ((0.0, -1e-4, 0.0), "J1/kink_grade", 1e-4),
        ((0.0, 0.0, 1e-4), "J1/kink_plan", 1e-4),
        ((1e-4, 0.0, 0.0), "J1/twist", 1e-4),
    ],
)
def test_what_a_turned_segment_does_by_hand(
    small_case: Case, turn: tuple[float, float, float], check: str, value: float
) -> None:
    job, survey = small_case
    pose = survey.poses["B"]
    motion = pose.design2site
    turned = Motion(rotation(np.array(turn)) @ motion.turn, motion.shift, motion.centre)
    poses = {**survey.poses, "B": replace(pose, design2site=turned)}
    found = again(job, replace(survey, poses=poses))
    assert found[check] == pytest.approx(value, abs=1e-9)


def test_a_point_that_was_not_surveyed_is_carried_by_its_segment(small_case: Case) -> None:
    job, survey = small_case
    points = {n: p for n, p in survey.points.items() if n != "B-L"}
    found = again(job, replace(survey, points=points))
    assert found["J1/P1/step"] == pytest.approx(0.006, abs=1e-9)


def test_readings_are_combined_as_by_their_weights(small_case: Case) -> None:
    """What is left of u^2 = 4 mm2 and v^2 = 1 mm2 is 0.8 mm2: 6 + 0.8 (9 - 6) / 1 = 8.4 mm."""
    job, survey = small_case
    state = joint_state(job, survey)
    k = [c.id for c in state.checks].index("J1/P1/step")
    other = [c.id for c in state.checks].index("J1/P2/step")
    left = np.zeros((len(state.checks),) * 2)
    left[k, k], left[other, k] = 0.8e-6, 0.3e-6
    job = replace(job, readings=(Reading("D1", "P1", "step", 0.009, 0.001, "feeler"),))
    values = surveyed_again(job, survey, state.checks, left, np.zeros(len(left)))
    assert values[k] == pytest.approx(0.0084, abs=1e-9)
    assert values[other] == pytest.approx(0.006 + 0.3 * 0.003, abs=1e-9)
    # a tape reads the joint as warm as it is: 1 mm of it is the steel's
    warm = surveyed_again(job, survey, state.checks, left, np.full(len(left), 0.001))
    assert warm[k] == pytest.approx(0.006 + 0.8 * 0.002, abs=1e-9)
    # and one that is left out says nothing
    job = replace(job, excluded={"D1": "slipped"})
    values = surveyed_again(job, survey, state.checks, left, np.zeros(len(left)))
    assert values[k] == pytest.approx(0.006, abs=1e-9)


def test_two_readings_agree_with_the_first_path(small_case: Case) -> None:
    job, survey = small_case
    readings = (
        Reading("D1", "P1", "step", 0.0064, 0.0004, "feeler"),
        Reading("D2", "P1", "step", 0.0057, 0.0006, "rule"),
        Reading("D3", "P2", "gap", 0.0003, 0.0005, "tape"),
    )
    job = replace(job, readings=readings)
    state = joint_state(job, survey)
    found = surveyed_again(job, survey, state.checks, state.covariance, np.zeros(len(state.checks)))
    assert np.abs(found - state.values).max() < 1e-12
    plain = joint_state(replace(job, readings=()), survey).values
    assert np.abs(found - plain).max() > 1e-4


def differences(case: Case, by: dict[str, float], near: float = 0.0, **changes: Any) -> list[str]:
    """Say what is found where values are off by so much, by quantity."""
    job, survey = replace(case[0], **changes), case[1]
    state = joint_state(job, survey)
    off = np.array([by.get(c.quantity, 0.0) for c in state.checks])
    return surveyed_otherwise(job, survey, state.checks, state.values + off, state.values, near)


def test_differences_count_from_a_thousandth_of_a_millimetre(small_case: Case) -> None:
    assert differences(small_case, {"step": 0.9e-6, "kink_grade": -0.9e-7}) == []
    assert len(differences(small_case, {"step": 1.1e-6})) == 2
    assert differences(small_case, {"kink_grade": -1.1e-6}) == [
        "J1/kink_grade: as surveyed it is said to be -0.001, the coordinates give 0.000 (mm/m)"
    ]
    assert len(differences(small_case, {"step": float("nan")})) == 2


def test_what_temperature_may_differ_by_counts_only_where_the_joint_was_read(
    small_case: Case,
) -> None:
    assert len(differences(small_case, {"step": 5e-6}, near=1e-5)) == 2
    read = (Reading("D1", "P1", "step", 0.006, 0.001, "feeler"),)
    assert differences(small_case, {"step": 5e-6}, near=1e-5, readings=read) == []
    out = {"D1": "slipped"}
    assert len(differences(small_case, {"step": 5e-6}, 1e-5, readings=read, excluded=out)) == 2


@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), (0.0, 0.0, 2e-7), (2e-7, 0.0, 0.0)])
def test_a_fit_that_could_be_better_is_refused(
    small_case: Case, turn: tuple[float, float, float]
) -> None:
    """The best fit is no step away; a tenth of a micrometre or of a microradian is."""
    job, survey = small_case
    pose = survey.poses["B"]
    motion = pose.design2site
    state = joint_state(job, survey)

    def stated(shift: float) -> list[str]:
        step = Motion(
            rotation(np.array(turn)) @ motion.turn,
            motion.shift + np.array([0.0, shift, 0.0]),
            motion.centre,
        )
        poses = {**survey.poses, "B": replace(pose, design2site=step)}
        return surveyed_otherwise(
            job, replace(survey, poses=poses), state.checks, state.values, state.values, 0.0
        )

    if not any(turn):
        assert stated(0.5e-7) == []
    assert stated(2e-7) == [
        "segment B: its fit to the surveyed points could be better, by a step of 0.0002 mm or mm/m"
    ]


def test_scatter_of_the_steel_counts_in_the_fit_that_is_checked(small_case: Case) -> None:
    """Points known unlike well weigh alike beside a scatter of 50 mm: the mean, not the first."""
    job, survey = small_case
    pose = survey.poses["B"]
    raised = moved(survey, B_L=(0.0, 0.0, 0.004))
    points = {
        n: replace(p, uncertainty=p.uncertainty * (0.01 if n == "B-L" else 1.0))
        for n, p in raised.points.items()
    }
    spread = {"B": Scatter(0.05, "stated")}
    uneven = replace(raised, points=points, scatter=spread)
    observed = Observed(
        "B",
        pose.points,
        np.array([job.points[n].design for n in pose.points]),
        np.array([points[n].position for n in pose.points]),
        np.array([points[n].uncertainty for n in pose.points]),
    )
    o = with_scatter(observed, 0.05)
    fitted = fit_pose("B", o.ids, o.design, o.surveyed, o.u, o.covariance)
    state = joint_state(job, survey)

    def stated(survey: Survey) -> list[str]:
        with_it = replace(survey, poses={**survey.poses, "B": fitted})
        return surveyed_otherwise(job, with_it, state.checks, state.values, state.values, 0.0)

    assert stated(uneven) == []
    (line,) = stated(replace(uneven, scatter={}))
    assert line.startswith("segment B: its fit to the surveyed points could be better")


@pytest.mark.parametrize("quantity", ["step", "gap", "offset", "kink_grade", "level"])
def test_a_systematic_error_between_survey_and_checks_is_refused(
    small: Callable[..., Any], quantity: str
) -> None:
    """5 mm (or 5 mm/m) on every value of one kind: the plan made for it is not certified."""
    case = small()
    off = np.array([0.005 if c.quantity == quantity else 0.0 for c in case.state.checks])
    wrong = replace(case.state, values=case.state.values + off)
    # loose enough for a plan to be found whatever is planted
    plan = make_plan(case.job, wrong, case.influence, explain=False)
    with pytest.raises(CertificateRefused) as refused:
        certify(case.job, case.survey, wrong, case.influence, plan)
    said = [line for line in str(refused.value).splitlines() if "as surveyed it is said" in line]
    assert len(said) == sum(c.quantity == quantity for c in case.state.checks)


def test_what_is_printed_as_surveyed_is_the_certificates_own(small: Callable[..., Any]) -> None:
    """A difference that is let pass does not reach the page."""
    case = small()
    plan = make_plan(case.job, case.state, case.influence, explain=False)
    near = replace(case.state, values=case.state.values + 0.5e-7)
    certificate = certify(case.job, case.survey, near, case.influence, plan)
    before = np.array([c.before for c in certificate.checks])
    assert np.abs(before - case.state.values).max() < 1e-12
