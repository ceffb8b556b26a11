"""What each assumption does, against states recomputed from scratch in that truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.recompute import RigidStates
from fitup.loop.hypotheses import assumptions_of, usual
from fitup.model import Learned, Learning, Uncertainties


def place(model, kind, at=""):
    return next(i for i, p in enumerate(model.parameters) if (p.kind, p.at) == (kind, at))


@pytest.fixture(scope="module")
def one(rounds):
    return rounds(1)


def test_columns_are_the_slopes_of_what_is_predicted(one):
    model = assumptions_of(one)
    rng = np.random.default_rng(2)
    theta = rng.normal(0.0, 0.3, len(model.parameters)) * np.sqrt(np.diag(model.prior))
    columns = model.columns(theta)
    for i in range(len(theta)):
        step = np.zeros_like(theta)
        step[i] = 1e-3 * np.sqrt(model.prior[i, i])
        slope = (model.predicted(theta + step) - model.predicted(theta - step)) / (2.0 * step[i])
        assert columns[:, i] == pytest.approx(slope, rel=1e-4, abs=1e-6 * abs(slope).max() + 1e-12)


def test_any_stiffness_predicts_what_that_truth_does(one, small):
    """Not only the slope: seats half or twice as stiff, solved from scratch by another path."""
    model = assumptions_of(one)
    rng = np.random.default_rng(7)
    factors = {n: float(np.exp(rng.normal(0.0, 0.7))) for n in one.influence.seats}
    theta = np.zeros(len(model.parameters))
    for name, factor in factors.items():
        theta[place(model, "stiffness", name)] = np.log(factor)
    case = small(1)
    job = replace(case.job, seats={n: replace(s, stiffness=s.stiffness * factors[n])
                                   for n, s in case.job.seats.items()})  # fmt: skip
    states = RigidStates(job, case.survey, dict.fromkeys(factors, 0.0))
    moves = dict(zip(one.influence.seats, one.moves.tolist(), strict=True))
    truth = states.at(moves, one.before.checks)
    told = model.predicted(theta)
    m = len(one.before.values)
    # points of two surveys lie a little apart, and true rotations are not quite linear
    assert told[:m] == pytest.approx(truth.change, abs=1e-5)
    loads = np.array([truth.reactions[one.influence.seats[i]] for i in one.loaded])
    assert told[m:] == pytest.approx(loads, rel=1e-9, abs=1e-3)


def test_bedding_acts_only_where_a_pack_is_new(one):
    model = assumptions_of(one)
    columns = model.columns(np.zeros(len(model.parameters)))
    assert one.moves[one.influence.seats.index("A3")] == 0.0
    assert not columns[:, place(model, "bedding", "A3")].any()
    b1 = columns[:, place(model, "bedding", "B1")]
    assert b1 == pytest.approx(columns[:, place(model, "settlement", "B1")])
    assert b1 == pytest.approx(-one.rows[:, one.influence.seats.index("B1")])


def test_gauges_scale_only_loads(one):
    model = assumptions_of(one)
    column = model.columns(np.zeros(len(model.parameters)))[:, place(model, "gauge")]
    m = len(one.before.values)
    assert not column[:m].any()
    assert column[m:] == pytest.approx((one.rows @ one.moves)[m:])


def test_steel_and_expansion_by_hand(one):
    """20 m segments fixed at their far ends: 12e-6 and one kelvin close the gap by 0.48 mm."""
    far = {"B": np.array([0.0, -20.0, 10.0]), "A": np.array([0.0, 20.01, 10.0])}
    job = replace(one.job, segments={
        n: replace(s, expansion=12e-6, fixed_point=far[n]) for n, s in one.job.segments.items()
    })  # fmt: skip
    gaps = [i for i, c in enumerate(one.before.checks) if c.quantity == "gap"]
    warm = np.zeros(len(one.before.values))
    warm[gaps] = -0.48e-3
    told = replace(
        one, job=job,
        before=replace(one.before, at_survey=0.0 * warm),
        after=replace(one.after, at_survey=3.0 * warm),
    )  # fmt: skip
    model = assumptions_of(told)
    columns = model.columns(np.zeros(len(model.parameters)))
    both = columns[:, place(model, "steel", "B")] + columns[:, place(model, "steel", "A")]
    assert both[gaps] == pytest.approx(np.full(3, -0.48e-3), rel=1e-6)
    assert columns[gaps, place(model, "expansion")] == pytest.approx(np.full(3, -1.44e-3))


def test_what_is_exact_is_no_parameter(one):
    job = replace(one.job, learning=Learning(settlement=0.0, gauge=0.0))
    kinds = {p.kind for p in assumptions_of(replace(one, job=job)).parameters}
    assert kinds == {"stiffness", "bedding"}
    # nothing grows, no nut, and A3 of the loads is not read at all


def test_prior_is_the_jobs_or_the_usual_half_of_it_common(one):
    model = assumptions_of(one)
    i, j = place(model, "stiffness", "B1"), place(model, "stiffness", "A4")
    assert model.prior[i, i] == pytest.approx(0.3**2)
    assert model.prior[i, j] == pytest.approx(0.3**2 / 2.0)
    k, q = place(model, "settlement", "B1"), place(model, "settlement", "B2")
    assert (model.prior[k, q], model.prior[i, k]) == (0.0, 0.0)
    stated = replace(one.job, uncertainties=Uncertainties(stiffness=0.1))
    assert usual(one.job, ("stiffness", "bedding", "gauge")) == ("stiffness", "bedding")
    assert usual(stated, ("stiffness", "bedding", "gauge")) == ("bedding",)
    prior = assumptions_of(replace(one, job=stated)).prior
    assert prior[i, i] == pytest.approx(0.01)


def test_what_was_taught_before_is_the_prior(one):
    learned = (
        Learned("stiffness", "B1", 0.8, 0.1, (), "s"),
        Learned("bedding", "B2", 0.001, 2e-4, (0.5,), "s"),
        Learned("stiffness", "B2", 0.9, 0.2, (-0.25, 0.0), "s"),
    )
    model = assumptions_of(replace(one, job=replace(one.job, learned=learned)))
    b1, b2 = place(model, "stiffness", "B1"), place(model, "stiffness", "B2")
    bed = place(model, "bedding", "B2")
    assert model.prior[b1, b1] == pytest.approx(0.01)
    assert model.prior[b1, b2] == pytest.approx(-0.25 * 0.1 * 0.2)
    assert model.prior[b1, bed] == pytest.approx(0.5 * 0.1 * 2e-4)
    # one that was not taught stays by itself
    other = place(model, "stiffness", "A1")
    assert model.prior[other, b1] == 0.0
    assert np.linalg.eigvalsh(model.prior).min() > -1e-15
