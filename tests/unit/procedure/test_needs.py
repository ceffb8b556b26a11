"""What a stage takes: the planner's word on plates and strokes against the certificate's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest

from fitup.certify import certify
from fitup.errors import CertificateRefused, NoSafeOrder
from fitup.model import Job, Plan, SeatPlan, Staging
from fitup.plan.order import order_stages
from fitup.problem.packs import pack_choices, stay
from fitup.procedure.allot import Moment, Offer, allotted
from fitup.procedure.tell import most_out

Small = Callable[..., Any]


def made(small: Small, seed: int) -> tuple[Any, tuple[SeatPlan, ...]]:
    """Return a made-up job of pairs of seats, short of plates and strokes, and packs for it."""
    rng = np.random.default_rng(seed)
    job: Job = small().job
    nuts = float(rng.choice([0.0, 0.3, 1.0]))
    many = int(rng.integers(2, 14))
    jacks = {
        n: replace(
            j,
            capacity=3e6,
            lock_nut=bool(rng.random() < nuts),
            stroke=float(rng.choice([0.022, 0.03, 0.1])),
            stroke_used=float(rng.choice([0.0, 0.008, 0.015])),
            base=0.02,
            base_most=float(rng.choice([0.02, 0.03])),
        )
        for n, j in job.jacks.items()
    }
    seats = {
        n: replace(
            s,
            temporary_seat=bool(rng.random() < 0.97),
            group=f"{n[0]}-{'far' if n[1] in '34' else 'near'}",
        )
        for n, s in job.seats.items()
    }
    job = replace(
        job,
        jacks=jacks,
        seats=seats,
        limits={n: replace(w, most=0.012, most_moving=0.02) for n, w in job.limits.items()},
        plates={m: replace(p, count=int(rng.integers(0, many))) for m, p in job.plates.items()},
        staging=Staging(crews=int(rng.integers(1, 4)), base_step=0.005),
    )
    case = replace(small(), job=job)
    loose = Counter({m: p.count for m, p in job.plates.items()})
    packs = []
    slope = rng.normal(0.0, 2e-4, (2, 3)) * [1.0, 1.0, 0.0]
    rise = rng.normal(0.0, 4e-3, 2)
    for seat in job.seats.values():
        loose.update(seat.pack)
        k = list(job.segments).index(seat.segment)
        aim = float(rise[k] + slope[k] @ (seat.position - job.segments[seat.segment].centre))
        offered = [
            c
            for c in pack_choices(seat, job.plates, loose, (aim - 1e-3, aim + 1e-3))
            if all(n <= loose[m] for m, n in Counter(c.marks).items())
        ]
        choice = offered[int(rng.integers(len(offered)))] if offered else stay(seat)
        new = choice.marks if choice.disturbed else seat.pack
        loose.subtract(new)
        out, put = Counter(seat.pack) - Counter(new), Counter(new) - Counter(seat.pack)
        packs.append(
            SeatPlan(
                seat.id,
                tuple(out.elements()),
                tuple(put.elements()),
                new,
                float(np.round(choice.setting, 9)) + 0.0,
                choice.disturbed,
            )
        )
    return case, tuple(packs)


def verdicts(small: Small, seed: int) -> tuple[str, list[str]]:
    """Return what the planner says of a made-up job, and what the certificate says of its plan."""
    case, packs = made(small, seed)
    try:
        stages, fewest = order_stages(case.job, case.state, case.influence, packs)
    except NoSafeOrder as none:
        return str(none), []
    plan = Plan(packs, stages, (fewest,), "", tuple(s.setting for s in packs), False)
    try:
        certify(case.job, case.survey, case.state, case.influence, plan)
    except CertificateRefused as refused:
        return "planned", list(refused.disagreements)
    return "planned", []


WORDS = ("in store", "too few", "stroke", "could drop", "room", "re-packed", "temporary plates")


@pytest.mark.parametrize("seed", range(6))
def test_no_plan_is_refused_for_plates_or_stroke(small: Small, seed: int):
    said, refused = verdicts(small, seed)
    assert [line for line in refused if any(w in line for w in WORDS)] == []
    assert said == "planned" or "stage" in said


def raised(small: Small, by: tuple[str, ...], **jack: Any) -> tuple[Any, tuple[SeatPlan, ...]]:
    """Return a job in which the seats of B get one more plate each, and no other seat changes."""
    case = small()
    jacks = {n: replace(j, capacity=3e6, **jack) for n, j in case.job.jacks.items()}
    case = replace(case, job=replace(case.job, jacks=jacks))
    plates, packs = case.job.plates, []
    marks = dict(zip(("B1", "B2", "B3", "B4"), by, strict=True))
    for seat in case.job.seats.values():
        own = marks.get(seat.id)
        new = seat.pack if own is None else (*seat.pack, own)
        rise = 0.0 if own is None else plates[own].measured - seat.bedding
        put = () if own is None else (own,)
        packs.append(SeatPlan(seat.id, (), put, new, round(rise, 9), own is not None))
    return case, tuple(packs)


def ordered(case: Any, packs: tuple[SeatPlan, ...], **changes: Any) -> Plan:
    job = replace(case.job, **changes)
    stages, fewest = order_stages(job, case.state, case.influence, packs)
    return Plan(packs, stages, (fewest,), "", tuple(s.setting for s in packs), False)


def refused(case: Any, plan: Plan, **changes: Any) -> str:
    job = replace(case.job, **changes)
    try:
        certify(job, case.survey, case.state, case.influence, plan)
    except CertificateRefused as why:
        return str(why)
    return ""


def test_stroke_counts_from_touch(small: Small):
    """500 kN on 400 kN/mm and on jack, oil and base: about 3 mm of take-up besides the rise."""
    case, packs = raised(small, ("P5",) * 4, stroke_used=0.0)
    # no other plates: the lift cannot go in parts
    fives = {m: replace(p, count=4 if m == "P5" else 0) for m, p in case.job.plates.items()}
    case = replace(case, job=replace(case.job, plates=fives))
    top = max(a for s in ordered(case, packs).stages for o in s.orders for a in o.aims if a > 0.0
              and o.verb in ("RAISE", "FREE"))  # fmt: skip
    enough = {n: replace(j, stroke=top + 0.008) for n, j in case.job.jacks.items()}
    assert refused(case, ordered(case, packs, jacks=enough), jacks=enough) == ""
    short = {n: replace(j, stroke=top + 0.001) for n, j in case.job.jacks.items()}
    with pytest.raises(NoSafeOrder) as none:
        ordered(case, packs, jacks=short)
    assert "stroke of jack JB1 with its take-up, " in str(none.value)
    assert "its stroke is" in refused(case, ordered(case, packs), jacks=short)


def test_a_plate_goes_from_seat_to_seat_where_the_store_is_empty(small: Small):
    """B1 to B4 give their P5 round: no order seat by seat has a loose plate to begin with."""
    case = small()
    seats = {
        n: replace(s, pack=("P20", "P5") if n in ("B1", "B2") else ("P20", "P2", "P2"))
        if n[0] == "B"
        else s
        for n, s in case.job.seats.items()
    }
    empty = {m: replace(p, count=0) for m, p in case.job.plates.items()}
    limits = {n: replace(w, most=0.01, most_moving=0.02) for n, w in case.job.limits.items()}
    jacks = {n: replace(j, capacity=3e6) for n, j in case.job.jacks.items()}
    job = replace(case.job, seats=seats, plates=empty, limits=limits, jacks=jacks)
    case = replace(case, job=job)
    thick = {m: p.measured for m, p in job.plates.items()}
    packs = []
    for n, seat in seats.items():
        new = seat.pack
        if n[0] == "B":
            new = ("P20", "P2", "P2") if n in ("B1", "B2") else ("P20", "P5")
        change = sum(thick[m] for m in new) - sum(thick[m] for m in seat.pack)
        change -= seat.bedding if new != seat.pack else 0.0
        out, put = Counter(seat.pack) - Counter(new), Counter(new) - Counter(seat.pack)
        moved = (tuple(out.elements()), tuple(put.elements()))
        packs.append(SeatPlan(n, *moved, new, round(change, 9), new != seat.pack))
    plan = ordered(case, tuple(packs))
    changes = [o for s in plan.stages for o in s.orders if o.verb == "CHANGE PACK"]
    assert [o.objects for o in changes] == [("B1", "B2", "B3", "B4")]
    assert most_out(plan.stages[0].orders).total() == 0
    assert refused(case, plan) == ""


def test_what_is_lacking_is_named_with_how_much_more_would_do(small: Small):
    case, packs = raised(small, ("P5",) * 4, lock_nut=False)
    beside = {n: replace(s, temporary_seat=True) for n, s in case.job.seats.items()}
    counts = {"P20": 0, "P10": 0, "P5": 4, "P2": 3, "P1": 0}
    few = {m: replace(p, count=counts[m]) for m, p in case.job.plates.items()}
    with pytest.raises(NoSafeOrder) as none:
        ordered(case, packs, seats=beside, plates=few)
    said = str(none.value)
    assert "no whole plates left in the store that follow the load and hold it" in said
    change = next(line for line in said.splitlines() if line.endswith(" in the store"))
    words = change.strip().removesuffix(" in the store").split(" and ")
    more = {w.split()[-1]: int(w.split()[0]) for w in words}
    enough = {m: replace(p, count=p.count + more.get(m, 0)) for m, p in few.items()}
    plan = ordered(case, packs, seats=beside, plates=enough)
    assert refused(case, plan, seats=beside, plates=enough) == ""
    # the certificate by itself counts the same plates
    assert "at one time" in refused(case, plan, seats=beside, plates=few)


@pytest.mark.parametrize("seed", range(12))
def test_allotting_equals_trying_everything(seed: int):
    rng = np.random.default_rng(seed)
    marks = ("P5", "P2", "P1")

    def stack() -> tuple[tuple[str, ...], ...]:
        return (tuple(sorted(rng.choice(marks, int(rng.integers(0, 4))))),)

    offers = [Offer([stack() for _ in range(3)], [stack() for _ in range(3)]) for _ in range(3)]
    store = {m: int(rng.integers(0, 5)) for m in marks}
    use = Counter({m: int(rng.integers(-1, 4)) for m in marks})
    moments = [
        Moment(frozenset({0, 1, 2}), frozenset(), Counter()),
        Moment(frozenset({0, 2}), frozenset({0, 1}), use),
    ]

    def fits(ups: tuple[int, ...], downs: tuple[int, ...]) -> bool:
        for moment in moments:
            out = Counter(moment.use)
            for k in range(3):
                out.update(offers[k].ups[ups[k]][-1] if k in moment.tops else ())
                out.update(offers[k].downs[downs[k]][0] if k in moment.downs else ())
            if any(n > store[m] for m, n in out.items()):
                return False
        return True

    every = [
        sum(len(offers[k].ups[u[k]][-1]) + len(offers[k].downs[d[k]][0]) for k in range(3))
        for u in product(range(3), repeat=3)
        for d in product(range(3), repeat=3)
        if fits(u, d)
    ]
    found = allotted(offers, moments, store, 0)
    assert (found is None) == (not every)
    if found is not None:
        assert sum(len(u[-1]) + len(d[0]) for u, d in found.columns) == min(every)
        assert not found.lent
    lent = allotted(offers, moments, store, 20)
    assert lent is not None and (lent.lent.total() == 0) == bool(every)
