"""Temporary plates by hand: bands of heights, and the stacks with least handling."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

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


def test_plates_are_only_added_on_the_way_up():
    bands = follow.rising([0.003, 0.006, 0.009], 0.006, 0.001)
    assert follow.growing(bands, PLATES, dict.fromkeys(PLATES, 3)) == ((), ("P5",), ("P5",))


def test_no_plate_fits_a_band_between_the_thicknesses():
    assert follow.growing([(0.001, 0.004)], {"P5": 0.005}, {"P5": 3}) is None
    assert follow.ways([(0.001, 0.004)], {"P5": 0.005}, {"P5": 3}) == []


def test_a_store_gives_no_more_than_it_holds():
    """P3 and P2, or P1 and P2 twice, make 5 mm; there is one P2, and no P1."""
    store = {"P5": 0, "P3": 1, "P2": 1, "P1": 0}
    assert follow.ways([(0.005, 0.005)], PLATES, store) == [(("P2", "P3"),)]
    assert follow.ways([(0.005, 0.005)], PLATES, {**store, "P3": 0}) == []


def test_of_all_ways_those_are_kept_that_need_no_plate_in_vain():
    """5 mm in one go: P5, or P3 and P2; P1 beside a P5 would be in vain."""
    store = {"P5": 1, "P3": 1, "P2": 1, "P1": 1}
    found = follow.ways([(0.005, 0.006)], PLATES, store)
    assert [w[-1] for w in found] == [("P5",), ("P2", "P3")]


def test_every_stack_of_a_way_holds_the_one_before():
    bands = [(0.001, 0.003), (0.004, 0.006), (0.006, 0.008)]
    for way in follow.ways(bands, PLATES, dict.fromkeys(PLATES, 2)):
        for (low, high), marks in zip(bands, way, strict=True):
            assert low - 1e-9 <= sum(PLATES[m] for m in marks) <= high + 1e-9
        for now, after in pairwise(way):
            assert Counter(now) <= Counter(after)
