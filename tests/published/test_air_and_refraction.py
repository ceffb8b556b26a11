"""What air and the earth do to a sight.

Sources
-------
- IAG Resolution 3, XXIIth General Assembly, Birmingham 1999: closed formula of the group
  refractivity; values recomputed from it.
- A manufacturer-style formula for a carrier of 658 nm with its reference at 12 C, 1013.25 hPa,
  60 %, as printed in instrument manuals: 286.338 - [0.29535 p/(1 + t/273.15) - ...]; an
  independent rounding of the same physics.
- Combined curvature and refraction, 0.0675 M^2 (m, km) in textbooks: belongs to k = 0.14.
"""

from __future__ import annotations

import math

import pytest

from fitup.model import NetworkRules
from fitup.network.atmosphere import group_refractivity, refractivity, velocity_correction
from fitup.network.corrections import curve

REFERENCE = (285.15, 101325.0, 0.6)
STATES = [((293.15, 101325.0, 0.6), 8.0299), ((303.15, 95000.0, 0.4), 34.152)]
STATES += [((263.15, 103000.0, 0.8), -29.336)]


@pytest.mark.parametrize(
    ("wavelength", "expected"), [(0.658, 299.264637), (0.850, 294.509227), (0.6328, 300.242779)]
)
def test_group_refractivity(wavelength: float, expected: float):
    assert group_refractivity(wavelength) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(("air", "ppm"), STATES)
def test_velocity_correction(air: tuple[float, float, float], ppm: float):
    # 0.01 ppm: editions of the saturation pressure formula differ by that
    assert velocity_correction(0.658, REFERENCE, air) * 1e6 == pytest.approx(ppm, abs=0.01)


@pytest.mark.parametrize("air", [REFERENCE, *[s[0] for s in STATES]])
def test_against_the_formula_of_instrument_manuals(air: tuple[float, float, float]):
    celsius, hectopascal, humidity = air[0] - 273.15, air[1] / 100.0, air[2] * 100.0
    spread = 1.0 + celsius / 273.15
    vapour = 10.0 ** (7.5 * celsius / (237.3 + celsius) + 0.7857)
    ppm = 286.338 - (0.29535 * hectopascal / spread - 4.126e-4 * humidity / spread * vapour)
    assert velocity_correction(0.658, REFERENCE, air) * 1e6 == pytest.approx(ppm, abs=0.02)


def test_sensitivities():
    def change(*air: float) -> float:
        one = refractivity(0.658, *REFERENCE)
        return one - refractivity(0.658, air[0], air[1], air[2])

    # recomputed: +1 K = +1.023 ppm near the reference, +1 hPa = -0.283 ppm; half a last digit
    assert change(286.15, 101325.0, 0.6) == pytest.approx(1.023, abs=0.03)
    assert change(285.15, 101425.0, 0.6) == pytest.approx(-0.283, abs=5e-4)


@pytest.mark.parametrize(("k", "expected"), [(0.13, 0.06828), (0.14, 0.06749), (1 / 7, 0.06727)])
def test_curvature_and_refraction(k: float, expected: float):
    per_square = curve(NetworkRules(refraction=k), light=True)
    # metres over a square of kilometres, five digits recomputed
    assert per_square * 1e6 == pytest.approx(expected, abs=5e-6)
    # 300 m: 6.08 mm in textbooks, for k = 0.14
    if math.isclose(k, 0.14):
        assert per_square * 300.0**2 * 1e3 == pytest.approx(6.08, rel=0.01)


def test_curvature_alone():
    assert curve(NetworkRules(), light=False) * 1e6 == pytest.approx(0.07848, abs=5e-6)
