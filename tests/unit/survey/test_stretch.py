"""A wrong steel temperature is found by the length of the segments it was taken on."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.errors import SurveyRefused
from fitup.model import Job
from fitup.survey import reduce_survey
from fitup.survey.steel import Steel
from fitup.survey.stretch import stretch_of

SEGMENTS = ("A1", "A2", "A3")
ALPHA = 12e-6
REFERENCE = 293.15


def night(deck: Any, survey_of: Any, listed: Any, true: float, stated: float, seed: int = 7) -> Any:
    """Job and list of a survey with the steel at one temperature [K] and another one stated."""
    plain = deck()
    fixed = plain.points["A1-2"].design - [150.0, 0.0, 0.0]
    job: Job = replace(
        plain,
        segments={
            n: replace(s, expansion=ALPHA, fixed_point=fixed) for n, s in plain.segments.items()
        },
        epochs=(replace(plain.epochs[0], temperature=stated),),
    )
    seen = []
    for name in SEGMENTS:
        o = survey_of(name, seed)
        grown = ALPHA * (true - REFERENCE) * (o.design - fixed)
        seen.append(replace(o, surveyed=o.surveyed + grown))
    return job, listed(*seen)


@pytest.mark.parametrize(
    ("true", "stated", "words"),
    [
        (284.65, 325.85, "stands under °C and was read in °F: 52.7 °F is 11.5 °C"),
        # 11.5 under °F
        (284.65, 273.15 + (11.5 - 32.0) / 1.8, "stands under °F and was read in °C: 11.5 °C is"),
    ],
)
def test_steel_in_another_scale_is_refused_by_name(
    deck, survey_of, listed, true: float, stated: float, words: str
):
    job, survey = night(deck, survey_of, listed, true, stated)
    with pytest.raises(SurveyRefused) as refused:
        reduce_survey(job, [survey])
    (line,) = refused.value.findings
    assert line.startswith("night.csv: the steel temperature " + words)
    assert "segments A1, A2, A3 asks for" in line
    assert line.endswith("correct steel_temperature in job.toml")


def test_a_temperature_that_no_scale_explains_is_a_reservation(deck, survey_of, listed):
    job, survey = night(deck, survey_of, listed, 284.65, 284.65 + 10.0)
    (line,) = reduce_survey(job, [survey]).verdict.reservations
    assert line.startswith("night.csv: the length of segments A1, A2, A3 asks for steel at ")
    assert "not at 21.5 °C as stated" in line
    # 10 K on 180 m are 21.6 mm
    amount = float(line.split("up to ")[1].split(" mm")[0])
    assert amount == pytest.approx(21.8, abs=6.0)


def test_the_stated_uncertainty_of_the_temperature_comes_true(deck, survey_of, listed):
    off = []
    for seed in range(200):
        job, _ = night(deck, survey_of, listed, REFERENCE, REFERENCE, seed)
        steel = {n: Steel(REFERENCE) for n in SEGMENTS}
        found = stretch_of(job, steel, [survey_of(n, seed) for n in SEGMENTS])
        assert found is not None
        off.append((found.steel - found.stated) / found.u)
        # alone, the noise of 21 points 1.5 mm uncertain, about 13 m from the middle of each
        assert 1.5 < found.u < 3.5
    # u is widened by what does not fit, never narrowed: a little under 1
    assert 0.8 < np.std(off) < 1.1
    assert abs(np.mean(off)) < 4.0 / np.sqrt(200)


def test_a_right_temperature_is_not_in_question(deck, survey_of, listed):
    for seed in range(10):
        job, survey = night(deck, survey_of, listed, 284.65, 284.65, seed)
        found = reduce_survey(job, [survey])
        assert not any("asks for steel" in line for line in found.verdict.reservations)


def test_one_bad_point_is_no_temperature(deck, survey_of, listed):
    job, survey = night(deck, survey_of, listed, 284.65, 284.65)
    points = [
        replace(p, position=p.position + np.array([1.0, 0.0, 0.0])) if p.id == "A2-4" else p
        for p in survey.points
    ]
    with pytest.raises(SurveyRefused) as refused:
        reduce_survey(job, [replace(survey, points=tuple(points))])
    (line,) = refused.value.findings
    assert "target A2-4 alone is wrong" in line


def test_targets_exchanged_across_a_joint_are_named_though_they_were_reduced_apart(
    deck, survey_of, listed
):
    """Each was brought to the reference temperature about the fixed point of the other."""
    job, survey = night(deck, survey_of, listed, 284.65, 284.65)
    far = job.points["A3-5"].design + np.array([150.0, 0.0, 0.0])
    ahead = replace(job.segments["A2"], fixed_point=far)
    job = replace(job, segments={**job.segments, "A2": ahead})
    move = ALPHA * (284.65 - REFERENCE) * (ahead.fixed_point - job.segments["A1"].fixed_point)
    other = {"A1-4": "A2-1", "A2-1": "A1-4"}
    points = [
        replace(
            p,
            id=other.get(p.id, p.id),
            position=p.position - (move if p.id.startswith("A2") else 0.0),
        )
        for p in survey.points
    ]
    with pytest.raises(SurveyRefused) as refused:
        reduce_survey(job, [replace(survey, points=tuple(points))])
    assert refused.value.findings
    for line in refused.value.findings:
        assert "if targets A1-4 and A2-1, of two segments, are exchanged" in line
