"""A small job made without files: two rigid segments on four seats each, one joint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.frames import joint_axes
from fitup.model import (
    CheckPoint,
    CheckState,
    Epoch,
    Influence,
    Jack,
    Job,
    Joint,
    Limit,
    Pair,
    Plate,
    Seat,
    Segment,
    Tolerance,
)
from fitup.structure import rigid_influence
from fitup.survey import CoordinateList, Survey, SurveyedPoint, reduce_survey

UP = np.array([0.0, 0.0, 1.0])
EPOCH = Epoch("made.csv", "2031-05-01T04:00", 288.15, 0.0, 0.0005, "m", None, None)


@dataclass(frozen=True, eq=False)
class Case:
    """A job with its survey, checks as surveyed and influence."""

    job: Job
    survey: Survey
    state: CheckState
    influence: Influence


def make_job(**changes: Any) -> Job:
    """Two 20 m segments end to end along the north, four seats each, three pairs."""
    segments, points, seats, jacks = {}, {}, {}, {}
    for name, sign in (("B", -1.0), ("A", 1.0)):
        near = 0.0 if sign < 0 else 0.01
        centre = np.array([0.0, near + sign * 10.0, 9.0])
        segments[name] = Segment(name, 0.0, 2.0e6, centre, frozenset({"along", "across", "turn"}))
        for place, left in (("L", 5.0), ("C", 0.0), ("R", -5.0)):
            points[f"{name}-{place}"] = CheckPoint(
                f"{name}-{place}", name, np.array([-left, near, 10.0])
            )
        for k, left in (("F1", 4.0), ("F2", -4.0)):
            points[f"{name}-{k}"] = CheckPoint(
                f"{name}-{k}", name, np.array([-left, near + sign * 19.0, 10.0]), watched=True
            )
        for i, (station, left) in enumerate(
            [(2.0, 4.0), (2.0, -4.0), (18.0, -4.0), (18.0, 4.0)], 1
        ):
            seat = f"{name}{i}"
            seats[seat] = Seat(
                id=seat,
                segment=name,
                position=np.array([-left, near + sign * station, 8.0]),
                direction=UP,
                pushes="up",
                stiffness=4.0e8,
                held_by="packs",
                pack=("P20", "P5"),
                pack_least=0.01,
                pack_most=0.06,
                most_plates=4,
                bedding=0.0002,
                reaction_least=5.0e4,
                reaction_most=1.2e6,
                group=f"{name}-lift",
            )
            jacks[f"J{seat}"] = Jack(f"J{seat}", seat, 1.2e6, 0.02, 0.10, 0.04, 5e-4, True)
    plates = {
        m: Plate(m, t / 1e3, t / 1e3 + d, n, 0.3, 0.3, 2e-5)
        for m, t, d, n in (
            ("P20", 20, 1e-5, 4),
            ("P10", 10, 2e-5, 6),
            ("P5", 5, 0.0, 6),
            ("P2", 2, 3e-5, 8),
            ("P1", 1, -1e-5, 8),
        )
    }
    job = Job(
        name="small",
        units="metric",
        grid="local",
        reference_temperature=288.15,
        segments=segments,
        points=points,
        joints={"K": Joint("K", "B", "A", joint_axes(0.0, 0.0, 0.0), 0.001)},
        pairs={
            f"P{i}": Pair(f"P{i}", "K", f"B-{p}", f"A-{p}", 0.01, word)
            for i, (p, word) in enumerate((("L", "LEFT"), ("C", "CENTRE"), ("R", "RIGHT")), 1)
        },
        seats=seats,
        jacks=jacks,
        plates=plates,
        limits={
            f"{s}-warp": Limit(f"{s}-warp", "warp", tuple(f"{s}{i}" for i in (1, 2, 3, 4)), 0.003)
            for s in ("B", "A")
        },
        tolerances={
            "step": Tolerance(0.002, "by hand"),
            "kink_grade": Tolerance(0.0008, "by hand"),
            "level": Tolerance(0.008, "by hand", 0.5),
        },
        epochs=(EPOCH,),
        digest="made by hand",
    )
    return replace(job, **changes)


def make_case(job: Job, seed: int = 1, size: float = 0.012) -> Case:
    """Survey a job that stands off by a few millimetres and milliradians."""
    rng = np.random.default_rng(seed)
    shift = {s: rng.normal(0.0, size, 3) * [0.1, 0.1, 1.0] for s in job.segments}
    turn = {s: rng.normal(0.0, 2e-4, 3) * [1.0, 1.0, 0.0] for s in job.segments}
    points = []
    for row, point in enumerate(job.points.values(), 2):
        lever = point.design - job.segments[point.segment].centre
        moved = point.design + shift[point.segment] + np.cross(turn[point.segment], lever)
        noise = rng.normal(0.0, 3e-4, 3)
        points.append(SurveyedPoint(point.id, moved + noise, np.full(3, 5e-4), 0, row))
    survey = reduce_survey(job, [CoordinateList("made.csv", tuple(points), (), ())])
    return Case(job, survey, joint_state(job, survey), rigid_influence(job, survey))


@pytest.fixture(scope="session")
def small() -> Callable[..., Case]:
    """Return a maker of small cases: ``small(seed=3, limits={})``."""

    def make(seed: int = 1, size: float = 0.012, **changes: Any) -> Case:
        return make_case(make_job(**changes), seed, size)

    return make
