"""Factors of units against the published tables.

Source
------
A. Thompson and B. N. Taylor, Guide for the Use of the International System of Units (SI), NIST
Special Publication 811, 2008 edition, Appendix B.8 and B.9 and footnote on the US survey foot
(1200/3937 m). Bold factors of the guide are exact; others are printed with seven digits.
"""

from __future__ import annotations

import math

import pytest

from fitup.units import FACTORS, from_si, to_si

#: dimension, unit, factor, whether the guide gives it as exact
TABLE = [
    ("length", "in", 2.54e-2, True),
    ("length", "ft", 3.048e-1, True),
    ("length", "ftUS", 3.048006e-1, False),
    ("force", "lbf", 4.448222, False),
    ("force", "kip", 4.448222e3, False),
    ("area", "in2", 6.4516e-4, True),
    ("pressure", "psi", 6.894757e3, False),
    ("pressure", "bar", 1e5, True),
    ("angle", "deg", 1.745329e-2, False),
    ("angle", "gon", 1.570796e-2, False),
    ("stiffness", "kip_per_in", 1.751268e5, False),
]


@pytest.mark.parametrize(("dimension", "unit", "factor", "exact"), TABLE)
def test_factor(dimension: str, unit: str, factor: float, exact: bool) -> None:
    # seven printed digits: half of the last
    tolerance = 1e-15 if exact else 5e-7 * 10.0 ** math.floor(math.log10(factor)) / factor
    assert to_si(1.0, dimension, unit) == pytest.approx(factor, rel=tolerance)


def test_survey_foot_is_the_exact_ratio() -> None:
    assert to_si(3937.0, "length", "ftUS") == pytest.approx(1200.0, rel=1e-15)
    # 2 parts per million longer than the foot: 0.6 m in 300 km
    ratio = to_si(1.0, "length", "ftUS") / to_si(1.0, "length", "ft")
    assert ratio - 1.0 == pytest.approx(2.000004e-6, rel=1e-6)


def test_pound_force_from_its_definition() -> None:
    # 1 lb = 0.45359237 kg and standard gravity 9.80665 m/s2, both exact in B.8
    assert FACTORS["force"]["lbf"] == pytest.approx(0.45359237 * 9.80665, rel=1e-15)


@pytest.mark.parametrize(
    ("fahrenheit", "kelvin"), [(32.0, 273.15), (212.0, 373.15), (-40.0, 233.15), (68.0, 293.15)]
)
def test_temperature(fahrenheit: float, kelvin: float) -> None:
    # B.9: T/K = (t/F + 459.67)/1.8
    assert to_si(fahrenheit, "temperature", "F") == pytest.approx(kelvin, abs=1e-12)
    assert to_si(fahrenheit, "temperature", "F") == pytest.approx(
        (fahrenheit + 459.67) / 1.8, abs=1e-10
    )
    assert from_si(kelvin, "temperature", "F") == pytest.approx(fahrenheit, abs=1e-9)


def test_a_step_of_temperature_has_no_origin() -> None:
    assert to_si(9.0, "temperature_step", "F") == pytest.approx(5.0, rel=1e-15)


def test_expansion_coefficients_of_two_codes_agree() -> None:
    # AASHTO LRFD 6.4.1 (from memory): steel 6.5e-6 per F is 11.7e-6 per C
    assert to_si(6.5e-6, "expansion", "per_F") == pytest.approx(11.7e-6, rel=1e-12)


def test_slope() -> None:
    # an eighth of an inch in a foot is 1/96
    assert to_si(0.125, "slope", "in_per_ft") == pytest.approx(1.0 / 96.0, rel=1e-14)
    assert to_si(2.0, "slope", "pct") == to_si(20.0, "slope", "mm_per_m") == 0.02
