"""The slope across by station, and the axes of the deck that follow."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.alignment import Alignment
from fitup.alignment.crossfall import Crossfall, crossfall_of
from fitup.alignment.curves import Curve
from fitup.alignment.profile import VerticalPoint, profile_of


def test_crown_turns_into_one_fall():
    rows = [
        (0.0, "left", -0.025),
        (0.0, "right", 0.025),
        (60.0, "right", 0.025),
        (100.0, "both", 0.05),
        (60.0, "left", 0.025),
    ]
    fall = crossfall_of(rows)
    assert fall == Crossfall((0.0, 60.0, 100.0), (-0.025, 0.025, 0.05), (0.025, 0.025, 0.05))
    assert fall.at(30.0, 4.0) == pytest.approx(0.0)
    assert fall.at(30.0, -4.0) == pytest.approx(0.025)
    assert fall.at(80.0) == pytest.approx(0.0375)
    assert fall.at(101.0) is None


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([(0.0, "both", 0.02)], "1 stations of the left side; it needs two or more"),
        (
            [(0.0, "both", 0.02), (0.0, "left", 0.01), (9.0, "both", 0.02)],
            "the left side at station 0 m twice",
        ),
        (
            [(0.0, "both", 0.02), (9.0, "left", 0.02), (8.0, "right", 0.02)],
            "the left and right side do not begin and end at the same stations",
        ),
    ],
)
def test_refused(rows: list[tuple[float, str, float]], message: str):
    with pytest.raises(ValueError) as refused:
        crossfall_of(rows)
    assert str(refused.value) == message


def test_axes_lie_in_the_deck():
    east = Curve(0.0, 0.0, np.pi / 2, 100.0)
    profile = profile_of([VerticalPoint(0.0, 10.0), VerticalPoint(100.0, 14.0)])
    fall = crossfall_of([(0.0, "both", 0.02), (100.0, "both", 0.02)])
    axes = Alignment("a", (east,), profile=profile, crossfall=fall).axes(50.0, 3.0)
    assert axes @ axes.T == pytest.approx(np.eye(3))
    assert axes[0] == pytest.approx(np.array([1.0, 0.0, 0.04]) / np.hypot(1.0, 0.04))
    # the deck falls to the right: left is up, and the surface holds both directions
    assert axes[1][2] > 0.0
    assert np.array([0.0, 1.0, 0.02]) @ axes[2] == pytest.approx(0.0, abs=1e-12)
    plain = Alignment("b", (east,)).axes(50.0)
    assert plain == pytest.approx(np.eye(3))
