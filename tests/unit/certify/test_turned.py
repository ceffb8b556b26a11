"""Sticks that have turned: laws that hold whichever way round a section lies."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.certify.sticks import stick_between
from fitup.certify.turned import Sticks, rotations
from fitup.model.frame import Member

LENGTH = 12.0
AXES = np.eye(3)
#: its own y and z axes exchanged, a quarter turn about its length
QUARTER = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


@pytest.fixture
def square() -> Member:
    """A member as stiff one way as the other."""
    return Member(
        id="m",
        i="a",
        j="b",
        up=np.array([0.0, 0.0, 1.0]),
        E=2.1e11,
        G=8.1e10,
        A=0.1,
        Iy=2e-3,
        Iz=2e-3,
        J=1e-3,
        Asy=np.inf,
        Asz=np.inf,
        expansion=1.2e-5,
        depth=1.0,
        width=1.0,
        weight=0.0,
    )


def alone(member: Member, axes: np.ndarray) -> Sticks:
    stick = stick_between(member, 0, 6, axes, 0.0, LENGTH, np.zeros(3), (0.0, 0.0, 0.0))
    return Sticks([stick], [np.zeros(12)], [np.zeros(6)])


@pytest.mark.parametrize("about", [4, 5])
def test_a_section_that_is_alike_both_ways_may_lie_either_way(square: Member, about: int):
    """Bowing about one axis shortens the chord as much as about the other."""
    u = np.zeros(12)
    u[about], u[6 + about], u[6] = 0.05, -0.03, 1e-3
    one, other = alone(square, AXES).bent(u), alone(square, QUARTER).bent(u)
    np.testing.assert_allclose(one.forces, other.forces, rtol=1e-9, atol=1.0)


def test_bowing_shortens_the_chord_by_hand(square: Member):
    """Ends turned by t against each other, L held: L/30 (2 t² + t² + 2 t²) = L t² / 6 is missing.

    The curve y = t x (1 - x / L) is longer than its chord by the integral of y'^2 / 2 = t² L / 6.
    """
    turn = 0.02
    for about in (4, 5):
        u = np.zeros(12)
        u[about], u[6 + about] = turn, -turn
        pull = float(alone(square, AXES).bent(u).local[0, 0])
        assert pull == pytest.approx(square.E * square.A * turn**2 / 6.0, rel=1e-3), about


def test_turning_as_a_whole_strains_nothing(square: Member):
    """Turned by half a radian and carried along: no force, by true rotations."""
    turn = np.array([[0.3, -0.4, 0.2]])
    far = rotations(turn)[0] @ np.array([LENGTH, 0.0, 0.0]) - np.array([LENGTH, 0.0, 0.0])
    u = np.concatenate([np.zeros(3), turn[0], far, turn[0]])
    assert np.abs(alone(square, AXES).bent(u).forces).max() < 1e-3
