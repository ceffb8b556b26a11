"""An invented three-segment deck running east, and surveys of it with seeded noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.frames import joint_axes
from fitup.model import CheckPoint, Epoch, Gates, Job, Joint, Pair, Segment
from fitup.survey import CoordinateList, SurveyedPoint
from fitup.survey.hypotheses import Observed

ORIGIN = np.array([412000.0, 5631000.0, 87.0])
#: left, middle, right of the back end, then of the ahead end; one on a bracket under the deck
SHAPE = np.array(
    [
        [1.0, 12.0, -0.24],
        [1.0, 0.0, 0.0],
        [1.0, -12.0, -0.24],
        [31.0, 12.0, 0.36],
        [31.0, 0.0, 0.60],
        [31.0, -12.0, 0.36],
        [16.0, 4.0, -2.50],
    ]
)
STARTS = {"A1": 0.0, "A2": 32.0, "A3": 64.0}
U = 0.0015
#: where the surveys find every segment, east, north, up [m]
SHIFT = np.array([0.012, -0.020, 0.034])


def design(segment: str) -> np.ndarray:
    return SHAPE + ORIGIN + [STARTS[segment], 0.0, 0.0]


def names(segment: str) -> tuple[str, ...]:
    return tuple(f"{segment}-{i + 1}" for i in range(len(SHAPE)))


def observe(segment: str = "A2", seed: int = 7, u: float = U) -> Observed:
    """A clean survey of one segment with noise of its stated uncertainty."""
    noise = np.random.default_rng([seed, *segment.encode()]).normal(0.0, u, SHAPE.shape)
    return Observed(
        segment,
        names(segment),
        design(segment),
        design(segment) + SHIFT + noise,
        np.full(SHAPE.shape, u),
    )


def make_job(**changes: Any) -> Job:
    """The job of the deck: three segments, two joints, one epoch unless told otherwise."""
    segments = {
        s: Segment(s, np.pi / 2, 2e6, design(s).mean(axis=0), frozenset({"along"})) for s in STARTS
    }
    points = {
        i: CheckPoint(i, s, p) for s in STARTS for i, p in zip(names(s), design(s), strict=True)
    }
    axes = joint_axes(np.pi / 2, 0.02, 0.0)
    joints = {"J1": Joint("J1", "A1", "A2", axes), "J2": Joint("J2", "A2", "A3", axes)}
    pairs = {"J1L": Pair("J1L", "J1", "A1-4", "A2-1", 2.0, "LEFT")}
    epoch = Epoch("night.csv", "2031-04-02T04:10", 293.15, 0.0, U, "m", None, None)
    job = Job(
        name="deck",
        units="metric",
        grid="local",
        reference_temperature=293.15,
        segments=segments,
        points=points,
        joints=joints,
        pairs=pairs,
        seats={},
        jacks={},
        plates={},
        limits={},
        tolerances={},
        epochs=(epoch,),
        gates=Gates(),
    )
    return replace(job, **changes)


def make_list(
    *observed: Observed, epoch: int = 0, file: str = "night.csv", first_row: int = 2
) -> CoordinateList:
    """The list one survey file would have given."""
    flat = [(i, p, u) for o in observed for i, p, u in zip(o.ids, o.surveyed, o.u, strict=True)]
    points = tuple(
        SurveyedPoint(i, p, u, epoch, first_row + row) for row, (i, p, u) in enumerate(flat)
    )
    return CoordinateList(file, points, (), (f"{file}: {len(points)} points read",))


@pytest.fixture
def deck() -> Callable[..., Job]:
    return make_job


@pytest.fixture
def survey_of() -> Callable[..., Observed]:
    return observe


@pytest.fixture
def listed() -> Callable[..., CoordinateList]:
    return make_list
