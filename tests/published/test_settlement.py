"""Beams whose supports are moved, against the closed forms of the handbooks.

Sources
-------
- Closed forms of continuous beams under settlement of supports, EI = L = settlement = 1: three
  moments equation of Clapeyron, in any handbook of structural analysis (for example A. Kassimali,
  Structural Analysis, chapter 13). Values are exact fractions.
- A. Kassimali, Structural Analysis, 3rd edition (SI and US), example 13.14: a beam of three spans
  of 20 ft under 2 k/ft whose supports settle by 0.625, 1.5 and 0.75 in. Reactions are the exact
  solution; the book prints them to three figures.

The seats are springs of 1e8 EI/L3, so figures differ from rigid supports by about 1e-7.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

CLOSE = 2e-6
TURN = frozenset({4})


def test_both_ends_fixed(line: Callable) -> None:
    beam = line([0, 1], [0, 1], held={0: TURN, 1: TURN})
    assert beam.moment(0, [0, 1]) == pytest.approx(6.0, rel=CLOSE)
    assert beam.R[1, 1] == pytest.approx(12.0, rel=CLOSE)


def test_propped(line: Callable) -> None:
    beam = line([0, 1], [0, 1], held={0: TURN})
    assert beam.moment(0, [0, 1]) == pytest.approx(3.0, rel=CLOSE)
    assert beam.R[1, 1] == pytest.approx(3.0, rel=CLOSE)


@pytest.mark.parametrize(
    ("down", "moments", "reactions"),
    [
        ([0, 1, 0], [0, 3, 0], [3, -6, 3]),
        ([1, 0, 0], [0, -1.5, 0], [-1.5, 3, -1.5]),
        ([0, 1, 0, 0], [0, 3.6, -2.4, 0], [3.6, -9.6, 8.4, -2.4]),
        ([1, 0, 0, 0], [0, -1.6, 0.4, 0], [-1.6, 3.6, -2.4, 0.4]),
        ([0, 1, 1, 0], [0, 1.2, 1.2, 0], [1.2, -1.2, -1.2, 1.2]),
        (
            [0, 0, 1, 0, 0],
            [0, -18 / 7, 30 / 7, -18 / 7, 0],
            [-18 / 7, 66 / 7, -96 / 7, 66 / 7, -18 / 7],
        ),
    ],
)
def test_continuous(
    line: Callable, down: list[float], moments: list[float], reactions: list[float]
) -> None:
    n = len(down)
    beam = line(list(range(n)), list(range(n)))
    moves = -np.array(down)
    found = [beam.moment(i, moves) for i in range(n)]
    assert found == pytest.approx(moments, abs=4 * CLOSE)
    assert beam.R @ moves == pytest.approx(reactions, abs=10 * CLOSE)


def test_stiffness_of_three_spans(line: Callable) -> None:
    beam = line([0, 1, 2, 3], [0, 1, 2, 3])
    rows = [[1.6, -3.6, 2.4, -0.4], [-3.6, 9.6, -8.4, 2.4]]
    exact = [*rows, *[row[::-1] for row in rows[::-1]]]
    assert pytest.approx(np.array(exact), abs=10 * CLOSE) == beam.R
    # rigid-body moves give no force at all
    assert beam.R @ np.ones(4) == pytest.approx(0.0, abs=1e-6)
    assert beam.R @ np.arange(4.0) == pytest.approx(0.0, abs=1e-6)


def test_even_load_on_three_spans(line: Callable) -> None:
    beam = line([0, 1, 2, 3], [0, 1, 2, 3], weight=1.0)
    assert beam.q == pytest.approx([0.4, 1.1, 1.1, 0.4], rel=CLOSE)
    assert beam.moment(1) == pytest.approx(-0.1, rel=CLOSE)


def test_kassimali_example_13_14(line: Callable) -> None:
    """Kip and inch."""
    # A settles not at all; rounding of the published reactions is 0.0005 kip
    beam = line(
        [0, 240, 480, 720],
        [0, 1, 2, 3],
        EI=29000.0 * 7800.0,
        weight=2.0 / 12.0,
        stiffness=1e9,
    )
    reactions = beam.q + beam.R @ -np.array([0.0, 0.625, 1.5, 0.75])
    assert reactions == pytest.approx([-1.181, 122.542, -61.540, 60.180], abs=6e-4)
