"""Laws of an alignment: there and back, turned and shifted, walked the other way."""

from __future__ import annotations

import math
from itertools import accumulate

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fitup.alignment import Alignment, AxisPlace
from fitup.alignment.curves import Curve
from fitup.alignment.profile import VerticalPoint, profile_of

#: offset in metres that no bend below reaches the centre with
OFFSET = st.floats(-25.0, 25.0)
SHAPES = st.lists(
    st.tuples(
        st.floats(10.0, 150.0),
        st.sampled_from([0.0, 1 / 60, -1 / 90, 1 / 400, -1 / 1500]),
        st.sampled_from([0.0, 1 / 80, -1 / 120, 1 / 700]),
    ),
    min_size=1,
    max_size=4,
)


def chain(shapes: list[tuple[float, float, float]], azimuth: float, at: tuple[float, float]):
    """An alignment of curves, each going on where the one before ends."""
    curves: list[Curve] = []
    east, north = at
    for length, first, last in shapes:
        curves.append(Curve(east, north, azimuth, length, first, last))
        (east, north), azimuth = map(float, curves[-1].end), curves[-1].azimuth_at(length)
    return Alignment("made", tuple(curves), 1000.0)


@settings(max_examples=60, deadline=None)
@given(SHAPES, st.floats(0.0, 6.28), st.floats(0.0, 1.0), OFFSET)
def test_there_and_back(shapes, azimuth: float, share: float, left: float):
    axis = chain(shapes, azimuth, (6.5e5, 5.4e6))
    station = axis.start + share * (axis.end - axis.start)
    grid = axis.to_grid(AxisPlace(station, left))
    back = axis.from_grid(*grid)
    assert back is not None
    # a spiral may come round to the point again: then the nearer place is stated, and is true too
    assert axis.to_grid(back) == pytest.approx(grid, abs=1e-5)
    assert abs(back.left) <= abs(left) + 1e-5
    if abs(back.left) > abs(left) - 1e-5:
        same = abs(back.station - station) < 1e-5
        assert same or abs(back.station - station) > 1.0


@settings(max_examples=40, deadline=None)
@given(SHAPES, st.floats(-3.0, 3.0), st.floats(0.0, 1.0), OFFSET)
def test_turning_and_shifting_the_grid_changes_no_station(shapes, turn, share, left):
    axis = chain(shapes, 0.4, (100.0, 200.0))
    place = AxisPlace(axis.start + share * (axis.end - axis.start), left)
    moved = chain(shapes, 0.4 + turn, (700.0, -300.0))
    off = axis.to_grid(place) - np.array([100.0, 200.0])
    c, s = math.cos(turn), math.sin(turn)
    turned = np.array([c * off[0] + s * off[1], -s * off[0] + c * off[1]])
    assert moved.to_grid(place) - np.array([700.0, -300.0]) == pytest.approx(turned, abs=1e-8)
    assert moved.azimuth(place.station) == pytest.approx(
        (axis.azimuth(place.station) + turn) % math.tau, abs=1e-9
    ) or math.isclose(moved.azimuth(place.station), 0.0, abs_tol=1e-8)


@settings(max_examples=40, deadline=None)
@given(SHAPES, st.floats(0.01, 0.99), OFFSET)
def test_walked_the_other_way_left_is_right(shapes, share: float, left: float):
    axis = chain(shapes, 1.1, (0.0, 0.0))
    turned = []
    for curve in reversed(axis.curves):
        end = curve.end
        azimuth = curve.azimuth_at(curve.length) + math.pi
        turned.append(
            Curve(
                float(end[0]), float(end[1]), azimuth, curve.length, -curve.bend_out, -curve.bend_in
            )
        )
    other = Alignment("back", tuple(turned), 0.0)
    along = share * (axis.end - axis.start)
    assert other.to_grid(AxisPlace(other.end - along, -left)) == pytest.approx(
        axis.to_grid(AxisPlace(axis.start + along, left)), abs=1e-8
    )


@given(
    st.lists(st.tuples(st.floats(60.0, 200.0), st.floats(-0.06, 0.06)), min_size=3, max_size=6),
    st.sampled_from(["parabola", "circle"]),
)
def test_a_profile_has_no_step_and_no_break(stretches, curve):
    stations = list(accumulate((s for s, _ in stretches), initial=0.0))
    heights = list(accumulate((s * g for s, g in stretches), initial=50.0))
    points = [
        VerticalPoint(s, h, "none" if i in (0, len(stations) - 1) else curve, 30.0, 30.0, 450.0)
        for i, (s, h) in enumerate(zip(stations, heights, strict=True))
    ]
    profile = profile_of(points)
    for a, b in zip(profile.pieces, profile.pieces[1:], strict=False):
        assert a.at(a.end) == pytest.approx((b.height, b.grade_in), abs=1e-9)
    assume(len(profile.pieces) > 1)
    for x in np.linspace(profile.start + 0.5, profile.end - 0.5, 30):
        low, high = profile.at(x - 1e-3), profile.at(x + 1e-3)
        here = profile.at(x)
        assert low and high and here
        assert (high[0] - low[0]) / 2e-3 == pytest.approx(here[1], abs=1e-4)
