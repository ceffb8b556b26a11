"""Clothoids against Fresnel's integrals and a published test file.

[1] M. Abramowitz, I. A. Stegun (eds.), Handbook of Mathematical Functions, National Bureau of
    Standards, 1964, chapter 7 (Fresnel integrals C and S with pi/2 in the argument); values as in
    scipy.special.fresnel, to 14 digits.
[2] buildingSMART International, repository IFC4.x-IF, commit bea6bed0, alignment atomic test set,
    GENERATED__HorizontalAlignment_Clothoid_100.0_inf_300_1_Meter.ifc: clothoid from straight to
    R = 300 m over 100 m. The tolerance is 1e-9 m, the last digit but one of the coordinates.
[3] buildingSMART International, repository IFC4.x-IF, commit a1929672, tests/STN01/Dataset/
    Alignment_exchange.xml: the first spiral and the two curves beside it, figures re-entered. Its
    coordinates are of the order 4.5e6 m, so that 1e-6 m is what is left of their last digits.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import fresnel

from fitup.alignment.curves import Curve


@pytest.mark.parametrize(
    ("t", "c", "s"),
    [
        (0.5, 0.492344225871446, 0.0647324328599993),
        (1.0, 0.779893400376823, 0.438259147390355),
        (2.0, 0.488253406075341, 0.343415678363698),
    ],
)
def test_fresnel_integrals(t: float, c: float, s: float):
    """[1]: the bend of C(t), S(t) is pi t. 1e-14 is the last printed digit."""
    curve = Curve(0.0, 0.0, math.pi / 2, t, 0.0, math.pi * t)
    assert curve.end == pytest.approx([c, s], abs=1e-14)


def test_published_clothoid():
    """[2]."""
    curve = Curve(0.0, 0.0, math.pi / 2, 100.0, 0.0, 1 / 300)
    assert curve.end == pytest.approx([99.7225792178275, 5.54454236562881], abs=1e-9)
    assert curve.at(10.0) == pytest.approx([9.99999722222258, 0.00555555445326286], abs=1e-9)
    assert curve.turn(100.0) == pytest.approx(1 / 6, abs=1e-15)
    # the shift of the circle, and where its centre stands, from the end and its tangent [2]
    shift = curve.end[1] - 300.0 * (1.0 - math.cos(1 / 6))
    assert shift == pytest.approx(1.387512, abs=1e-6)
    assert curve.end[0] - 300.0 * math.sin(1 / 6) == pytest.approx(49.953739, abs=1e-6)


def test_published_railway_spiral():
    """[3]: straight to R = 1000 m over 40 m, to the left; the straight before it, the arc after."""
    start, middle = (
        (452634.41500059958, 4539536.8691957267),
        (452659.46615801495, 4539546.0114286346),
    )
    way = math.atan2(middle[0] - start[0], middle[1] - start[1])
    before = math.atan2(
        452634.41500059579 - 452270.1882509641, 4539536.8691957239 - 4539403.9473621706
    )
    assert way == pytest.approx(before, abs=1e-9)
    curve = Curve(*start, way, 39.999999999992504, 0.0, 1 / 1000.0000000001876)
    assert curve.end == pytest.approx([452671.89802860469, 4539550.8322084229], abs=1e-6)
    arc = Curve(*curve.end, curve.azimuth_at(curve.length), 193.46447083769988, 1e-3, 1e-3)
    assert arc.end == pytest.approx([452844.40748409822, 4539637.7367176982], abs=2e-6)


@given(
    first=st.floats(-1 / 60, 1 / 60),
    change=st.floats(1e-4, 1 / 60),
    sign=st.sampled_from([-1.0, 1.0]),
    length=st.floats(5.0, 300.0),
)
def test_between_two_radii_by_fresnel(first: float, change: float, sign: float, length: float):
    """Any clothoid is a piece of the one that starts straight: two Fresnel integrals apart.

    The reference itself loses digits where the bend hardly changes, hence 1e-9 m and no change
    below 1e-4.
    """
    last = first + sign * change
    rate = (last - first) / length
    scale = math.sqrt(math.pi / abs(rate))
    s, c = fresnel(np.array([first, last]) / rate / scale)
    ahead, left = scale * (c[1] - c[0]), scale * math.copysign(1.0, rate) * (s[1] - s[0])
    turned = 0.5 * first**2 / rate
    x = ahead * math.cos(turned) + left * math.sin(turned)
    y = -ahead * math.sin(turned) + left * math.cos(turned)
    curve = Curve(0.0, 0.0, math.pi / 2, length, first, last)
    assert curve.end == pytest.approx([x, y], abs=1e-9)


@given(bend=st.floats(1e-6, 0.05), length=st.floats(1.0, 300.0), left=st.booleans())
def test_arc_by_its_closed_form(bend: float, length: float, left: bool):
    side = 1.0 if left else -1.0
    curve = Curve(0.0, 0.0, math.pi / 2, length, side * bend, side * bend)
    turn = bend * length
    x, y = math.sin(turn) / bend, side * 2.0 * math.sin(turn / 2.0) ** 2 / bend
    assert curve.end == pytest.approx([x, y], abs=1e-10)
