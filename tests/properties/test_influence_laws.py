"""Laws of the influence of seats on rigid segments, for random seats, and a second path."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.certify.recompute import RigidStates
from fitup.checks import checks_of
from fitup.frames import heading, left_of
from fitup.model import Influence, Job, Seat
from fitup.structure import rigid_influence
from fitup.survey import Survey

CASES = settings(max_examples=30, deadline=None, derandomize=True)
seeds = st.integers(0, 10**6)
UP = np.array([0.0, 0.0, 1.0])


def seats_of(job: Job, seed: int) -> dict[str, Seat]:
    """Four to six lifting seats of uneven stiffness at each segment, anywhere under it."""
    rng = np.random.default_rng(seed)
    seats: dict[str, Seat] = {}
    for segment in job.segments.values():
        for corner in range(int(rng.integers(4, 7))):
            side = np.array([(-1.0) ** (corner // 2), (-1.0) ** corner, 0.0])
            place = segment.centre + side * rng.uniform([4.0, 2.0, 0.0], [9.0, 5.0, 0.0]) - UP
            name = f"{segment.id}-S{corner + 1}"
            seats[name] = replace(
                job.seats["A-S1"], id=name, segment=segment.id, position=place,
                stiffness=float(rng.uniform(1e8, 8e8)),
            )  # fmt: skip
    return seats


def with_plan_seats(job: Job, seed: int) -> Job:
    """Segments that nothing holds, pushed along and across as well as lifted."""
    rng = np.random.default_rng(seed)
    seats = seats_of(job, seed)
    for segment in job.segments.values():
        ahead, left = heading(segment.azimuth), left_of(segment.azimuth)
        for number, (direction, lever) in enumerate([(ahead, 3.0), (ahead, -3.0), (left, 0.5)]):
            name = f"{segment.id}-P{number}"
            place = segment.centre + lever * left + rng.normal(0.0, 0.5, 3)
            seats[name] = replace(
                job.seats["A-S1"], id=name, segment=segment.id, position=place,
                direction=direction, pushes="axis", stiffness=float(rng.uniform(1e8, 8e8)),
            )  # fmt: skip
    free = {n: replace(s, held=frozenset()) for n, s in job.segments.items()}
    return replace(job, seats=seats, segments=free)


def made(small_case: tuple[Job, Survey], seed: int, plan: bool = False) -> tuple[Job, Influence]:
    job, survey = small_case
    whole = with_plan_seats(job, seed) if plan else replace(job, seats=seats_of(job, seed))
    return whole, rigid_influence(whole, survey)


@CASES
@given(seed=seeds, lift=st.floats(-0.05, 0.05))
def test_lifting_all_seats_of_a_segment_alike_changes_no_reaction(
    small_case: tuple[Job, Survey], seed: int, lift: float
) -> None:
    job, effect = made(small_case, seed)
    x = np.array([lift * (job.seats[s].segment == "A") for s in effect.seats])
    assert effect.R @ x == pytest.approx(np.zeros(len(x)), abs=1e-2)
    y = dict(zip(effect.checks, effect.A @ x, strict=True))
    assert y["level/A-L"] == pytest.approx(lift, abs=1e-12)
    assert y["J1/P1/step"] == pytest.approx(-lift, abs=1e-12)
    assert y["J1/twist"] == pytest.approx(0.0, abs=1e-12)


@CASES
@given(seed=seeds)
def test_reactions_carry_the_weight_whatever_the_moves(
    small_case: tuple[Job, Survey], seed: int
) -> None:
    job, effect = made(small_case, seed)
    x = np.random.default_rng(seed).normal(0.0, 0.01, len(effect.seats))
    r = effect.r0 + effect.R @ x
    for segment in job.segments.values():
        own = [i for i, s in enumerate(effect.seats) if job.seats[s].segment == segment.id]
        assert r[own].sum() == pytest.approx(segment.weight, rel=1e-9)
        arms = np.array([job.seats[effect.seats[i]].position - segment.centre for i in own])
        assert r[own] @ arms[:, :2] == pytest.approx(np.zeros(2), abs=1e-3)


@CASES
@given(seed=seeds)
def test_reactions_are_symmetric_and_only_give_energy(
    small_case: tuple[Job, Survey], seed: int
) -> None:
    _, effect = made(small_case, seed, plan=True)
    assert pytest.approx(effect.R.T, abs=1e-3) == effect.R
    assert np.linalg.eigvalsh(effect.R).min() > -1e-2


@CASES
@given(seed=seeds, plan=st.booleans())
def test_influence_is_the_slope_of_the_second_path(
    small_case: tuple[Job, Survey], seed: int, plan: bool
) -> None:
    job, effect = made(small_case, seed, plan)
    checks = checks_of(job)
    states = RigidStates(job, small_case[1], dict(zip(effect.seats, effect.r0, strict=True)))
    step = 1e-5

    def at(seat: str, amount: float) -> Any:
        return states.at({s: amount * (s == seat) for s in effect.seats}, checks)

    # the second path turns points truly; a central difference leaves terms of third order
    for j, seat in enumerate(effect.seats):
        ahead, back = at(seat, step), at(seat, -step)
        slope = (ahead.change - back.change) / (2.0 * step)
        assert slope == pytest.approx(effect.A[:, j], abs=1e-6)
        force = [(ahead.reactions[s] - back.reactions[s]) / (2.0 * step) for s in effect.seats]
        # newtons per metre beside stiffnesses of 1e8
        assert force == pytest.approx(effect.R[:, j], abs=1e3)


@CASES
@given(seed=seeds)
def test_order_and_names_of_seats_mean_nothing(small_case: tuple[Job, Survey], seed: int) -> None:
    job, effect = made(small_case, seed, plan=True)
    order = np.random.default_rng(seed).permutation(len(effect.seats))
    seats = {}
    for i in order:
        old = job.seats[effect.seats[i]]
        seats[f"new-{old.id}"] = replace(old, id=f"new-{old.id}")
    other = rigid_influence(replace(job, seats=seats), small_case[1])
    assert other.seats == tuple(f"new-{effect.seats[i]}" for i in order)
    assert pytest.approx(effect.A[:, order], abs=1e-9) == other.A
    assert pytest.approx(effect.R[np.ix_(order, order)], abs=1e-2) == other.R
    assert other.r0 == pytest.approx(effect.r0[order], rel=1e-9, abs=1e-3)
