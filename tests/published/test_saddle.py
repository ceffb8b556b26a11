"""Rope friction and the resultant on a saddle.

The rope formula T1/T2 <= exp(mu theta) is Euler's (Remarques sur l'effet du frottement, Histoire de
l'Académie Royale, Berlin 1769) and Eytelwein's (1808). Figures are the closed forms, worked once by
hand to seven digits; the resultant of two tensions by the law of cosines.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.structure.cable.saddle import Grip, grip_of, resultant


def pulls(back: float, ahead: float, turn: float) -> tuple[np.ndarray, np.ndarray]:
    """Two pulls from a saddle, level but for half the turn down on either side."""
    half = np.radians(turn) / 2.0
    return (
        back * np.array([-np.cos(half), 0.0, -np.sin(half)]),
        ahead * np.array([np.cos(half), 0.0, -np.sin(half)]),
    )


@pytest.mark.parametrize(("friction", "turn", "most"), [(0.20, 30.0, 1.1103994),
                                                        (0.15, 25.0, 1.0676392),
                                                        (0.20, 180.0, 1.8744561)])  # fmt: skip
def test_rope_friction(friction, turn, most):
    assert Grip("S", (1.0, 1.0), np.radians(turn), friction).most == pytest.approx(most, rel=1e-7)
    just, beyond = most * (1 - 1e-6), most * (1 + 1e-6)
    assert not grip_of("S", *pulls(just, 1.0, turn), friction).slips
    assert grip_of("S", *pulls(beyond, 1.0, turn), friction).slips
    assert not grip_of("S", *pulls(1.0, just, turn), friction).slips
    assert grip_of("S", *pulls(1.0, beyond, turn), friction).slips


@pytest.mark.parametrize(("back", "ahead", "together"), [(100.0, 100.0, 68.404029),
                                                         (100.0, 110.0, 72.436332)])  # fmt: skip
def test_resultant(back, ahead, together):
    both = resultant(pulls(back, ahead, 40.0))
    assert np.linalg.norm(both) == pytest.approx(together, rel=1e-7)
    assert np.degrees(grip_of("S", *pulls(back, ahead, 40.0), 0.2).turn) == pytest.approx(40.0)
