"""Words for values and moves: nothing hangs on a sign, and zero is said as zero."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.model import LENGTHS, MOVE_WORDS, SIDES, Conflict
from fitup.sheets.cautions import cautions
from fitup.sheets.numbers import rounded
from fitup.sheets.words import conflict_words, move_words, ram_reading, thickness_error, value_words
from fitup.units import METRIC, US


@pytest.mark.parametrize(
    ("quantity", "value", "words"),
    [
        ("step", 0.0042, "ahead side high by 4.2 mm"),
        ("step", -0.0042, "ahead side low by 4.2 mm"),
        ("gap", 0.0123, "12.3 mm too wide"),
        ("gap", -0.0123, "12.3 mm too narrow"),
        ("offset", 0.009, "ahead side LEFT by 9.0 mm"),
        ("offset", -0.009, "ahead side RIGHT by 9.0 mm"),
        ("kink_grade", 0.0021, "dip by 2.10 mm/m"),
        ("kink_grade", -0.0021, "crest by 2.10 mm/m"),
        ("kink_plan", -0.0005, "bends RIGHT by 0.50 mm/m"),
        ("twist", 0.0006, "ahead LEFT edge high by 0.60 mm/m"),
        ("level", -0.003, "3.0 mm too low"),
        ("line", 0.003, "3.0 mm too far LEFT"),
    ],
)
def test_values_in_words(quantity, value, words):
    assert value_words(quantity, value, METRIC).words == words


@pytest.mark.parametrize("quantity", list(SIDES))
def test_what_rounds_to_zero_is_on_target(quantity):
    tiny = 0.00004 if quantity in LENGTHS else 0.000004
    assert value_words(quantity, tiny, METRIC).words == "on target"
    assert value_words(quantity, -tiny, METRIC).words == "on target"


def test_a_preset_is_named_beside_the_value():
    assert value_words("gap", 0.0112, METRIC, 0.01).words == (
        "wide by 11.2 mm (aim: wide by 10.0 mm)"
    )
    assert value_words("gap", 0.01001, METRIC, 0.01).words == "wide by 10.0 mm (on target)"
    assert value_words("gap", 0.0, METRIC, -0.01).words == "0.0 mm (aim: narrow by 10.0 mm)"


@pytest.mark.parametrize("pushes", list(MOVE_WORDS))
def test_moves_in_words(pushes):
    with_it, against = MOVE_WORDS[pushes]
    assert move_words(pushes, 0.016, METRIC).words == f"{with_it} 16.0 mm"
    assert move_words(pushes, -0.016, METRIC).words == f"{against} 16.0 mm"


def test_a_seat_along_its_own_axis_has_words_too():
    assert move_words("along its axis", 0.002, METRIC).words == "PUSH OUT 2.0 mm"
    assert move_words("along its axis", -0.002, METRIC).words == "LET IN 2.0 mm"


def test_us_units():
    assert move_words("up", 0.0254, US).words == "RAISE 1.000 in"
    assert value_words("gap", -0.00254, US).words == "0.100 in too narrow"


def test_no_ram_word_can_be_read_as_the_inch():
    for pushes in (*MOVE_WORDS, "along its axis"):
        for value in (0.01, -0.01, 0.0):
            assert not re.search(r"\bin\b", ram_reading(pushes, value, US).side, re.IGNORECASE)


def test_ram_readings_name_their_side():
    assert ram_reading("up", 0.005, METRIC).side == "above START"
    assert ram_reading("up", -0.005, METRIC).side == "below START"
    assert ram_reading("ahead", 0.005, METRIC).side == "beyond START"
    assert ram_reading("ahead", -0.005, METRIC).side == "short of START"
    assert ram_reading("up", 0.00001, METRIC).side == "START"


def test_pack_error_in_words():
    assert thickness_error(0.0004, METRIC).words == "0.4 mm thick"
    assert thickness_error(-0.0004, METRIC).words == "0.4 mm thin"
    assert thickness_error(0.00001, METRIC).words == "as needed"


def test_below_zero_is_a_word():
    assert rounded(268.15, METRIC.temperature).full == "minus 5.0 °C"


@given(
    st.sampled_from(list(SIDES)),
    st.floats(-0.3, 0.3),
    st.floats(-0.05, 0.05),
    st.sampled_from([METRIC, US]),
)
def test_no_sign_and_the_side_is_right(quantity, value, target, units):
    said = value_words(quantity, value, units, target)
    assert not re.search(r"[+\-\u2212]\s?\d", said.words)
    if said.number.value != 0.0:
        plus, minus = (set(side.split()) for side in SIDES[quantity])
        right, wrong = (plus, minus) if value > 0.0 else (minus, plus)
        before_aim = set(said.words.split(" (")[0].lower().split())
        assert right <= before_aim
        assert not (wrong - right) & before_aim


@given(st.floats(-0.3, 0.3), st.sampled_from([METRIC, US]))
def test_words_say_the_value_back_to_half_a_step(value, units):
    said = move_words("up", value, units)
    assert abs(said.number.si - value) <= said.number.half_step * (1 + 1e-9)


def test_what_cannot_be_kept_together_says_what_was_tried():
    parts = ("stock of plate P20, 0 loose",)
    assert conflict_words(Conflict(parts, "any thickness")) == (
        "Not even plates of any thickness keep all of these together; without any one of them the "
        "others can be"
    )
    assert conflict_words(Conflict(parts, "whole")) == (
        "No whole plates keep all of these together, even with two more in each pack not named; "
        "without any one of them the others can be"
    )


def test_the_caution_on_ram_areas_leaves_out_valves_that_link_jacks(made):
    """A sheet that orders what its own caution forbids is obeyed in neither."""
    plain = " ".join(cautions(made.job))
    assert "never share one line without separate flow control." in plain
    far = ("KD8-AL", "KD8-AR")
    jacks = {
        name: replace(jack, circuit="CV-7") if jack.seat in far else jack
        for name, jack in made.job.jacks.items()
    }
    linked = " ".join(cautions(replace(made.job, jacks=jacks)))
    assert "flow control, but on CV-7, where these sheets link them on purpose." in linked
