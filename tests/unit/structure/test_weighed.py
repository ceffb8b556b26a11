"""A segment on linked jacks weighed at its lift-off: statics by hand, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.model import Done
from fitup.structure import rigid_influence
from fitup.structure.rebase import lift_offs, rebase_loads, with_loads
from fitup.structure.weighed import linked_seats

AREAS = {"B1": 0.02, "B2": 0.018, "B3": 0.02, "B4": 0.02}


def linked(small: Any, **changes: Any) -> Any:
    """Four seats under B in a rectangle of 8 m by 16 m, 1 and 2 on one valve."""
    case = small()
    jacks = {
        n: replace(
            j, circuit="N" if n in ("JB1", "JB2") else "", ram_area=AREAS.get(n[1:], j.ram_area)
        )
        for n, j in case.job.jacks.items()
    }
    return small(jacks=jacks, **changes)


def row(seat: str, load: float, jack: str | None = None) -> Done:
    return Done(0, "lift-off", seat, jack or f"J{seat}", None, load, None, None, "", "")


def weighed(weight: float, ahead: float, left: float) -> dict[str, float]:
    """What four jacks carry of a weight off the middle of the seats, by three equations by hand.

    Seats 1 and 2 stand 8 m ahead of the middle, 4 m left and right; 3 and 4 behind them.
    """
    near = weight * (8.0 + ahead) / 16.0
    area = AREAS["B1"] + AREAS["B2"]
    one, two = near * AREAS["B1"] / area, near * AREAS["B2"] / area
    far = weight - near
    # left less right of the far jacks, by roll: 4 (one - two) + 4 (four - three) = weight left
    roll = weight * left / 4.0 - (one - two)
    return {"B1": one, "B2": two, "B3": (far - roll) / 2.0, "B4": (far + roll) / 2.0}


def test_weight_and_its_place_come_out_as_they_were(small: Any):
    case = linked(small)
    read = weighed(2.3e6, 0.5, -0.3)
    rebased = rebase_loads(
        case.job, case.influence, lift_offs(case.job, [row(s, v) for s, v in read.items()])
    )
    now = {s.seat: s.now for s in rebased.loads}
    own = np.array([now[f"B{k}"] for k in (1, 2, 3, 4)])
    # on springs of one stiffness the load is a plane over the seats: no warp, and the same moments
    assert own.sum() == pytest.approx(2.3e6)
    assert (own[0] + own[1] - own[2] - own[3]) * 8.0 == pytest.approx(2.3e6 * 0.5)
    assert (own[0] + own[3] - own[1] - own[2]) * 4.0 == pytest.approx(2.3e6 * -0.3)
    assert own[0] - own[1] + own[2] - own[3] == pytest.approx(0.0, abs=1e-3)
    assert {s.how for s in rebased.loads if s.seat[0] == "B"} == {
        "segment B weighed by all its gauges, shared as its seats spring"
    }
    assert [s.how for s in rebased.loads if s.seat[0] == "A"] == ["as calculated"] * 4
    job = with_loads(case.job, rebased)
    assert job.segments["B"].weight == pytest.approx(2.3e6)
    assert rigid_influence(job, case.survey).r0 == pytest.approx(rebased.r0)


def test_how_packs_shared_a_warped_box_stays(small: Any):
    seats = {
        n: replace(s, reaction_now=6.5e5 if n[-1] in "13" else 3.5e5)
        for n, s in small().job.seats.items()
    }
    case = linked(small, seats=seats)
    read = weighed(2.0e6, 0.0, 0.0)
    lift = lift_offs(case.job, [row(s, v) for s, v in read.items()])
    now = {s.seat: s.now for s in rebase_loads(case.job, case.influence, lift).loads}
    assert [now[f"B{k}"] for k in (1, 2, 3, 4)] == pytest.approx([6.5e5, 3.5e5, 6.5e5, 3.5e5])


def test_one_gauge_of_a_valve_is_enough(small: Any):
    case = linked(small)
    read = weighed(2.1e6, 0.2, 0.1)
    whole = lift_offs(case.job, [row(s, v) for s, v in read.items()])
    found = lift_offs(case.job, [row(s, v) for s, v in read.items() if s != "B2"])
    assert {r.seat: r.load for r in found} == pytest.approx({r.seat: r.load for r in whole})
    plain = lift_offs(case.job, [replace(row("B1", read["B1"]), jack=None), *map_rest(read)])
    assert {r.seat: r.load for r in plain} == pytest.approx({r.seat: r.load for r in whole})


def map_rest(read: dict[str, float]) -> list[Done]:
    return [row(s, read[s]) for s in ("B3", "B4")]


def test_a_gauge_that_was_not_read_is_named(small: Any):
    case = linked(small)
    with pytest.raises(InputError) as refused:
        lift_offs(case.job, [row("B1", 5e5), row("B3", 5e5)])
    assert str(refused.value.problems[0]) == (
        "readings as done: found a lift-off load on circuit N and none of seat B4; allowed: all "
        "gauges of segment B at one lift-off; write down what every gauge read as the last pack "
        "opened"
    )


def test_a_part_of_a_segment_is_not_weighed(small: Any):
    case = linked(small)
    seats = {
        n: replace(s, group="far") if n in ("B3", "B4") else s for n, s in case.job.seats.items()
    }
    job = replace(case.job, seats=seats)
    with pytest.raises(InputError) as refused:
        lift_offs(job, [row("B1", 5e5)])
    assert str(refused.value.problems[0]) == (
        "readings as done: found a lift-off load on circuit N, while seat B3 carries segment B "
        "too; allowed: linked jacks that lift a segment off all its seats; leave the row out: one "
        "pressure does not say what stays on packs"
    )
    # seats of the other group are measured as they always were
    assert [r.load for r in lift_offs(job, [row("B3", 4e5)])] == [4e5]
    assert list(linked_seats(job)) == ["B"]
