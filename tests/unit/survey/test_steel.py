"""Thermometers: mean, difference, what they do to a survey, and when they are not believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.recompute import bending_of, expansion_of
from fitup.checks import joint_state
from fitup.checks.thermal import segment_rates
from fitup.errors import SurveyRefused
from fitup.model import SteelReading
from fitup.survey import CoordinateList, SurveyedPoint, reduce_survey
from fitup.survey.steel import Steel, steel_from, thermal_shift


def reading(place, celsius, u=0.5, segment="A", name="T"):
    return SteelReading(f"{name}{place}{segment}", segment, place, celsius + 273.15, u)


def test_one_place_says_nothing_of_the_difference():
    steel = steel_from([reading("top", 20.0, 0.5), reading("top", 22.0, 1.0)])
    # weights 4 : 1
    assert steel.mean == pytest.approx(293.55)
    assert steel.u_mean == pytest.approx(np.sqrt(1.0 / 5.0))
    assert (steel.difference, steel.u_difference) == (0.0, 0.0)


def test_top_middle_bottom_by_least_squares():
    steel = steel_from([reading("top", 26.0), reading("middle", 20.0), reading("bottom", 17.0)])
    assert steel.mean == pytest.approx(294.15)
    assert steel.difference == pytest.approx(9.0)
    assert steel.u_mean == pytest.approx(0.5 / np.sqrt(3.0))
    assert steel.u_difference == pytest.approx(0.5 * np.sqrt(2.0))


@pytest.fixture(scope="module")
def warm_job(small):
    job = small().job
    segments = {
        n: replace(
            s,
            expansion=12e-6,
            fixed_point=s.centre + np.array([0.0, -80.0 if n == "B" else 80.0, 0.0]),
            depth=2.5,
        )
        for n, s in job.segments.items()
    }
    return replace(job, segments=segments)


def surveyed(job, steel):
    """The design, as it stands with steel of each segment, surveyed without error."""
    points = tuple(
        SurveyedPoint(
            p.id,
            p.design + thermal_shift(job, steel, p.id),
            np.full(3, 5e-4),
            0,
            row,
        )
        for row, p in enumerate(job.points.values(), 2)
    )
    return reduce_survey(job, [CoordinateList("made.csv", points, (), ())])


def test_a_bent_and_warm_deck_is_brought_back_to_its_design(warm_job):
    readings = (
        reading("top", 21.0), reading("bottom", 13.0),
        reading("top", 15.0, segment="B"), reading("bottom", 17.0, segment="B"),
    )  # fmt: skip
    job = replace(warm_job, thermometers=readings)
    steel = {"A": Steel(290.15, 0.0, 8.0), "B": Steel(289.15, 0.0, -2.0)}
    survey = surveyed(job, steel)
    state = joint_state(job, survey)
    assert state.values == pytest.approx(np.zeros(len(state.values)), abs=1e-9)
    said = "\n".join(survey.understood)
    assert (
        "segment A: brought from 17.0 °C to 15.0 °C by free expansion about its fixed point, by 2 "
        "thermometers; straightened from a top warmer by 8.0 °C"
    ) in said
    assert "straightened from a bottom warmer by 2.0 °C" in said


def test_second_path_agrees_with_true_arcs(warm_job):
    checks = joint_state(warm_job, surveyed(warm_job, cold(warm_job))).checks
    mean, bent = segment_rates(warm_job, checks)
    warmer, difference = {"B": 7.0, "A": -3.0}, {"B": 9.0, "A": -12.0}
    for i, check in enumerate(checks):
        linear = float(mean[i] @ [7.0, -3.0])
        assert expansion_of(warm_job, check, warmer) == pytest.approx(linear, abs=1e-12)
        linear = float(bent[i] @ [9.0, -12.0])
        # an arc of 12 K over 2.5 m: second order below a micrometre
        assert bending_of(warm_job, check, difference) == pytest.approx(linear, abs=1e-6)
        if check.quantity in ("step", "gap", "kink_grade", "level"):
            assert linear != 0.0


def cold(job):
    return {n: Steel(job.reference_temperature) for n in job.segments}


def test_thermometers_that_contradict_the_survey_are_refused(warm_job):
    job = replace(warm_job, thermometers=(reading("middle", 19.0),))
    with pytest.raises(SurveyRefused) as refused:
        surveyed(job, cold(job))
    assert refused.value.findings == (
        "segment A: its thermometers say 19.0 °C, the survey (made.csv) 15.0 °C; they may differ "
        "by temperature_apart of [gates]; read temperatures.csv again, or correct "
        "steel_temperature",
    )
