"""What a survey means for the crew, in words: sides, instrument errors, movements."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fitup.network.report import residual_lines
from fitup.network.solve import Solved, solve
from fitup.sheets.survey_words import changes_words, reading_words, residual_words
from fitup.units import METRIC, US


def solved(site: Any) -> Solved:
    return solve(site.job, site.epoch, site.read())


@pytest.mark.parametrize(
    ("name", "error", "words"),
    [
        # a reading too large points further round the clock
        ("ST1/T3/hz", 3e-4, "7.9 mm right"),
        ("ST1/T3/hz", -3e-4, "8.8 mm left"),
        # a zenith angle too large points lower
        ("ST2/T3/v", 7e-4, "14.8 mm low"),
        ("ST2/T3/v", -7e-4, "14.7 mm high"),
        ("ST3/CP2/sd", 0.05, "49.8 mm long"),
        ("ST3/CP2/sd", -0.05, "50.2 mm short"),
    ],
)
def test_a_residual_has_its_side_as_a_word(network_site: Any, name: str, error: float, words: str):
    site = network_site(5)
    site.spoil[name] = error
    line = residual_lines(solved(site))[0]
    assert (line.id, line.odd) == (name, True)
    assert residual_words(line, METRIC) == words


def test_an_instrument_error_in_words():
    assert reading_words(None, METRIC) == "not known"
    assert reading_words(0.0, METRIC) == "0.0 mgon"
    assert reading_words(3.1415926e-5, METRIC) == "2.0 mgon too large"
    assert reading_words(-3.1415926e-5, US) == "6.5 arcsec too small"


def test_what_has_moved(network_site: Any):
    before, later = network_site(3), network_site(4)
    later.targets["T3"] = later.targets["T3"] + [0.0, -0.004, 0.003]
    job = before.job
    one = solve(job, before.epoch, before.read())
    two = solve(job, replace(later.epoch, file="later.csv"), later.read())
    lines = changes_words(job, {0: two}, (one,))
    assert lines[:2] == (
        "later.csv: control CP1, CP2, CP3, CP4 where they were",
        "later.csv: against shots.csv of 2031-04-02 04:10, points CP1, CP2, CP3, CP4 where they "
        "were",
    )
    (moved,) = lines[2:]
    assert moved.startswith("later.csv: T3 has moved ")
    assert " south (u " in moved
    assert " up (u " in moved
