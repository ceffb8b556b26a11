"""The budget against the survey's own covariance, the certificate, and draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.certify import certify
from fitup.checks import joint_state
from fitup.model import Reading, Segment, Uncertainties
from fitup.plan import make_plan
from fitup.structure import rigid_influence
from fitup.survey.pose import fit_pose
from fitup.survey.steel import Steel
from fitup.trust import best_shot, make_budget, trust_of
from fitup.trust.montecarlo import simulate

NONE = Uncertainties()
ALL = Uncertainties(
    steel=1.0, expansion=0.1, plate=1e-4, bedding=2e-4, dial=1e-4, stiffness=0.1, reading=4e-4
)


def warm(segment: Segment, sign: float) -> Segment:
    fixed = segment.centre + np.array([0.0, sign * 100.0, 0.0])
    return replace(segment, expansion=12e-6, fixed_point=fixed, depth=2.0)


@pytest.fixture(scope="module")
def case(small):
    made = small(seed=4, size=0.002)
    segments = {n: warm(s, -1.0 if n == "B" else 1.0) for n, s in made.job.segments.items()}
    step = float(made.state.values[[c.id for c in made.state.checks].index("K/P1/step")])
    reading = Reading("R1", "P1", "step", step + 3e-4, 5e-4, "feeler")
    job = replace(made.job, segments=segments, readings=(reading,))
    return replace(made, job=job, state=joint_state(job, made.survey))


@pytest.fixture(scope="module")
def plan(case):
    return make_plan(case.job, case.state, case.influence)


def budget_of(case, plan=None, uncertainties=NONE, steel=None):
    job = replace(case.job, uncertainties=uncertainties)
    survey = replace(
        case.survey,
        # 4 K colder than the reference: the coefficient then counts over the way
        steel={
            n: Steel(s.mean - 4.0, uncertainties.steel, shared="e")
            for n, s in case.survey.steel.items()
        },
    )
    args = (job, survey, case.state, case.influence, plan)
    budget = make_budget(*args, effect=lambda j: rigid_influence(j, survey), steel=steel)
    return budget, args


def test_as_surveyed_it_is_the_covariance_of_the_survey(case):
    budget, _ = budget_of(case)
    assert budget.covariance == pytest.approx(case.state.covariance, abs=1e-14)
    assert budget.values == pytest.approx(case.state.values)


def test_without_further_doubts_it_is_the_certificate(case, plan):
    budget, _ = budget_of(case, plan)
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    stated = {c.id: c.uncertainty for c in certificate.checks}
    assert budget.u == pytest.approx([stated[c.id] for c in budget.checks], rel=1e-9)


def test_every_doubt_adds(case, plan):
    before, _ = budget_of(case, plan)
    for name in ("steel", "plate", "bedding", "stiffness"):
        changed = replace(Uncertainties(), **{name: getattr(ALL, name)})
        if name == "plate":
            # plates with a spread of their own keep it
            plates = {m: replace(p, spread=0.0) for m, p in case.job.plates.items()}
            bare = replace(case, job=replace(case.job, plates=plates))
            assert budget_of(bare, plan, changed)[0].u.sum() > budget_of(bare, plan)[0].u.sum()
            continue
        assert budget_of(case, plan, changed)[0].u.sum() > before.u.sum(), name


def test_what_is_not_counted_is_said(case, plan):
    budget, _ = budget_of(case, plan)
    assert budget.not_counted == (
        "steel temperature (uncertainty.steel)",
        "expansion (uncertainty.expansion)",
        "bedding (uncertainty.bedding)",
        "stiffness (uncertainty.stiffness)",
    )
    assert budget_of(case, plan, ALL)[0].not_counted == ()


def test_draws_agree_with_linear_propagation(case, plan):
    steel = {"B": Steel(293.15, 0.5, 4.0, 0.8), "A": Steel(291.15, 0.5, -2.0, 0.8)}
    budget, args = budget_of(case, plan, ALL, steel)
    drawn = simulate(*args, steel=steel, draws=40_000)
    # a standard deviation of n draws errs by its share 1/sqrt(2 n), 0.35 %; the rest is curvature
    assert drawn.u == pytest.approx(budget.u, rel=0.02)
    assert drawn.values.mean(axis=0) == pytest.approx(budget.values, abs=4 * budget.u.max() / 200)
    rows = budget.judged("K")
    (trust,) = (t for t in trust_of(args[0], budget) if t.joint == "K")
    assert trust.probability == pytest.approx(drawn.probability(rows), abs=0.015)


def test_draws_of_coordinates_agree_with_new_surveys(case):
    """Whole surveys drawn, fitted and combined anew: nothing of the linear path is used."""
    rng = np.random.default_rng(7)
    seen = []
    for _ in range(250):
        points = {
            n: replace(p, position=p.position + rng.normal(0.0, p.uncertainty))
            for n, p in case.survey.points.items()
        }
        readings = tuple(
            replace(r, value=r.value + rng.normal(0.0, r.uncertainty)) for r in case.job.readings
        )
        poses = {}
        for name, pose in case.survey.poses.items():
            own = [points[i] for i in pose.points]
            design = np.array([case.job.points[i].design for i in pose.points])
            found = np.array([p.position for p in own])
            poses[name] = fit_pose(
                name, pose.points, design, found, np.array([p.uncertainty for p in own])
            )
        survey = replace(case.survey, points=points, poses=poses)
        seen.append(joint_state(replace(case.job, readings=readings), survey).values)
    budget, _ = budget_of(case)
    # 250 draws: 4.5 %; four times that for the worst of many
    assert np.std(seen, axis=0) == pytest.approx(budget.u, rel=0.18)


def test_a_reading_as_a_shot_is_the_reading_combined(case):
    budget, (job, survey, state, *_) = budget_of(case, None, Uncertainties(reading=4e-4))
    near = [c.target + 0.9 * (c.tolerance or 0.0) for c in budget.checks]
    budget = replace(budget, values=np.array(near))
    shot = best_shot(job, survey, budget, "K")
    assert shot is not None
    assert shot.kind == "reading"
    number = [c.id for c in state.checks].index(f"K/{shot.name}/{shot.quantity}")
    more = Reading("new", shot.name, shot.quantity, float(state.values[number]), shot.u, "tape")
    again = joint_state(replace(job, readings=(*job.readings, more)), survey)
    rows = budget.judged("K")
    allowed = np.array([budget.checks[i].tolerance for i in rows])
    assert shot.worst == pytest.approx((again.uncertainties[rows] / allowed).max(), rel=1e-9)


def test_a_target_as_a_shot_is_the_mean_of_two(case):
    """The survey with the point's uncertainty over the root of two, its pose fitted as before."""
    _, (job, survey, *_) = budget_of(case)
    name = "A-L"
    point = survey.points[name]
    points = {**survey.points, name: replace(point, uncertainty=point.uncertainty * np.sqrt(0.5))}
    bare = replace(job, readings=())
    again = joint_state(bare, replace(survey, points=points))
    plain, _ = budget_of(replace(case, job=bare, state=joint_state(bare, survey)))
    source = next(k for k, s in enumerate(plain.sources) if s.name == name)
    assert plain.scaled(source, np.sqrt(0.5)).u == pytest.approx(again.uncertainties, rel=1e-9)
    assert np.any(plain.scaled(source, np.sqrt(0.5)).u < plain.u)


def test_nothing_is_measured_again_where_all_is_sure(case):
    budget, (job, survey, *_) = budget_of(case)
    sure = replace(budget, values=np.array([c.target for c in budget.checks]))
    small = replace(sure, columns=sure.columns * 0.01)
    assert best_shot(job, survey, small, "K") is None


def test_one_told_temperature_errs_alike_for_both_segments(case):
    """Two segments that grow towards each other: their common error counts in full."""
    budget, _ = budget_of(case, None, Uncertainties(steel=1.0))
    none, _ = budget_of(case)
    gap = [c.id for c in budget.checks].index("K/P2/gap")
    # 110 m each from the fixed points, 12e-6: 2.64 mm for one kelvin in both
    added = budget.u[gap] ** 2 - none.u[gap] ** 2
    assert np.sqrt(added) == pytest.approx(12e-6 * 220.0, rel=1e-3)
