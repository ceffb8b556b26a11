"""Stop bands in words: what most lines of a part share is said once, at its head."""

from __future__ import annotations

import math

import pytest

from fitup.model.procedure import Band, ExpectedReading
from fitup.sheets.crew_words import bands, head_bands, is_shared, shared_bands

JACKS = ("KD8-BL1", "KD8-BR1")


def ram(jack, value, low, high, instrument="ram", aim=True):
    return ExpectedReading(
        instrument, jack, value, 5e-4, (Band("STOP", low, high),), zero="START", aim=aim
    )


def gauge(jack, low, high):
    return ExpectedReading("gauge", jack, 3.9e7, 5e5, (Band("STOP", low, high),))


def said(job, readings):
    return {b.instrument: b for b in head_bands(job, JACKS, shared_bands(readings))}


def test_bands_of_all_jacks_alike_are_said_once():
    row = bands("STOP", ["ABOVE 6.0 mm", "ABOVE 6.0 mm"])
    assert row is not None
    assert (row.how, row.words, row.same) == ("ABOVE", ("6.0 mm", "6.0 mm"), "6.0 mm")
    assert bands("STOP", ["", ""]) is None


def test_bands_of_different_kinds_keep_their_words():
    row = bands("STOP", ["ABOVE 6.0 mm", "outside 1.0 to 2.0 mm"])
    assert row is not None
    assert (row.how, row.words, row.same) == ("", ("ABOVE 6.0 mm", "outside 1.0 to 2.0 mm"), "")


def test_a_jack_without_a_band_is_never_spoken_for():
    row = bands("STOP", ["ABOVE 6.0 mm", ""])
    assert row is not None
    assert row.same == ""


def test_rams_off_by_the_same_share_a_band(made):
    readings = [ram(j, v, v - 5e-4, v + 5e-4) for j in JACKS for v in (0.0025, 0.005)]
    head = said(made.job, readings)["ram"]
    assert (head.how, head.same) == ("off by more than", "0.5 mm")
    assert all(is_shared(r, shared_bands(readings)) for r in readings)


def test_an_uneven_band_says_both_ways(made):
    readings = [ram(j, v, v - 2.4e-3, v + 2.5e-3) for j in JACKS for v in (0.003, 0.006)]
    head = said(made.job, readings)["ram"]
    assert (head.how, head.same) == ("more than", "2.4 under, 2.5 mm over")


def test_gauges_share_their_ends_and_one_that_differs_says_its_own(made):
    usual = [gauge(j, 2.8e7, 4.85e7) for j in JACKS for _ in range(2)]
    odd = gauge(JACKS[0], 2.7e7, 4.65e7)
    shared = shared_bands([*usual, odd])
    head = said(made.job, [*usual, odd])["gauge"]
    assert (head.how, head.same) == ("outside", "280 to 485 bar")
    assert not is_shared(odd, shared)


def test_a_nut_run_back_shares_its_least_gap_and_its_greatest(made):
    readings = [ram(j, v, v - 1e-3, 6e-3, "feeler") for j in JACKS for v in (0.0035, 0.005)]
    head = said(made.job, readings)["nut gap"]
    assert (head.how, head.same) == ("more than", "1.0 under or ABOVE 6.0 mm")
    home = ram(JACKS[0], 0.0, -math.inf, 6e-3, "feeler", aim=False)
    assert not is_shared(home, shared_bands([*readings, home]))


@pytest.mark.parametrize("times", [1, 2])
def test_a_band_of_one_line_alone_stays_with_its_line(made, times):
    readings = [gauge(JACKS[0], 2.8e7, 4.85e7)] * times
    assert bool(shared_bands(readings)) == (times > 1)
