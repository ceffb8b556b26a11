"""Reactions of a rigid deck on its seats against elementary statics.

Sources
-------
- Standard mechanics of a rigid body on springs (any text on statically indeterminate supports):
  with four equal springs of stiffness k at the corners of a rectangle and one corner raised by d,
  equilibrium leaves the only self-balanced pattern, forces k d / 4 * (1, -1, 1, -1).
- Three seats are statically determinate: shares of the weight follow from moments alone.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model import Seat, Segment
from fitup.structure import segment_statics

UP = np.array([0.0, 0.0, 1.0])
#: every number below is exact; what is left is rounding of a 4 by 4 solution
EXACT = 1e-9


def deck(weight: float, centre: tuple[float, float, float]) -> Segment:
    return Segment("D", 0.3, weight, np.array(centre), frozenset({"along", "across", "turn"}))


def seat(number: int, east: float, north: float, stiffness: float = 4e8) -> Seat:
    place = np.array([east, north, 0.0])
    return Seat(
        f"S{number}", "D", place, UP, "up", stiffness, "packs", (), 0, 1, 5, 0, 0, 1e9
    )  # fmt: skip


CORNERS = [(0.0, 0.0), (24.0, 0.0), (24.0, 14.0), (0.0, 14.0)]


@pytest.mark.parametrize("corner", range(4))
def test_one_corner_of_four_raised(corner: int) -> None:
    k = 4e8
    seats = tuple(seat(i, *at, k) for i, at in enumerate(CORNERS))
    reaction = segment_statics(deck(4e6, (9.0, 5.0, 3.0)), seats).reaction
    pattern = k / 4.0 * np.array([1.0, -1.0, 1.0, -1.0])
    assert reaction[:, corner] == pytest.approx(pattern * pattern[corner] / (k / 4.0), rel=EXACT)


def test_one_corner_of_four_raised_by_a_millimetre() -> None:
    # k/4 with k = 400 kN/mm: 100 kN more on this corner and the one across, 100 kN less elsewhere
    seats = tuple(seat(i, *at) for i, at in enumerate(CORNERS))
    reaction = segment_statics(deck(4e6, (12.0, 7.0, 3.0)), seats).reaction
    assert reaction[:, 0] * 1e-3 == pytest.approx([1e5, -1e5, 1e5, -1e5], rel=EXACT)


def test_weight_over_the_middle_is_shared_equally() -> None:
    seats = tuple(seat(i, *at) for i, at in enumerate(CORNERS))
    share = segment_statics(deck(4e6, (12.0, 7.0, 3.0)), seats).weight_share
    assert share == pytest.approx(np.full(4, 1e6), rel=EXACT)


def test_weight_off_the_middle_of_four_equal_springs() -> None:
    # F = W/4 (1 + ex x / rx^2 + ey y / ry^2) with lever arms 12 and 7 m, ex = 3 m, ey = -1.75 m:
    # W/4 (1 -+ 0.25 +- 0.25)
    seats = tuple(seat(i, *at) for i, at in enumerate(CORNERS))
    share = segment_statics(deck(4e6, (15.0, 5.25, 3.0)), seats).weight_share
    assert share == pytest.approx([1.0e6, 1.5e6, 1.0e6, 0.5e6], rel=EXACT)


@pytest.mark.parametrize("stiffness", [(4e8, 4e8, 4e8), (1e8, 7e8, 3e8)])
def test_three_seats_by_moments(stiffness: tuple[float, float, float]) -> None:
    # seats at (19, 3), (19, -3), (2, 0); 1800 kN at (10, 0): moments about the line of the first
    # two give 1800 * 9/17 on the third, the rest is halved; stiffness does not matter
    seats = tuple(
        seat(i, *at, k)
        for i, (at, k) in enumerate(
            zip([(19.0, 3.0), (19.0, -3.0), (2.0, 0.0)], stiffness, strict=True)
        )
    )
    statics = segment_statics(deck(1.8e6, (10.0, 0.0, 9.0)), seats)
    third = 1.8e6 * 9.0 / 17.0
    half = (1.8e6 - third) / 2.0
    assert statics.weight_share == pytest.approx([half, half, third], rel=EXACT)
    # and no lift of determinate seats changes a reaction (newtons per metre)
    assert statics.reaction == pytest.approx(np.zeros((3, 3)), abs=1e-9 * max(stiffness) * 100)


def test_weight_off_the_centre_line_of_three_seats() -> None:
    # 1.5 m to one side of seats 6 m apart: moments about the line east through (., -3)
    seats = (seat(0, 19.0, 3.0), seat(1, 19.0, -3.0), seat(2, 2.0, 0.0))
    share = segment_statics(deck(1.8e6, (10.0, 0.5, 9.0)), seats).weight_share
    third = 1.8e6 * 9.0 / 17.0
    first = (1.8e6 * 3.5 - third * 3.0) / 6.0
    assert share == pytest.approx([first, 1.8e6 - third - first, third], rel=EXACT)


def test_two_springs_at_one_place_share_by_stiffness() -> None:
    seats = (
        seat(0, 19.0, 3.0, 1e8), seat(3, 19.0, 3.0, 3e8), seat(1, 19.0, -3.0), seat(2, 2.0, 0.0)
    )  # fmt: skip
    share = segment_statics(deck(1.8e6, (10.0, 0.0, 9.0)), seats).weight_share
    assert share[1] == pytest.approx(3.0 * share[0], rel=EXACT)
    # springs in series: raising one by d between its own k and the other's, k1 k2 / (k1 + k2)
    reaction = segment_statics(deck(1.8e6, (10.0, 0.0, 9.0)), seats).reaction
    assert reaction[0, 0] == pytest.approx(1e8 * 3e8 / 4e8, rel=EXACT)
    assert reaction[1, 0] == pytest.approx(-1e8 * 3e8 / 4e8, rel=EXACT)
