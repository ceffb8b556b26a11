"""Readings at the joint against the coordinates: weights by hand, and the refusal, whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.checks import combine_readings, joint_state
from fitup.errors import SurveyRefused
from fitup.model import Check, CheckState, Job, Reading
from fitup.survey import Survey


def one_check(value: float, u: float, other: float = 0.0, covariance: float = 0.0) -> CheckState:
    def check(pair: str) -> Check:
        return Check(f"J1/{pair}/step", "step", "J1", pair, None, 0.0, 0.002, 1.0, "clause")

    matrix = np.array([[u**2, covariance], [covariance, u**2]])
    return CheckState((check("P1"), check("P2")), np.array([value, other]), matrix)


def with_readings(job: Job, *readings: Reading, **changes: object) -> Job:
    return replace(job, readings=readings, **changes)


def test_two_values_meet_at_their_weighted_mean(small_case: tuple[Job, Survey]) -> None:
    # 6 mm with u 2 mm by coordinates, 9 mm with u 1 mm by feeler: (6/4 + 9/1)/(1/4 + 1) = 8.4 mm,
    # u = 1/sqrt(1/4 + 1) = 0.894427 mm
    job = with_readings(small_case[0], Reading("D1", "P1", "step", 0.009, 0.001, "feeler"))
    state = combine_readings(job, one_check(0.006, 0.002, other=0.005))
    assert state.values == pytest.approx([0.0084, 0.005], abs=1e-15)
    assert state.uncertainties == pytest.approx([0.000894427190999916, 0.002], abs=1e-12)


def test_two_readings_of_one_place_count_both(small_case: tuple[Job, Survey]) -> None:
    # weights 1/4, 1, 1 on 6, 9, 8 mm: 18.5/2.25 mm
    job = with_readings(
        small_case[0],
        Reading("D1", "P1", "step", 0.009, 0.001, "feeler"),
        Reading("D2", "P1", "step", 0.008, 0.001, "rule"),
    )
    state = combine_readings(job, one_check(0.006, 0.002))
    assert state.values[0] == pytest.approx(0.0185 / 2.25, abs=1e-15)
    assert state.uncertainties[0] == pytest.approx(0.001 / 1.5, abs=1e-15)


def test_what_is_correlated_follows(small_case: tuple[Job, Survey]) -> None:
    # gain of the unread check: cov / (u^2 + v^2) = 3/(4 + 1); 3 mm innovation moves it 1.8 mm
    job = with_readings(small_case[0], Reading("D1", "P1", "step", 0.009, 0.001, "feeler"))
    state = combine_readings(job, one_check(0.006, 0.002, 0.005, covariance=3e-6))
    assert state.values[1] == pytest.approx(0.005 + 0.0018, abs=1e-15)
    # variance 4 - 3^2/5, covariance 3 - 4*3/5 (mm^2)
    assert state.covariance[1, 1] == pytest.approx(2.2e-6, rel=1e-12)
    assert state.covariance[0, 1] == pytest.approx(0.6e-6, rel=1e-12)
    assert np.array_equal(state.covariance, state.covariance.T)


def test_contradiction_is_told_whole(small_case: tuple[Job, Survey]) -> None:
    # 12 mm apart, u = sqrt(2^2 + 1^2) = 2.236 mm: 5.4 standard uncertainties
    job = with_readings(
        small_case[0],
        Reading("D1", "P1", "step", 0.018, 0.001, "feeler"),
        Reading("D2", "P2", "step", 0.001, 0.001, "rule"),
        Reading("D3", "P2", "step", -0.0095, 0.001, "straightedge"),
    )
    with pytest.raises(SurveyRefused) as caught:
        combine_readings(job, one_check(0.006, 0.002))
    assert caught.value.findings == (
        "reading D1 (step at P1 by feeler) is 12.0 mm off the coordinates, 5.4 standard "
        "uncertainties (at most 3.29); read it again, or exclude D1 in job.toml [exclude] with "
        "the reason",
        "reading D3 (step at P2 by straightedge) is 9.5 mm off the coordinates, 4.2 standard "
        "uncertainties (at most 3.29); read it again, or exclude D3 in job.toml [exclude] with "
        "the reason",
    )


@pytest.mark.parametrize(("off", "refused"), [(3.290, False), (3.291, True)])
def test_where_contradiction_begins(
    small_case: tuple[Job, Survey], off: float, refused: bool
) -> None:
    u = np.hypot(0.002, 0.001)
    job = with_readings(
        small_case[0], Reading("D1", "P1", "step", 0.006 - off * u, 0.001, "feeler")
    )
    if refused:
        with pytest.raises(SurveyRefused):
            combine_readings(job, one_check(0.006, 0.002))
    else:
        assert combine_readings(job, one_check(0.006, 0.002)).values[0] < 0.006


def test_excluded_reading_counts_nothing(small_case: tuple[Job, Survey]) -> None:
    reading = Reading("D1", "P1", "step", 0.5, 0.001, "feeler")
    job = with_readings(small_case[0], reading, excluded={"D1": "wrong joint, engineer"})
    state = one_check(0.006, 0.002)
    assert combine_readings(job, state) is state


def test_reading_reaches_the_state_of_the_joint(small_case: tuple[Job, Survey]) -> None:
    job, survey = small_case
    before = joint_state(job, survey)
    step = [c.id for c in before.checks].index("J1/P1/step")
    # two points of 0.5 mm each: u = 0.7071 mm, an equal reading takes the middle
    u = 0.0005 * np.sqrt(2.0)
    assert before.uncertainties[step] == pytest.approx(u, rel=1e-12)
    after = joint_state(with_readings(job, Reading("D1", "P1", "step", 0.007, u, "feeler")), survey)
    assert after.values[step] == pytest.approx(0.0065, abs=1e-9)
    assert after.uncertainties[step] == pytest.approx(0.0005, rel=1e-9)


def test_readings_that_agree_with_each_other_blame_the_survey(
    small_case: tuple[Job, Survey],
) -> None:
    """A benchmark or target height of one side is off: no reading is to be made again."""
    job = with_readings(
        small_case[0],
        Reading("D1", "P1", "step", 0.106, 0.001, "feeler"),
        Reading("D2", "P2", "step", 0.098, 0.001, "rule"),
    )
    with pytest.raises(SurveyRefused) as caught:
        combine_readings(job, one_check(0.006, 0.002))
    (line,) = caught.value.findings
    assert line.startswith(
        "readings D1, D2 agree with each other that every step read at joint J1 is 98.0 mm to "
        "100.0 mm off the coordinates, all the same way: the survey has one side of the joint too "
        "high or too low; check benchmark and target heights of each side"
    )


def test_a_contradiction_is_printed_in_the_units_of_the_job(
    small_case: tuple[Job, Survey],
) -> None:
    job = with_readings(
        small_case[0], Reading("D1", "P1", "step", 0.018, 0.001, "feeler"), units="US"
    )
    with pytest.raises(SurveyRefused, match=r"is 0\.472 in off the coordinates"):
        combine_readings(job, one_check(0.006, 0.002))
