"""Work stops in the middle of a stage: what the command says, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).parents[2] / "examples" / "skerrin-closure"


def test_a_broken_jack_in_the_middle_of_a_lift(fitup):
    said = fitup("recover", EXAMPLE, "--line", 15, "--broken", "J-W7-S2")
    assert said.code == 3
    assert "Stage 1, crew 1, stopped after line 15" in said.out
    assert "MAKE SAFE: every load onto steel where it stands" in said.out
    assert "HELP: a jack of" in said.out
    assert "beside J-W7-S2 at seat W7-S2" in said.out
    assert "NOT APPROVED" in said.out
    told = json.loads(fitup("recover", EXAMPLE, "--line", 15, "--goal", "safe", "--json").out)
    (goal,) = told["goals"]
    assert (goal["goal"], goal["certified"], goal["lines"]) == ("safe", True, 2)


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (
            ("--line", 4711),
            "fitup: command line, --line: found line 4711; allowed: a line of the move sheets, 1 "
            "to 140; read the number of the last line that was done",
        ),
        (
            ("--line", 9, "--ram", "J-W7-S1=high"),
            "fitup: command line, --ram: found 'J-W7-S1=high'; allowed: JACK=READING in mm, e.g. "
            "J-A1=7.5; read the ram from its mark START",
        ),
        (
            ("--line", 9, "--on", "W7-S1=air"),
            "fitup: command line, --on: found 'W7-S1=air'; allowed: SEAT=SUPPORT, a support being "
            "one of pack, nut, oil, temporary, friction; say what the seat stands on",
        ),
        (
            ("--line", 9, "--plan", "FYEP-NART-LLWCX"),
            "fitup: --plan: found no record in the job folder; allowed: a job with a record; "
            "leave --plan out",
        ),
    ],
)
def test_what_cannot_be_read_is_one_line(fitup, given, line):
    said = fitup("recover", EXAMPLE, *given)
    assert (said.code, said.out) == (2, "")
    assert said.lines == [line]
