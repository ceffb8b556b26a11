"""Loads re-based by measured lift-off: by hand, by laws, and every warning whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.model import Done
from fitup.structure import rigid_influence
from fitup.structure.rebase import LiftOff, lift_offs, rebase_loads, with_loads


def row(seat, load, jack=None, movement=None, moment="lift-off", stage=1):
    return Done(stage, moment, seat, jack, movement, load, None, None, "N", "2031-04-02T05:40")


def test_calculated_loads_stand_where_nothing_was_read(small):
    case = small()
    rebased = rebase_loads(case.job, case.influence, [])
    assert rebased.r0 == pytest.approx(case.influence.r0)
    assert rebased.factors == pytest.approx(np.ones(8))
    assert rebased.warnings == ()
    assert with_loads(case.job, rebased).seats == case.job.seats


def test_one_corner_lifted_alone_by_hand(small):
    """One corner of a stiff box on four equal seats of k: +1 gives k/4 at that corner.

    400 kN/mm and 0.5 mm: 50 kN of the 600 kN read came from the movement.
    """
    case = small()
    rebased = rebase_loads(case.job, case.influence, [LiftOff("B1", 600e3, 0.5e-3)])
    first = rebased.loads[0]
    assert first.measured == pytest.approx(550e3)
    assert first.calculated == pytest.approx(500e3)
    assert first.factor == pytest.approx(1.1)
    # the other seats of B follow the ratio, A stays
    assert rebased.factors == pytest.approx([1.1] * 4 + [1.0] * 4)
    assert [s.how for s in rebased.loads[1:5]] == [
        "not read; scaled as the seats read of segment B"
    ] * 3 + ["as calculated"]


def test_lifted_together_level_movement_adds_nothing(small):
    case = small()
    together = [LiftOff(f"B{i}", 520e3, 0.8e-3) for i in (1, 2, 3, 4)]
    assert rebase_loads(case.job, case.influence, together).r0[:4] == pytest.approx([520e3] * 4)


def test_lifted_one_after_the_other_each_pays_for_its_own(small):
    case = small()
    alone = [LiftOff(f"B{i}", 600e3, 0.5e-3, lift=i) for i in (1, 2, 3, 4)]
    assert rebase_loads(case.job, case.influence, alone).r0[:4] == pytest.approx([550e3] * 4)


def test_true_loads_come_back_whatever_the_movements(small):
    case = small()
    rng = np.random.default_rng(3)
    true = case.influence.r0 * rng.uniform(0.9, 1.3, 8)
    moved = rng.uniform(0.0, 1e-3, 8)
    read = true + case.influence.R @ moved
    lift = [
        LiftOff(s, float(r), float(m))
        for s, r, m in zip(case.influence.seats, read, moved, strict=True)
    ]
    assert rebase_loads(case.job, case.influence, lift).r0 == pytest.approx(true)


def test_breakaway_is_taken_off(small):
    case = small()
    seats = {**case.job.seats, "B1": replace(case.job.seats["B1"], breakaway=30e3)}
    job = replace(case.job, seats=seats)
    assert rebase_loads(job, case.influence, [LiftOff("B1", 560e3)]).r0[0] == pytest.approx(530e3)


def test_the_job_with_rebased_loads_agrees_with_its_weight(small):
    case = small()
    lift = [LiftOff(f"B{i}", 650e3) for i in (1, 2, 3, 4)]
    rebased = rebase_loads(case.job, case.influence, lift)
    job = with_loads(case.job, rebased)
    assert job.segments["B"].weight == pytest.approx(2.6e6)
    assert job.segments["A"] is case.job.segments["A"]
    # the influence reads the new loads, and does not refuse them against the weight
    assert rigid_influence(job, case.survey).r0 == pytest.approx(rebased.r0)


def test_rows_of_jacks_become_a_load_of_the_seat(small):
    case = small()
    twin = replace(case.job.jacks["JB1"], id="JB1b")
    job = replace(case.job, jacks={**case.job.jacks, "JB1b": twin})
    both = [row("B1", 250e3, "JB1", 1e-3), row("B1", 270e3, "JB1b", 2e-3), row("B2", 500e3)]
    assert lift_offs(job, both) == (
        LiftOff("B1", 520e3, pytest.approx(1.5e-3)),
        LiftOff("B2", 500e3, 0.0),
    )
    # one of two jacks read: equal shares
    assert lift_offs(job, both[:1])[0].load == pytest.approx(500e3)
    assert lift_offs(job, [row("B1", 500e3, moment="end")]) == ()


def test_warnings(small):
    case = small()
    lift = [LiftOff("B1", 900e3), LiftOff("B2", 560e3)]
    assert rebase_loads(case.job, case.influence, lift).warnings == (
        "seat B1: 900 kN is 1.80 times the calculated 500 kN, further off than lifts usually are "
        "(1.6 times); stop and find the cause",
        "seat B1: 900 kN leaves less than the reserve of 1.5 on jacks of 1200 kN in all; larger "
        "or more jacks before the lift goes on",
        "segment B: B3, B4 not read at lift-off, scaled by 1.46 as the seats that were; read them "
        "before they are relied on",
        "segment B: its seats carry 2920 kN, its weight was taken as 2000 kN; find out what the "
        "segment really weighs",
    )
    high = rebase_loads(case.job, case.influence, [LiftOff("B1", 1250e3)]).warnings
    assert high[1] == (
        "seat B1: 1250 kN is outside the seat's own limits of 50 kN to 1200 kN; stop, the "
        "engineer decides"
    )


def test_seats_that_are_not_there_or_twice(small):
    case = small()
    with pytest.raises(InputError) as refused:
        rebase_loads(
            case.job, case.influence, [LiftOff("X", 1.0), LiftOff("B1", 1.0), LiftOff("B1", 2.0)]
        )
    assert [str(p) for p in refused.value.problems] == [
        "readings: found seat 'X'; allowed: an id of seats.csv; correct it",
        "readings: found seat 'B1' lifted off twice; allowed: one lift-off a seat; keep the "
        "reading that counts",
    ]
