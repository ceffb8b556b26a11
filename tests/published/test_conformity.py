"""Conformity against published examples.

JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in conformity
assessment. The examples' numbers are from memory; tolerances are half of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import gamma, norm, uniform

from fitup.trust import probability_inside
from fitup.trust.box import box_probability, sure_box
from fitup.trust.conformity import accepted, conformity, rejected
from fitup.trust.risks import guard_band, risks


def test_breakdown_voltage_of_a_zener_diode():
    """JCGM 106:2012, 7.3.3, example 1: upper limit -5.40 V, estimate -5.47 V, u 0.05 V: 0.92."""
    # a two-sided interval whose other end is far away is one-sided
    far = 10.0
    probability = probability_inside(-5.47 - (-5.40 - far), 0.05, far)
    assert probability == pytest.approx(0.92, abs=0.005)
    assert probability == pytest.approx(0.919243, abs=1e-6)


def test_kinematic_viscosity_between_two_limits():
    """JCGM 106:2012, 7.4, example: limits 12.5 and 16.3, estimate 13.6, u 1.8 (mm2/s): 0.66."""
    middle, half = 14.4, 1.9
    assert probability_inside(13.6 - middle, 1.8, half) == pytest.approx(0.66, abs=0.005)


def test_speed_that_proves_a_limit_was_passed():
    """JCGM 106:2012, 8.3.3, example: limit 100 km/h, u 2 %, 99.9 %: act from 107 km/h."""
    u = 0.02 * 106.588
    assert rejected(u, 100.0, 0.001) == pytest.approx(106.588, abs=1e-3)
    assert conformity(107.0, 0.02 * 107.0, 100.0, 0.001) == "outside"
    assert conformity(106.0, 0.02 * 106.0, 100.0, 0.001) == "undecided"


def test_guard_band_of_iso_14253():
    """ISO 14253-1:2017: at 95 % the guard band is 1.65 standard uncertainties, one-sided."""
    assert 1.0 - accepted(0.01, 1.0, 0.05) == pytest.approx(1.644854e-2, abs=1e-7)
    assert rejected(0.01, 1.0, 0.05) - 1.0 == pytest.approx(1.644854e-2, abs=1e-7)
    edge = 1.0 - 1.644854e-2
    assert conformity(edge - 1e-6, 0.01, 1.0, 0.05) == "inside"
    assert conformity(edge + 1e-6, 0.01, 1.0, 0.05) == "undecided"
    assert conformity(edge - 2.0 + 1e-6, 0.01, 1.0, 0.05) == "undecided"
    assert conformity(edge - 2.0 - 1e-6, 0.01, 1.0, 0.05) == "outside"
    # below what can be called inside, the middle itself: 95 % within 1.96 u
    assert accepted(1.0 / 1.95, 1.0, 0.05) is None
    assert accepted(1.0 / 1.97, 1.0, 0.05) is not None
    assert probability_inside(1.0 - 0.0165, 0.01, 1.0) == pytest.approx(0.95053, abs=1e-5)
    assert probability_inside(1.0 - 0.02, 0.01, 1.0) == pytest.approx(0.97725, abs=1e-5)


def test_a_tolerance_of_four_uncertainties():
    """JCGM 106:2012, 7.5: in the middle of a tolerance of 4 u both tails count: 0.9545."""
    assert probability_inside(0.0, 0.5, 1.0) == pytest.approx(0.95450, abs=1e-5)
    assert accepted(0.5, 1.0, 0.05) is not None
    # no value at all can be accepted at 4 %
    assert accepted(0.5, 1.0, 0.04) is None


def test_consumers_and_producers_risk():
    """D. Deaver, Guardbanding with confidence, NCSL Workshop and Symposium 1994.

    A product spread of 4, a measurement spread of 1, limits of 8 either way: false accepts 0.8 %,
    false rejects 1.5 % of all. True and measured value share the product's spread, so both being
    inside at once is the probability of a box.
    """
    both = box_probability(
        np.zeros(2), np.array([[16.0, 16.0], [16.0, 17.0]]), np.full(2, 8.0), points=20011
    )
    accepts = probability_inside(0.0, np.sqrt(17.0), 8.0)
    good = probability_inside(0.0, 4.0, 8.0)
    assert accepts - both == pytest.approx(0.008, abs=0.0005)
    assert good - both == pytest.approx(0.015, abs=0.0005)
    # recomputed by numerical integration; the box errs by a few 1e-6 at so many points
    assert accepts - both == pytest.approx(0.00800608, abs=2e-5)
    assert good - both == pytest.approx(0.01485088, abs=2e-5)


def test_ball_bearings_of_a_gamma_density():
    """JCGM 106:2012, 9.5.4: radial error below 2 um, gamma density with mean 1 and spread 0.5.

    u 0.25 um: 4.2 % do not conform; accepting up to the limit the consumer's risk is 0.8 %, and it
    is 0.1 % when up to 1.67 um are accepted. Figures as repeated in a public worked notebook of the
    example, with more digits: 0.0423801, 0.0080191 and 1.671829.
    """
    bearings, limit = gamma(4, scale=0.25), (-np.inf, 2.0)
    found = risks(bearings, 0.25, limit, limit)
    assert 1.0 - found.conforming == pytest.approx(0.0423801, abs=1e-7)
    assert found.consumer == pytest.approx(0.0080191, abs=1e-7)
    assert 2.0 - guard_band(bearings, 0.25, limit, 0.001) == pytest.approx(1.671829, abs=1e-6)
    guarded = risks(bearings, 0.25, limit, (-np.inf, 1.671829))
    assert guarded.consumer == pytest.approx(0.001, abs=1e-6)
    # what is bought with it: more good bearings thrown away
    assert guarded.producer > 3.0 * found.producer


def test_risks_of_a_normal_density():
    """Deaver 1994 as above, once more by quadrature; and all shares of one table add up."""
    found = risks(norm(0.0, 4.0), 1.0, (-8.0, 8.0), (-8.0, 8.0))
    assert found.consumer == pytest.approx(0.00800608, abs=1e-8)
    assert found.producer == pytest.approx(0.01485088, abs=1e-8)
    assert found.accepted == pytest.approx(found.conforming - found.producer + found.consumer)


def test_risks_by_hand_for_an_even_density():
    """Items evenly between -2 and 2, tolerance 1 either way, u small: both risks are u phi(0) / 2.

    At each limit the integral of a normal tail over the true value is u / sqrt(2 pi); the density
    is 1/4 and there are two limits.
    """
    found = risks(uniform(-2.0, 4.0), 0.01, (-1.0, 1.0), (-1.0, 1.0))
    tail = 0.01 / np.sqrt(2.0 * np.pi) / 2.0
    assert found.consumer == pytest.approx(tail, rel=1e-6)
    assert found.producer == pytest.approx(tail, rel=1e-6)


def test_earlier_items_stand_for_a_density():
    rng = np.random.default_rng(3)
    items = gamma(4, scale=0.25).rvs(200_000, random_state=rng)
    limit = (-np.inf, 2.0)
    found = risks(items, 0.25, limit, limit)
    # the standard error of a share of 0.8 % of so many
    assert found.consumer == pytest.approx(0.0080191, abs=4.0 * (0.008 / 200_000) ** 0.5)
    assert guard_band(items, 0.25, limit, 0.001) == pytest.approx(0.328, abs=0.01)


def test_a_measurement_too_poor_for_the_risk_accepts_hardly_anything():
    band = guard_band(norm(0.0, 4.0), 3.0, (-1.0, 1.0), 1e-4)
    found = risks(norm(0.0, 4.0), 3.0, (-1.0, 1.0), (-1.0 + band, 1.0 - band))
    assert found.consumer == pytest.approx(1e-4, rel=1e-4)
    assert found.accepted < 2e-4
    assert guard_band(norm(0.0, 0.1), 0.1, (-1.0, 1.0), 0.01) == pytest.approx(-1.0)


@pytest.mark.parametrize(("count", "share"), [(3, 0.5), (20, 0.5), (60, 0.8)])
def test_a_box_knows_how_far_it_may_be_off(count: int, share: float):
    """Checks alike that share one cause: the integral over that cause alone is exact.

    C. W. Dunnett and M. Sobel, Biometrika 42 (1955) 258-260 (the reduction to one integral).
    """
    x, w = np.polynomial.hermite_e.hermegauss(200)
    own, common = np.sqrt(1.0 - share), np.sqrt(share)
    sides = ndtr((2.0 - common * x) / own) - ndtr((-2.0 - common * x) / own)
    exact = float((w / w.sum()) @ sides**count)
    covariance = share * np.ones((count, count)) + (1.0 - share) * np.eye(count)
    found = sure_box(np.zeros(count), covariance, np.full(count, 2.0))
    assert abs(found.value - exact) <= found.error
    assert 0.0 < found.error < 0.003
    if count <= 20:
        assert found.error <= 0.0005
