"""Vertical curves against worked examples.

[1] A symmetrical parabola of 800 ft between +3 % and -2.4 %, VPI 46+70 at 853.48 ft: a classroom
    example in the style of route-surveying textbooks (Wolf and Ghilani, Elementary Surveying,
    vertical curves); figures from memory, each recomputed. Tolerance 0.01 ft, the printed digit.
[2] buildingSMART International, repository IFC4.x-IF, alignment test set: circular vertical curve
    R = 5000 m from level to -1 %: level length 49.997500 m, drop 0.2499813 m (a parabola of that
    length drops 0.2499875 m). Tolerance half of the last printed digit.
[3] Unsymmetrical parabola: closed form of the textbooks, e = L1 L2 (g2 - g1) / (2 (L1 + L2))
    between curve and vertex; common practice, no source.
"""

from __future__ import annotations

import pytest

from fitup.alignment.profile import VerticalPoint, circle_length, profile_of
from fitup.alignment.stations import Stations

FT = 0.3048


def test_parabola_of_the_textbook():
    """[1]."""
    point = VerticalPoint(4670 * FT, 853.48 * FT, "parabola", 400 * FT, 400 * FT)
    ends = [
        VerticalPoint(0.0, (853.48 - 0.03 * 4670) * FT),
        VerticalPoint(9670 * FT, (853.48 - 0.024 * 5000) * FT),
    ]
    profile = profile_of([ends[0], point, ends[1]])
    written = Stations(0.0, 9670 * FT, "ft")
    table = {
        "42+70": 841.48,
        "43+00": 842.35,
        "44+00": 844.81,
        "45+00": 846.59,
        "46+00": 847.70,
        "47+00": 848.14,
        "48+00": 847.90,
        "49+00": 846.98,
        "50+00": 845.39,
        "50+70": 843.88,
    }
    for station, height in table.items():
        at = profile.at(written.inside(station))
        assert at is not None
        assert at[0] / FT == pytest.approx(height, abs=0.01), station
    top = profile.at(written.inside("47+14.44"))
    assert top is not None
    assert top[0] / FT == pytest.approx(848.147, abs=5e-4)
    assert top[1] == pytest.approx(0.0, abs=1e-6)


def test_circle_of_the_test_set():
    """[2]."""
    circle = VerticalPoint(500.0, 10.0, "circle", radius=5000.0)
    profile = profile_of([VerticalPoint(0.0, 10.0), circle, VerticalPoint(1000.0, 5.0)])
    (curve,) = (p for p in profile.pieces if p.kind == "circle")
    assert curve.length == pytest.approx(49.997500, abs=5e-7)
    assert curve.height - curve.at(curve.end)[0] == pytest.approx(0.2499813, abs=5e-8)
    assert curve.at(curve.end)[1] == pytest.approx(-0.01, abs=1e-12)
    assert circle_length(circle, 0.0, -0.01) == pytest.approx(49.998333, abs=1e-6)
    same = VerticalPoint(500.0, 10.0, "parabola", curve.length / 2, curve.length / 2)
    flat = profile_of([VerticalPoint(0.0, 10.0), same, VerticalPoint(1000.0, 5.0)]).pieces[1]
    assert flat.height - flat.at(flat.end)[0] == pytest.approx(0.2499875, abs=5e-8)


def test_parabola_of_two_lengths():
    """[3]."""
    point = VerticalPoint(100.0, 20.0, "parabola", 40.0, 60.0)
    profile = profile_of([VerticalPoint(0.0, 17.0), point, VerticalPoint(200.0, 16.0)])
    at = profile.at(100.0)
    assert at is not None
    assert at[0] == pytest.approx(20.0 + (-0.04 - 0.03) * 40.0 * 60.0 / (2.0 * 100.0))
    end = profile.at(160.0)
    assert end is not None
    assert end == pytest.approx((20.0 - 0.04 * 60.0, -0.04))
