"""Conformity against published examples.

JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in conformity
assessment. The examples' numbers are from memory; tolerances are half of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.trust import probability_inside
from fitup.trust.box import box_probability
from fitup.trust.conformity import accepted, conformity, rejected


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
