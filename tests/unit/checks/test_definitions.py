"""Signs of every check in words on planted moves, aims, and the list of checks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fitup.checks import checks_of, joint_state, side_of
from fitup.frames import Array, Motion, rotation
from fitup.model import SIDES, Aim, Job, Quantity
from fitup.survey import Survey, fit_pose

FACE = np.array([20.0, 0.0, 10.0])


def moved(job: Job, survey: Survey, segment: str, turn: Sequence[float], shift: Array) -> Survey:
    """The survey had the whole segment been found turned about the face and shifted."""
    motion = Motion(rotation(np.array(turn)), shift, FACE)
    points = {n: replace(p, position=job.points[n].design) for n, p in survey.points.items()}
    names = [n for n in points if job.points[n].segment == segment]
    for name in names:
        points[name] = replace(points[name], position=motion.apply(job.points[name].design))
    poses = dict(survey.poses)
    for key in job.segments:
        own = [n for n in points if job.points[n].segment == key]
        poses[key] = fit_pose(
            key,
            own,
            np.array([job.points[n].design for n in own]),
            np.array([points[n].position for n in own]),
            np.array([points[n].uncertainty for n in own]),
        )
    return replace(survey, points=points, poses=poses)


def value(job: Job, survey: Survey, check: str) -> float:
    state = joint_state(job, survey)
    return float(state.values[[c.id for c in state.checks].index(check)])


# the deck goes east: ahead is east, left is north; right-hand turns of the ahead segment
TURNS = [
    # about east: the left (north) edge rises
    ((1e-3, 0.0, 0.0), "twist", 1e-3, "ahead left edge high"),
    ((-1e-3, 0.0, 0.0), "twist", -1e-3, "ahead right edge high"),
    # about north: the far (east) end of the ahead segment falls, the deck makes a crest
    ((0.0, 1e-3, 0.0), "kink_grade", -1e-3, "crest"),
    ((0.0, -1e-3, 0.0), "kink_grade", 1e-3, "dip"),
    # about up: the far end swings north, to the left
    ((0.0, 0.0, 1e-3), "kink_plan", 1e-3, "bends left"),
    ((0.0, 0.0, -1e-3), "kink_plan", -1e-3, "bends right"),
]


@pytest.mark.parametrize(("turn", "quantity", "expected", "word"), TURNS)
def test_kinks_and_twist_of_a_turned_ahead_segment(
    small_case: tuple[Job, Survey],
    turn: tuple[float, float, float],
    quantity: Quantity,
    expected: float,
    word: str,
) -> None:
    job, survey = small_case
    found = moved(job, survey, "B", turn, np.zeros(3))
    for other in ("twist", "kink_grade", "kink_plan"):
        wanted = expected if other == quantity else 0.0
        assert value(job, found, f"J1/{other}") == pytest.approx(wanted, abs=1e-9)
    assert side_of(quantity, value(job, found, f"J1/{quantity}")) == word
    # the words say what the edges and the far end do
    left = found.points["B-L"].position - job.points["B-L"].design
    far = found.points["B-T1"].position - found.points["B-L"].position
    assert {
        "ahead left edge high": left[2] > 0.0,
        "ahead right edge high": left[2] < 0.0,
        "crest": far[2] < 0.0,
        "dip": far[2] > 0.0,
        "bends left": far[1] > 0.0,
        "bends right": far[1] < 0.0,
    }[word]


@pytest.mark.parametrize(("turn", "quantity", "expected", "word"), TURNS)
def test_the_back_segment_turned_the_same_way_gives_the_opposite(
    small_case: tuple[Job, Survey],
    turn: tuple[float, float, float],
    quantity: Quantity,
    expected: float,
    word: str,
) -> None:
    job, survey = small_case
    found = moved(job, survey, "A", turn, np.zeros(3))
    result = value(job, found, f"J1/{quantity}")
    assert result == pytest.approx(-expected, abs=1e-9)
    assert side_of(quantity, result) in set(SIDES[quantity]) - {word}


SHIFTS = [
    ((0.004, 0.0, 0.0), "gap", "wide"),
    ((-0.004, 0.0, 0.0), "gap", "narrow"),
    ((0.0, 0.003, 0.0), "offset", "ahead left"),
    ((0.0, -0.003, 0.0), "offset", "ahead right"),
    ((0.0, 0.0, 0.002), "step", "ahead high"),
    ((0.0, 0.0, -0.002), "step", "ahead low"),
]


@pytest.mark.parametrize(("shift", "quantity", "word"), SHIFTS)
def test_pairs_of_a_shifted_ahead_segment(
    small_case: tuple[Job, Survey],
    shift: tuple[float, float, float],
    quantity: Quantity,
    word: str,
) -> None:
    job, survey = small_case
    found = moved(job, survey, "B", (0.0, 0.0, 0.0), np.array(shift))
    for pair in ("P1", "P2"):
        for other in ("gap", "step", "offset"):
            wanted = sum(shift) if other == quantity else 0.0
            assert value(job, found, f"J1/{pair}/{other}") == pytest.approx(wanted, abs=1e-12)
        assert side_of(quantity, value(job, found, f"J1/{pair}/{quantity}")) == word
    point = {"gap": "station", "offset": "line", "step": "level"}[quantity]
    assert value(job, found, f"{point}/B-L") == pytest.approx(sum(shift), abs=1e-12)
    assert value(job, found, f"{point}/A-L") == pytest.approx(0.0, abs=1e-12)


def test_a_point_not_surveyed_is_carried_by_its_segment(small_case: tuple[Job, Survey]) -> None:
    job, survey = small_case
    found = moved(job, survey, "B", (1e-3, -2e-3, 5e-4), np.array([0.003, -0.002, 0.004]))
    whole = joint_state(job, found)
    less = {name: point for name, point in found.points.items() if name != "B-L"}
    own = [n for n in less if job.points[n].segment == "B"]
    pose = fit_pose(
        "B",
        own,
        np.array([job.points[n].design for n in own]),
        np.array([less[n].position for n in own]),
        np.array([less[n].uncertainty for n in own]),
    )
    carried = joint_state(job, replace(found, points=less, poses={**found.poses, "B": pose}))
    assert carried.values == pytest.approx(whole.values, abs=1e-9)
    index = {c.id: i for i, c in enumerate(whole.checks)}
    sigma = carried.uncertainties
    # three points of a 19 by 8 m rectangle carry the fourth: level errors add, sqrt(3) * 0.5 mm
    assert sigma[index["level/B-L"]] == pytest.approx(0.0005 * np.sqrt(3.0), rel=1e-3)
    # and it rises with B-R, one corner to another: B-L = B-R + B-T1 - B-T2
    both = carried.covariance[index["level/B-L"], index["level/B-R"]]
    assert both == pytest.approx(0.0005**2, rel=1e-3)
    assert whole.uncertainties[index["level/B-L"]] == pytest.approx(0.0005, rel=1e-12)


def test_uncertainty_is_that_of_many_surveys(small_case: tuple[Job, Survey]) -> None:
    # the stated covariance against a hundred surveys with planted errors, poses fitted again
    job, survey = small_case
    rng = np.random.default_rng(7)
    state = joint_state(job, survey)
    seen = []
    for _ in range(200):
        points = {
            n: replace(p, position=p.position + rng.normal(0.0, p.uncertainty))
            for n, p in survey.points.items()
        }
        poses = {}
        for key in job.segments:
            own = [n for n in points if job.points[n].segment == key]
            poses[key] = fit_pose(
                key,
                own,
                np.array([job.points[n].design for n in own]),
                np.array([points[n].position for n in own]),
                np.array([points[n].uncertainty for n in own]),
            )
        seen.append(joint_state(job, replace(survey, points=points, poses=poses)).values)
    ratio = np.std(seen, axis=0) / state.uncertainties
    # standard deviation of 200 draws scatters by 5 %: four of those
    assert ratio == pytest.approx(np.ones(len(ratio)), abs=0.2)


def test_list_of_checks(small_case: tuple[Job, Survey]) -> None:
    job = small_case[0]
    # a point of a pair that is watched as well stays with its joint
    both = {n: replace(job.points[n], watched=True) for n in ("B-T1", "A-L")}
    watched = {**job.points, **both}
    names = [c.id for c in checks_of(replace(job, points=watched))]
    pairs = [f"J1/{p}/{q}" for p in ("P1", "P2") for q in ("gap", "step", "offset")]
    turns = ["J1/kink_grade", "J1/kink_plan", "J1/twist"]
    points = [
        f"{q}/{p}"
        for p in ("A-L", "B-L", "A-R", "B-R", "B-T1")
        for q in ("level", "line", "station")
    ]
    assert names == pairs + turns + points
    by_id = {c.id: c for c in checks_of(replace(job, points=watched))}
    assert (by_id["level/B-T1"].joint, by_id["level/A-L"].joint) == ("", "J1")
    assert (by_id["J1/P1/step"].tolerance, by_id["J1/P1/gap"].tolerance) == (0.002, None)


def test_aims_change_what_is_wanted(small_case: tuple[Job, Survey]) -> None:
    aims = (
        Aim("J1", "P1", "step", "preset", -0.001, "note 1"),
        Aim("J1", None, "step", "tolerance", 0.003, "note 2"),
        Aim("J1", None, "kink_grade", "leave", 0.002, "note 3"),
        Aim("J9", None, "gap", "preset", 0.5, "another joint"),
    )
    checks = {c.id: c for c in checks_of(replace(small_case[0], aims=aims))}
    first, second = checks["J1/P1/step"], checks["J1/P2/step"]
    assert (first.target, first.tolerance, first.source) == (-0.001, 0.003, "note 2")
    assert first.reason == "note 1; note 2"
    assert (second.target, second.tolerance, second.reason) == (0.0, 0.003, "note 2")
    kink = checks["J1/kink_grade"]
    assert (kink.tolerance, kink.leave_within, kink.reason) == (None, 0.002, "note 3")
    assert checks["J1/P1/gap"].target == 0.0
