"""A beam alone: stiffness by two derivations, rigid ends, releases, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.certify.sticks import cantilever, free_end
from fitup.errors import StructureError
from fitup.model.frame import Member
from fitup.structure.frame.beam import Beam, even_load, heat, local_stiffness

UP = np.array([0.0, 0.0, 1.0])
MEMBER = Member(
    "M", "a", "b", 210e9, 81e9, 0.3, 0.2, 1.5, 0.35, 0.15, 0.06, UP, expansion=12e-6, depth=2.0,
    width=8.0,
)  # fmt: skip
SIZES = st.floats(0.01, 100.0)


@given(length=SIZES, Iy=SIZES, Iz=SIZES, A=SIZES, J=SIZES, As=st.none() | SIZES)
def test_stiffness_is_the_inverse_flexibility(
    length: float, Iy: float, Iz: float, A: float, J: float, As: float | None
) -> None:
    shear = np.inf if As is None else As
    member = replace(MEMBER, E=3.0, G=1.2, Iy=Iy, Iz=Iz, A=A, J=J, Asy=shear, Asz=shear)
    corner = local_stiffness(member, length)[6:, 6:] @ cantilever(member, length)
    assert corner == pytest.approx(np.eye(6), abs=1e-9)


@given(
    load=st.tuples(*[st.floats(-5, 5)] * 3),
    warm=st.tuples(*[st.floats(-20, 20)] * 3),
    length=st.floats(0.5, 50.0),
)
def test_end_forces_are_those_of_the_cantilever(
    load: tuple[float, ...], warm: tuple[float, float, float], length: float
) -> None:
    """Held at both ends, a beam pushes back what its free end would have done."""
    rest = even_load(np.array(load), length) + heat(MEMBER, *warm)
    end = free_end(MEMBER, length, np.array(load), warm)
    back = np.linalg.solve(cantilever(MEMBER, length), end)
    assert rest[6:] == pytest.approx(-back, rel=1e-6, abs=1e-3)


@given(shift=st.tuples(*[st.floats(-1, 1)] * 3), turn=st.tuples(*[st.floats(-1, 1)] * 3))
def test_rigid_motion_gives_no_force(shift: tuple[float, ...], turn: tuple[float, ...]) -> None:
    member = replace(MEMBER, offset_i=np.array([0.3, -0.2, 0.5]), offset_j=np.array([0, 0.4, 0]))
    start, end = np.array([1.0, 2.0, 3.0]), np.array([11.0, 9.0, 6.0])
    beam = Beam(member, start, end, np.zeros(3))
    w = np.array(turn)
    u = np.concatenate([shift, w, np.array(shift) + np.cross(w, end - start), w])
    K, _ = beam.stiffness
    assert np.abs(K @ u).max() <= 1e-9 * np.abs(K).max()
    assert beam.forces_and_tangent(np.zeros(12))[1] == pytest.approx(K, rel=1e-12)


def test_released_end_carries_nothing() -> None:
    member = replace(MEMBER, releases=frozenset({4, 5, 11}))
    beam = Beam(member, np.zeros(3), np.array([7.0, 3.0, 1.0]), np.array([0.0, 0.0, -5e4]))
    ends = beam.end_forces(np.random.default_rng(1).normal(size=12))
    assert np.abs(ends[[4, 5, 11]]).max() <= 1e-9 * np.abs(ends).max()


def test_pin_at_one_end_has_the_stiffness_of_a_prop() -> None:
    member = replace(MEMBER, releases=frozenset({10}), Asz=np.inf)
    K, _ = Beam(member, np.zeros(3), np.array([10.0, 0, 0]), np.zeros(3)).held
    assert K[2, 2] == pytest.approx(3.0 * 210e9 * 0.2 / 10.0**3)
    assert K[4, 4] == pytest.approx(3.0 * 210e9 * 0.2 / 10.0)


def test_member_that_spins_is_refused() -> None:
    member = replace(MEMBER, releases=frozenset({3, 9}))
    with pytest.raises(StructureError) as caught:
        Beam(member, np.zeros(3), np.array([5.0, 0, 0]), np.zeros(3)).forces_and_tangent(
            np.zeros(12)
        )
    assert str(caught.value) == (
        "member M: its releases leave it free to move by itself; release it at one end only, or "
        "fewer motions, in frame_members.csv"
    )
