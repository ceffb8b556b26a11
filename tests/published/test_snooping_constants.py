"""Constants of the test for gross errors.

Source: W. Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic
Commission, Delft 1968: alpha0 = 0.1 %, power 80 %: 3.29, 4.13, 17.07. More digits and the other
levels recomputed from the normal and the noncentral chi-square distribution.
"""

from __future__ import annotations

import pytest

from fitup.network.reliability import critical_value, detectable, matched_alpha


def test_published_to_two_digits():
    assert round(critical_value(), 2) == 3.29
    assert round(detectable(critical_value()), 2) == 4.13
    assert round(detectable(critical_value()) ** 2, 2) == 17.07


@pytest.mark.parametrize(
    ("alpha", "power", "delta", "noncentrality"),
    [
        (0.001, 0.8, 4.13214797, 17.0746468),
        (0.01, 0.8, 3.41745, 11.67897),
        (0.05, 0.8, 2.80159, 7.84888),
        (0.001, 0.9, 4.57208, 20.90390),
    ],
)
def test_recomputed(alpha: float, power: float, delta: float, noncentrality: float):
    found = detectable(critical_value(1, alpha), power)
    # the last digit given
    assert found == pytest.approx(delta, abs=1e-5)
    assert found**2 == pytest.approx(noncentrality, abs=2e-5)


@pytest.mark.parametrize(
    ("freedom", "alpha"), [(2, 0.0028371), (3, 0.0055002), (5, 0.0130237), (10, 0.0404266)]
)
def test_levels_of_wider_tests_with_the_same_power(freedom: int, alpha: float):
    # seven decimals were recomputed
    assert matched_alpha(freedom, 17.0746) == pytest.approx(alpha, abs=2e-7)
