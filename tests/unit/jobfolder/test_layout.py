"""A regular deck laid out: places by hand, and a job that reads without contradicting itself."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from fitup.jobfolder import start_laid_out
from fitup.jobfolder.layout import Layout, laid_out

DECK = Layout(
    segments=2,
    seats=4,
    deck="box",
    length=30.0,
    width=12.0,
    depth=3.0,
    weight=9e5,
    along=24.0,
    across=7.0,
    opening=0.010,
    origin=(100.0, 200.0, 30.0),
    azimuth=math.pi / 2.0,
    grade=0.01,
    fall=0.02,
)


def row(table: str, name: str) -> dict[str, object]:
    return dict(next(r for r in laid_out(DECK)[table] if r["id"] == name))


def test_places_by_hand() -> None:
    """Going east, right is south: the right edge lies 6 m south and 2 % of 6 m lower."""
    right = row("points.csv", "S1a-R")
    assert right["E"] == pytest.approx(130.0)
    assert right["N"] == pytest.approx(194.0)
    assert right["H"] == pytest.approx(30.0 + 0.30 - 0.12)
    # seats lie 3 m inside the faces, 3.5 m off the axis; the second segment starts 10 mm on
    seat = row("seats.csv", "S2-V1")
    assert seat["E"] == pytest.approx(133.01)
    assert seat["N"] == pytest.approx(203.5)
    centre = row("segments.csv", "S2")
    assert centre["centre_E"] == pytest.approx(145.01)
    assert centre["centre_H"] == pytest.approx(30.0 + 0.4501 - 1.5)


@pytest.mark.parametrize(
    ("along", "across", "held"),
    [(0, 0, "along across turn"), (1, 1, "turn"), (2, 1, ""), (0, 2, "along")],
)
def test_only_motions_that_no_seat_works_on_are_held(along: int, across: int, held: str) -> None:
    deck = replace(DECK, push_along=along, push_across=across)
    assert laid_out(deck)["segments.csv"][0]["held"] == held
    assert len(laid_out(deck)["seats.csv"]) == 2 * (4 + along + across)


def test_three_seats_stand_on_a_triangle() -> None:
    seats = laid_out(replace(DECK, seats=3, segments=3))["seats.csv"]
    assert len(seats) == 9
    assert [round(float(str(s["N"])), 3) for s in seats[:3]] == [203.5, 196.5, 200.0]


def test_the_same_bytes_for_the_same_deck(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first = start_laid_out(tmp_path / "a" / "job", DECK, extras=("limits.csv", "ride.csv"))
    second = start_laid_out(tmp_path / "b" / "job", DECK, extras=("limits.csv", "ride.csv"))
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]
