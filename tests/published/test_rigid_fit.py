"""Rigid fits against published transformations of coordinates.

Sources
-------
- EPSG Guidance Note 7-2 (IOGP 373-7-2), Position Vector transformation, methods 1033 and 9606;
  example as shown at https://epsg.io/9606-method.
- S. Umeyama, Least-squares estimation of transformation parameters between two point patterns,
  IEEE PAMI 13(4), 1991, pp. 376-380; example, numbers from memory (R, c and t recomputed; the
  mean squared error remembered with it does not reproduce and is not used).
- C. D. Ghilani, Adjustment Computations, 3-D conformal coordinate transformation; coordinates
  and standard deviations as published. The book's adjustment puts errors on both systems and has
  a scale; what a fit without either must give was recomputed from the published data.
- W. Kabsch, Acta Cryst. A32, 1976, by way of ``scipy.spatial.transform.Rotation.align_vectors``.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitup.frames import Motion, displacement_rows, rotation, rotation_vector
from fitup.survey import fit_pose
from fitup.survey.pose import closed_fit

SECOND = np.pi / 180.0 / 3600.0
# EPSG GN 7-2: geocentric WGS 72 -> WGS 84 [m], rotation 0.554" about Z, scale 0.219 ppm
WGS72 = np.array([3657660.66, 255768.55, 5201382.11])
WGS84_PUBLISHED = np.array([3657660.78, 255778.43, 5201387.75])
WGS84_RECOMPUTED = np.array([3657660.774067, 255778.430008, 5201387.749103])
TURN = np.array([0.0, 0.0, 0.554 * SECOND])
SHIFT = np.array([0.0, 0.0, 4.5])
SCALE = 1.0 + 0.219e-6


def test_position_vector_convention():
    # our turn of points by the right-hand rule is the Position Vector convention
    motion = Motion(rotation(TURN), SHIFT, np.zeros(3))
    # published to 1 cm, and 3657660.774 is printed as .78
    assert motion.apply(SCALE * WGS72) == pytest.approx(WGS84_PUBLISHED, abs=0.01)
    # the note multiplies with the small-angle matrix, 1.3e-5 m from the whole rotation
    assert motion.apply(SCALE * WGS72) == pytest.approx(WGS84_RECOMPUTED, abs=2e-5)
    rows = displacement_rows((SCALE * WGS72).reshape(1, 3), np.zeros(3))
    small = SCALE * WGS72 + rows @ np.concatenate([SHIFT, TURN])
    # six decimals were recomputed
    assert small == pytest.approx(WGS84_RECOMPUTED, abs=1e-6)


def test_the_other_sign_is_metres_away():
    wrong = Motion(rotation(-TURN), SHIFT, np.zeros(3)).apply(SCALE * WGS72)
    # the same note with the rotation of the Coordinate Frame convention, recomputed to 1 mm
    assert wrong == pytest.approx([3657662.148, 255758.782, 5201387.749], abs=1e-3)


def test_the_fit_finds_the_published_turn_and_its_sign():
    design = WGS72 + 1e6 * np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 1, 2]])
    surveyed = Motion(rotation(TURN), SHIFT, np.zeros(3)).apply(design)
    pose = fit_pose("earth", tuple("abcde"), design, surveyed, np.full(design.shape, 0.01))
    # coordinates of 1e7 m carry 1e-9 m, over arms of 1e6 m
    assert rotation_vector(pose.design2site.turn) == pytest.approx(TURN, abs=1e-14)
    assert pose.design2site.apply(WGS72) == pytest.approx(surveyed[0], abs=1e-7)


def test_umeyama_example_guards_against_the_mirror():
    here = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
    there = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]])
    turn, shift = closed_fit(here, there, np.ones(3))
    # seven printed digits
    assert turn == pytest.approx(
        np.array([[0.8320503, 0.5547002], [-0.5547002, 0.8320503]]), abs=1e-7
    )
    assert np.linalg.det(turn) == pytest.approx(1.0)
    # the published shift belongs to the published scale; ours has none
    scale = 0.7211103
    mean_here, mean_there = here.mean(axis=0), there.mean(axis=0)
    assert mean_there - scale * turn @ mean_here == pytest.approx([-0.8, 0.4], abs=1e-7)
    assert shift == pytest.approx(mean_there - turn @ mean_here, abs=1e-12)


def test_the_guard_in_space_gives_the_best_proper_rotation():
    rng = np.random.default_rng(1)
    here = rng.normal(size=(6, 3))
    there = here * [1.0, 1.0, -1.0]
    turn, _ = closed_fit(here, there, np.ones(6))
    assert np.linalg.det(turn) == pytest.approx(1.0)

    def cost(a_turn):
        arms, aims = here - here.mean(axis=0), there - there.mean(axis=0)
        return ((aims - arms @ a_turn.T) ** 2).sum()

    tried = Rotation.random(2000, random_state=2).as_matrix()
    assert cost(turn) <= min(cost(t) for t in tried)


GHILANI = np.array(
    [
        # x, y, z -> X, Y, Z [m], then their standard deviations [cm]
        [1094.883, 820.085, 109.821, 10037.81, 5262.09, 772.04, 5, 6, 5],
        [503.891, 1598.698, 117.685, 10956.68, 5128.17, 783.00, 4, 6, 9],
        [2349.343, 207.658, 151.387, 8780.08, 4840.29, 782.62, 2, 4, 2],
        [1395.320, 1348.853, 215.261, 10185.80, 4700.21, 851.32, 3, 5, 3],
    ]
)
ARBITRARY, GROUND, SIGMA = GHILANI[:, :3], GHILANI[:, 3:6], GHILANI[:, 6:] / 100.0


def test_ghilani_rotation_gives_scale_and_shift_of_the_similarity():
    turn, _ = closed_fit(ARBITRARY, GROUND, np.ones(4))
    arms, aims = ARBITRARY - ARBITRARY.mean(axis=0), GROUND - GROUND.mean(axis=0)
    # with equal weights the rotation does not depend on the scale, which then follows
    scale = (aims * (arms @ turn.T)).sum() / (arms**2).sum()
    shift = GROUND.mean(axis=0) - scale * turn @ ARBITRARY.mean(axis=0)
    residuals = aims - scale * arms @ turn.T
    # recomputed to the digits given; the scale published with weights is 0.9499549354
    assert scale == pytest.approx(0.94995694, abs=1e-8)
    assert scale == pytest.approx(0.9499549354, abs=1e-5)
    assert shift == pytest.approx([10233.826, 6549.968, 720.879], abs=1e-3)
    assert np.sqrt((residuals**2).sum() / 5.0) == pytest.approx(0.06118945, abs=1e-7)


def test_ghilani_weights_on_the_ground_system():
    # the design is scaled beforehand by the recomputed scale of the weighted similarity
    design = 0.9499551394 * ARBITRARY
    pose = fit_pose("G", tuple("1234"), design, GROUND, SIGMA)
    squares = pose.variance_factor * pose.redundancy
    # S0 recomputed to seven digits with 12 - 7 degrees of freedom
    assert np.sqrt(squares / 5.0) == pytest.approx(1.305664, abs=2e-6)


def test_closed_fit_equals_scipy():
    rng = np.random.default_rng(3)
    weights = rng.uniform(0.5, 2.0, 4)
    turn, _ = closed_fit(ARBITRARY, GROUND, weights)
    arms = ARBITRARY - weights @ ARBITRARY / weights.sum()
    aims = GROUND - weights @ GROUND / weights.sum()
    theirs, _ = Rotation.align_vectors(aims, arms, weights=weights)
    # both are exact but for rounding
    assert turn == pytest.approx(theirs.as_matrix(), abs=1e-12)
