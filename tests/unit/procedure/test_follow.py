"""Temporary plates by hand: bands of heights, and the stacks with least handling."""

from __future__ import annotations

import pytest

from fitup.procedure import follow

PLATES = {"P5": 0.005, "P3": 0.003, "P2": 0.002, "P1": 0.001}


def test_bands_by_hand():
    """Steps of 3 mm, plates at most 6 mm behind, 1 mm to slide them in."""
    gaps = [0.003, 0.006, 0.009]
    assert follow.rising(gaps, 0.006, 0.001) == [
        (pytest.approx(0.0), pytest.approx(0.002)),
        (pytest.approx(0.003), pytest.approx(0.005)),
        (pytest.approx(0.003), pytest.approx(0.008)),
    ]
    assert follow.falling([0.009, 0.006, 0.0], 0.006, 0.001) == [
        (pytest.approx(0.003), pytest.approx(0.005)),
        (pytest.approx(0.0), pytest.approx(-0.001)),
    ]


def test_plates_stay_where_they_still_serve():
    offered = follow.stacks(PLATES, dict.fromkeys(PLATES, 3))
    bands = follow.rising([0.003, 0.006, 0.009], 0.006, 0.001)
    assert follow.choose(bands, offered) == ((), ("P5",), ("P5",))


def test_no_plate_fits_a_band_between_the_thicknesses():
    offered = follow.stacks({"P5": 0.005}, {"P5": 3})
    assert follow.choose([(0.001, 0.004)], offered) is None


def test_a_store_gives_no_more_than_it_holds():
    offered = follow.stacks(PLATES, {"P5": 0, "P3": 1, "P2": 1, "P1": 0})
    assert {s.marks for s in offered} == {(), ("P3",), ("P2",), ("P3", "P2")}
