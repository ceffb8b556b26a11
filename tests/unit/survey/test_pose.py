"""The rigid fit: what it refuses, its figures, and its agreement with plain alternatives."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.errors import SurveyRefused
from fitup.frames import Motion, displacement_rows, rotation
from fitup.survey import fit_pose
from fitup.survey.pose import closed_fit, error_of, standardised_residuals

IDS = ("P1", "P2", "P3", "P4")
DESIGN = np.array([[0.0, 0, 0], [30, 0, 0.6], [0, 12, -0.2], [30, 12, 0.4]])


def moved(points, turn=(0.001, -0.002, 0.003), shift=(0.01, -0.02, 0.03)):
    return Motion(rotation(np.array(turn)), np.array(shift), points.mean(axis=0)).apply(points)


def refusal(ids, design):
    with pytest.raises(SurveyRefused) as caught:
        fit_pose("A1", ids, design, design, np.full(design.shape, 0.001))
    return caught.value.findings


def test_too_few_points_are_refused():
    assert refusal(IDS[:2], DESIGN[:2]) == (
        "segment A1: 2 surveyed points (P1, P2); its place needs at least 3, not in a line; survey "
        "more of its points",
    )
    assert refusal((), np.zeros((0, 3))) == (
        "segment A1: 0 surveyed points (none); its place needs at least 3, not in a line; survey "
        "more of its points",
    )


@pytest.mark.parametrize("aside", [0.0, 0.05])
def test_points_in_a_line_are_refused(aside):
    line = np.array([[0.0, 0, 0], [10, 10, 0], [20 + aside, 20, 0]])
    assert refusal(IDS[:3], line) == (
        "segment A1: the surveyed points (P1, P2, P3) lie in a line, so nothing says how the "
        "segment is turned about it; survey a point beside the line",
    )


def test_three_points_suffice_and_height_residuals_are_not_judged():
    design = DESIGN[:3]
    surveyed = moved(design) + np.array([[0.001, 0, 0], [0, 0, 0.002], [0, -0.001, 0]])
    pose = fit_pose("A1", IDS[:3], design, surveyed, np.full((3, 3), 0.001))
    assert pose.redundancy == 3
    assert np.isfinite(pose.ratio)
    # across the plane of three points nothing is left to check
    carried = pose.design2site.apply(design)
    normal = np.cross(carried[1] - carried[0], carried[2] - carried[0])
    assert np.abs(pose.residuals @ normal).max() < 1e-9 * np.linalg.norm(normal)


def test_anisotropic_weights_reach_the_least_sum_of_squares():
    rng = np.random.default_rng(4)
    u = rng.uniform(0.0005, 0.005, DESIGN.shape)
    surveyed = moved(DESIGN) + rng.normal(0.0, 1.0, DESIGN.shape) * u
    pose = fit_pose("A1", IDS, DESIGN, surveyed, u)

    def cost(motion):
        return (((surveyed - motion.apply(DESIGN)) / u) ** 2).sum()

    best = pose.design2site
    least = cost(best)
    assert least == pytest.approx(pose.variance_factor * pose.redundancy, rel=1e-9)
    for axis in range(6):
        for step in (1e-5, -1e-5):
            change = np.zeros(6)
            change[axis] = step
            near = Motion(rotation(change[3:]) @ best.turn, best.shift + change[:3], best.centre)
            assert cost(near) > least
    # weights matter: the closed solution with one weight a point is not the answer
    turn, shift = closed_fit(
        DESIGN - best.centre, surveyed - best.centre, 1.0 / (u**2).mean(axis=1)
    )
    assert cost(Motion(turn, shift, best.centre)) > least * 1.001


def test_gain_and_covariance_belong_together():
    u = np.linspace(0.001, 0.003, 12).reshape(4, 3)
    pose = fit_pose("A1", IDS, DESIGN, moved(DESIGN), u)
    propagated = pose.gain @ np.diag(u.ravel() ** 2) @ pose.gain.T
    assert propagated == pytest.approx(pose.covariance, rel=1e-9, abs=1e-18)


def test_gain_is_the_derivative_of_the_pose():
    u = np.linspace(0.001, 0.003, 12).reshape(4, 3)
    surveyed = moved(DESIGN)
    pose = fit_pose("A1", IDS, DESIGN, surveyed, u)
    step = 1e-6
    for k in range(12):
        nudged = surveyed.ravel().copy()
        nudged[k] += step
        other = fit_pose("A1", IDS, DESIGN, nudged.reshape(4, 3), u)
        shift = (other.design2site.shift - pose.design2site.shift) / step
        turn = other.design2site.turn @ pose.design2site.turn.T
        angles = np.array(
            [turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]
        )
        assert shift == pytest.approx(pose.gain[:3, k], abs=1e-6)
        assert angles / (2.0 * step) == pytest.approx(pose.gain[3:, k], abs=1e-6)


def test_standardised_residuals_by_the_full_matrix():
    rng = np.random.default_rng(2)
    u = rng.uniform(0.001, 0.003, DESIGN.shape)
    surveyed = moved(DESIGN) + rng.normal(0.0, 1.0, DESIGN.shape) * u
    pose = fit_pose("A1", IDS, DESIGN, surveyed, u)
    carried = pose.design2site.apply(DESIGN)
    rows = displacement_rows(carried, DESIGN.mean(axis=0) + pose.design2site.shift)
    full = np.diag(u.ravel() ** 2) - rows @ pose.covariance @ rows.T
    expected = pose.residuals.ravel() / np.sqrt(np.diag(full))
    found = standardised_residuals(pose, DESIGN, u)
    assert found.ravel() == pytest.approx(expected, rel=1e-6)
    assert pose.ratio == pytest.approx(np.abs(expected).max(), rel=1e-6)


def test_the_error_of_a_point_alone_is_its_way_from_where_the_others_put_it():
    rng = np.random.default_rng(4)
    u = rng.uniform(0.001, 0.003, DESIGN.shape)
    surveyed = moved(DESIGN) + rng.normal(0.0, 1.0, DESIGN.shape) * u
    surveyed[2] += [0.02, -0.01, 0.03]
    pose = fit_pose("A1", IDS, DESIGN, surveyed, u)
    rest = [i for i in range(len(IDS)) if i != 2]
    names = [IDS[i] for i in rest]
    without = fit_pose("A1", names, DESIGN[rest], surveyed[rest], u[rest])
    expected = surveyed[2] - without.design2site.apply(DESIGN)[2]
    # the equations are linear about another turn: some microns of 37 mm
    assert error_of(pose, DESIGN, u, None, [6, 7, 8]) == pytest.approx(expected, abs=2e-5)
    # a whole covariance that says the same gives the same
    whole = np.diag(u.ravel() ** 2)
    plain = error_of(pose, DESIGN, u, None, [6, 7, 8])
    assert error_of(pose, DESIGN, u, whole, [6, 7, 8]) == pytest.approx(plain, rel=1e-9)
    alike = standardised_residuals(pose, DESIGN, u, whole)
    assert alike == pytest.approx(standardised_residuals(pose, DESIGN, u), rel=1e-9)


def test_a_coordinate_nothing_checks_has_no_ratio():
    # one height observed a million times better than the rest carries the whole motion there
    u = np.full(DESIGN.shape, 0.002)
    u[0] = 1e-9
    pose = fit_pose("A1", IDS, DESIGN, moved(DESIGN), u)
    assert np.isfinite(pose.ratio) and pose.ratio < 1e-3


def test_a_mirror_image_is_not_fitted():
    solid = np.vstack([DESIGN, [[15.0, 6.0, -3.0]]])
    pose = fit_pose("A1", (*IDS, "P5"), solid, solid * [1, -1, 1], np.full((5, 3), 0.001))
    assert np.linalg.det(pose.design2site.turn) == pytest.approx(1.0)
    assert np.abs(pose.residuals).max() > 1.0


def test_grid_coordinates_of_millions_keep_micrometres():
    far = np.add(DESIGN, [412000.0, 5631000.0, 87.0])
    pose = fit_pose("A1", IDS, far, moved(far), np.full((4, 3), 0.001))
    assert pose.design2site.shift == pytest.approx([0.01, -0.02, 0.03], abs=2e-9)
    assert np.abs(pose.residuals).max() < 5e-9


def test_a_list_in_the_wrong_unit_still_settles():
    # residuals of kilometres: plain Gauss-Newton steps would run away here
    u = np.full(DESIGN.shape, 0.001)
    u[:, 2] = 0.003
    surveyed = 1000.0 * moved(DESIGN)
    best = fit_pose("A1", IDS, DESIGN, surveyed, u).design2site

    def cost(turn):
        return (((surveyed - Motion(turn, best.shift, best.centre).apply(DESIGN)) / u) ** 2).sum()

    for axis in range(3):
        for step in (1e-3, -1e-3):
            assert cost(rotation(step * np.eye(3)[axis]) @ best.turn) > cost(best.turn)


def test_points_that_are_not_independent():
    """With a full covariance the fit is the best linear one: C = G V G', and no other is surer."""
    rng = np.random.default_rng(8)
    design = rng.uniform(-20.0, 20.0, (6, 3))
    root = rng.normal(0.0, 0.001, (18, 18))
    covariance = root @ root.T + np.eye(18) * 1e-7
    u = np.sqrt(np.diag(covariance)).reshape(6, 3)
    surveyed = design + np.linalg.cholesky(covariance).dot(rng.normal(size=18)).reshape(6, 3)
    names = tuple("abcdef")
    full = fit_pose("A", names, design, surveyed, u, covariance)
    assert full.gain @ covariance @ full.gain.T == pytest.approx(full.covariance, rel=1e-6)
    apart = fit_pose("A", names, design, surveyed, u)
    really = apart.gain @ covariance @ apart.gain.T
    assert (np.diag(full.covariance) < np.diag(really)).all()
    # a diagonal covariance is the same as uncertainties alone
    same = fit_pose("A", names, design, surveyed, u, np.diag(u.ravel() ** 2))
    assert same.design2site.shift == pytest.approx(apart.design2site.shift, abs=1e-12)
    assert same.covariance == pytest.approx(apart.covariance, rel=1e-9)
