"""Unlike epochs are refused by name, figure, limit and advice; the limit itself passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.model import Epoch
from fitup.survey.gates import gate_problems

NORTH = Epoch("north.csv", "2031-04-02T04:10", 293.15, 0.0, 0.0015, "m", None, None)
SOUTH = replace(NORTH, file="south.csv")


def problems(deck, south, **changes):
    job = deck(epochs=(NORTH, south), **changes)
    return gate_problems(job, {"A1": NORTH, "A2": south})


def test_like_epochs_pass(deck):
    assert problems(deck, SOUTH) == ()


def test_hours_apart(deck):
    assert problems(deck, replace(SOUTH, taken="2031-04-02T09:40")) == (
        "joint J1: back segment A1 (north.csv) taken at 2031-04-02 04:10, ahead segment A2 "
        "(south.csv) taken at 2031-04-02 09:40: 5.5 h apart; at most 2 h (hours_apart); survey "
        "both sides in one epoch",
    )


def test_temperature_apart(deck):
    assert problems(deck, replace(SOUTH, temperature=290.05)) == (
        "segment A2: surveyed at 16.9 °C (south.csv), 3.1 °C off the reference of 20.0 °C; at most "
        "3.0 °C without an expansion model (temperature_off); give expansion and fixed point in "
        "segments.csv, or survey nearer the reference",
        "joint J1: back segment A1 (north.csv) steel at 20.0 °C, ahead segment A2 (south.csv) "
        "steel at 16.9 °C: 3.1 °C apart; at most 3.0 °C (temperature_apart); survey both sides in "
        "one epoch",
    )


def test_deck_load_apart_in_us_units(deck):
    assert problems(deck, replace(SOUTH, deck_load=150e3), units="US") == (
        "joint J1: back segment A1 (north.csv) load on the deck 0.0 kip, ahead segment A2 "
        "(south.csv) load on the deck 33.7 kip: 33.7 kip apart; at most 4.5 kip "
        "(deck_load_apart); survey both sides with the same load on the deck",
    )


def test_an_expansion_model_opens_the_gate_to_the_reference_only(deck):
    south = replace(SOUTH, temperature=290.05)
    job = deck()
    grown = {
        k: replace(s, expansion=12e-6, fixed_point=np.zeros(3)) for k, s in job.segments.items()
    }
    (line,) = problems(deck, south, segments=grown)
    assert line.startswith("joint J1: ") and "temperature_apart" in line


@pytest.mark.parametrize("taken", ["2031-04-02T06:10", "2031-04-02T02:10"])
def test_exactly_at_the_limit_passes_either_way(deck, taken):
    assert problems(deck, replace(SOUTH, taken=taken, deck_load=20e3)) == ()
    later = {"2031-04-02T06:10": "2031-04-02T06:11", "2031-04-02T02:10": "2031-04-02T02:09"}
    assert len(problems(deck, replace(SOUTH, taken=later[taken]))) == 1


def test_midnight_is_no_gap(deck):
    job = deck()
    late, early = replace(NORTH, taken="2031-04-01T23:50"), replace(SOUTH, taken="2031-04-02T00:10")
    assert gate_problems(job, {"A1": late, "A2": early, "A3": early}) == ()


def test_every_broken_gate_is_told(deck):
    south = replace(SOUTH, taken="2031-04-03T04:10", temperature=283.15, deck_load=1e6)
    assert len(problems(deck, south)) == 4
