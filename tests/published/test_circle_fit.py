"""Circles through points against a published example and closed forms.

[1] W. Gander, G. H. Golub, R. Strebel, Least-squares fitting of circles and ellipses, BIT 34
    (1994), 558-578, section 1: six points, geometric fit with centre (4.7398, 2.9835) and radius
    4.7142. Figures from memory, reproduced here to the four printed decimals.
[2] Closed form: k points evenly round a circle, each uncertain by s in every direction, give the
    centre a standard uncertainty of s sqrt(2 / k) in the plane and s / sqrt(k) out of it: radial
    parts alone count in the plane. From the normal equations, no source needed.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.certify.passage import centre_of
from fitup.checks.circle import centre_covariance, centre_rows, fit_circle
from fitup.frames import rotation

GANDER = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=float)
VECTOR = st.tuples(*[st.floats(-3.0, 3.0)] * 3).map(np.array)


@given(VECTOR, VECTOR)
def test_published_circle_anywhere_in_space(turn, shift):
    """[1], turned and shifted."""
    matrix = rotation(turn)
    flat = np.column_stack([GANDER, np.zeros(6)])
    circle = fit_circle(flat @ matrix.T + shift)
    centre = matrix.T @ (circle.centre - shift)
    assert centre == pytest.approx([4.7398, 2.9835, 0.0], abs=5e-5)
    assert circle.radius == pytest.approx(4.7142, abs=5e-5)
    assert abs(circle.normal @ matrix[:, 2]) == pytest.approx(1.0)


def ring(k: int, radius: float = 0.6, noise: float = 0.0, seed: int = 0) -> np.ndarray:
    angle = 2.0 * np.pi * np.arange(k) / k + 0.3
    points = np.column_stack([radius * np.cos(angle), np.zeros(k), radius * np.sin(angle)])
    return points + noise * np.random.default_rng(seed).normal(size=points.shape)


@pytest.mark.parametrize("k", [3, 4, 6, 9])
def test_uncertainty_of_a_centre(k: int):
    """[2]."""
    points = ring(k)
    circle = fit_circle(points)
    covariance = centre_covariance(points, circle, np.full((k, 3), 0.001))
    expected = 1e-6 * np.diag([2.0 / k, 1.0 / k, 2.0 / k])
    assert covariance == pytest.approx(expected, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(3, 9))
def test_centres_follow_their_points(seed: int, k: int):
    """First-order rows against the fit itself, and against a second way to the centre."""
    points = ring(k)
    moved = points + 1e-4 * np.random.default_rng(seed).normal(size=points.shape)
    circle = fit_circle(points)
    gains = centre_rows(points, circle.centre, circle.normal)
    linear = sum(g @ d for g, d in zip(gains, moved - points, strict=True))
    assert fit_circle(moved).centre - circle.centre == pytest.approx(linear, abs=3e-7)
    assert centre_of(moved) == pytest.approx(fit_circle(moved).centre, abs=2e-4)
    # a ring that is shifted and turned as a whole takes its centre with it
    whole = points @ rotation(np.array([1e-3, -2e-3, 1e-3])).T + [0.01, -0.02, 0.03]
    assert fit_circle(whole).centre == pytest.approx([0.01, -0.02, 0.03], abs=1e-12)
    assert centre_of(whole) == pytest.approx([0.01, -0.02, 0.03], abs=1e-12)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (ring(3)[:2], "2 points; a circle needs three"),
        (np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]), "points in a line"),
    ],
)
def test_no_circle(points: np.ndarray, message: str):
    with pytest.raises(ValueError) as refused:
        fit_circle(points)
    assert str(refused.value) == message
