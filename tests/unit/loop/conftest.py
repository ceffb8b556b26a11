"""Rounds made without files: the small job, moved and surveyed again in a truth of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from fitup.certify.recompute import RigidStates
from fitup.checks import joint_state
from fitup.loop import Round, one_round
from fitup.model import Job, Moved
from fitup.structure import rigid_influence
from fitup.survey import CoordinateList, Survey, SurveyedPoint, reduce_survey

#: what the seats of the small job are moved by [m]
MOVES = {
    "B1": 0.006,
    "B2": -0.003,
    "B3": 0.002,
    "B4": 0.004,
    "A1": -0.005,
    "A2": 0.003,
    "A3": 0.0,
    "A4": -0.002,
}


@dataclass(frozen=True, eq=False)
class Truth:
    """What is really there: factors of stiffness, more bedding, seats that sink [m], gauges."""

    stiffness: dict[str, float]
    bedding: dict[str, float]
    sinks: dict[str, float]
    gauge: float = 1.0


def seen(job: Job, places: dict[str, np.ndarray], rng: np.random.Generator, u: float) -> Survey:
    """Survey points that are where they are, with noise."""
    points = [
        SurveyedPoint(name, p + rng.normal(0.0, u, 3), np.full(3, max(u, 1e-7)), 0, row)
        for row, (name, p) in enumerate(places.items(), 2)
    ]
    return reduce_survey(job, [CoordinateList("made.csv", tuple(points), (), ())])


def true_job(job: Job, truth: Truth) -> Job:
    seats = {
        n: replace(s, stiffness=s.stiffness * truth.stiffness.get(n, 1.0))
        for n, s in job.seats.items()
    }
    return replace(job, seats=seats)


def play(
    job: Job, truth: Truth, seed: int, moves: dict[str, float] = MOVES, u: float = 3e-4
) -> Round:
    """Survey, move in the truth, survey again: reactions measured before and after too."""
    rng = np.random.default_rng(seed)
    off = rng.normal(0.0, 0.004, (len(job.segments), 1)) * np.array([0.0, 0.0, 1.0])
    places = {
        p.id: p.design + off[list(job.segments).index(p.segment)] for p in job.points.values()
    }
    survey = seen(job, places, rng, u)
    before, influence = joint_state(job, survey), rigid_influence(job, survey)
    arrives = {
        n: x - (truth.bedding.get(n, 0.0) if x else 0.0) - truth.sinks.get(n, 0.0)
        for n, x in moves.items()
    }
    real = true_job(job, truth)
    present = dict(zip(influence.seats, influence.r0.tolist(), strict=True))
    perfect = seen(job, places, rng, 0.0)
    states = RigidStates(real, perfect, present)
    moved = {name: move_point(states, job, name, p, arrives) for name, p in places.items()}
    loads = states.at(arrives, ()).reactions
    after = joint_state(job, seen(job, moved, rng, u))
    noise = job.learning.load_reading
    stated = tuple(
        Moved(
            n,
            x,
            0.0,
            truth.gauge * present[n] * (1.0 + rng.normal(0.0, noise)),
            truth.gauge * loads[n] * (1.0 + rng.normal(0.0, noise)),
            "made",
        )
        for n, x in moves.items()
    )
    return one_round(job, before, influence, replace(job, moved=stated), after)


def move_point(states: RigidStates, job: Job, name: str, place: Any, arrives: Any) -> np.ndarray:
    from fitup.certify.recompute import equilibrium

    segment = job.segments[job.points[name].segment]
    return equilibrium(states.job, segment, arrives, states.present).motion.apply(place)


def draw(one: Round, change: np.ndarray, rng: np.random.Generator) -> Round:
    """Return the round as it might have come out if the truth had made this change."""
    values, vectors = np.linalg.eigh(one.covariance)
    noise = vectors @ (np.sqrt(np.clip(values, 0.0, None)) * rng.normal(size=len(values)))
    found, m = change + noise, len(one.before.values)
    after = replace(one.after, values=one.before.values + found[:m])
    return replace(one, after=after, load_change=found[m:])


@pytest.fixture(scope="session")
def drawn() -> Callable[..., Round]:
    """``drawn(one, change, rng)``: the same moves, another draw of surveys and readings."""
    return draw


@pytest.fixture(scope="session")
def rounds(small: Callable[..., Any]) -> Callable[..., Round]:
    """``rounds(seed, stiffness={...}, sinks={...})``: one round of the small job in a truth."""

    def make(seed: int = 1, job: Job | None = None, u: float = 3e-4, moves=MOVES, **truth: Any):
        whole = {"stiffness": {}, "bedding": {}, "sinks": {}} | truth
        return play(small(1).job if job is None else job, Truth(**whole), seed, moves, u)

    return make
