"""A part on as many seats as it needs, beside one on more: contact, balance, both paths."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.certify.carry import carry
from fitup.certify.frame import FrameStates
from fitup.checks import checks_of
from fitup.errors import CertificateRefused, StructureError
from fitup.frames import Array
from fitup.model import Job, Seat
from fitup.model.actions import NodeLoad
from fitup.model.frame import (
    FrameModel,
    FrameSeat,
    Member,
    Node,
    Tie,
)
from fitup.structure import lifting_of, solve_job
from fitup.structure.contact import Contact, NoContact
from fitup.structure.frame.balance import balance_of
from fitup.structure.frame.solved import SolvedFrame, solve_frame
from fitup.survey import Survey

UP = np.array([0.0, 0.0, 1.0])
PLANE = frozenset({0, 1, 3, 5})
WEIGHT = 150e3


def seat(name: str, position: Array, stiffness: float) -> Seat:
    return Seat(
        name, "D", position, UP, "up", stiffness, "packs", (), 0, 1, 5, 0, 0, 1e9,
    )  # fmt: skip


def two_decks(seed: int) -> tuple[SolvedFrame, Contact, FrameModel]:
    """One deck continuous over four seats, the next on two alone, anywhere on the grid."""
    rng = np.random.default_rng(seed)
    origin = rng.uniform(0.0, 5000.0, 3)
    xs = {"A0": 0.0, "A1": 20.0, "A2": 40.0, "A3": 60.0, "B0": 61.0, "B1": 73.0, "B2": 84.3}
    nodes = {n: Node(n, origin + np.array([x, 0.0, 0.0]), PLANE) for n, x in xs.items()}
    members = {
        f"{i}{j}": Member(
            f"{i}{j}", i, j, 210e9, 81e9, 0.6, 0.5, 3.0, 0.6, np.inf, np.inf, UP, weight=WEIGHT
        )
        for i, j in itertools.pairwise(xs)
        if i[0] == j[0]
    }
    model = FrameModel(nodes, members)
    on = ("A0", "A1", "A2", "A3", "B0", "B2")
    seats = [seat(n, nodes[n].position, 10.0 ** rng.uniform(8.0, 9.5)) for n in on]
    solved = solve_frame(model, seats, {f"seat/{n}": (Tie(node=n), nodes[n].position) for n in on})
    return (
        solved,
        Contact(on, np.ones(6, bool), *solved.reactions(), balance_of(solved, model)),
        model,
    )


def by_enumeration(q: Array, R: Array) -> Array:
    """Reactions by trying every set of open seats."""
    for count in range(len(q) + 1):
        for open_ in itertools.combinations(range(len(q)), count):
            z, own = np.zeros(len(q)), list(open_)
            if own:
                z[own] = np.linalg.lstsq(R[np.ix_(own, own)], -q[own], rcond=1e-12)[0]
            r = q + R @ z
            idle = np.abs(r[own]).max(initial=0.0) < 1.0
            if z.min() >= -1e-12 and r.min() >= -1.0 and idle:
                return r
    raise AssertionError("no set of open seats carries")


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_against_every_choice_of_open_seats(seed: int) -> None:
    _, contact, _ = two_decks(seed)
    x = np.random.default_rng(seed + 1).normal(size=6) * 0.05
    q = contact.q + contact.R @ x
    expected = by_enumeration(q, contact.R)
    touch = contact.at(x)
    assert touch.reactions == pytest.approx(expected, abs=1.0)
    assert q + contact.R @ carry(q, contact.R, contact.one_way) == pytest.approx(expected, abs=1.0)
    # by hand: the deck on two seats has half its weight on each, whatever the moves
    assert touch.reactions[4:] == pytest.approx(WEIGHT * 23.3 / 2.0, rel=1e-9)
    assert touch.reactions[:4].sum() == pytest.approx(WEIGHT * 60.0, rel=1e-9)
    assert touch.openings.max() < 0.5


def test_a_determinate_part_answers_exactly_nothing() -> None:
    _, contact, _ = two_decks(3)
    assert np.abs(contact.R[4:]).max() < 1e-15 * contact.R.max()


def test_what_does_not_balance_is_refused_with_where() -> None:
    solved, contact, model = two_decks(3)
    balance = balance_of(solved, model)
    good = contact.at(np.zeros(6))
    balance.require(good.reactions, good.effective)
    spoilt = good.reactions + np.array([0.0, 0.0, 0.0, 0.0, 0.0, 500.0])
    with pytest.raises(StructureError) as caught:
        balance.require(spoilt, good.effective)
    assert str(caught.value) == (
        "member B0B1: loads and reactions do not balance: 0.5 kN up-down and 5.825 kN m about its "
        "north-south line are left over, so nothing computed is used; look there for members very "
        "short or very stiff beside their neighbours, and for seats very stiff\n"
        "the whole structure: loads and reactions do not balance: 0.5 kN up-down and 21.07 kN m "
        "about its north-south line are left over, so nothing computed is used; look there for "
        "members very short or very stiff beside their neighbours, and for seats very stiff"
    )


def test_a_determinate_part_that_would_have_to_be_pulled_falls() -> None:
    q, R = np.array([-1e5, 3e5, 2e5]), np.diag([0.0, 0.0, 1e7])
    with pytest.raises(NoContact):
        Contact(("A", "B", "C"), np.ones(3, bool), q, R).at(np.zeros(3))
    with pytest.raises(CertificateRefused):
        carry(q, R, np.ones(3, bool))


def on_two_seats(job: Job) -> Job:
    """Rigid segments as nodes; A on four seats, B, which cannot roll, on two."""
    seats = {
        n: replace(s, reaction_now=None) for n, s in job.seats.items() if n not in {"B2", "B3"}
    }
    held = {"A": frozenset({0, 1, 5}), "B": frozenset({0, 1, 4, 5})}
    segments = job.segments.values()
    frame = FrameModel(
        {s.id: Node(s.id, s.centre, held[s.id]) for s in segments},
        {},
        node_loads=tuple(
            NodeLoad(s.id, s.id, np.array([0.0, 0.0, -s.weight, 0.0, 0.0, 0.0])) for s in segments
        ),
        seats={n: FrameSeat(n, True, tie=Tie(node=s.segment)) for n, s in seats.items()},
        ties={p.id: Tie(node=p.segment) for p in job.points.values()},
    )
    return replace(job, frame=frame, seats=seats, influence_by="frame")


@pytest.mark.parametrize("seed", range(5))
def test_both_paths_of_a_job_with_a_determinate_segment(
    small_case: tuple[Job, Survey], seed: int
) -> None:
    job = on_two_seats(small_case[0])
    states = FrameStates(job, small_case[1])
    lifting = lifting_of(job, solve_job(job))
    x = np.random.default_rng(seed).normal(size=len(job.seats)) * 0.001
    change, reactions = lifting.state(x)
    again = states.at(dict(zip(job.seats, x.tolist(), strict=True)), checks_of(job))
    assert list(again.reactions.values()) == pytest.approx(reactions, abs=5.0)
    weight = {name: s.weight for name, s in job.segments.items()}
    for name, own in weight.items():
        carried = sum(r for n, r in again.reactions.items() if job.seats[n].segment == name)
        assert carried == pytest.approx(own, rel=1e-9)
    assert again.change == pytest.approx(change, abs=1e-4)
