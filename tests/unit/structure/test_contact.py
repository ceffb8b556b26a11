"""Contact by pivots against every choice of open seats, and against what must hold of an answer."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.structure.contact import Contact, NoContact, complementary


def brute(M: np.ndarray, q: np.ndarray) -> np.ndarray | None:
    """Reactions by trying every set of open seats."""
    n = len(q)
    for k in range(n + 1):
        for open_ in itertools.combinations(range(n), k):
            z = np.zeros(n)
            own = list(open_)
            if own:
                z[own] = np.linalg.lstsq(M[np.ix_(own, own)], -q[own], rcond=1e-10)[0]
            r = q + M @ z
            if (
                z.min(initial=0.0) >= -1e-9
                and r.min() >= -1e-9
                and np.abs(r[own]).max(initial=0.0) < 1e-9
            ):
                return r
    return None


@given(seed=st.integers(0, 10**6), n=st.integers(1, 6), missing=st.integers(0, 3))
def test_against_every_choice(seed: int, n: int, missing: int) -> None:
    rng = np.random.default_rng(seed)
    L = rng.normal(size=(n, max(1, n - missing)))
    M, q = L @ L.T, rng.normal(size=n) + 0.3
    expected = brute(M, q)
    if expected is None:
        with pytest.raises(NoContact):
            complementary(M, q)
        return
    z = complementary(M, q)
    r = q + M @ z
    assert z.min() >= 0.0
    assert r.min() >= -1e-8
    assert np.abs(z * r).max() < 1e-8
    assert r == pytest.approx(expected, abs=1e-7)


def test_many_seats_with_ties_end() -> None:
    """Thirty seats in a row, every second one idle by exactly nothing: all ratios are equal."""
    n = 30
    M = 2.0 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1)
    q = -np.tile([1.0, 1.0, 0.0], 10)
    z = complementary(M, q)
    r = q + M @ z
    assert (r.min() >= -1e-9, z.min() >= 0.0, float(np.abs(r * z).max()) < 1e-9) == (True,) * 3


def twisted() -> Contact:
    """A stiff box of 4 MN on four equal seats: warp is all that loads them unevenly."""
    pattern = np.array([1.0, -1.0, 1.0, -1.0])
    return Contact(
        ("A", "B", "C", "D"),
        np.ones(4, bool),
        np.full(4, 1e6),
        4e8 / 4.0 * np.outer(pattern, pattern),
    )


def test_twist_of_a_stiff_box_is_a_pattern_of_reactions() -> None:
    touch = twisted().at(np.array([0.004, 0.0, 0.0, 0.0]))
    assert touch.reactions == pytest.approx([1.4e6, 0.6e6, 1.4e6, 0.6e6])
    assert touch.carries.all()
    assert touch.loose == ()


def test_box_rocks_when_two_corners_are_off() -> None:
    """Raised by 12 mm it stands on a diagonal; how far each other corner opens is not settled."""
    touch = twisted().at(np.array([0.012, 0.0, 0.0, 0.0]))
    assert touch.reactions == pytest.approx([2e6, 0.0, 2e6, 0.0])
    # the two openings add up to what the warp lacks, 12 - 10 mm
    assert touch.openings.sum() == pytest.approx(0.002)
    assert touch.loose == ("B", "D")


def test_tangent_is_the_slope_of_the_answer() -> None:
    rng = np.random.default_rng(3)
    L = rng.normal(size=(6, 4))
    contact = Contact(tuple("ABCDEF"), np.ones(6, bool), L @ rng.normal(size=4) + 0.6, L @ L.T)
    x = rng.normal(size=6) * 0.1
    touch = contact.at(x)
    assert 0 < (~touch.carries).sum() < 6
    E = contact.tangent(touch.carries)
    step = 1e-7 * rng.normal(size=6)
    assert contact.at(x + step).reactions - touch.reactions == pytest.approx(
        contact.R @ E @ step, abs=1e-12
    )


def test_message_when_nothing_carries() -> None:
    contact = Contact(("A", "B"), np.ones(2, bool), np.array([-1.0, 2.0]), np.zeros((2, 2)))
    with pytest.raises(NoContact) as caught:
        contact.at(np.zeros(2))
    assert str(caught.value) == (
        "no openings let the seats that can only push carry the load: without pull at A the "
        "structure tips or falls; check weight and seats, or say one_way = no in frame_seats.csv "
        "where a seat is tied down"
    )
