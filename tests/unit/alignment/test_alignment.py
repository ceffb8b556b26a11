"""Places beside an alignment: ends, corners, and the inner side of a bend."""

from __future__ import annotations

import math

import pytest

from fitup.alignment import Alignment, AxisPlace
from fitup.alignment.curves import Curve

LINE = Curve(0.0, 0.0, 0.0, 100.0)
BEND = Curve(0.0, 100.0, 0.0, 50.0 * math.pi, -0.01, -0.01)
AXIS = Alignment("a", (LINE, BEND), 500.0)


@pytest.mark.parametrize(
    ("point", "station", "left"),
    [
        ((-4.0, 30.0), 530.0, 4.0),
        ((4.0, 30.0), 530.0, -4.0),
        ((0.0, 0.0), 500.0, 0.0),
        ((-7.0, 100.0), 600.0, 7.0),
        ((100.0, 200.0), 600.0 + 50.0 * math.pi, 0.0),
        (
            (100.0 - 90.0 * math.sqrt(0.5), 100.0 + 90.0 * math.sqrt(0.5)),
            600.0 + 25.0 * math.pi,
            -10.0,
        ),
    ],
)
def test_place_of_a_point(point: tuple[float, float], station: float, left: float):
    place = AXIS.from_grid(*point)
    assert place is not None
    assert (place.station, place.left) == pytest.approx((station, left), abs=1e-7)


@pytest.mark.parametrize("point", [(0.0, -0.01), (110.0, 205.0)])
def test_beyond_the_ends_there_is_no_place(point: tuple[float, float]):
    assert AXIS.from_grid(*point) is None


def test_the_nearer_of_two_places_counts():
    hook = Alignment("u", (LINE, Curve(0.0, 100.0, 0.0, 20.0 * math.pi, -0.05, -0.05), LINE_BACK))
    place = hook.from_grid(25.0, 50.0)
    assert place is not None
    assert place.left == pytest.approx(-15.0)
    assert place.station == pytest.approx(100.0 + 20.0 * math.pi + 50.0)


#: the way back of a hairpin, 40 m beside the way out
LINE_BACK = Curve(40.0, 100.0, math.pi, 100.0)


def test_a_point_in_the_wedge_of_a_small_break_is_at_the_break():
    broken = Alignment("b", (LINE, Curve(0.0, 100.0, 0.0005, 100.0)))
    place = broken.from_grid(-8.0, 100.0 + 0.002)
    assert place is not None
    assert place.station == pytest.approx(100.0)
    assert place.left == pytest.approx(8.0, abs=1e-4)


def test_a_station_off_the_alignment_is_refused():
    with pytest.raises(ValueError) as refused:
        AXIS.to_grid(AxisPlace(499.0, 0.0))
    assert str(refused.value) == "station 499.000 m is not on the alignment"


def test_bend_and_kind():
    assert AXIS.bend(650.0) == -0.01
    assert [c.kind for c in AXIS.curves] == ["line", "arc"]
    assert Curve(0, 0, 0, 9.0, 0.0, 0.1).kind == "clothoid"
