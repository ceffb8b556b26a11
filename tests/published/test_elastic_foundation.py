"""A beam on an elastic foundation.

M. Hetenyi, Beams on Elastic Foundation, University of Michigan Press 1946: a beam with pinned ends
under a load P at its middle. The example with springs is that of W. McGuire, R. H. Gallagher and
R. D. Ziemian, Matrix Structural Analysis, 2nd edition, example 4.15: E = 29000 ksi, I = 128.5 in4,
240 in long, P = 40 kip, springs of 22.5 kip/in every 15 in, which is k = 1.5 kip/in2. Formulas are
evaluated here; kip and inch.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

EI, K, P, L = 29000.0 * 128.5, 1.5, 40.0, 240.0


def hetenyi() -> tuple[float, float]:
    """Deflection and moment at the middle of a beam with pinned ends."""
    b = (K / (4.0 * EI)) ** 0.25 * L
    below = np.cosh(b) + np.cos(b)
    beta = b / L
    sinks = P * beta / (2.0 * K) * (np.sinh(b) - np.sin(b)) / below
    return sinks, P / (4.0 * beta) * (np.sinh(b) + np.sin(b)) / below


def springs(line: Callable, apart: float):
    """The beam on springs, its ends pinned: hardly any spring gives there."""
    xs = np.arange(0.0, L + apart / 2, apart)
    middle = len(xs) // 2
    ends = {0: frozenset({2}), len(xs) - 1: frozenset({2})}
    inner = list(range(1, len(xs) - 1))
    beam = line(xs, inner, stiffness=K * apart, EI=EI, held=ends, loads=[(middle, 0.0, P)])
    return beam, middle


def test_hetenyi_formulas() -> None:
    assert hetenyi() == pytest.approx((0.2462763, 553.621), rel=1e-6)


def test_springs_of_the_example(line: Callable) -> None:
    beam, middle = springs(line, 15.0)
    # exact for these springs, to the digits given
    assert beam.sinks(middle) == pytest.approx(0.2462676, rel=3e-7)
    assert beam.moment(middle) == pytest.approx(546.637, rel=2e-6)


def test_closer_springs_come_to_the_foundation(line: Callable) -> None:
    sinks, moment = hetenyi()
    misses = []
    for apart in (15.0, 7.5, 3.75):
        beam, middle = springs(line, apart)
        misses.append(moment - beam.moment(middle))
        assert beam.sinks(middle) == pytest.approx(sinks, rel=1e-4)
    # half the distance, a quarter of the miss
    assert misses[0] / misses[1] == pytest.approx(4.0, rel=0.05)
    assert misses[1] / misses[2] == pytest.approx(4.0, rel=0.05)
