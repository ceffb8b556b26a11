"""Where two ways to what crosses a joint part, it is noted; bands of readings; learned words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fitup.certify import passage, ride
from fitup.certify.facts import BoltFact, BoreFact, RideFact, reading_band
from fitup.certify.learned import CorrectedStates, learned_words
from fitup.certify.order import check_order
from fitup.certify.recompute import Outcome
from fitup.model import Job, Tolerance


def wheel(gap: float, rough: float) -> RideFact:
    return RideFact("W", "K", "LEFT", gap, 0.0, rough, 0.0, (), ())


@pytest.mark.parametrize(
    ("gap", "rough", "said"),
    [
        (0.001, 0.002, []),
        (0.001 + 1.9e-5, 0.002 * 1.009, []),
        (0.001 - 2.1e-5, 0.002, ["path W: the straightedge by two ways differs"]),
        (0.001 + 2.1e-5, 0.002, ["path W: the straightedge by two ways differs"]),
        (0.001, 0.002 * 1.0102, ["path W: the quarter car by two ways differs"]),
        (0.001, 0.002 * 0.989, ["path W: the quarter car by two ways differs"]),
    ],
)
def test_two_ways_to_a_wheel_path(gap: float, rough: float, said: list[str]) -> None:
    assert ride.unlike((wheel(0.001, 0.002),), {"W": (gap, rough)}) == said


def test_a_smooth_path_may_differ_by_a_little() -> None:
    assert ride.unlike((wheel(0.0, 0.9e-7),), {"W": (0.0, 0.0)}) == []
    assert len(ride.unlike((wheel(0.0, 1.1e-7),), {"W": (0.0, 0.0)})) == 1


@pytest.mark.parametrize(("off", "kept"), [(4.9e-5, True), (-5.1e-5, False), (np.nan, False)])
def test_two_ways_to_a_bore_and_a_bolt_group(off: float, kept: bool) -> None:
    bore = BoreFact("D", "K", "LEFT", 0.004, 0.003)
    bolt = BoltFact("S", "K", "LEFT", 8, 7, 0.002, 0.001, 8, 0.001, 0.0005)
    same = {"S": (0.002, 0.001)}
    assert passage.unlike((bore,), {"D": 0.004 + off}, (bolt,), same) == (
        [] if kept else ["bore D: its room by two ways differs"]
    )
    said = [] if kept else ["bolt group S: its mismatch by two ways differs"]
    for worst, fitted in ((0.002 + off, 0.001), (0.002, 0.001 + off)):
        assert passage.unlike((bore,), {"D": 0.004}, (bolt,), {"S": (worst, fitted)}) == said


def test_what_is_not_found_after_the_moves_is_noted() -> None:
    bore = BoreFact("D", "K", "LEFT", 0.004, np.nan)
    bolt = BoltFact("S", "K", "LEFT", 8, 7, 0.002, 0.001, 8, 0.001, np.nan)
    found = passage.unlike((bore,), {"D": 0.004}, (bolt,), {"S": (0.002, 0.001)})
    assert found == [
        "bore D: its room by two ways differs",
        "bolt group S: its mismatch by two ways differs",
    ]


def test_the_centre_of_a_ring_by_hand() -> None:
    """Four of eight marks on a circle of 0.5 m about (1, 2, 3), leaning: no even spread."""
    turns = np.array([0.0, 0.4, 1.1, 2.0])
    lean = np.array([[1.0, 0.0, 0.0], [0.0, 0.8, 0.6]])
    ring = np.array([1.0, 2.0, 3.0]) + 0.5 * np.c_[np.cos(turns), np.sin(turns)] @ lean
    assert passage.centre_of(ring) == pytest.approx([1.0, 2.0, 3.0], abs=1e-12)


@pytest.fixture(scope="module")
def job(small: Callable[..., Any]) -> Job:
    return small().job


def test_how_far_a_reading_after_a_stage_may_be_off(job: Job) -> None:
    """Lengths by the band of moves, forces by their tolerance, else by the band of loads."""
    assert reading_band(job, "step", 0.5) == job.working.move_band == 0.002
    assert reading_band(job, "tension", -400e3) == pytest.approx(100e3)
    own = replace(job, tolerances={**job.tolerances, "tension": Tolerance(7e3, "by hand")})
    assert reading_band(own, "tension", -400e3) == 7e3


def learned(what: str, at: str, value: float) -> Any:
    one: Any = SimpleNamespace(what=what, at=at, value=value)
    return one


class Springs:
    """Two seats, r = R x, and one check that is the sum of moves."""

    R = np.array([[30.0, -10.0], [-10.0, 20.0]])

    def at(self, settings: Any, checks: Any) -> Outcome:
        x = np.array([settings["B1"], settings["B2"]])
        force = self.R @ x + [100.0, 200.0]
        return Outcome(np.array([x.sum()]), dict(zip(("B1", "B2"), force.tolist(), strict=True)))


def test_jacks_that_move_by_a_learned_factor(job: Job) -> None:
    own: Any = SimpleNamespace(learned=(learned("movement", "B1", 1.5),), seats={"B1": 0, "B2": 0})
    states = CorrectedStates(Springs(), own, table=True)
    assert states.really({"B1": 2.0, "B2": 4.0}) == {"B1": 3.0, "B2": 4.0}
    assert states.at({"B1": 2.0, "B2": 4.0}, ()).change == pytest.approx([7.0])


def test_seats_of_a_table_give_way_by_their_added_flexibility() -> None:
    """B1 was 10 stiff in seats.csv and is 5 now: it gives 1/5 - 1/10 more. With x = (1, 0):
    (I + R D) f = R x, so f1 (1 + 30 x 0.1) = 30 and B1 really moves 1 - 0.1 x 7.5 = 0.25."""
    seats = {"B1": SimpleNamespace(stiffness=5.0), "B2": SimpleNamespace(stiffness=5.0)}
    own: Any = SimpleNamespace(learned=(learned("stiffness", "B1", 0.5),), seats=seats)
    states = CorrectedStates(Springs(), own, table=True)
    assert states.really({"B1": 1.0, "B2": 0.0}) == pytest.approx({"B1": 0.25, "B2": 0.0})
    # twice asked, the same; B2 pulls B1 down: f1 = -10 / 4, and B1 comes 0.25 up
    assert states.really({"B1": 0.0, "B2": 1.0}) == pytest.approx({"B1": 0.25, "B2": 1.0})
    # without a table the stiffness is in the structure already
    plain = CorrectedStates(Springs(), own, table=False)
    assert plain.really({"B1": 1.0, "B2": 0.0}) == {"B1": 1.0, "B2": 0.0}


def test_what_was_learned_is_said(job: Job) -> None:
    assert list(learned_words(job)) == []
    own: Any = SimpleNamespace(
        units="metric",
        learned=(
            learned("stiffness", "B1", 0.8),
            learned("stiffness", "B2", 1.25),
            learned("movement", "B1", 0.97),
            learned("bedding", "B1", 0.0004),
            learned("bedding", "B2", 0.0007),
        ),
    )
    assert list(learned_words(own)) == [
        "learned.csv corrects the stiffness of 2 seats, 0.80 to 1.25 times that of seats.csv",
        "learned.csv corrects the movement of the jacks of 1 seat, 0.97 times their scale",
        "learned.csv corrects the bedding of 2 seats to between 0.40 mm and 0.70 mm",
    ]


@pytest.mark.parametrize(("one", "other", "kept"), [(1, 1, True), (1, 0, False), (0, 1, False)])
def test_nobody_pushes_a_segment_on_which_another_crew_works(
    job: Job, one: int, other: int, kept: bool
) -> None:
    """One that pushes in plan is enough, whichever of the two it is."""
    flat = {
        n: s if lifts else replace(s, direction=np.array([0.0, 1.0, 0.0]), pushes="ahead")
        for (n, s), lifts in zip(job.seats.items(), [one, other, 1, 1, 1, 1, 1, 1], strict=True)
    }
    names = list(flat)[:2]

    def stage(group: str, seat: str) -> Any:
        return SimpleNamespace(
            number=1, group=group, seats=(seat,), pumps=(), window="",
            start=(0.0,), up=((0.001,),), down=((0.0,),),
        )  # fmt: skip

    stages = (stage("G1", names[0]), stage("G2", names[1]))
    own = replace(job, seats=flat, staging=replace(job.staging, crews=2))
    work: Any = SimpleNamespace(job=own, plan=SimpleNamespace(stages=stages), wrong=[])
    check_order(work)
    said = "stage 1: G1 and G2 would push a segment while another crew works on it"
    assert work.wrong == ([] if kept else [said])
