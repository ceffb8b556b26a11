"""One state against every limit, at its edge and worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fitup.certify.limits import STILL, Shake, Work, hold_limits, shaken
from fitup.certify.recompute import Outcome
from fitup.model import Job, Limit

KN = 1e3


@pytest.fixture(scope="module")
def case(small: Callable[..., Any]) -> Any:
    """Limits of reactions 50 and 1200 kN; a pair may close to 1 mm; nothing locked."""
    found = small()
    return replace(found, job=replace(found.job, limits={}))


def found_in(
    case: Any,
    *,
    job: Job | None = None,
    values: dict[str, float] | None = None,
    reactions: dict[str, float] | None = None,
    change: dict[str, float] | None = None,
    forces: dict[str, float] | None = None,
    moving: tuple[str, ...] = (),
    shake: Shake = STILL,
    warm: float = 0.0,
    rate: float = 0.0,
) -> list[str]:
    """Say what is noted of a state in which nothing is amiss but what is given [N, m]."""
    job = job or case.job
    checks = case.state.checks
    delta = np.array([(change or {}).get(c.id, 0.0) for c in checks])
    # every gap as wide as designed, 10 mm open
    state = replace(case.state, values=np.zeros(len(checks)))
    m = len(checks)
    work = Work(job, state, case, case, [], np.full(m, warm), np.full(m, rate))
    loads = dict.fromkeys(job.seats, 500 * KN) | (reactions or {})
    outcome = Outcome(delta, loads, forces or {})
    hold_limits(work, "here", values or {}, outcome, set(moving), shake)
    assert work.counted == 1
    return work.wrong


@pytest.mark.parametrize(
    ("load", "kept"),
    [(49.9985, False), (49.9995, True), (1200.0005, True), (1200.0015, False), (-80.0, False)],
)
def test_reactions_between_their_limits_to_one_newton(case: Any, load: float, kept: bool) -> None:
    said = [f"here: seat B1 carries {load:.0f} kN, outside its limits"]
    assert found_in(case, reactions={"B1": load * KN}) == ([] if kept else said)


@pytest.mark.parametrize(("load", "kept"), [(79.9, False), (80.1, True), (1170.1, False)])
def test_reactions_with_jacks_out_of_step(case: Any, load: float, kept: bool) -> None:
    said = [
        f"here: seat B1 carries {load:.0f} kN, 30 kN either way with jacks out of step, outside "
        "its limits"
    ]
    found = found_in(case, reactions={"B1": load * KN}, shake=Shake({}, {"B1": 30 * KN}))
    assert found == ([] if kept else said)


@pytest.mark.parametrize(("load", "kept"), [(0.0, True), (-0.0005, True), (-0.002, False)])
def test_a_seat_that_may_be_unloaded_may_carry_nothing_but_not_pull(
    case: Any, load: float, kept: bool
) -> None:
    seat = replace(case.job.seats["B1"], reaction_least=0.0, may_unload=True)
    job = replace(case.job, seats={**case.job.seats, "B1": seat})
    assert (found_in(case, job=job, reactions={"B1": load * KN}) == []) is kept


def hung(job: Job) -> Any:
    """A job whose frame has a cable C, a saddle T and a place M to watch."""
    frame = SimpleNamespace(
        cables={"C": SimpleNamespace(id="C", least=100 * KN, most=900 * KN)},
        places={
            "M": SimpleNamespace(least=-2e5, most=3e5, quantity="moment", member="girder"),
            "N": SimpleNamespace(least=0.0, most=0.0, quantity="force", member="tie"),
        },
    )
    return replace(job, frame=frame)


@pytest.mark.parametrize(("load", "kept"), [(1202.0, True), (1203.0, False), (49.8, False)])
def test_cables_let_loads_pass_their_limits_by_two_in_a_thousand(
    case: Any, load: float, kept: bool
) -> None:
    """1202 x 0.002 = 2.4 kN over 1200; 1203 is too far; 49.8 x 0.002 = 0.1 kN under 50 too."""
    assert (found_in(case, job=hung(case.job), reactions={"B1": load * KN}) == []) is kept


def difference(case: Any, most: float = 0.003, moving: float = 0.005) -> Job:
    limit = Limit("D", "difference", ("B1", "B2"), most, moving)
    return replace(case.job, limits={"D": limit})


@pytest.mark.parametrize(("one", "other", "kept"), [(3.0, 0.0, True), (2.0, -1.001, False)])
def test_difference_in_lift_at_rest(case: Any, one: float, other: float, kept: bool) -> None:
    said = ["here: difference D is 3.0 mm, at most 3.0 mm"]
    found = found_in(case, job=difference(case), values={"B1": one / 1e3, "B2": other / 1e3})
    assert found == ([] if kept else said)


@pytest.mark.parametrize(("size", "kept"), [(4.899, True), (4.901, False)])
def test_difference_in_lift_while_seats_move(case: Any, size: float, kept: bool) -> None:
    """5 mm while moving, two readings to 0.05 mm; 0.1 mm out of step at each end."""
    shake = Shake({"B1": 0.0001, "B2": 0.0001}, {})
    job = difference(case)
    values = {"B1": size / 1e3}
    found = found_in(case, job=job, values=values, moving=("B1", "B2"), shake=shake)
    assert found == ([] if kept else ["here: difference D is 5.1 mm, at most 5.0 mm"])


@pytest.mark.parametrize(("size", "kept"), [(3.0, True), (3.001, False)])
def test_warp_at_rest(case: Any, size: float, kept: bool) -> None:
    """Seats in a rectangle: one raised alone leaves the plane of the others by as much."""
    job = replace(case.job, limits={"W": Limit("W", "warp", ("B1", "B2", "B3", "B4"), 0.003)})
    found = found_in(case, job=job, values={"B1": size / 1e3, "B2": 0.0})
    assert found == ([] if kept else ["here: warp W is 3.0 mm, at most 3.0 mm"])
    # raised in a plane there is none
    tilted = {n: case.job.seats[n].position[1] * 1e-3 for n in ("B1", "B2", "B3", "B4")}
    assert found_in(case, job=job, values=tilted) == []


@pytest.mark.parametrize(("size", "kept"), [(2.799, True), (2.801, False)])
def test_warp_with_jacks_out_of_step(case: Any, size: float, kept: bool) -> None:
    """0.1 mm at each of four corners adds 0.4 mm; readings to 0.05 mm allow 0.2 mm."""
    job = replace(case.job, limits={"W": Limit("W", "warp", ("B1", "B2", "B3", "B4"), 0.003)})
    shake = Shake(dict.fromkeys(("B1", "B2", "B3", "B4"), 0.0001), {})
    found = found_in(case, job=job, values={"B1": size / 1e3}, moving=("B1",), shake=shake)
    assert found == ([] if kept else ["here: warp W is 3.2 mm, at most 3.0 mm"])


def gap(delta: float) -> dict[str, float]:
    return {"K/P1/gap": delta / 1e3}


@pytest.mark.parametrize(("delta", "kept"), [(-9.09, True), (-9.11, False), (5.0, True)])
def test_a_gap_stays_open(case: Any, delta: float, kept: bool) -> None:
    """10 mm open, 1 mm at the least, 0.1 mm of care between two paths."""
    found = found_in(case, change=gap(delta))
    said = [
        f"here: pair P1 opens {10.0 + delta:.1f} mm at the least over the steel temperatures "
        "allowed, at least 1.0 mm"
    ]
    assert found == ([] if kept else said)


@pytest.mark.parametrize(
    ("warm", "rate", "least"),
    [
        # steel as at the reference: cooler or warmer by the gate of 3 K closes 0.6 mm either way
        (0.0, 0.0002, 1.6),
        (0.0, -0.0002, 1.6),
        # the survey's steel closes 1 mm, and the gate 0.6 mm more
        (-0.001, 0.0002, 2.6),
        # the survey's steel opens 0.4 mm: the gate still closes 0.2 mm
        (0.0004, 0.0002, 1.2),
        # where the survey's steel opens more than the gate closes, the reference is the closest
        (0.002, 0.0002, 1.0),
    ],
)
def test_a_gap_stays_open_over_all_steel_temperatures(
    case: Any, warm: float, rate: float, least: float
) -> None:
    assert case.job.gates.temperature_apart == 3.0
    delta = least - 10.0 - 0.1
    assert found_in(case, change=gap(delta + 0.01), warm=warm, rate=rate) == []
    assert len(found_in(case, change=gap(delta - 0.01), warm=warm, rate=rate)) == 1


@pytest.mark.parametrize(("delta", "kept"), [(-8.99, True), (-9.01, False)])
def test_jacks_out_of_step_close_a_gap(case: Any, delta: float, kept: bool) -> None:
    """Moving: readings allow 0.1 mm more, jacks out of step take 0.2 mm."""
    checks = [c.id for c in case.state.checks]
    off = np.array([0.0002 * (name == "K/P1/gap") for name in checks])
    shake = Shake({}, {}, off)
    assert (found_in(case, change=gap(delta), moving=("B1",), shake=shake) == []) is kept


def test_nothing_is_asked_of_a_gap_without_a_least_opening(case: Any) -> None:
    joint = replace(case.job.joints["K"], least_opening=None)
    job = replace(case.job, joints={"K": joint})
    assert found_in(case, job=job, change=gap(-30.0)) == []
    # nor of a step
    assert found_in(case, change={"K/P1/step": -0.03}) == []


@pytest.mark.parametrize(("delta", "kept"), [(2.09, True), (2.11, False), (-2.11, False)])
@pytest.mark.parametrize("quantity", ["gap", "step", "offset"])
def test_a_locked_joint_hardly_moves(case: Any, quantity: str, delta: float, kept: bool) -> None:
    joint = replace(case.job.joints["K"], locked_within=0.002, least_opening=None)
    job = replace(case.job, joints={"K": joint})
    found = found_in(case, job=job, change={f"K/P2/{quantity}": delta / 1e3})
    said = f"here: K/P2/{quantity} of a locked joint changes by 2.1 mm, at most 2.0 mm"
    assert found == ([] if kept else [said])
    # what is no pair's is not locked
    assert found_in(case, job=job, change={"K/twist": 0.1, "level/A-L": 0.1}) == []


@pytest.mark.parametrize(("delta", "kept"), [(1.99, True), (2.01, False)])
def test_a_locked_joint_with_jacks_out_of_step(case: Any, delta: float, kept: bool) -> None:
    """Moving: readings allow 0.1 mm more, jacks out of step take 0.2 mm."""
    joint = replace(case.job.joints["K"], locked_within=0.002)
    job = replace(case.job, joints={"K": joint})
    off = np.array([0.0002 * (c.id == "K/P1/step") for c in case.state.checks])
    given = {"K/P1/step": delta / 1e3}
    found = found_in(case, job=job, change=given, moving=("B1",), shake=Shake({}, {}, off))
    assert (found == []) is kept


@pytest.mark.parametrize(
    ("name", "force", "off", "said"),
    [
        ("cable/C", 899.0, 0.0, ""),
        ("cable/C", 901.5, 0.0, ""),
        ("cable/C", 902.0, 0.0, "cable C pulls 902 kN, outside its limits in frame_cables.csv"),
        ("cable/C", 99.7, 0.0, "cable C pulls 100 kN, outside its limits in frame_cables.csv"),
        ("cable/C", 110.0, 11.0, "cable C pulls 110 kN, outside its limits in frame_cables.csv"),
        ("cable/C", 890.0, 12.0, "cable C pulls 890 kN, outside its limits in frame_cables.csv"),
        ("saddle/T/ahead", 1.0, 0.0, ""),
        ("saddle/T/ahead", 0.0, 0.0, ""),
        ("saddle/T/ahead", -1.0, 0.0, "the cable slips ahead over saddle T"),
        ("saddle/T/ahead", 1.0, 2.0, "the cable slips ahead over saddle T"),
        ("M", 299.9, 0.0, ""),
        ("M", 300.001, 0.0, "moment at M in member girder is outside its limits in "),
        ("M", -200.001, 0.0, "moment at M in member girder is outside its limits in "),
        ("M", 290.0, 11.0, "moment at M in member girder is outside its limits in "),
        ("M", -190.0, 11.0, "moment at M in member girder is outside its limits in "),
        ("N", 0.0, 0.0, ""),
        ("N", 0.001, 0.0, "force at N in member tie is outside its limits in "),
    ],
)
def test_watched_forces(case: Any, name: str, force: float, off: float, said: str) -> None:
    found = found_in(
        case,
        job=hung(case.job),
        forces={name: force * KN},
        shake=Shake({}, {}, None, {name: off * KN}),
    )
    if said.endswith("in "):
        said += "frame_places.csv"
    assert found == ([f"here: {said}"] if said else [])


def test_every_watched_force_is_looked_at(case: Any) -> None:
    """A saddle or cable before them does not hide the others."""
    forces = {"saddle/T/back": -5e3, "cable/C": 1e6, "M": 1e6}
    assert len(found_in(case, job=hung(case.job), forces=forces)) == 3
    forces = {"saddle/T/back": 5e3, "cable/C": 5e5, "M": 1e6}
    assert len(found_in(case, job=hung(case.job), forces=forces)) == 1


def test_what_jacks_out_of_step_may_add_is_the_sum_of_each_alone(case: Any) -> None:
    """y = 2 a - 3 b, r = 5 a + 7 b, s = a b: each moved by its share, sizes added up."""
    asked = []

    class States:
        def at(self, settings: dict[str, float], checks: Any) -> Outcome:
            a, b = settings["B1"], settings["B2"]
            asked.append((a, b))
            change = np.array([2.0 * a - 3.0 * b, a * b])
            loads = dict.fromkeys(case.job.seats, 0.0) | {"B1": 5.0 * a + 7.0 * b, "B2": a * b}
            return Outcome(change, loads, {"cable/C": a - b})

    state: Any = SimpleNamespace(checks=(1, 2))
    none = np.zeros(2)
    work = Work(case.job, state, States(), case, [], none, none)
    shake = shaken(work, {"B1": 10.0, "B2": 20.0}, {"B1": 1.0, "B2": 2.0, "B3": 0.0})
    assert asked == [(10.0, 20.0), (11.0, 20.0), (10.0, 22.0)]
    assert shake.change is not None
    assert shake.change == pytest.approx([8.0, 40.0])
    assert shake.reactions["B1"] == pytest.approx(19.0)
    assert shake.reactions["B2"] == pytest.approx(40.0)
    assert shake.reactions["B3"] == 0.0
    assert shake.forces == {"cable/C": pytest.approx(3.0)}
    assert shake.off == {"B1": 1.0, "B2": 2.0, "B3": 0.0}
    assert shake.of_check(0) == pytest.approx(8.0)
    assert shaken(work, {}, {"B1": 0.0}) is STILL
    assert STILL.of_check(1) == 0.0


def test_a_setting_for_every_seat(case: Any) -> None:
    none = np.zeros(0)
    work = Work(case.job, case.state, case, case, [], none, none)
    assert work.settings({"B2": 0.004}) == dict.fromkeys(case.job.seats, 0.0) | {"B2": 0.004}
