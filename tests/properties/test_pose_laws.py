"""Laws of the rigid fit: what must hold whatever the segment, its place and its survey."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from fitup.frames import Motion, rotation, rotation_vector
from fitup.survey import fit_pose
from fitup.survey.blunders import explain
from fitup.survey.hypotheses import Observed
from fitup.survey.pose import standardised_residuals

FEW = settings(max_examples=60, deadline=None)
SEEDS = st.integers(0, 2**32 - 1)
VECTORS = arrays(float, 3, elements=st.floats(-1.0, 1.0))


def segment(seed: int, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A well-spread segment: design, standard uncertainties, noise of those uncertainties."""
    rng = np.random.default_rng(seed)
    design = rng.uniform(-1.0, 1.0, (count, 3)) * [15.0, 8.0, 2.0] + [4e5, 5.6e6, 80.0]
    u = rng.uniform(0.0005, 0.004, (count, 3))
    return design, u, rng.normal(0.0, 1.0, (count, 3)) * u


def wide(design: np.ndarray) -> bool:
    spread = np.linalg.svd(design - design.mean(axis=0), compute_uv=False)
    return bool(spread[1] > 0.1 * spread[0])


def fit(design, surveyed, u, ids=None):
    return fit_pose("S", ids or [f"P{i}" for i in range(len(design))], design, surveyed, u)


@FEW
@given(SEEDS, st.integers(3, 12), VECTORS, VECTORS)
def test_an_exactly_moved_segment_is_recovered(seed, count, turn, shift):
    design, u, _ = segment(seed, count)
    assume(wide(design))
    motion = Motion(rotation(3.0 / np.sqrt(3.0) * turn), 50.0 * shift, design.mean(axis=0))
    pose = fit(design, motion.apply(design), u)
    # coordinates of 5.6e6 m carry 1e-9 m
    assert pose.design2site.turn == pytest.approx(motion.turn, abs=2e-8)
    assert pose.design2site.shift == pytest.approx(motion.shift, abs=2e-8)
    assert np.abs(pose.residuals).max() < 1e-7


@FEW
@given(SEEDS, st.integers(4, 10), VECTORS, VECTORS)
def test_moving_design_and_survey_together_changes_nothing(seed, count, turn, shift):
    design, _, noise = segment(seed, count)
    assume(wide(design))
    # one uncertainty for all coordinates, which a rotation leaves as it is
    u = np.full(design.shape, 0.002)
    mean = design.mean(axis=0)
    together = Motion(rotation(turn), 100.0 * shift, mean)
    before = fit(design, design + noise, u)
    after = fit(together.apply(design), together.apply(design + noise), u)
    assert after.residuals == pytest.approx(before.residuals @ together.turn.T, abs=2e-8)
    assert after.variance_factor == pytest.approx(before.variance_factor, rel=1e-4, abs=1e-9)
    turned = together.turn @ rotation_vector(before.design2site.turn)
    assert rotation_vector(after.design2site.turn) == pytest.approx(turned, abs=2e-8)


@FEW
@given(SEEDS, st.integers(3, 10), st.randoms(use_true_random=False))
def test_order_and_names_of_points_do_not_matter(seed, count, random):
    design, u, noise = segment(seed, count)
    assume(wide(design))
    order = list(range(count))
    random.shuffle(order)
    plain = fit(design, design + noise, u)
    renamed = [f"left {i} / éß" for i in order]
    other = fit(design[order], (design + noise)[order], u[order], renamed)
    assert other.points == tuple(renamed)
    assert other.residuals == pytest.approx(plain.residuals[order], abs=1e-8)
    assert other.covariance == pytest.approx(plain.covariance, rel=1e-6, abs=1e-16)
    assert other.ratio == pytest.approx(plain.ratio, rel=1e-4, abs=1e-5)


@FEW
@given(SEEDS, st.integers(4, 10), st.sampled_from([0.3048, 1200.0 / 3937.0, 1e-3, 39.37]))
def test_the_unit_of_length_does_not_matter(seed, count, unit):
    design, u, noise = segment(seed, count)
    assume(wide(design))
    plain = fit(design, design + noise, u)
    other = fit(design / unit, (design + noise) / unit, u / unit)
    assert other.design2site.shift * unit == pytest.approx(plain.design2site.shift, abs=1e-8)
    assert other.design2site.turn == pytest.approx(plain.design2site.turn, abs=1e-8)
    assert other.ratio == pytest.approx(plain.ratio, rel=1e-4, abs=1e-5)


@FEW
@given(SEEDS, st.integers(4, 10))
def test_residuals_are_at_right_angles_to_every_motion(seed, count):
    design, u, noise = segment(seed, count)
    assume(wide(design))
    pose = fit(design, design + noise, u)
    # optimality: the gain finds no further motion in the residuals
    assert pose.gain @ pose.residuals.ravel() == pytest.approx(np.zeros(6), abs=1e-9)


@FEW
@given(SEEDS, st.integers(4, 10), SEEDS)
def test_any_exchange_of_two_targets_is_named(seed, count, selection):
    design, _, _ = segment(seed, count)
    apart = np.linalg.norm(design[:, None] - design[None, :], axis=2)
    assume(wide(design) and apart[np.triu_indices(count, 1)].min() > 1.0)
    first, second = np.random.default_rng(selection).choice(count, 2, replace=False)
    ids = tuple(f"P{i}" for i in range(count))
    order = np.arange(count)
    order[[first, second]] = order[[second, first]]
    surveyed = np.add(design, [0.01, 0.02, 0.03])[order]
    found = explain(Observed("S", ids, design, surveyed, np.full(design.shape, 0.002)))
    low, high = sorted((int(first), int(second)))
    assert found[0].startswith(f"segment S: if targets P{low} and P{high} are exchanged ")


def test_covariance_and_residuals_are_those_of_monte_carlo():
    design, u, _ = segment(5, 5)
    true = Motion(
        rotation(np.array([0.01, -0.02, 0.03])), np.array([1.0, 2, 3]), design.mean(axis=0)
    )
    surveyed = true.apply(design)
    rng = np.random.default_rng(6)
    draws = 3000
    errors, standard, factors = [], [], []
    for _ in range(draws):
        pose = fit(design, surveyed + rng.normal(0.0, 1.0, u.shape) * u, u)
        turn = rotation_vector(pose.design2site.turn @ true.turn.T)
        errors.append(np.concatenate([pose.design2site.shift - true.shift, turn]))
        standard.append(standardised_residuals(pose, design, u).ravel())
        factors.append(pose.variance_factor)
    stated = np.linalg.cholesky(fit(design, surveyed, u).covariance)
    white = np.linalg.solve(stated, np.array(errors).T)
    # the sample covariance of n unit draws is within 5 sqrt(2 / n) = 0.13 of the identity
    assert np.cov(white) == pytest.approx(np.eye(6), abs=0.13)
    assert np.var(standard, axis=0) == pytest.approx(np.ones(15), abs=0.13)
    assert np.mean(factors) == pytest.approx(1.0, abs=5.0 * np.sqrt(2.0 / 9.0 / draws))
