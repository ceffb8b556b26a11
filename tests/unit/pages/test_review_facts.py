"""The facts of a review page: the certificate's numbers, and the arithmetic of the program."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest

from fitup.certify.recompute import RigidStates
from fitup.openjob import OpenJob, open_job
from fitup.pages import ReviewFacts, review_facts, review_page
from fitup.problem.problem import build_problem


@pytest.fixture(scope="module")
def small(
    tmp_path_factory: pytest.TempPathFactory, small_job_writer: Callable[..., Path]
) -> OpenJob:
    limits = "id,kind,seats,most_mm\nL1,difference,A-S1 A-S2,4\n"
    return open_job(small_job_writer(tmp_path_factory.mktemp("facts"), limits=limits))


@pytest.fixture(scope="module")
def facts(small: OpenJob) -> ReviewFacts:
    return review_facts(small, folder="small")


def test_the_plan_is_the_certificate_s(small: OpenJob, facts: ReviewFacts):
    certificate = small.certificate
    assert [(c.id, c.before, c.plan, c.u) for c in facts.checks] == [
        (c.id, c.before, c.after, c.uncertainty) for c in certificate.checks
    ]
    for row, seat in zip(facts.seats, certificate.seats, strict=True):
        assert (row.reaction_before, row.reaction_plan) == (
            seat.reaction_before,
            seat.reaction_after,
        )
        chosen = row.packs[row.chosen]
        assert sorted(facts.plates[k].mark for k in chosen.plates) == sorted(seat.build_up)
        assert chosen.setting == pytest.approx(seat.setting, abs=1e-9)
        assert row.packs[row.stays].setting == 0.0


def test_packs_are_those_of_the_problem(small: OpenJob, facts: ReviewFacts):
    problem = build_problem(small.job, small.state, small.influence)
    for row, own in zip(facts.seats, problem.choices, strict=True):
        assert [(p.setting, tuple(facts.plates[k].mark for k in p.plates)) for p in row.packs] == [
            (c.setting, c.marks) for c in own
        ]


def test_changed_packs_agree_with_true_rotations(small: OpenJob, facts: ReviewFacts):
    """A second path: segments brought to equilibrium, points moved, checks measured again."""
    rng = np.random.default_rng(2)
    present = dict(zip(small.influence.seats, small.influence.r0.tolist(), strict=True))
    states = RigidStates(small.job, small.survey, present)
    for _ in range(5):
        picks = [s.packs[int(rng.integers(len(s.packs)))] for s in facts.seats]
        x = np.array([p.setting for p in picks])
        true = states.at(dict(zip(small.job.seats, x.tolist(), strict=True)), small.state.checks)
        moves = x - facts.settings
        values = np.array([c.plan for c in facts.checks]) + np.array(facts.A) @ moves
        assert values == pytest.approx(small.state.values + true.change, abs=1e-4)
        loads = np.array([s.reaction_plan for s in facts.seats]) + np.array(facts.R) @ moves
        assert loads == pytest.approx(list(true.reactions.values()), abs=1.0)


def test_limits_are_those_of_the_problem(small: OpenJob, facts: ReviewFacts):
    problem = build_problem(small.job, small.state, small.influence)
    x = np.array(facts.settings)
    over = problem.L @ x - problem.b
    assert [row.text for row in facts.limits] == [limit.text for limit in problem.limits]
    for row, exact in zip(facts.limits, over, strict=True):
        assert row.over == pytest.approx(exact, abs=1.0 if row.unit == "force" else 1e-4)
        assert row.over <= row.care
    (first, second) = (r for r in facts.limits if "L1" in r.text)
    assert first.over + second.over == pytest.approx(-0.008)


def test_the_film_ends_where_the_plan_does(small: OpenJob, facts: ReviewFacts):
    assert facts.film[0].settings == (0.0,) * len(facts.seats)
    assert facts.film[-1].settings == pytest.approx(facts.settings, abs=1e-9)
    assert facts.film[-1].readings
    # every increment of the plan is one of the states
    for stage in small.plan.stages:
        for states in (stage.up, stage.down):
            for state in states:
                own = [list(small.job.seats).index(seat) for seat in stage.seats]
                assert any(
                    all(f.settings[k] == v for k, v in zip(own, state, strict=True))
                    for f in facts.film
                )


def test_names_stay_text_in_the_page(facts: ReviewFacts):
    name = "</script><script>alert(1)</script><!--\u2028&amp;"
    page = review_page(replace(facts, job=name)).decode()
    assert page.count("<script") == page.count("</script>") == 2
    assert "<!--" not in page
    body = re.search(r'id="facts">(.*?)</script>', page, re.DOTALL)
    assert body is not None
    assert not set("<>&\u2028") & set(body[1])
    read = json.loads(body[1])
    assert read["job"] == name
    assert read == json.loads(json.dumps(asdict(replace(facts, job=name))))


def test_the_same_bytes_for_the_same_plan(small: OpenJob, facts: ReviewFacts):
    again = open_job(small.folder)
    assert review_page(review_facts(again, folder="small")) == review_page(facts)


def test_nothing_in_the_page_points_outside(facts: ReviewFacts):
    page = review_page(facts).decode()
    outside = {"http://www.w3.org/2000/svg"}
    assert set(re.findall(r"https?://[^\s\"'<)]+", page)) == outside
    assert not re.search(r"\b(?:src|href)=\"(?!#)", page)
