"""Loads, stops, stroke and lift-off of jacks, worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fitup.certify.facts import JackFact
from fitup.certify.jacks import jack_facts, lift_offs, off_readings
from fitup.certify.limits import Shake
from fitup.certify.recompute import Outcome
from fitup.model import Job, Pump, Staging

KN = 1e3


@pytest.fixture(scope="module")
def job(small: Callable[..., Any]) -> Job:
    return small().job


def with_jack(job: Job, **changes: Any) -> Job:
    return replace(job, jacks={**job.jacks, "JB1": replace(job.jacks["JB1"], **changes)})


def with_seat(job: Job, **changes: Any) -> Job:
    return replace(job, seats={**job.seats, "B1": replace(job.seats["B1"], **changes)})


def facts(
    job: Job,
    off: float = 0.0,
    rows: tuple[tuple[float, ...], tuple[float, ...]] = ((0.005, 0.010), (0.006,)),
    base: float = 0.0,
    start: float = 0.0,
    **changes: Any,
) -> tuple[list[JackFact], list[str]]:
    """Reactions of 400 kN before, 450 and 500 going up, 480 coming down, 470 after; at other
    crews' worst moments 350 and 600."""
    given = {"rest": (400 * KN, 470 * KN), "swing": (350 * KN, 600 * KN)} | changes
    work: Any = SimpleNamespace(job=job, wrong=[])
    loads = ((450 * KN, 500 * KN)[: len(rows[0])], (480 * KN,) * len(rows[1]))
    shake = Shake({}, {"B1": off * KN})
    found = jack_facts(
        work, "B1", start, rows, loads, given["rest"], given["swing"], shake, {"JB1": base}
    )
    return list(found), work.wrong


def kn(*loads: float) -> tuple[Any, ...]:
    return tuple(pytest.approx(v * KN, rel=1e-12) for v in loads)


def test_an_exact_lift_keeps_the_plain_band(job: Job) -> None:
    """600 kN at most: stop 25 % above; 350 at least: stop 25 % below."""
    (fact,), wrong = facts(job)
    assert (fact.load_start, fact.load_raised, fact.load_end) == kn(400, 500, 470)
    assert (fact.load_most, fact.load_stop, fact.load_low) == kn(600, 750, 262.5)
    assert fact.loads_up == kn(450, 500)
    assert fact.loads_down == kn(480)
    assert fact.move_band == job.working.move_band
    assert wrong == []


def test_the_plain_band_ends_at_the_capacity(job: Job) -> None:
    (fact,), wrong = facts(with_jack(job, capacity=0.9e6), swing=(350 * KN, 800 * KN))
    assert fact.load_stop == 0.9e6
    assert wrong == ["jack JB1: 800 kN leaves less than the reserve of 1.5 on 900 kN"]


def test_friction_breakaway_gauge_and_jacks_out_of_step_at_their_worst(job: Job) -> None:
    """Planned 600 x 1.1 + 20 = 680. Worst (600 + 30) x 1.1 + 20 x 1.25 + 0.05 x 1200 = 778.
    Least (350 - 30) x 0.9 - 60 = 228. Up 450 x 1.1 + 20 = 515 and 570, down 480 x 0.9 = 432."""
    staging = Staging(out_of_step=0.001, friction=0.1, pressure_error=0.05)
    rough = with_seat(replace(job, staging=staging), breakaway=20 * KN)
    (fact,), wrong = facts(rough, off=30)
    assert (fact.load_most, fact.load_stop, fact.load_low) == kn(680, 778, 228)
    assert (fact.load_start, fact.load_raised, fact.load_end) == kn(400, 570, 470)
    assert fact.loads_up == kn(515, 570)
    assert fact.loads_down == kn(432)
    assert fact.move_band == pytest.approx(0.001)
    assert wrong == []


@pytest.mark.parametrize(
    ("staging", "off", "stop", "low"),
    [
        (Staging(friction=0.1), 0.0, 660.0, 315.0),
        (Staging(pressure_error=0.05), 0.0, 660.0, 290.0),
        (Staging(out_of_step=0.001), 30.0, 630.0, 320.0),
    ],
)
def test_whatever_is_stated_of_an_imperfect_lift_replaces_the_plain_band(
    job: Job, staging: Staging, off: float, stop: float, low: float
) -> None:
    (fact,), _ = facts(replace(job, staging=staging), off=off)
    assert (fact.load_stop, fact.load_low) == kn(stop, low)


def test_two_jacks_share_a_seat(job: Job) -> None:
    second = replace(job.jacks["JB1"], id="JB1b")
    both = with_seat(replace(job, jacks={**job.jacks, "JB1b": second}), breakaway=20 * KN)
    work: Any = SimpleNamespace(job=both, wrong=[])
    rest, swing = (400 * KN, 470 * KN), (350 * KN, 600 * KN)
    rows, loads = ((0.005,), ()), ((500 * KN,), ())
    base = {"JB1": 0.0, "JB1b": 0.0}
    found = list(jack_facts(work, "B1", 0.0, rows, loads, rest, swing, Shake(), base))
    assert [f.jack for f in found] == ["JB1", "JB1b"]
    for fact in found:
        assert (fact.load_start, fact.load_raised, fact.load_end) == kn(200, 260, 235)
        assert fact.load_most == pytest.approx(310 * KN)
        assert fact.loads_up == kn(260)


def test_a_seat_that_pulls_gives_its_jack_nothing(job: Job) -> None:
    (fact,), _ = facts(job, rest=(-5 * KN, -3 * KN), swing=(-5 * KN, -1 * KN))
    assert (fact.load_start, fact.load_end, fact.load_most, fact.load_low) == (0, 0, 0, 0)


def test_breakaway_counts_at_a_seat_without_load_and_not_at_one_that_pulls_more(job: Job) -> None:
    loose = with_seat(job, breakaway=20 * KN)
    work: Any = SimpleNamespace(job=loose, wrong=[])
    rest, swing, base = (0.0, 0.0), (0.0, 0.0), {"JB1": 0.0}
    loads = ((0.0, -10 * KN, -20 * KN, -30 * KN), ())
    rows = ((0.001, 0.002, 0.003, 0.004), ())
    (fact,) = jack_facts(work, "B1", 0.0, rows, loads, rest, swing, Shake(), base)
    assert fact.loads_up == kn(20, 20, 0, 0)
    assert fact.load_most == pytest.approx(20 * KN)


def test_without_a_step_up_the_raised_load_is_that_at_rest(job: Job) -> None:
    (fact,), _ = facts(job, rows=((), (-0.004,)))
    assert fact.load_raised == pytest.approx(400 * KN)


@pytest.mark.parametrize(("capacity", "kept"), [(899.9, False), (900.1, True)])
def test_reserve_on_the_planned_load(job: Job, capacity: float, kept: bool) -> None:
    """600 kN with a reserve of 1.5 need 900 kN."""
    _, wrong = facts(with_jack(job, capacity=capacity * KN))
    assert (wrong == []) is kept


@pytest.mark.parametrize(("capacity", "kept"), [(1259.8, False), (1260.1, True)])
def test_reserve_on_the_worst_load(job: Job, capacity: float, kept: bool) -> None:
    """(600 + 30) kN at worst with a reserve of 2 need 1260 kN; the planned 600 need 900."""
    staging = Staging(out_of_step=0.001, worst_reserve=2.0)
    _, wrong = facts(replace(with_jack(job, capacity=capacity * KN), staging=staging), off=30)
    said = "jack JB1: 630 kN at worst leaves less than 2 on 1260 kN"
    assert wrong == ([] if kept else [said])


def test_nothing_is_asked_of_the_worst_load_of_an_exact_lift(job: Job) -> None:
    exact = replace(with_jack(job, capacity=1000 * KN), staging=Staging(worst_reserve=3.0))
    assert facts(exact)[1] == []


@pytest.mark.parametrize(
    ("stroke", "used", "base", "free", "out"),
    [(0.10, 0.04, 0.0, 0.06, 0.04), (0.10, 0.04, 0.015, 0.075, 0.025)],
)
def test_stroke_counts_from_how_far_the_ram_is_out(
    job: Job, stroke: float, used: float, base: float, free: float, out: float
) -> None:
    """More packing under a jack than when it was set draws its ram in."""
    (fact,), wrong = facts(with_jack(job, stroke=stroke, stroke_used=used), base=base)
    assert fact.stroke_out == pytest.approx(out)
    assert fact.stroke_free == pytest.approx(free)
    assert fact.up == pytest.approx((0.005, 0.010))
    assert fact.down == pytest.approx((0.006,))
    assert wrong == []


def test_a_seat_that_stands_higher_has_its_ram_farther_out(job: Job) -> None:
    (fact,), _ = facts(job, start=0.003, rows=((0.005,), (0.004,)))
    assert fact.stroke_out == pytest.approx(0.043)
    assert fact.up == pytest.approx((0.002,))
    assert fact.down == pytest.approx((0.001,))


@pytest.mark.parametrize(
    ("rows", "kept"),
    [
        (((0.060,), (0.006,)), True),
        (((0.0601,), (0.006,)), False),
        (((0.005,), (-0.040,)), True),
        (((0.005,), (-0.0401,)), False),
    ],
)
def test_readings_fit_the_stroke_both_ways(job: Job, rows: Any, kept: bool) -> None:
    """100 mm of stroke, 40 mm out."""
    _, wrong = facts(job, rows=rows)
    assert (wrong == []) is kept
    assert all("do not fit its stroke (40 of 100 mm out at the start)" in line for line in wrong)


def test_a_push_in_plan_may_stand_but_not_go_back(job: Job) -> None:
    ahead = with_seat(job, direction=(0.0, 1.0, 0.0), pushes="ahead", held_by="nut")
    assert not ahead.seats["B1"].comes_back
    said = ["jack JB1: a push in plan may not go back, the ram cannot pull"]
    assert facts(ahead, rows=((0.005, 0.005), ()))[1] == []
    assert facts(ahead, rows=((0.005, 0.0049), ()))[1] == said
    assert facts(ahead, rows=((-0.001,), ()))[1] == said
    # what lifts comes down again
    assert facts(job, rows=((0.005, 0.0049), ()))[1] == []


def test_off_readings_by_the_worst_pump(job: Job) -> None:
    own = replace(job, staging=Staging(out_of_step=0.001))
    assert off_readings(own, "B1") == 0.001

    def pumps(*made: Pump) -> Job:
        return replace(own, pumps={p.id: p for p in made})

    assert off_readings(pumps(Pump("U", ("JB2",), True, 0.004)), "B1") == 0.001
    assert off_readings(pumps(Pump("U", ("JB1",), True, None)), "B1") == 0.001
    assert off_readings(pumps(Pump("U", ("JB1",), True, 0.002)), "B1") == 0.002
    # worked one after the other: a whole step more
    step = own.working.lift_step
    assert off_readings(pumps(Pump("U", ("JB1",), False, 0.002)), "B1") == 0.002 + step
    both = pumps(Pump("U", ("JB1",), False, None), Pump("V", ("JB1",), True, 0.002))
    assert off_readings(both, "B1") == 0.001 + step


def test_measured_lift_off_of_every_group_that_moves(job: Job) -> None:
    """The greater of present load and load when raised, with friction and breakaway."""
    flat = replace(job.seats["A1"], pushes="ahead", direction=(0.0, 1.0, 0.0))
    own = with_seat(
        replace(job, seats={**job.seats, "A1": flat}, staging=Staging(friction=0.1, creep=0.002)),
        breakaway=20 * KN,
        reaction_now=500 * KN,
    )
    asked: list[dict[str, float]] = []

    class Fixed:
        def at(self, settings: dict[str, float], checks: Any) -> Outcome:
            asked.append({k: v for k, v in settings.items() if v})
            return Outcome(np.zeros(0), {s: 480 * KN + 10 * KN * (s == "B2") for s in own.seats})

    stages = (
        SimpleNamespace(group="A-push", seats=("A1",)),
        SimpleNamespace(group="B-lift", seats=("B1", "B2")),
    )
    work: Any = SimpleNamespace(
        job=replace(own, joints={}, pairs={}),
        plan=SimpleNamespace(stages=stages),
        state=SimpleNamespace(checks=(), values=()),
        states=Fixed(),
        settings=lambda values: {n: values.get(n, 0.0) for n in own.seats},
        wrong=[],
        counted=0,
    )
    one, two = lift_offs(work, {"A1": 0.0, "B1": 500 * KN, "B2": 460 * KN})
    assert {"B1": 0.002, "B2": 0.002} in asked
    assert all("A1" not in moved for moved in asked)
    assert (one.jack, one.group, one.segment, one.measured) == ("JB1", "B-lift", "B", True)
    assert (two.jack, two.measured) == ("JB2", False)
    assert (one.load, two.load) == kn(570, 539)
    assert one.steps[0] == (0.1, pytest.approx(57 * KN))
    assert one.steps[-1] == (1.0, pytest.approx(570 * KN))
    assert [share for share, _ in one.steps] == [0.1, 0.25, 0.5, 0.75, 0.9, 1.0]
    assert one.creep == 0.002
