"""Moves and lessons that the next job holds: what is wrong with them, whole messages."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Tell = Callable[..., list[str]]
MOVED = "seat,move_mm,way,u_mm,load_before_kN,load_after_kN,source\n"
LEARNED = "what,at,factor,u_factor,amount_mm,u_amount_mm,correlations,source\n"


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "Z,3,with,0,,,s\n",
            "row 2, seat: found 'Z'; allowed: an id of seats.csv; correct it or add it there",
        ),
        (
            "A-S1,3,with,0,,,s\nA-S1,0,stays,0,,,s\n",
            "row 3, seat: found 'A-S1' again; allowed: each seat once; delete one",
        ),
        (
            "A-S1,3,stays,0,,,s\n",
            "row 2, way: found 'stays' with a move of 3 mm; allowed: stays with 0, else with or "
            "against; correct one of them",
        ),
        (
            "A-S1,3,up,0,,,s\n",
            "row 2, way: found 'up'; allowed: one of: with, against, stays; give with or against "
            "the direction in which it pushes, or stays",
        ),
    ],
)
def test_moves(problems_of: Tell, rows: str, message: str):
    assert problems_of(moved=MOVED + rows) == [f"moved.csv, {message}"]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "stiffness,Z,0.8,0.1,,,,s\n",
            "row 2, at: found 'Z'; allowed: an id of seats.csv; correct it or delete the row",
        ),
        (
            "expansion,A-S1,1.1,0.1,,,,s\n",
            "row 2, at: found 'A-S1'; allowed: steel, for all of it; write steel",
        ),
        (
            "movement,A-S1,1.1,0.1,,,,s\n",
            "row 2, at: found movement of seat A-S1, which is not held by a nut; allowed: a seat "
            "held by a nut; delete the row",
        ),
        (
            "stiffness,A-S1,0.8,0.1,,,,s\nstiffness,A-S1,0.9,0.1,,,,s\n",
            "row 3, at: found stiffness of A-S1 again; allowed: each correction once; delete one",
        ),
        (
            "bedding,A-S1,0.8,0.1,,,,s\n",
            "row 2, amount_mm: found amount and u_amount not both given, or more; allowed: amount "
            "and u_amount alone for bedding; move the numbers",
        ),
        (
            "stiffness,A-S1,0.8,,,,,s\n",
            "row 2, factor: found factor and u_factor not both given, or more; allowed: factor and "
            "u_factor alone for stiffness; move the numbers",
        ),
        (
            "stiffness,A-S1,0.8,0.1,,,0.5,s\n",
            "row 2, correlations: found '0.5'; allowed: 0 numbers from -1 to 1, one for each row "
            "above, or none; complete or clear it",
        ),
        (
            "stiffness,A-S1,0.8,0.1,,,,s\nstiffness,A-S2,0.8,0.1,,,1.5,s\n",
            "row 3, correlations: found '1.5'; allowed: 1 numbers from -1 to 1, one for each row "
            "above, or none; complete or clear it",
        ),
    ],
)
def test_lessons(problems_of: Tell, rows: str, message: str):
    assert problems_of(learned=LEARNED + rows) == [f"learned.csv, {message}"]


def test_correlations_that_cannot_be(problems_of: Tell):
    rows = (
        "stiffness,A-S1,0.8,0.1,,,,s\nstiffness,A-S2,0.8,0.1,,,0.9,s\n"
        "stiffness,A-S3,0.8,0.1,,,0.9 -0.9,s\n"
    )
    assert problems_of(learned=LEARNED + rows) == [
        "learned.csv, correlations: found correlations that cannot be; allowed: those of one "
        "covariance matrix; write the table again with: fitup learn --write"
    ]
