"""Temperature difference through the depth of a beam.

Free curvature is alpha dT / h; restrained by supports it gives the moments of the three moments
equation, here over EI times the curvature (any handbook; exact fractions). Figures of a span and a
cantilever of 60 m, 3 m deep, top 18 K warmer, alpha 12e-6: EN 1991-1-5, Table C.1 for alpha, from
memory; camber and deflection are arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

CLOSE = 1e-6
TURN = frozenset({4})


def test_fixed_at_both_ends(line: Callable) -> None:
    beam = line([0, 1], [0, 1], held={0: TURN, 1: TURN}, warm_top=1.0)
    # the warm top is pressed: hogging is not relieved, the beam sags against it
    assert abs(beam.moment(0)) == pytest.approx(1.0, rel=CLOSE)
    assert beam.moment(0) > 0.0


@pytest.mark.parametrize(
    "moments", [[1.5], [1.2, 1.2], [9 / 7, 6 / 7, 9 / 7]], ids=["2 spans", "3 spans", "4 spans"]
)
def test_continuous(line: Callable, moments: list[float]) -> None:
    n = len(moments) + 2
    beam = line(list(range(n)), list(range(n)), warm_top=1.0)
    assert [beam.moment(i) for i in range(1, n - 1)] == pytest.approx(moments, rel=CLOSE)


def test_free_span_and_cantilever(line: Callable) -> None:
    curvature = 12e-6 * 18.0 / 3.0
    assert curvature == pytest.approx(7.2e-5)
    # the line's own expansion and depth are one
    span = line([0, 30, 60], [0, 2], warm_top=curvature)
    assert span.sinks(1) == pytest.approx(-0.0324, rel=CLOSE)
    first = span.solved.still[span.solved.mesh.system.place["N0"] + 4]
    assert abs(first) == pytest.approx(0.00216, rel=CLOSE)
    arm = line([0, 60], [0], held={0: frozenset({2, 4})}, warm_top=curvature)
    assert arm.sinks(1) == pytest.approx(0.1296, rel=CLOSE)
