"""A LandXML file that somebody else wrote.

A road centreline of the open InfraModel example sets of buildingSMART Finland (CC BY 4.0), commit
eb2720b8; see ``data/README.md``. Stated in the file: 8 lines and 7 arcs, length 1266.246238 m;
circular vertical curves with radius and length. Coordinates carry six decimals: tolerance 2e-6 m.
"""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from fitup.alignment import AxisPlace, DesignFile, read_landxml

FILE = Path(__file__).parent / "data" / "road-centreline.landxml"


@pytest.fixture(scope="module")
def road() -> DesignFile:
    return read_landxml(FILE)


def test_elements(road: DesignFile):
    axis = road.alignment
    assert axis is not None
    assert Counter(c.kind for c in axis.curves) == {"line": 8, "arc": 7}
    assert axis.end == pytest.approx(1266.246238, abs=2e-6)
    for a, b in zip(axis.curves, axis.curves[1:], strict=False):
        assert a.end == pytest.approx(b.start, abs=2e-6)
        # two lines of 1.5 m take what six decimals leave of their direction
        off = math.remainder(b.azimuth - a.azimuth_at(a.length), math.tau)
        assert abs(off) < 2e-6


def test_directions_are_understood(road: DesignFile):
    (note,) = road.notes
    assert str(note) == (
        "road-centreline.landxml, alignment 'M3_RS - CL': found directions counted "
        "counter-clockwise from north; allowed: clockwise from north; understood; the points count"
    )


def test_circles_of_the_profile(road: DesignFile):
    axis = road.alignment
    assert axis is not None and axis.profile is not None
    circles = [p for p in axis.profile.pieces if p.kind == "circle"]
    assert len(circles) == 9
    first = circles[0]
    angle = abs(math.atan(first.grade_out) - math.atan(first.grade_in))
    assert first.radius * angle == pytest.approx(48.653858, abs=1e-5)
    # heights and grades run on without a step: the file's heights carry six decimals
    for a, b in zip(axis.profile.pieces, axis.profile.pieces[1:], strict=False):
        assert a.at(a.end)[0] == pytest.approx(b.height, abs=1e-9)
    last = axis.profile.at(1266.246171)
    assert last is not None
    assert last[0] == pytest.approx(19.377, abs=1e-9)


def test_start_and_end_of_the_file_both_ways(road: DesignFile):
    axis = road.alignment
    assert axis is not None
    for station, north, east in (
        (0.0, 6782560.556700, 21530239.683600),
        (axis.end, 6783089.305100, 21531286.430300),
    ):
        assert axis.to_grid(AxisPlace(station, 0.0)) == pytest.approx([east, north], abs=2e-6)
        place = axis.from_grid(east, north)
        assert place is not None
        assert (place.station, place.left) == pytest.approx((station, 0.0), abs=2e-6)


def test_round_trip_along_the_whole_road(road: DesignFile):
    """0.01 mm, with coordinates of 2e7 m whose last digit is worth 4e-9 m."""
    axis = road.alignment
    assert axis is not None
    rng = np.random.default_rng(7)
    for station, left in rng.uniform([0.0, -40.0], [axis.end, 40.0], (100, 2)):
        place = axis.from_grid(*axis.to_grid(AxisPlace(station, left)))
        assert place is not None
        assert (place.station, place.left) == pytest.approx((station, left), abs=1e-5)
