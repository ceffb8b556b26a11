"""Axes of a joint against the conventions of open standards.

Sources
-------
- ISO 16739-1:2024 (IFC 4.3), IfcPointByDistanceExpression: OffsetLateral is perpendicular to the
  basis curve and positive to the left of its direction; OffsetVertical is positive up. From memory.
- Azimuth (bearing) clockwise from grid north, as in surveying at large: north 0, east 90 degrees,
  south 180, west 270. Common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.frames import heading, joint_axes, left_of

#: azimuth in degrees -> ahead and left on a map (easting, northing), read off a compass rose
ROSE = [
    (0.0, (0.0, 1.0), (-1.0, 0.0)),
    (90.0, (1.0, 0.0), (0.0, 1.0)),
    (180.0, (0.0, -1.0), (1.0, 0.0)),
    (270.0, (-1.0, 0.0), (0.0, -1.0)),
    # north-east: three-four-five would be 36.87 degrees, tan = 3/4
    (np.degrees(np.arctan2(3.0, 4.0)), (0.6, 0.8), (-0.8, 0.6)),
]
#: cosines and sines of exact angles: rounding only
EXACT = 1e-15


@pytest.mark.parametrize(("azimuth", "ahead", "left"), ROSE)
def test_azimuth_clockwise_from_north_and_offset_positive_left(
    azimuth: float, ahead: tuple[float, float], left: tuple[float, float]
) -> None:
    turn = np.radians(azimuth)
    assert heading(turn) == pytest.approx([*ahead, 0.0], abs=EXACT)
    assert left_of(turn) == pytest.approx([*left, 0.0], abs=EXACT)
    axes = joint_axes(turn, 0.0, 0.0)
    assert axes == pytest.approx(np.array([[*ahead, 0], [*left, 0], [0, 0, 1]]), abs=EXACT)


def test_left_stays_left_of_the_line_on_a_turn() -> None:
    # driving along a circle counter-clockwise its centre lies to the left: offset + radius
    centre, radius = np.array([100.0, 50.0]), 40.0
    for angle in np.linspace(0.0, 6.0, 7):
        place = centre + radius * np.array([np.cos(angle), np.sin(angle)])
        tangent = np.array([-np.sin(angle), np.cos(angle)])
        azimuth = np.arctan2(tangent[0], tangent[1])
        assert place + radius * left_of(azimuth)[:2] == pytest.approx(centre, abs=1e-12)


@pytest.mark.parametrize(("grade", "rises"), [(0.03, True), (-0.03, False)])
def test_grade_rises_ahead(grade: float, rises: bool) -> None:
    ahead, left, up = joint_axes(0.7, grade, 0.0)
    assert ahead[2] / np.hypot(ahead[0], ahead[1]) == pytest.approx(grade, rel=1e-12)
    assert bool(ahead[2] > 0.0) is rises
    assert left[2] == pytest.approx(0.0, abs=EXACT)
    # a rising deck leans its upward axis back
    assert bool(up @ heading(0.7) < 0.0) is rises


def test_crossfall_rises_left_and_leans_up_to_the_right() -> None:
    _, left, up = joint_axes(0.7, 0.0, 0.02)
    assert left[2] / np.hypot(left[0], left[1]) == pytest.approx(0.02, rel=1e-12)
    assert up @ left_of(0.7) < 0.0
